"""Sensor readings: batches that are sealed in the journal and never change, and what counts of them.

A series is named 'ROOM/quantity', such as 'D2/temperature_c' or 'D2/rh_pct'; a
second logger in the same room has a third part, 'D2/temperature_c/D2-b'. At an
instant the newest batch that is not voided counts.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, func, select

from saltloft.foundation.errors import InputError, StoreError, UnknownName
from saltloft.plant.canonical import canonical_bytes
from saltloft.plant.entries import encode, kind_of
from saltloft.plant.house_record import BatchRecord
from saltloft.plant.readings import ReadingsSealed, ReadingsVoided
from saltloft.plant.stated import Stamp, Stated, counting
from saltloft.store import journal, writing
from saltloft.store.bulk import ROW, Times, Values, add_readings, readings_between
from saltloft.store.database import Database
from saltloft.store.journal import NewEntry
from saltloft.store.shelf import Shelf
from saltloft.store.tables import batch_now, batch_number, reading, series

Columns = Mapping[str, tuple[Times, Values]]


def batch_digest(columns: Columns) -> str:
    """SHA-256 over a batch's rows: for each series by name, the name, its times and its values.

    Args:
        columns: mapping of series name to (times, values), times ascending. [s since 1970 UTC]

    Returns:
        str. Hexadecimal; times are hashed as little-endian int64, values as little-endian float64.
    """
    digest = hashlib.sha256()
    for name in sorted(columns):
        times, values = columns[name]
        digest.update(f"{name}:{len(times)}\n".encode())
        digest.update(np.ascontiguousarray(times, dtype="<i8").tobytes())
        digest.update(np.ascontiguousarray(values, dtype="<f8").tobytes())
    return digest.hexdigest()


class Readings(Shelf[BatchRecord]):
    """Batches of readings and the traces made of them."""

    def __init__(self, database: Database) -> None:
        super().__init__(database, "batch of readings", ("readings.sealed/1",), _batch)

    def seal(self, columns: Columns, info: ReadingsSealed, by: Stamp, entry_id: str) -> BatchRecord:
        """Store a batch's rows and seal it in the journal, in one transaction.

        Args:
            columns: mapping of series name to (times, values), shape (rows,) each. Any order;
                no time twice in a series, no value that is not finite. [s since 1970 UTC; unit of the series]
            info: ReadingsSealed. What the import knows; its rows, digest, series, first_at and
                last_at are filled in here.
            by: Stamp.
            entry_id: str. Id of the sealing entry; sealing again under the same id changes nothing.

        Raises:
            InputError: an empty batch, a time twice, a value that is not finite.
            StoreError: the batch's name was used for other rows.
        """
        ordered = {name: ordered_rows(name, *pair) for name, pair in columns.items() if len(pair[0])}
        sealed = filled(info, ordered)
        new = sealing_entry(entry_id, sealed, by)

        def work(connection: Connection) -> None:
            number = connection.execute(
                select(batch_number.c.number).where(batch_number.c.batch == info.batch)
            ).scalar()
            if number is None:
                put_batch(connection, info.batch, ordered)
            elif not list(journal.by_ids(connection, [entry_id])):
                raise StoreError(f"the batch {info.batch} was sealed already", do="give it another name")
            writing.append(connection, [new])

        self.database.write(work)
        return self.get(info.batch)

    def void(self, batch: str, reason: str, by: Stamp, entry_id: str) -> BatchRecord:
        """Let a batch count no more, by an entry; its rows stay.

        Raises:
            UnknownName: no batch of that name.
            StoreError: it is voided already by another entry.
        """
        record = self.get(batch)
        if record.voided is not None and record.voided.entry_id != entry_id:
            raise StoreError(f"the batch {batch} was undone already", got=record.voided.payload.reason)
        new = sealing_entry(entry_id, ReadingsVoided(batch, reason), by)
        self.database.write(lambda connection: writing.append(connection, [new]))
        return self.get(batch)

    def by_file(self, file_digest: str) -> BatchRecord | None:
        """The batch that counts and was made from a file with this SHA-256; None when there is none."""
        with self.database.reading() as connection:
            batch = connection.execute(
                select(batch_now.c.batch)
                .where(batch_now.c.file_digest == file_digest, batch_now.c.voided_by == "")
                .order_by(batch_now.c.number.desc())
            ).scalar()
        return self.get(batch) if batch is not None else None

    def newest(self, count: int) -> list[BatchRecord]:
        """The batches sealed last, newest first, undone ones too.

        Args:
            count: int. How many at most.
        """
        with self.database.reading() as connection:
            chosen = select(batch_now.c.batch).order_by(batch_now.c.number.desc()).limit(count)
            batches = list(connection.execute(chosen).scalars())
        return [self.get(batch) for batch in batches]

    def series_names(self) -> list[str]:
        """Every series that ever had a reading, by name."""
        with self.database.reading() as connection:
            return list(connection.execute(select(series.c.name).order_by(series.c.name)).scalars())

    def trace(
        self,
        room: str,
        quantity: str,
        start: datetime,
        end: datetime,
        *,
        logger: str = "",
        asof: datetime | None = None,
    ) -> tuple[Times, Values]:
        """What counts of one series from start to end, both included.

        Args:
            room: str.
            quantity: str. 'temperature_c' or 'rh_pct'.
            start, end: datetime, aware.
            logger: str. Third part of the series name; empty for the room's own logger.
            asof: datetime or None. Only batches sealed, and not voided, by that moment.

        Returns:
            (times, values): int64 and float64, shape (rows,). [s since 1970 UTC; unit of the quantity]
        """
        times, values, _ = self._counting(room, quantity, start, end, logger=logger, asof=asof)
        return times, values

    def sources(
        self,
        room: str,
        quantity: str,
        start: datetime,
        end: datetime,
        *,
        logger: str = "",
        asof: datetime | None = None,
    ) -> tuple[str, ...]:
        """Names of the batches from which `trace` of the same arguments takes its readings."""
        return self.traced(room, quantity, start, end, logger=logger, asof=asof)[2]

    def traced(
        self,
        room: str,
        quantity: str,
        start: datetime,
        end: datetime,
        *,
        logger: str = "",
        asof: datetime | None = None,
    ) -> tuple[Times, Values, tuple[str, ...]]:
        """`trace` and `sources` of the same arguments, read once."""
        times, values, numbers = self._counting(room, quantity, start, end, logger=logger, asof=asof)
        with self.database.reading() as connection:
            rows = connection.execute(select(batch_number.c.number, batch_number.c.batch))
            names = {row.number: row.batch for row in rows}
        return times, values, tuple(names[int(number)] for number in np.unique(numbers))

    def latest(
        self, room: str, quantity: str, before: datetime, *, logger: str = ""
    ) -> tuple[datetime, float, str] | None:
        """The last reading that counts at or before a moment: when, value, batch; None when there is none."""
        name = series_name(room, quantity, logger)
        with self.database.reading() as connection:
            row = connection.execute(
                select(reading.c.at, reading.c.value, batch_now.c.batch)
                .join(series, series.c.number == reading.c.series)
                .join(batch_now, batch_now.c.number == reading.c.batch)
                .where(series.c.name == name, reading.c.at <= int(before.timestamp()))
                .where(batch_now.c.voided_by == "")
                .order_by(reading.c.at.desc(), reading.c.batch.desc())
                .limit(1)
            ).first()
        return (datetime.fromtimestamp(row.at, UTC), float(row.value), row.batch) if row else None

    def rows_of(self, batch: str) -> dict[str, tuple[Times, Values]]:
        """Every row of one batch by series, as sealed (voided or not), for checking its digest.

        Raises:
            UnknownName: no batch of that name.
        """
        with self.database.reading() as connection:
            number = connection.execute(
                select(batch_number.c.number).where(batch_number.c.batch == batch)
            ).scalar()
            if number is None:
                known = connection.execute(select(batch_number.c.batch)).scalars()
                raise UnknownName(self.sort, batch, known)
            return rows_of_number(connection, number, self.find_in(connection, batch))

    def _counting(
        self, room: str, quantity: str, start: datetime, end: datetime, *, logger: str, asof: datetime | None
    ) -> tuple[Times, Values, Times]:
        name = series_name(room, quantity, logger)
        until = [record for record in self.all(asof) if record.counts] if asof is not None else None
        with self.database.reading() as connection:
            allowed = _numbers(connection, None if until is None else [record.batch for record in until])
            number = connection.execute(select(series.c.number).where(series.c.name == name)).scalar()
            if number is None:
                return _newest(np.empty(0, ROW), allowed)
            rows = readings_between(connection, number, int(start.timestamp()), int(end.timestamp()))
        return _newest(rows, allowed)


def series_name(room: str, quantity: str, logger: str = "") -> str:
    """'ROOM/quantity', with the logger as a third part when it is not the room's own."""
    return f"{room}/{quantity}/{logger}" if logger else f"{room}/{quantity}"


