"""Building the invented house from its packed files, through the jobs every house uses.

The files (`saltloft/demo_files/`) are data only: a manifest, typed records, and
the text files of its loggers. Whatever a job refuses stops the building.
"""

from __future__ import annotations

import hashlib
import json
import lzma
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from saltloft.foundation.errors import InputError, StoreError
from saltloft.foundation.words import say
from saltloft.house import ADMINISTRATOR, House
from saltloft.jobs import record, watch
from saltloft.plant import entries
from saltloft.plant.people import FactConfirmed, HouseSetUp
from saltloft.plant.stated import Draft, Stamp

Progress = Callable[[str], None]
AT_ONCE = 4000
"""Entries that share one commit."""
CONSOLE = "console"


@dataclass(frozen=True)
class DemoFiles:
    """The packed files, read.

    Args:
        folder: Traversable. Where they lie.
        manifest: mapping. Seed, today, names, confirmations, intended releases, logger files.
        drafts: tuple of Draft. Every record, in the order it reached the house.
    """

    folder: Traversable
    manifest: Mapping[str, Any]
    drafts: tuple[Draft, ...]

    def logger_file(self, name: str) -> bytes:
        """The bytes of one logger's text file."""
        return lzma.decompress((self.folder / "loggers" / f"{name}.xz").read_bytes())

    def entry_id(self, at: datetime, *names: object) -> str:
        """An id for an entry that the building itself makes; the same in every build."""
        text = "/".join(str(name) for name in (self.manifest["seed"], *names))
        return entries.entry_id(at, hashlib.sha256(text.encode()).digest()[:10])


def read_demo_files(folder: Traversable | None = None) -> DemoFiles:
    """Read the packed files.

    Args:
        folder: Traversable or None. None: those that came with this program.

    Raises:
        InputError: they are not there.
    """
    folder = folder if folder is not None else files("saltloft") / "demo_files"
    if not (folder / "manifest.json").is_file():
        raise InputError(
            say("the demo files did not come with this program"),
            do=say("in a source folder run scripts/demo, which writes them"),
        )
    manifest = json.loads((folder / "manifest.json").read_bytes())
    lines = lzma.decompress((folder / "records.jsonl.xz").read_bytes()).splitlines()
    return DemoFiles(folder, manifest, tuple(_draft(json.loads(line)) for line in lines))


def _draft(plain: Mapping[str, Any]) -> Draft:
    return Draft(
        id=plain["id"],
        payload=entries.decode(plain["kind"], plain["payload"]),
        happened_at=datetime.fromisoformat(plain["happened_at"]),
        person=plain["person"],
        device=plain["device"],
        recorded_at=datetime.fromisoformat(plain["recorded_at"]),
    )


def build_demo_house(folder: Path, demo: DemoFiles, progress: Progress) -> None:
    """Build the house; the folder holds all of it, or is left as it was.

    Args:
        folder: Path. Missing or empty.
        demo: DemoFiles.
        progress: callable(str). Told one sentence a stage.

    Raises:
        InputError: the folder holds something else.
        StoreError: a job refused something the files state.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(
            say("the demo house is built in an empty folder only"),
            got=str(folder),
            do=say("name another folder"),
        )
    folder.parent.mkdir(parents=True, exist_ok=True)
    building = Path(tempfile.mkdtemp(prefix=".saltloft-demo-", dir=folder.parent))
    try:
        _build(building, demo, progress)
        building.chmod(0o755)
        building.rename(folder)
    except BaseException:
        shutil.rmtree(building, ignore_errors=True)
        raise


def _build(folder: Path, demo: DemoFiles, progress: Progress) -> None:
    opening = demo.drafts[0]
    said: HouseSetUp = opening.payload
    with House.create(
        folder,
        said.name,
        said.zone,
        said.units,
        markets=said.markets,
        demo=True,
        demo_now=demo.manifest["today"],
        opened_at=opening.recorded_at,
    ) as house:
        progress(say("Entering {count} records ...", count=len(demo.drafts)))
        for stage in _stages(house, demo):
            stage()
        for person, name in demo.manifest["names"].items():
            house.store.secrets.set_name(person, name)


def _stages(house: House, demo: DemoFiles) -> Iterator[Callable[[], None]]:
    """What happens to the house, in the order of its days: entries, and files brought in between them."""
    waiting: list[Draft] = [*demo.drafts[1:], *_confirmations(house, demo)]
    waiting.sort(key=lambda draft: draft.recorded_at or draft.happened_at)
    brought = sorted(demo.manifest["logger_files"], key=lambda one: str(one["downloaded_at"]))
    start = 0
    for one in brought:
        until = datetime.fromisoformat(one["downloaded_at"])
        end = start
        while end < len(waiting) and (waiting[end].recorded_at or until) <= until:
            end += 1
        yield _entering(house, waiting[start:end])
        yield _importing(house, demo, one)
        start = end
    yield _entering(house, waiting[start:])


def _entering(house: House, drafts: Sequence[Draft]) -> Callable[[], None]:
    def stage() -> None:
        for first in range(0, len(drafts), AT_ONCE):
            enter(house, drafts[first : first + AT_ONCE])

    return stage


def enter(house: House, drafts: Sequence[Draft]) -> None:
    """Enter drafts in one commit.

    Raises:
        StoreError: the first one that was not taken, with the reason.
    """
    last = drafts[-1].recorded_at or drafts[-1].happened_at
    for draft, receipt in zip(
        drafts, record.enter(house, Stamp(ADMINISTRATOR, CONSOLE, last), drafts), strict=True
    ):
        if receipt.status != "stored":
            raise StoreError(
                say("the demo files hold an entry the house does not take"),
                got=f"{type(draft.payload).__name__} {draft.id}",
                allowed=receipt.words,
            )


def _importing(house: House, demo: DemoFiles, one: Mapping[str, Any]) -> Callable[[], None]:
    def stage() -> None:
        at = datetime.fromisoformat(one["downloaded_at"])
        said = watch.Said(room=one["room"], answers=one["answers"])
        data = demo.logger_file(one["file"])
        entry = demo.entry_id(at, one["file"])
        by = Stamp("ilo", "office", at)
        taken = watch.import_file(house, by, one["file"], data, said, entry_id=entry)
        if taken.status != "stored":
            raise StoreError(
                say("a logger file of the demo house was not taken"), got=one["file"], allowed=taken.words
            )

    return stage


def _confirmations(house: House, demo: DemoFiles) -> list[Draft]:
    """Unconfirmed fact rows, confirmed for the invented house only; every page there says so."""
    drafts = []
    for one in demo.manifest["confirmations"]:
        at = datetime.fromisoformat(one["at"])
        for key in house.facts.keys(one["prefix"]):
            if not house.facts.confirmed_by_source(key):
                said = FactConfirmed(key, one["edition"], house.facts.digest(key), demo=1)
                drafts.append(Draft(demo.entry_id(at, key), said, at, None, one["person"], "office", at))
    return drafts
