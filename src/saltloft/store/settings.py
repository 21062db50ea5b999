"""What is needed before the database opens: one tuple, read from house.toml and the environment."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from saltloft.foundation.errors import InputError, UnknownName
from saltloft.store.engines import is_url, shown

FILE = "house.toml"


@dataclass(frozen=True)
class Setting:
    """One setting.

    Args:
        name: str. Key in house.toml; SALTLOFT_ and the name in capitals in the environment.
        sort: type. str, int or bool.
        default: str, int or bool.
        help: str. One line.
    """

    name: str
    sort: type
    default: str | int | bool
    help: str

    @property
    def variable(self) -> str:
        """Its name in the environment."""
        return f"SALTLOFT_{self.name.upper()}"


SETTINGS: tuple[Setting, ...] = (
    Setting("name", str, "", "Name of the house, on every paper."),
    Setting("zone", str, "UTC", "IANA time zone in which the house counts its days."),
    Setting("database", str, "house.db", "Database file, inside the house folder unless it begins with /."),
    Setting(
        "database_url",
        str,
        "",
        "PostgreSQL instead of a file, postgresql://user@host/database; its password rather in PGPASSFILE.",
    ),
    Setting("demo_now", str, "", "Fixed moment that an invented house takes as now; empty in a real house."),
    Setting("address", str, "127.0.0.1", "Address on which `saltloft serve` listens."),
    Setting("port", int, 8765, "Port on which `saltloft serve` listens."),
    Setting(
        "lan_names",
        str,
        "",
        "Further names and private addresses for `saltloft serve --lan`, with blanks between.",
    ),
    Setting("allow_plain_http", bool, False, "Let others on the network connect without HTTPS."),
    Setting("session_hours", int, 12, "Hours after which a person signs in again."),
    Setting(
        "backup_folder",
        str,
        "backups",
        "Where `saltloft backup` writes, inside the house folder or absolute.",
    ),
    Setting(
        "tag_address",
        str,
        "",
        "Address that tags and labels lead to, such as https://house.example; empty: that of the page.",
    ),
    Setting("gs1_company_prefix", str, "", "The house's own GS1 company prefix, 6 to 11 digits; for racks."),
    Setting("backup_hours", int, 24, "Hours between the worker's backups; 0: none but those asked for."),
    Setting("keep_daily", int, 7, "Of so many days the newest backup stays."),
    Setting("keep_weekly", int, 5, "Of so many weeks the newest backup stays."),
    Setting("keep_monthly", int, 12, "Of so many months the newest backup stays."),
    Setting(
        "drill_days", int, 7, "Days between restores of the newest backup to see that it opens; 0: none."
    ),
    Setting(
        "head_folder",
        str,
        "",
        "Folder on another machine to which the journal's head is sent at each backup; empty: none.",
    ),
    Setting("mqtt_host", str, "", "Broker that brings live values; empty: none is listened to."),
    Setting("mqtt_port", int, 8883, "Its port."),
    Setting("mqtt_tls", bool, True, "Speak TLS with the broker and check its certificate."),
    Setting(
        "mqtt_ca_file",
        str,
        "",
        "Certificate of the authority to trust for the broker, inside the house folder or absolute; empty: "
        "the system's.",
    ),
    Setting("mqtt_user", str, "", "Name under which the house signs in to the broker."),
    Setting(
        "mqtt_password_file",
        str,
        "",
        "File of mode 0600 with the password, in the house folder or absolute; or SALTLOFT_MQTT_PASSWORD.",
    ),
    Setting("mqtt_client", str, "saltloft", "Name under which the broker keeps values while nobody listens."),
    Setting(
        "mqtt_topics", str, "", "Lines 'TOPIC ROOM/temperature_c' or 'TOPIC ROOM/rh_pct': who writes what."
    ),
    Setting(
        "mqtt_filter",
        str,
        "",
        "What else is listened to, such as house/#, so that topics nobody named are counted; empty: nothing.",
    ),
    Setting(
        "mqtt_seal_minutes", int, 15, "Live values are sealed by so many minutes: 1, 5, 10, 15, 30 or 60."
    ),
    Setting("members", int, 400, "Members of a forecast's ensemble."),
    Setting("promise_sure_pct", int, 90, "How sure a promised day is, in per cent, 3 to 97."),
)


@dataclass(frozen=True)
class Value:
    """A setting's value and where it came from.

    Args:
        setting: Setting.
        value: str, int or bool.
        origin: str. 'default', 'house.toml' or the name of the environment variable.
    """

    setting: Setting
    value: str | int | bool
    origin: str

    @property
    def shown(self) -> str | int | bool:
        """The value as it may be printed: a database's URL without its password."""
        return shown(str(self.value)) if self.setting.name == "database_url" and self.value else self.value