def rows_of_number(
    connection: Connection, number: int, record: BatchRecord | None
) -> dict[str, tuple[Times, Values]]:
    """The rows of one batch by series name, times ascending.

    Args:
        number: int. The batch's number in the database.
        record: BatchRecord or None. When given, only its series and span are searched, which is quick.
    """
    numbers = [(row.name, row.number) for row in connection.execute(select(series.c.name, series.c.number))]
    low, high = -(1 << 62), 1 << 62
    if record is not None:
        info = record.sealed.payload
        numbers = [pair for pair in numbers if pair[0] in info.series]
        low = int(datetime.fromisoformat(info.first_at).timestamp())
        high = int(datetime.fromisoformat(info.last_at).timestamp())
    found: dict[str, tuple[Times, Values]] = {}
    for name, series_number in numbers:
        rows = readings_between(connection, series_number, low, high, number)
        if len(rows):
            found[name] = (rows["at"].copy(), rows["value"].copy())
    return found


def _batch(batch: str, statements: Sequence[Stated[Any]]) -> BatchRecord | None:
    sealed = counting(statements, ReadingsSealed)
    if not sealed:
        return None
    voided = counting(statements, ReadingsVoided)
    return BatchRecord(batch, sealed[0], voided[0] if voided else None)


def sealing_entry(entry_id: str, payload: ReadingsSealed | ReadingsVoided, by: Stamp) -> NewEntry:
    """The entry that seals or voids a batch."""
    return NewEntry(
        id=entry_id,
        kind=kind_of(payload),
        subject=payload.batch,
        body=canonical_bytes(encode(payload)),
        happened_at=by.recorded_at,
        recorded_at=by.recorded_at,
        person=by.person,
        device=by.device,
    )


