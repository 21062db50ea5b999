"""What the floor owes a lot today: which pieces to weigh again, and when pH is read next.

The intervals are common practice, no source: sentinel pieces every few days
while young, weekly when old; pH from the first night until the core is there.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from decimal import Decimal

from saltloft.plant.lot_record import LotRecord
from saltloft.plant.readings import PieceWeighed
from saltloft.plant.stated import Stated

YOUNG = timedelta(days=14)
WEIGH_YOUNG = timedelta(days=3)
WEIGH_OLD = timedelta(days=7)
FIRST_PH = timedelta(hours=16)
NEXT_PH = timedelta(hours=10)
PH_DONE = Decimal("5.3")
# A piece may look up to this much heavier than last time before it is asked about, and this much
# lighter a day and at once (common practice, no source; wide enough for a first hot week).
HEAVIER = 0.02
LIGHTER_AT_ONCE = 0.03
LIGHTER_A_DAY = 0.04


@dataclass(frozen=True)
class TaggedPiece:
    """A tagged piece and what its next weighing is expected to say.

    Args:
        tag: str.
        last_kg: float. Net, by its last weighing. [kg]
        last_at: datetime, aware.
        low_kg, high_kg: float. Outside of this the floor is asked before it is kept. [kg]
    """

    tag: str
    last_kg: float
    last_at: datetime
    low_kg: float
    high_kg: float


@dataclass(frozen=True)
class FloorTask:
    """One thing to do at one rack.

    Args:
        sort: str. 'weigh' or 'ph'.
        lot: str.
        room: str. Where it hangs.
        racks: tuple of str.
        due_at: datetime, aware.
        pieces: tuple of TaggedPiece. Weigh these; empty when no piece is tagged.
        last_at: datetime or None. When it was last done.
    """

    sort: str
    lot: str
    room: str
    racks: tuple[str, ...]
    due_at: datetime
    pieces: tuple[TaggedPiece, ...] = ()
    last_at: datetime | None = None


def tagged_pieces(record: LotRecord, now: datetime) -> tuple[TaggedPiece, ...]:
    """The lot's tagged pieces by tag, each with its last weight and the range expected now."""
    last: dict[str, Stated[PieceWeighed]] = {}
    for item in record.weighings:
        if item.payload.tag and (item.payload.tag not in last or item.at >= last[item.payload.tag].at):
            last[item.payload.tag] = item
    return tuple(_piece(tag, last[tag], now) for tag in sorted(last, key=_tag_order))


def _piece(tag: str, item: Stated[PieceWeighed], now: datetime) -> TaggedPiece:
    net = item.payload.mass.kg - (item.payload.tare.kg if item.payload.tare else 0.0)
    days = max((now - item.at).total_seconds() / 86400.0, 0.0)
    lost = min(LIGHTER_AT_ONCE + LIGHTER_A_DAY * days, 0.65)
    return TaggedPiece(tag, net, item.at, net * (1.0 - lost), net * (1.0 + HEAVIER))


def _tag_order(tag: str) -> tuple[int, str]:
    return (int(tag) if tag.isdigit() else 10**9, tag)


def next_weighing_at(record: LotRecord) -> datetime:
    """When a hanging lot is to be weighed next: every third day while young, weekly when old.

    A round counts when all its tagged pieces are in; a piece that missed a whole round is taken
    as gone.
    """
    weighed = [item for item in record.weighings if not item.payload.green]
    last = weighed[-1].at if weighed else (record.hung_at or record.made_at)
    every = WEIGH_YOUNG if last - record.made_at < YOUNG else WEIGH_OLD
    by_tag = {item.payload.tag: item.at for item in weighed if item.payload.tag}
    still_there = [at for at in by_tag.values() if at >= last - every - timedelta(days=1)]
    return min(still_there, default=last) + every


def next_ph_at(record: LotRecord) -> datetime | None:
    """When a fermenting lot's core is read next; None once a whole core set is at or under pH 5.3."""
    core = [item for item in record.ph_sets if item.payload.where == "core"]
    if not core:
        return (record.hung_at or record.made_at) + FIRST_PH
    if max(core[-1].payload.values) <= PH_DONE:
        return None
    return core[-1].at + NEXT_PH


def floor_tasks(record: LotRecord, now: datetime, zone: tzinfo, *, ferments: bool) -> tuple[FloorTask, ...]:
    """What is due for one hanging lot until the end of the day.

    Args:
        record: LotRecord.
        now: datetime, aware.
        zone: tzinfo. In which days are counted.
        ferments: bool. True while it hangs in a fermenting room.
    """
    if not record.hanging or record.family != "dry_sausage":
        return ()
    today = now.astimezone(zone).date()
    found = []
    ph_at = next_ph_at(record) if ferments else None
    if ph_at is not None and ph_at.astimezone(zone).date() <= today:
        last = max((item.at for item in record.ph_sets if item.payload.where == "core"), default=None)
        found.append(FloorTask("ph", record.lot, record.room, record.racks, ph_at, (), last))
    weigh_at = next_weighing_at(record)
    if weigh_at.astimezone(zone).date() <= today:
        last = max((item.at for item in record.weighings if not item.payload.green), default=None)
        pieces = tagged_pieces(record, now)
        found.append(FloorTask("weigh", record.lot, record.room, record.racks, weigh_at, pieces, last))
    return tuple(found)
