"""One entry form of the floor as its template needs it: what, where, which pieces, which instrument."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from saltloft.foundation.errors import SaltloftError
from saltloft.foundation.units import MILLIGRAMS
from saltloft.foundation.words import say, say_many
from saltloft.jobs.floor import Hanging, Tare
from saltloft.plant.readings import PH_PLACES
from saltloft.plant.rounds import FloorTask, TaggedPiece
from saltloft.plant.sentences import list_words
from saltloft.plant.trade_words import ph_place_word
from saltloft.web.quantities import Units, plain

# Outside of this a pH meter shows a fault, not meat (common practice, no source).
PH_LOW, PH_HIGH = 4.2, 6.8


@dataclass(frozen=True)
class PieceChip:
    """One tagged piece to choose.

    Args:
        tag: str.
        last: str. Last weight as shown, with its unit.
        low, high: float or None. Range in the shown unit beyond which the floor is asked.
    """

    tag: str
    last: str
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Choice:
    """One of a few answers, such as where a pH was taken."""

    value: str
    word: str


@dataclass(frozen=True)
class EntryJob:
    """What one entry form shows and sends.

    Args:
        sort: str. 'weigh' or 'ph'; last part of the form's address.
        kind: str. Entry kind it makes.
        lot, rack, place: str. Place in words.
        key: str. Names the job on the device, so that a finished one is not shown again.
        entry_id: str. Id used when the form is sent without script.
        verb, why, number_word: str. Words.
        unit, unit_word: str.
        instruments: tuple of str. Names to choose from; `instrument` is chosen.
        tags: tuple of PieceChip; `tag` is chosen.
        tares: tuple of Choice. What may hang on the scale besides: 'number unit' and in words.
        choices: tuple of Choice, sent as `choice_name`; `choice` is chosen.
        low, high: float or None, last: str. As for a piece, when there are no tags.
        set: bool. True when several readings are taken together.
        typed, listed, problem, question, stored: what comes back when it was sent without script.
    """

    sort: str
    kind: str
    lot: str
    rack: str
    place: str
    key: str
    entry_id: str
    verb: str
    why: str
    number_word: str
    unit: str
    unit_word: str
    instruments: tuple[str, ...]
    instrument: str
    instrument_word: str
    tags: tuple[PieceChip, ...] = ()
    tag: str = ""
    choices: tuple[Choice, ...] = ()
    choice_name: str = ""
    choice_word: str = ""
    choice: str = ""
    tares: tuple[Choice, ...] = ()
    low: float | None = None
    high: float | None = None
    last: str = ""
    set: bool = False
    typed: str = ""
    listed: tuple[str, ...] = ()
    problem: SaltloftError | None = None
    question: str = ""
    stored: str = ""

    @property
    def page(self) -> str:
        """The address of this form, for mending an entry later."""
        return f"/enter/{self.sort}?{urlencode({'lot': self.lot})}"

    @property
    def chosen_last(self) -> str:
        """The last weight of the chosen piece, as shown."""
        chosen = [piece for piece in self.tags if piece.tag == self.tag] or list(self.tags[:1])
        return chosen[0].last if chosen else ""

    @property
    def cant(self) -> str:
        """Query of the 'can't' page."""
        return urlencode({"sort": self.sort, "lot": self.lot})


def tare_choices(tares: Sequence[Tare]) -> tuple[Choice, ...]:
    """Racks, trolleys and hooks as choices of a weighing form."""
    masses = [(tare.carrier, tare.last.payload.mass) for tare in tares]
    return tuple(
        Choice(f"{mass.number} {mass.unit}", f"{carrier}: {mass.number} {mass.unit}")
        for carrier, mass in masses
    )


def weigh_job(
    lot: Hanging,
    units: Units,
    scales: Sequence[str],
    entry_id: str,
    why: str = "",
    *,
    tares: tuple[Choice, ...] = (),
) -> EntryJob:
    """The weighing form of one lot."""
    chips = tuple(_chip(piece, units) for piece in lot.pieces)
    return EntryJob(
        sort="weigh",
        kind="piece.weighed/1",
        lot=lot.lot,
        rack=lot.racks[0] if len(lot.racks) == 1 else "",
        place=place_words(lot),
        key=f"weigh:{lot.lot}",
        entry_id=entry_id,
        verb=say_many("Weigh {count} piece", "Weigh {count} pieces", len(chips)) if chips else say("Weigh"),
        why=why,
        number_word=say("Weight as the scale shows it"),
        unit=units.mass,
        unit_word=units.mass,
        instruments=tuple(scales),
        instrument=lot.scale if lot.scale in scales else next(iter(scales), ""),
        instrument_word=say("Scale"),
        tags=chips,
        tares=tares,
    )


def ph_job(lot: Hanging, meters: Sequence[str], entry_id: str, why: str = "") -> EntryJob:
    """The pH form of one lot: a set of readings taken together, and where."""
    return EntryJob(
        sort="ph",
        kind="ph.read/1",
        lot=lot.lot,
        rack="",
        place=place_words(lot),
        key=f"ph:{lot.lot}",
        entry_id=entry_id,
        verb=say("Read pH"),
        why=why,
        number_word=say("pH, one piece after the other"),
        unit="",
        unit_word=say("pH"),
        instruments=tuple(meters),
        instrument=lot.meter if lot.meter in meters else next(iter(meters), ""),
        instrument_word=say("Meter"),
        choices=tuple(Choice(place, ph_place_word(place)) for place in PH_PLACES),
        choice_name="where",
        choice_word=say("What was measured"),
        choice="core",
        low=PH_LOW,
        high=PH_HIGH,
        last="" if lot.last_ph is None else plain(lot.last_ph, 2),
        set=True,
    )


def place_words(lot: Hanging) -> str:
    """'Room D1, racks 3, 4'."""
    if not lot.racks:
        return say("Room {room}", room=lot.room)
    return say("Room {room}, rack {racks}", room=lot.room, racks=list_words(lot.racks))


def why_words(task: FloorTask, last: str, due: str) -> str:
    """Why a task is due."""
    if task.last_at is None:
        return say("Not done yet; due {due}.", due=due)
    return say("Last {last}; due {due}.", last=last, due=due)


def with_answer(job: EntryJob, **values: object) -> EntryJob:
    """The same form with what came back from the server."""
    return replace(job, **values)  # type: ignore[arg-type]


def _chip(piece: TaggedPiece, units: Units) -> PieceChip:
    kilograms = 1e6 / float(MILLIGRAMS[units.mass])
    return PieceChip(
        piece.tag,
        f"{plain(piece.last_kg * kilograms, 2)} {units.mass}",
        round(piece.low_kg * kilograms, 3),
        round(piece.high_kg * kilograms, 3),
    )
