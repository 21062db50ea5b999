"""What has to be computed again, noticed from the journal and done by the worker.

Nobody has to remember to ask: the worker reads on in the journal from where it
stopped, and every weighing, pH, move or import makes the items it calls for.
Items are idempotent; one whose worker died is taken again.

    while queue.work_once(house, handlers, clock()): ...
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from saltloft.cases import kept_day, kept_outlook
from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import SaltloftError
from saltloft.plant.answers import DaySheet, LotOutlook
from saltloft.plant.canonical import read_canonical
from saltloft.plant.entries import decode
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.readings import ReadingsSealed
from saltloft.store.journal import Entry
from saltloft.store.kept import KeptResult
from saltloft.store.work import WorkItem

FORECAST, DAY, DRAW, EXPLAIN = "forecast", "day", "draw", "explain"
CURSOR_KEY = "queue-cursor"
DAY_SUBJECT = "house"
PAGE = 500

# Kinds after which a lot's own forecast is out of date.
LOT_KINDS = frozenset(
    {
        "lot.made/1",
        "lot.hung/1",
        "lot.moved/1",
        "piece.weighed/1",
        "piece.measured/1",
        "ph.read/1",
        "water_activity.read/1",
        "lot.analysed/1",
        "entry.corrected/1",
        "lot.yielded/1",
    }
)
PRODUCT_KINDS = frozenset({"product.ready/1"})
ROOM_KINDS = frozenset({"room.set/1", "readings.sealed/1", "readings.voided/1"})

Handler = Callable[[OpenHouse, str, Mapping[str, str]], None]


@dataclass(frozen=True)
class QueueState:
    """How the queue stands.

    Args:
        waiting, running, done, failed: int. Items in each state.
        behind: int. Journal entries not looked at yet.
    """

    waiting: int
    running: int
    done: int
    failed: int
    behind: int


def ask(house: OpenHouse, sort: str, subject: str, now: datetime) -> None:
    """Queue one item; asking twice for what already waits changes nothing.

    Args:
        house: OpenHouse.
        sort: str. FORECAST, DAY, DRAW or EXPLAIN.
        subject: str. The lot, or DAY_SUBJECT.
        now: datetime, aware. The worker's clock, not the demo house's moment.
    """
    house.store.work.add(sort, subject, now)


def open_for(house: OpenHouse, sort: str, subject: str) -> bool:
    """True while it waits or runs: pages say 'being recomputed'."""
    return house.store.work.open_for(sort, subject)


def state(house: OpenHouse) -> QueueState:
    """How many items are in each state, and how far the journal was read."""
    counts = house.store.work.counts()
    return QueueState(
        waiting=counts.get("waiting", 0),
        running=counts.get("running", 0),
        done=counts.get("done", 0),
        failed=counts.get("failed", 0),
        behind=_head(house) - (_cursor(house) or 0),
    )


def recover(house: OpenHouse) -> int:
    """Put back what a worker that died had taken; for the start of the one worker.

    Returns:
        int. How many items.
    """
    return house.store.work.recover()


def notice(house: OpenHouse, now: datetime) -> int:
    """Read on in the journal and queue what the new entries call for.

    Without a place to read on from (a new house, or after `rebuild`) every
    hanging lot and the day are asked for.

    Returns:
        int. How many journal entries were looked at.
    """
    head, cursor = _head(house), _cursor(house)
    if cursor is not None and cursor >= head:
        return 0
    lots: set[str] = set()
    if cursor is None:
        lots = set(forecast_lots(house))
    else:
        # Hundreds of weighings of one lot call for one forecast, and for one look at it.
        seen: set[str] = set()
        for entry in _entries_after(house, cursor):
            own = entry.kind in LOT_KINDS
            if not (own and entry.subject in seen):
                lots |= _lots_of(house, entry)
            if own:
                seen.add(entry.subject)
    day = (DAY, DAY_SUBJECT)
    asked = [*([day] if cursor is None else []), *((FORECAST, lot) for lot in sorted(lots)), day]
    house.store.work.add_all(asked, now)
    house.store.kept.put(KeptResult(CURSOR_KEY, "cursor", "journal", now, str(head).encode()))
    return head - (cursor or 0)


def work_once(house: OpenHouse, handlers: Mapping[str, Handler], now: datetime) -> WorkItem | None:
    """Do the oldest item; None when there is nothing to do.

    A SaltloftError fails the item with its words; any other error leaves it to
    be taken again until its tries are used up.

    Args:
        house: OpenHouse.
        handlers: mapping of sort to Handler.
        now: datetime, aware.
    """
    item = house.store.work.take(now)
    if item is None:
        return None
    handler = handlers.get(item.sort)
    if handler is None:
        house.store.work.fail(item.number, now, f"no handler for '{item.sort}'")
        return item
    try:
        handler(house, item.subject, item.body)
    except SaltloftError as error:
        house.store.work.fail(item.number, now, error.message)
    except Exception:
        house.store.work.release(item.number)
        raise
    else:
        house.store.work.done(item.number, now)
    return item


def keep_day(house: OpenHouse, language: str, day: DaySheet, now: datetime) -> None:
    """Keep the day sheet of one language for the pages."""
    key = f"day:{language}:{day.house.head.seq}:{now.timestamp():.0f}"
    house.store.kept.put(KeptResult(key, kept_day.SORT, language, now, kept_day.to_bytes(day)))


def newest_day(house: OpenHouse, language: str) -> str:
    """The key of the last kept day sheet of a language; empty when there is none."""
    found = house.store.kept.latest(kept_day.SORT, language)
    return "" if found is None else found.key


def day(house: OpenHouse, key: str) -> DaySheet | None:
    """A kept day sheet; None when it is gone, or was written by another version."""
    found = house.store.kept.get(key)
    if found is None:
        return None
    try:
        return kept_day.from_bytes(found.body)
    except (TypeError, KeyError):
        return None


def forecast_lots(house: OpenHouse) -> tuple[str, ...]:
    """The hanging lots this version forecasts, by when they were made."""
    return tuple(record.lot for record in house.store.lots.hanging() if _forecast(record))


def outlook(house: OpenHouse, lot: str) -> LotOutlook | None:
    """The last forecast kept for a lot; None while there is none."""
    found = house.store.kept.latest(kept_outlook.SORT, lot)
    return None if found is None else kept_outlook.from_bytes(found.body)


def languages(house: OpenHouse) -> tuple[str, ...]:
    """Every language somebody of the house reads, English always."""
    spoken = {record.added.payload.language for record in house.store.people.all()}
    return tuple(sorted({"en", *spoken}))


def drawing_key(outlook_key: str, name: str, language: str) -> str:
    """The key under which one chart of one outlook is kept in one language."""
    return f"{outlook_key}:{name}:{language}"


def keep_drawing(house: OpenHouse, key: str, lot: str, svg: str, now: datetime) -> None:
    """Keep a drawn chart beside the result it shows."""
    sort = "drawing:" + key.partition(":")[2]
    house.store.kept.put(KeptResult(key, sort, lot, now, svg.encode()))


def drawing(house: OpenHouse, key: str) -> str | None:
    """A kept chart as SVG text; None when it was not drawn yet."""
    found = house.store.kept.get(key)
    return None if found is None else found.body.decode()


def _cursor(house: OpenHouse) -> int | None:
    found = house.store.kept.get(CURSOR_KEY)
    return None if found is None else int(found.body)


def _head(house: OpenHouse) -> int:
    head = house.store.head()
    return 0 if head is None else head.seq


def _entries_after(house: OpenHouse, cursor: int) -> Iterator[Entry]:
    """Entries newer than the cursor, newest first, a page at a time."""
    before = None
    while True:
        page = house.store.entries(before, PAGE)
        yield from (entry for entry in page if entry.seq > cursor)
        if len(page) < PAGE or page[-1].seq <= cursor:
            return
        before = page[-1].seq


def _lots_of(house: OpenHouse, entry: Entry) -> set[str]:
    """The hanging lots whose forecast one entry makes out of date."""
    if entry.kind in LOT_KINDS:
        record = house.store.lots.find(entry.subject)
        return {record.lot} if record is not None and _forecast(record) else set()
    if entry.kind in PRODUCT_KINDS:
        made = (record for record in house.store.lots.hanging() if record.product == entry.subject)
        return {record.lot for record in made if _forecast(record)}
    if entry.kind not in ROOM_KINDS:
        return set()
    hanging = [record for record in house.store.lots.hanging() if _forecast(record)]
    if entry.kind == "readings.voided/1":
        return {record.lot for record in hanging}
    payload = decode(entry.kind, read_canonical(entry.body))
    if isinstance(payload, ReadingsSealed):
        rooms = {name.split("/", 1)[0] for name in payload.series}
    else:
        rooms = {payload.room}
    return {record.lot for record in hanging if rooms & {stay.room for stay in record.rooms}}


def _forecast(record: LotRecord) -> bool:
    """Whether this version forecasts such a lot."""
    return record.hanging and record.family == "dry_sausage"
