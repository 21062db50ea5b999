"""What the floor owes a lot today: which pieces to weigh again, and when pH is read next.

The intervals are common practice, no source: sentinel pieces every few days
while young, weekly when old; pH from the first night until the core is there.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from saltloft.plant.lot_record import LotRecord
from saltloft.plant.readings import PieceWeighed
from saltloft.plant.stated import Stated

YOUNG = timedelta(days=14)
WEIGH_YOUNG = timedelta(days=3)
WEIGH_OLD = timedelta(days=7)
FIRST_PH = timedelta(hours=16)
NEXT_PH = timedelta(hours=8)
PH_FOR = timedelta(days=6)
PH_DONE = 5.3
# A piece may look up to this much heavier than last time before it is asked about, and this much
# lighter a day and at once (common practice, no source; wide enough for a first hot week).
HEAVIER = 0.01
LIGHTER_AT_ONCE = 0.04
LIGHTER_A_DAY = 0.035


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
    lost = min(LIGHTER_AT_ONCE + LIGHTER_A_DAY * days, 0.6)
    return TaggedPiece(tag, net, item.at, net * (1.0 - lost), net * (1.0 + HEAVIER))


def _tag_order(tag: str) -> tuple[int, str]:
    return (int(tag) if tag.isdigit() else 10**9, tag)


def floor_tasks(record: LotRecord, now: datetime) -> tuple[FloorTask, ...]:
    """What is due for one hanging lot at a moment.

    Args:
        record: LotRecord.
        now: datetime, aware.
    """
    if not record.hanging or record.family != "dry_sausage" or record.hung_at is None:
        return ()
    tasks = [task for task in (_weighing(record, now), _ph(record, now)) if task is not None]
    return tuple(task for task in tasks if task.due_at <= now)


def _weighing(record: LotRecord, now: datetime) -> FloorTask:
    hung = record.hung_at or record.made_at
    last = max((item.at for item in record.weighings), default=None)
    interval = WEIGH_YOUNG if now - hung < YOUNG else WEIGH_OLD
    due = hung if last is None else last + interval
    return FloorTask("weigh", record.lot, record.room, record.racks, due, tagged_pieces(record, now), last)


def _ph(record: LotRecord, now: datetime) -> FloorTask | None:
    core = [item for item in record.ph_sets if item.payload.where == "core"]
    if core and max(float(value) for value in core[-1].payload.values) <= PH_DONE:
        return None
    if now - record.made_at > PH_FOR:
        return None
    last = core[-1].at if core else None
    due = record.made_at + FIRST_PH if last is None else last + NEXT_PH
    return FloorTask("ph", record.lot, record.room, record.racks, due, (), last)
