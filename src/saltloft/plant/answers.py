"""What the morning's questions are answered with: one lot's outlook, one day's sheet, one room now.

Jobs fill these, doors and papers show them. Nothing in here is computed or
worded; `sentences.py` puts them into words.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from saltloft.plant.checks.verdict import Outcome, Verdict
from saltloft.process.result import DryingForecast

ITEM_KINDS = ("worry", "due", "ready", "make")


@dataclass(frozen=True)
class MeasuredPoint:
    """One weighing as a loss, with the error it carries.

    Args:
        day: float. From stuffing. [d]
        value: float. The reading, such as a weight loss. [%]
        low: float. Value less two standard errors. [%]
        high: float. Value plus two standard errors. [%]
        pieces: int. How many pieces it is the mean of.
        entries: tuple of str. Ids of the journal entries it was computed from.
    """

    day: float
    value: float
    low: float
    high: float
    pieces: int
    entries: tuple[str, ...]


@dataclass(frozen=True)
class AirGap:
    """A stretch of a room's air for which no reading counts.

    Args:
        start_d: float. From the lot's stuffing. [d]
        end_d: float. From the lot's stuffing. [d]
        words: str. What was assumed instead.
    """

    start_d: float
    end_d: float
    words: str


@dataclass(frozen=True)
class AirRecord:
    """The air a lot hung in, as logged, thinned with its extremes kept.

    Args:
        time_d: tuple of float. From the lot's stuffing. [d]
        temperature_c: tuple of float. [degC]
        rh_pct: tuple of float. [%RH]
        gaps: tuple of AirGap.
        batches: tuple of str. Sealed batches the readings came from.
    """

    time_d: tuple[float, ...]
    temperature_c: tuple[float, ...]
    rh_pct: tuple[float, ...]
    gaps: tuple[AirGap, ...] = ()
    batches: tuple[str, ...] = ()


@dataclass(frozen=True)
class LotOutlook:
    """When one lot will be where its curer wants it, and what that rests on.

    Args:
        lot: str.
        product: str.
        title: str. The product's name on papers.
        asof: datetime, aware. Only what was recorded before is used.
        zone: str. IANA zone in which its days are shown.
        stuffed_at: datetime, aware. Day 0 of the computation.
        hung_at: datetime, aware. Day 0 of what people read.
        target_name: str. Such as 'weight_loss_pct'.
        target_value: float. In the target's own unit.
        weighings: tuple of MeasuredPoint.
        air: AirRecord.
        result: DryingForecast.
        used_entries: tuple of str. Journal entries the computation used.
        prior: str. Name and version of the prior.
        model: str. Name and version of the model.
        key: str. Digest under which it is kept.
        promise: bool. False when the air is by set points only: then no date is promised.
        hanging: bool. False once the lot is off the racks; `asof` is then that moment.
    """

    lot: str
    product: str
    title: str
    asof: datetime
    zone: str
    stuffed_at: datetime
    hung_at: datetime
    target_name: str
    target_value: float
    weighings: tuple[MeasuredPoint, ...]
    air: AirRecord
    result: DryingForecast
    used_entries: tuple[str, ...]
    prior: str
    model: str
    key: str
    promise: bool = True
    hanging: bool = True

    @property
    def hang_offset_d(self) -> float:
        """Days from stuffing to hanging; what people read counts from hanging. [d]"""
        return (self.hung_at - self.stuffed_at).total_seconds() / 86400.0

    @property
    def age_d(self) -> float:
        """Days from stuffing to `asof`. [d]"""
        return (self.asof - self.stuffed_at).total_seconds() / 86400.0


@dataclass(frozen=True)
class HazardStand:
    """How one hazard of the product's plan stands for one lot.

    Args:
        hazard: str. Key such as 'listeria_monocytogenes'.
        outcome: Outcome. MET only when a route applies, is met, and rests on confirmed facts.
        verdicts: tuple of Verdict. Every rule that speaks to it.
        documents: tuple of str. Entry ids of documents that cover this lot.
        left_out_reason: str. Signed reason when the plan leaves it out.
        words: str. Why it stands as it does.
    """

    hazard: str
    outcome: Outcome
    verdicts: tuple[Verdict, ...]
    documents: tuple[str, ...] = ()
    left_out_reason: str = ""
    words: str = ""

    @property
    def is_open(self) -> bool:
        """Neither met, nor covered by a document, nor left out by signature; 'not met' is always open."""
        if self.outcome is Outcome.NOT_MET:
            return True
        return self.outcome is not Outcome.MET and not self.documents and not self.left_out_reason


@dataclass(frozen=True)
class LotJudgement:
    """Every hazard and rule of one lot at one moment.

    Args:
        lot: str.
        at: datetime, aware.
        hazards: tuple of HazardStand.
        names: tuple of Verdict. Moisture:protein, under 'name of the product'.
        other: tuple of Verdict. What release needs besides hazards: holds, instruments.
        releasable: bool. No hazard open, nothing else in the way.
        open: tuple of str. What stands in the way, in words, one each.
    """

    lot: str
    at: datetime
    hazards: tuple[HazardStand, ...]
    names: tuple[Verdict, ...]
    other: tuple[Verdict, ...]
    releasable: bool
    open: tuple[str, ...]

    @property
    def open_hazards(self) -> tuple[str, ...]:
        """Keys of the hazards that stand in the way of release."""
        return tuple(stand.hazard for stand in self.hazards if stand.is_open)


@dataclass(frozen=True)
class DayItem:
    """One line of the morning: what it is about, the number, why, and where it comes from.

    Args:
        kind: str. One of ITEM_KINDS.
        subject: str. The lot, room, instrument or product.
        number: float or None. The number asked for, in `unit`.
        unit: str.
        because: str. One sentence.
        sources: tuple of str. Entry ids, batch ids and fact keys of every number in it.
    """

    kind: str
    subject: str
    number: float | None
    unit: str
    because: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class RoomNow:
    """One room at one moment: its air, what it was set to, what hangs there.

    Args:
        room: str.
        role: str.
        read_at: datetime or None. Moment of the last reading that counts.
        temperature_c: float or None. [degC]
        rh_pct: float or None. [%RH]
        set_temperature_c: float or None. [degC]
        set_rh_pct: float or None. [%RH]
        load_kg: float. Present weight by the last weighings, else green weight. [kg]
        capacity_kg: int. 0 when not known. [kg]
        lots: tuple of str.
        longest_gap_min: float. Longest gap in the last 24 h. [min]
        lowest_rh_pct, highest_rh_pct: float or None. Of the last 24 h. [%RH]
        highest_temperature_c: float or None. Of the last 24 h. [degC]
        expected: str. One sentence: whether this is as it was set.
        state: str. 'look' when it is not, else ''.
        away: float or None. The number that makes it worth a look, in `away_unit`.
        away_unit: str.
        sources: tuple of str.
    """

    room: str
    role: str
    read_at: datetime | None
    temperature_c: float | None
    rh_pct: float | None
    set_temperature_c: float | None
    set_rh_pct: float | None
    load_kg: float
    capacity_kg: int
    lots: tuple[str, ...]
    longest_gap_min: float
    lowest_rh_pct: float | None
    highest_rh_pct: float | None
    highest_temperature_c: float | None
    expected: str
    state: str
    away: float | None
    away_unit: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class HamLine:
    """One ham group on the day sheet; its ripeness is not computed by this version.

    Args:
        lot: str.
        title: str.
        legs: int.
        room: str.
        days: int. Since salting. [d]
        state: str. 'in salt, out Fri 6 Nov' and the like, in words.
        loss_pct: float or None. By the last group weighing against the green mass. [%]
        sources: tuple of str.
    """

    lot: str
    title: str
    legs: int
    room: str
    days: int
    state: str
    loss_pct: float | None
    sources: tuple[str, ...]


@dataclass(frozen=True)
class FreshLine:
    """One fresh batch on the day sheet; its keeping time is entered by a person, never computed.

    Args:
        lot: str.
        title: str.
        mass_kg: float. [kg]
        core_temperature_c: float or None. Last read. [degC]
        use_by: str. ISO day; empty before packing.
        left_kg: float. Packed less dispatched; made mass before packing. [kg]
        sources: tuple of str.
    """

    lot: str
    title: str
    mass_kg: float
    core_temperature_c: float | None
    use_by: str
    left_kg: float
    sources: tuple[str, ...]


@dataclass(frozen=True)
class YieldRow:
    """Kilograms in and out of one lot, and its loss against what was expected.

    Args:
        lot: str.
        title: str.
        in_kg: float. Stuffed mass hung. [kg]
        out_kg: float or None. Off the racks so far; None when nothing came off. [kg]
        loss_pct: float or None. Measured: from out_kg when complete, else from weighings. [%]
        expected_low_pct, expected_pct, expected_high_pct: float or None. Computed for today. [%]
        basis: str. 'out', 'weighings' or ''.
        sources: tuple of str.
    """

    lot: str
    title: str
    in_kg: float
    out_kg: float | None
    loss_pct: float | None
    expected_low_pct: float | None
    expected_pct: float | None
    expected_high_pct: float | None
    basis: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class JournalHead:
    """The end of the chain at the moment a paper was made.

    Args:
        seq: int. Number of the last entry.
        hash: str. Its SHA-256, hexadecimal.
        recorded_at: datetime, aware.
    """

    seq: int
    hash: str
    recorded_at: datetime


@dataclass(frozen=True)
class HouseFace:
    """What every paper says about the house it comes from.

    Args:
        name: str.
        zone: str. IANA zone.
        demo: bool. The invented house.
        head: JournalHead.
    """

    name: str
    zone: str
    demo: bool
    head: JournalHead


@dataclass(frozen=True)
class DaySheet:
    """Everything the morning sheet says.

    Args:
        house: HouseFace.
        day: date. In the house's zone.
        at: datetime, aware. The moment taken as now.
        items: tuple of DayItem, most pressing first within each kind.
        rooms: tuple of RoomNow.
        lots: tuple of LotOutlook. Hanging lots, by expected ready day.
        yields: tuple of YieldRow.
        hams: tuple of HamLine.
        fresh: tuple of FreshLine.
    """

    house: HouseFace
    day: date
    at: datetime
    items: tuple[DayItem, ...]
    rooms: tuple[RoomNow, ...]
    lots: tuple[LotOutlook, ...]
    yields: tuple[YieldRow, ...]
    hams: tuple[HamLine, ...] = ()
    fresh: tuple[FreshLine, ...] = ()

    def of_kind(self, kind: str) -> tuple[DayItem, ...]:
        """The items of one kind, in order."""
        return tuple(item for item in self.items if item.kind == kind)
