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
from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from saltloft.foundation.errors import InputError, RuleBroken, StoreError
from saltloft.foundation.words import say
from saltloft.house import ADMINISTRATOR, House
from saltloft.jobs import record, release, watch
from saltloft.plant import entries
from saltloft.plant.flow import LotSliced, PackMade
from saltloft.plant.lots import LotDispatched
from saltloft.plant.orders import GoodsReturned, ShipmentSent
from saltloft.plant.people import FactConfirmed, HouseSetUp
from saltloft.plant.permit import ReleasePermit
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


@dataclass(frozen=True)
class DemoBuilt:
    """What became of the building.

    Args:
        entries: int. Entries taken.
        files: int. Logger files brought in.
        released: tuple of str. Lots signed out in the past year.
        refused: mapping of lot to str. Intended releases that were refused, and why; their dispatches
            were not entered.
    """

    entries: int
    files: int
    released: tuple[str, ...]
    refused: Mapping[str, str]


def build_demo_house(folder: Path, demo: DemoFiles, progress: Progress) -> DemoBuilt:
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
        built = _build(building, demo, progress)
        building.chmod(0o755)
        building.rename(folder)
    except BaseException:
        shutil.rmtree(building, ignore_errors=True)
        raise
    return built


def _build(folder: Path, demo: DemoFiles, progress: Progress) -> DemoBuilt:
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
        for person, name in demo.manifest["names"].items():
            house.store.secrets.set_name(person, name)
        for party, card in demo.manifest.get("contacts", {}).items():
            house.store.secrets.set_contact(party, card["role"], card["name"], card["address"])
        return _Year(house, demo, progress).live()


class _Year:
    """The year lived again: entries in their order, files and signatures at their moments between them."""

    def __init__(self, house: House, demo: DemoFiles, progress: Progress) -> None:
        self.house, self.demo, self.progress = house, demo, progress
        waiting = [*demo.drafts[1:], *_confirmations(house, demo)]
        self.waiting = sorted(waiting, key=_recorded)
        self.entered = 0
        self.released: list[str] = []
        self.refused: dict[str, str] = {}
        # Pack lots and shipments of what was not signed out.
        self.kept_back: set[str] = set()

    def live(self) -> DemoBuilt:
        """Everything, in the order of its moments."""
        brought = self.demo.manifest["logger_files"]
        events: list[tuple[datetime, str, Callable[[], None]]] = [
            (datetime.fromisoformat(one["downloaded_at"]), one["file"], partial(self._bring, one))
            for one in brought
        ]
        events += [
            (datetime.fromisoformat(one["at"]), one["lot"], partial(self._sign, one))
            for one in self.demo.manifest["releases"]
        ]
        month = ""
        for at, _, act in sorted(events, key=lambda event: event[:2]):
            if f"{at:%Y-%m}" != month:
                month = f"{at:%Y-%m}"
                self.progress(say("{month}: {count} entries so far", month=month, count=self.entered))
            self._enter_until(at)
            act()
        self._enter_until(self.house.now())
        return DemoBuilt(self.entered, len(brought), tuple(self.released), self.refused)

    def _enter_until(self, at: datetime) -> None:
        end = bisect_right(self.waiting, at, key=_recorded)
        due, self.waiting = self.waiting[:end], self.waiting[end:]
        drafts = [draft for draft in due if not self._stays_here(draft.payload)]
        for first in range(0, len(drafts), AT_ONCE):
            chunk = drafts[first : first + AT_ONCE]
            enter(self.house, Stamp(ADMINISTRATOR, CONSOLE, _recorded(chunk[-1])), chunk)
        self.entered += len(drafts)

    def _stays_here(self, payload: object) -> bool:
        """What was not signed out is not sent out, nor does it come back."""
        if isinstance(payload, PackMade | LotSliced):
            lots = (
                [payload.lot]
                if isinstance(payload, LotSliced)
                else [one.material_lot for one in payload.sources]
            )
            if any(lot in self.refused or lot in self.kept_back for lot in lots):
                self.kept_back.add(payload.sliced if isinstance(payload, LotSliced) else payload.pack)
        if isinstance(payload, ShipmentSent) and any(line.node in self.kept_back for line in payload.lines):
            self.kept_back.add(payload.shipment)
            return True
        if isinstance(payload, GoodsReturned):
            return payload.shipment in self.kept_back
        return isinstance(payload, LotDispatched) and payload.lot in self.refused

    def _bring(self, one: Mapping[str, Any]) -> None:
        at = datetime.fromisoformat(one["downloaded_at"])
        said = watch.Said(room=one["room"], answers=one["answers"])
        data = self.demo.logger_file(one["file"])
        entry, by = self.demo.entry_id(at, one["file"]), Stamp("ilo", "office", at)
        taken = watch.import_file(self.house, by, one["file"], data, said, entry_id=entry)
        if taken.status != "stored":
            raise StoreError(
                say("a logger file of the demo house was not taken"), got=one["file"], allowed=taken.words
            )

    def _sign(self, one: Mapping[str, Any]) -> None:
        at, lot, person = datetime.fromisoformat(one["at"]), one["lot"], one["person"]
        try:
            said, permit, _ = release.permit(self.house, lot, one["market"], person, at)
        except RuleBroken as refusal:
            self.refused[lot] = refusal.message
            return
        draft = Draft(self.demo.entry_id(at, "release", lot), said, at)
        enter(self.house, Stamp(person, "office", at), [draft], [permit])
        self.entered += 1
        self.released.append(lot)


def _recorded(draft: Draft) -> datetime:
    return draft.recorded_at or draft.happened_at


def enter(house: House, by: Stamp, drafts: Sequence[Draft], permits: Sequence[ReleasePermit] = ()) -> None:
    """Enter drafts in one commit; a reading the house asks about is looked at again and kept.

    Raises:
        StoreError: the first one that was not taken, with the reason.
    """
    receipts = record.enter(house, by, drafts, permits=permits)
    asked = [draft for draft, receipt in zip(drafts, receipts, strict=True) if receipt.status == "ask"]
    # Another seed's year may hold a loss larger than expected; whoever stood at the scale keeps it.
    kept = [replace(draft, payload=replace(draft.payload, kept=1)) for draft in asked]
    again = (
        dict(zip([draft.id for draft in kept], record.enter(house, by, kept), strict=True)) if kept else {}
    )
    for draft, first in zip(drafts, receipts, strict=True):
        receipt = again.get(draft.id, first)
        if receipt.status != "stored":
            raise StoreError(
                say("the demo files hold an entry the house does not take"),
                got=f"{type(draft.payload).__name__} {draft.id}",
                allowed=receipt.words,
            )


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
