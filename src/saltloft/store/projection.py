"""The reading tables: what each journal entry changes in them, and how they are built anew.

A subject's rows are always computed from all of its entries that can change
them, so that adding one entry and rebuilding everything cannot give different
rows; measurements change nothing but the number of the last entry.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Connection, Table, delete, select
from sqlalchemy import update as update_rows

from saltloft.plant.entries import KINDS
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.lot_story import lot_record
from saltloft.plant.readings import ReadingsSealed, ReadingsVoided
from saltloft.plant.stated import Stated, counting
from saltloft.store import flow_projection, journal
from saltloft.store.descent import Lines
from saltloft.store.journal import CORRECTION, Entry
from saltloft.store.migrate import make_empty_built
from saltloft.store.moments import to_text
from saltloft.store.stating import stated
from saltloft.store.tables import batch_now, batch_number, built, lot_link, lot_now, lot_room, node_now

LOT_PREFIXES = (
    "lot.",
    "hold.",
    "fresh.",
    "ham.",
    "piece.",
    "ph.",
    "water_activity.",
    "rack.",
    "lots.",
    "counter.",
)
BATCH_PREFIXES = ("readings.",)
BUILT_TABLES: tuple[Table, ...] = (built, lot_now, lot_room, lot_link, node_now, batch_now)
# A measurement changes nothing in a lot's row but the number of its last entry.
MEASURING_PREFIXES = (
    "piece.weighed",
    "piece.measured",
    "ph.read",
    "water_activity.read",
    "lot.pressed_and_cut",
    "lot.analysed",
    "ham.weighed",
)
# Every other kind: what a lot's rows follow from.
NOT_MEASURING = tuple(kind for kind in KINDS if not kind.startswith(MEASURING_PREFIXES))
_SUBJECTS_AT_ONCE = 200


def update(connection: Connection, entries: Iterable[Entry]) -> None:
    """Bring the reading tables up to entries just appended, in the same transaction."""
    entries = list(entries)
    last: dict[str, int] = {}
    whole: set[str] = set()
    for entry in entries:
        if _shows(entry.kind):
            last[entry.subject] = entry.seq
            if not entry.kind.startswith(MEASURING_PREFIXES):
                whole.add(entry.subject)
    for lot in sorted(last.keys() - whole):
        connection.execute(update_rows(lot_now).where(lot_now.c.lot == lot).values(last_seq=last[lot]))
    whole |= flow_projection.update(connection, entries)
    # A hold on a lot holds its parts; so does everything else that is stated about the whole.
    whole |= flow_projection.descendants(connection, whole)
    _project_all(connection, sorted(whole))


def rebuild(connection: Connection) -> int:
    """Drop the reading tables, and build them again from the journal alone.

    Returns:
        int. How many subjects were projected.
    """
    make_empty_built(connection)
    subjects = set(journal.subjects_of(connection, [kind for kind in KINDS if _shows(kind)]))
    flow_projection.rebuild(connection)
    # A part of a split lot may have no entry of its own.
    subjects |= set(connection.execute(select(node_now.c.node).where(node_now.c.sort == "lot")).scalars())
    _project_all(connection, sorted(subjects), fresh=True)
    return len(subjects)


def rows(connection: Connection) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every reading table, sorted: what a rebuild must give again."""
    return {
        table.name: sorted(tuple(row) for row in connection.execute(select(table))) for table in BUILT_TABLES
    }


def _shows(kind: str) -> bool:
    return kind == CORRECTION or kind.startswith(LOT_PREFIXES + BATCH_PREFIXES)


def _project_all(connection: Connection, subjects: Sequence[str], fresh: bool = False) -> None:
    for start in range(0, len(subjects), _SUBJECTS_AT_ONCE):
        chunk = subjects[start : start + _SUBJECTS_AT_ONCE]
        tied = flow_projection.tied(connection, chunk)
        lines = Lines(connection, tied)
        for lot in tied:
            record = lines.record(lot)
            _project_lot(connection, lot, record, record.last_seq if record else 0, fresh)
        _project_plain(connection, [subject for subject in chunk if subject not in tied], fresh)


def _project_plain(connection: Connection, subjects: Sequence[str], fresh: bool) -> None:
    """Batches, and lots that were never split or merged: without reading their measurements."""
    known = journal.of_subjects(connection, subjects, NOT_MEASURING)
    last = journal.last_seqs(connection, subjects)
    for subject in subjects:
        statements = stated(known[subject])
        if any(item.kind.startswith(BATCH_PREFIXES) for item in statements):
            _project_batch(connection, subject, statements)
        else:
            record = lot_record(subject, statements)
            _project_lot(connection, subject, record, last.get(subject, 0), fresh)


def _project_batch(connection: Connection, batch: str, statements: Sequence[Stated[Any]]) -> None:
    connection.execute(delete(batch_now).where(batch_now.c.batch == batch))
    sealed = counting(statements, ReadingsSealed)
    number = connection.execute(select(batch_number.c.number).where(batch_number.c.batch == batch)).scalar()
    if not sealed or number is None:
        return
    voided = counting(statements, ReadingsVoided)
    connection.execute(
        batch_now.insert().values(
            batch=batch,
            number=number,
            file_digest=sealed[0].payload.file_digest,
            seq=sealed[0].seq,
            voided_by=voided[0].entry_id if voided else "",
        )
    )


def _project_lot(
    connection: Connection, lot: str, record: LotRecord | None, last_seq: int, fresh: bool
) -> None:
    if not fresh:
        for table in (lot_now, lot_room):
            connection.execute(delete(table).where(table.c.lot == lot))
    if record is None:
        return
    connection.execute(lot_now.insert().values(**_lot_row(record, last_seq)))
    stays = [_room_row(record, number) for number in range(len(record.rooms))]
    if stays:
        connection.execute(lot_room.insert(), stays)
    connection.execute(update_rows(node_now).where(node_now.c.node == lot).values(state=record.state))


def _lot_row(record: LotRecord, last_seq: int) -> dict[str, Any]:
    return {
        "lot": record.lot,
        "family": record.family,
        "product": record.product,
        "state": record.state,
        "room": record.room,
        "made_at": to_text(record.made_at),
        "hung_at": to_text(record.hung_at) if record.hung_at else "",
        "green_mg": record.green_mass.mg,
        "pieces": record.pieces,
        "open_holds": len(record.open_holds),
        "last_seq": last_seq,
    }


def _room_row(record: LotRecord, number: int) -> dict[str, Any]:
    stay = record.rooms[number]
    return {
        "lot": record.lot,
        "number": number,
        "room": stay.room,
        "start_at": to_text(stay.start),
        "end_at": to_text(stay.end) if stay.end else "",
        "share_ppm": round(stay.share * 1_000_000),
    }