def ordered_rows(name: str, times: Times, values: Values) -> tuple[Times, Values]:
    """Rows of one series by time; InputError for a moment twice or a value that is not finite."""
    if len(times) != len(values):
        raise InputError(f"{name}: times and values differ in number", got=f"{len(times)} and {len(values)}")
    order = np.argsort(times, kind="stable")
    ordered, held = np.asarray(times, np.int64)[order], np.asarray(values, np.float64)[order]
    twice = np.flatnonzero(np.diff(ordered) == 0)
    if twice.size:
        moment = datetime.fromtimestamp(int(ordered[twice[0]]), UTC).isoformat()
        raise InputError(f"{name}: a moment comes twice", got=moment, allowed="one value a moment in a batch")
    if not np.isfinite(held).all():
        raise InputError(f"{name}: a value is not a number", allowed="finite values; leave the others out")
    return ordered, held


def filled(info: ReadingsSealed, columns: Columns) -> ReadingsSealed:
    """What an import knows, with rows, digest, series and span of its columns; InputError for none."""
    if not columns:
        raise InputError("the batch holds no reading", got=info.file_name, do="nothing was imported")
    first = min(int(times[0]) for times, _ in columns.values())
    last = max(int(times[-1]) for times, _ in columns.values())
    return replace(
        info,
        rows=sum(len(times) for times, _ in columns.values()),
        digest=batch_digest(columns),
        series=tuple(sorted(columns)),
        first_at=_moment(first),
        last_at=_moment(last),
    )


def _moment(seconds: int) -> str:
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%SZ}"


def put_batch(connection: Connection, batch: str, columns: Columns) -> None:
    """Add the rows of a batch, inside the caller's transaction; the newest batch has the highest number."""
    number = (connection.execute(select(func.max(batch_number.c.number))).scalar() or 0) + 1
    connection.execute(batch_number.insert().values(number=number, batch=batch))
    for name in sorted(columns):
        add_readings(connection, _series(connection, name), number, *columns[name])


def _series(connection: Connection, name: str) -> int:
    number = connection.execute(select(series.c.number).where(series.c.name == name)).scalar()
    if number is None:
        number = (connection.execute(select(func.max(series.c.number))).scalar() or 0) + 1
        connection.execute(series.insert().values(number=number, name=name))
    return int(number)


def _numbers(connection: Connection, batches: Sequence[str] | None) -> Times:
    query = select(batch_now.c.number, batch_now.c.batch, batch_now.c.voided_by)
    rows = connection.execute(query).all()
    if batches is None:
        chosen = [row.number for row in rows if row.voided_by == ""]
    else:
        names = set(batches)
        chosen = [row.number for row in rows if row.batch in names]
    return np.array(sorted(chosen), dtype=np.int64)


def _newest(rows: NDArray[Any], allowed: Times) -> tuple[Times, Values, Times]:
    """Of rows ordered by time and batch, the last allowed one of each moment."""
    highest = max(int(allowed[-1]) if len(allowed) else 0, int(rows["batch"].max()) if len(rows) else 0)
    counts = np.zeros(highest + 1, np.bool_)
    counts[allowed] = True
    table = rows[counts[rows["batch"]]]
    if not len(table):
        return np.empty(0, np.int64), np.empty(0, np.float64), np.empty(0, np.int64)
    last = np.append(np.diff(table["at"]) != 0, True)
    return table["at"][last].copy(), table["value"][last].copy(), table["batch"][last].copy()
