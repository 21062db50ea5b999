"""Opens a house folder and wires everything; the only place that knows all parts."""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from datetime import UTC, date, datetime
from functools import cached_property
from pathlib import Path
from typing import Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from saltloft.facts.loader import Facts, load_facts
from saltloft.foundation.errors import InputError, SaltloftError, StoreError
from saltloft.jobs import record
from saltloft.plant.answers import HouseFace, JournalHead
from saltloft.plant.entries import entry_id
from saltloft.plant.people import HouseSetUp, PersonAdded
from saltloft.plant.stated import Draft, Stamp
from saltloft.store.open import Store
from saltloft.store.settings import FILE, HouseSettings, read_settings, write_settings

Clock = Callable[[], datetime]
Random = Callable[[int], bytes]

ADMINISTRATOR = "administrator"


def _clock() -> datetime:
    return datetime.now(UTC)


class House:
    """An opened house folder.

    Args:
        folder: Path.
        settings: HouseSettings.
        store: Store.
        clock: callable() -> datetime, aware. A demo house takes its fixed moment instead.
        random: callable(count) -> bytes.
    """

    def __init__(
        self, folder: Path, settings: HouseSettings, store: Store, clock: Clock, random: Random
    ) -> None:
        self.folder = folder
        self.settings = settings
        self.store = store
        self.zone = _zone(settings.text("zone"))
        self.random = random
        self._clock = clock
        self._demo: bool | None = None  # not known before the house is set up
        fixed = settings.text("demo_now")
        self._fixed = _moment(fixed) if fixed else None

    @classmethod
    def open(
        cls,
        folder: Path | str,
        *,
        clock: Clock = _clock,
        random: Random = secrets.token_bytes,
        environment: Mapping[str, str] | None = None,
    ) -> Self:
        """Open a house folder.

        Args:
            folder: Path or str. A folder with house.toml.
            clock: callable() -> datetime, aware.
            random: callable(count) -> bytes. For ids and tokens.
            environment: mapping or None. None: the process's own.

        Raises:
            InputError: no house there, or a setting that cannot be taken.
            StoreError: the database is damaged, foreign or newer than this program.
        """
        folder = Path(folder)
        settings = read_settings(folder, os.environ if environment is None else environment)
        store = Store.open(settings.place(folder), folder / "files")
        house = cls(folder, settings, store, clock, random)
        if house._fixed is not None and not house._may_be_demo():
            house.close()
            raise InputError(
                "only an invented house has a fixed moment as now",
                got=settings.text("demo_now"),
                do="take demo_now out of house.toml and of the environment",
                key="demo_now",
            )
        return house

    @classmethod
    def create(
        cls,
        folder: Path | str,
        name: str,
        zone: str,
        units: str = "metric",
        *,
        markets: tuple[str, ...] = (),
        demo: bool = False,
        demo_now: str = "",
        opened_at: datetime | None = None,
        set_up: bool = True,
        database_url: str = "",
        clock: Clock = _clock,
        random: Random = secrets.token_bytes,
    ) -> Self:
        """Make a house in an empty or missing folder, with an administrator as its first person.

        Args:
            folder: Path or str.
            name: str.
            zone: str. IANA time zone.
            units: str. 'metric' or 'us'.
            markets: tuple of str. 'us', 'ca', 'eu'.
            demo: bool. The invented house.
            demo_now: str. ISO moment with offset that the invented house takes as now.
            opened_at: datetime or None. When the house was set up; None: now. Another moment is
                taken in the invented house only.
            set_up: bool. False: no entry is made; the first ones come with the records that follow.
            database_url: str. An empty PostgreSQL database; empty: a file in the folder.
            clock, random: as for `open`.

        Raises:
            InputError: the folder or the database is not empty; unknown zone, units or market.
        """
        folder = Path(folder)
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise InputError(
                "a house is made in an empty folder only", got=str(folder), do="name another folder"
            )
        if not name.strip():
            raise InputError("a house needs a name", key="name")
        if (demo_now or opened_at) and not demo:
            raise InputError("only an invented house has a fixed moment as now", got=demo_now, key="demo_now")
        _zone(zone)
        values = {"name": name, "zone": zone}
        if demo_now:
            _moment(demo_now)
            values["demo_now"] = demo_now
        if database_url:
            values["database_url"] = database_url
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "files").mkdir(exist_ok=True)
        write_settings(folder, values)
        try:
            house = cls.open(folder, clock=clock, random=random, environment={})
        except SaltloftError:
            _clear(folder)
            raise
        if house.store.head() is not None:
            house.close()
            _clear(folder)
            raise InputError(
                "there is a house in this database already",
                got=house.store.database.name,
                do="name an empty database",
                key="database_url",
            )
        if set_up:
            house._set_up(HouseSetUp(name, zone, units, markets, int(demo)), opened_at)
        return house

    def _set_up(self, said: HouseSetUp, opened_at: datetime | None) -> None:
        at = opened_at or self.now()
        administrator = PersonAdded(ADMINISTRATOR, "administrator", units=said.units)
        drafts = [Draft(self.new_id(at), payload, at) for payload in (said, administrator)]
        receipts = record.enter(self, Stamp(ADMINISTRATOR, "console", at), drafts)
        for receipt in receipts:
            if receipt.status != "stored":
                self.store.discard()
                _clear(self.folder)
                raise InputError(receipt.words, key=receipt.key)

    def now(self) -> datetime:
        """The moment every command and page takes as now: the clock's, or the demo house's fixed one."""
        return self._fixed or self._clock()

    def today(self) -> date:
        """The day in the house's zone."""
        return self.now().astimezone(self.zone).date()

    def new_id(self, at: datetime | None = None) -> str:
        """A fresh entry id."""
        return entry_id(at or self.now(), self.random(10))

    @property
    def name(self) -> str:
        """The name on every paper."""
        return self.settings.text("name")

    @property
    def demo(self) -> bool:
        """True in the invented house, whose confirmations are marked so."""
        if self._demo is None:
            said = self.store.set_up.all()
            if not said:
                return self._fixed is not None
            self._demo = bool(said[-1].payload.demo)
        return self._demo

    @property
    def promise_sure(self) -> float:
        """How sure a promised day is, 0..1, by the house's setting; InputError for one that is no chance."""
        percent = self.settings.number("promise_sure_pct")
        if not 3 <= percent <= 97:
            raise InputError(
                "a house cannot promise so surely",
                got=str(percent),
                allowed="3 to 97",
                do="mend promise_sure_pct in house.toml or the environment",
                key="promise_sure_pct",
            )
        return percent / 100.0

    def _may_be_demo(self) -> bool:
        try:
            return self.demo
        except StoreError:
            # A set-up that cannot be read must not keep 'verify' from naming it.
            return True

    @cached_property
    def facts(self) -> Facts:
        """The fact rows that ship with this version."""
        return load_facts()

    def face(self) -> HouseFace:
        """What every paper says about the house: name, zone, whether invented, and the journal's head."""
        head = self.store.head() or JournalHead(0, "0" * 64, self.now())
        return HouseFace(self.name, self.settings.text("zone"), self.demo, head)

    def reading(self) -> AbstractContextManager[object]:
        """Everything read inside, by this thread, is read at once: in one transaction."""
        return self.store.database.reading()

    def close(self) -> None:
        """Close the database."""
        self.store.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _clear(folder: Path) -> None:
    """Leave nothing of a house that could not be made."""
    for path in (folder / FILE, *folder.glob("house.db*")):
        path.unlink(missing_ok=True)
    (folder / "files").rmdir()


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(
            "the time zone is not known",
            got=f"'{name}'",
            allowed="an IANA name such as Europe/Dublin",
            key="zone",
        ) from None


def _moment(text: str) -> datetime:
    try:
        moment: datetime | None = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise InputError(
            "the moment cannot be read",
            got=f"'{text}'",
            allowed="ISO with offset, such as 2026-11-03T06:00:00+00:00",
            key="demo_now",
        )
    return moment