class HouseSettings:
    """The settings of one house folder.

    Args:
        values: mapping of name to Value, complete.
    """

    def __init__(self, values: Mapping[str, Value]) -> None:
        self._values = dict(values)

    def text(self, name: str) -> str:
        """A setting that is text."""
        return str(self._values[name].value)

    def number(self, name: str) -> int:
        """A setting that is a whole number."""
        return int(self._values[name].value)

    def flag(self, name: str) -> bool:
        """A setting that is yes or no."""
        return bool(self._values[name].value)

    def place(self, folder: Path) -> Path | str:
        """Where the house's database is: its URL, or its file by the house folder."""
        return self.text("database_url") or folder / self.text("database")

    def backups(self, folder: Path) -> Path:
        """Where backups go unless another folder is named."""
        return folder / self.text("backup_folder")

    def rows(self) -> list[Value]:
        """Every setting with its value and origin, in the order of SETTINGS."""
        return list(self._values.values())


def read_settings(folder: Path, environment: Mapping[str, str]) -> HouseSettings:
    """Read house.toml; the environment goes before it, defaults after.

    Raises:
        InputError: no house.toml, not TOML, an unknown key, or a value of the wrong sort.
    """
    path = folder / FILE
    if not path.is_file():
        raise InputError(
            "this folder is no house",
            got=str(folder),
            allowed="a folder with house.toml",
            do="make one with 'saltloft new DIR', or build the demo house with 'saltloft demo DIR'",
        )
    try:
        written = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{FILE} cannot be read", got=str(error), do="mend it in a text editor") from error
    for key in written:
        if key not in {setting.name for setting in SETTINGS}:
            raise UnknownName(f"setting of {FILE}", key, [setting.name for setting in SETTINGS])
    return HouseSettings({setting.name: _value(setting, written, environment) for setting in SETTINGS})


def _value(setting: Setting, written: Mapping[str, object], environment: Mapping[str, str]) -> Value:
    if setting.variable in environment:
        return Value(setting, _typed(setting, environment[setting.variable]), setting.variable)
    if setting.name in written:
        found = written[setting.name]
        if not isinstance(found, str | int) or type(found) is not setting.sort:
            raise InputError(
                f"the setting {setting.name} in {FILE} is of the wrong sort",
                got=repr(found),
                allowed={str: "text in quotes", int: "a whole number", bool: "true or false"}[setting.sort],
                key=setting.name,
            )
        return Value(setting, found, FILE)
    return Value(setting, setting.default, "default")


def _typed(setting: Setting, text: str) -> str | int | bool:
    if setting.sort is str:
        return text
    wrong = InputError(
        f"the environment variable {setting.variable} is of the wrong sort",
        got=repr(text),
        allowed="true or false" if setting.sort is bool else "a whole number",
        key=setting.name,
    )
    if setting.sort is bool:
        if text.lower() not in ("true", "false"):
            raise wrong
        return text.lower() == "true"
    try:
        return int(text)
    except ValueError:
        raise wrong from None


def write_settings(folder: Path, values: Mapping[str, str]) -> None:
    """Write a new house.toml with text settings; the others keep their defaults."""
    lines = ["# What is needed before the database opens; everything else is set up by entries."]
    for setting in SETTINGS:
        if setting.name in values:
            lines += [f"# {setting.help}", f"{setting.name} = {_quoted(values[setting.name])}"]
    (folder / FILE).write_text("\n".join(lines) + "\n", encoding="utf-8")


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'


def set_place(folder: Path, place: Path | str) -> None:
    """Say in house.toml where the database is now: a URL, or a file by the house folder.

    The other lines stay as they are; the file is replaced whole, readable by its owner only
    when the URL holds a password.
    """
    path = folder / FILE
    lines = path.read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if line.partition("=")[0].strip() not in ("database", "database_url")]
    if is_url(place):
        kept.append(f"database_url = {_quoted(str(place))}")
    else:
        kept.append(f"database = {_quoted(str(place))}")
    aside = path.with_suffix(".part")
    aside.write_text("\n".join(kept) + "\n", encoding="utf-8")
    aside.chmod(0o600 if is_url(place) else path.stat().st_mode & 0o777)
    aside.replace(path)
