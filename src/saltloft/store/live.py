"""Live values: one-minute means among the other readings, with lowest, highest and number beside, and the
values as they came in one compressed block for each series and day.

A batch is one live hour of one series, sealed like an import: its digest covers
the means, what stands beside them, and the values as they came.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, func, select

from saltloft.foundation.errors import InputError, StoreError
from saltloft.plant.house_record import BatchRecord
from saltloft.plant.readings import ReadingsSealed
from saltloft.plant.stated import Stamp
from saltloft.store import journal, writing
from saltloft.store.bulk import Times, Values
from saltloft.store.readings import (
    Readings,
    batch_digest,
    filled,
    ordered_rows,
    put_batch,
    sealing_entry,
    series_name,
)
from saltloft.store.tables import batch_now, batch_number, reading, reading_block, reading_minute, series

MINUTE, DAY = 60, 86_400


@dataclass(frozen=True)
class Minutes:
    """Live values by the minute, shape (minutes,) each.

    Args:
        times: int64. Start of the minute. [s since 1970 UTC]
        mean, lowest, highest: float64. [unit of the series]
        count: int64. Values in the minute.
    """

    times: Times
    mean: Values
    lowest: Values
    highest: Values
    count: NDArray[np.int64]


def by_minute(times: Times, values: Values) -> Minutes:
    """Values by the minute in which they fell.

    Args:
        times: int64, shape (values,), ascending. [s since 1970 UTC]
        values: float64, shape (values,).
    """
    minute = times - times % MINUTE
    starts = np.flatnonzero(np.append(True, np.diff(minute) != 0))
    count = np.diff(np.append(starts, len(times)))
    mean = np.add.reduceat(values, starts) / count
    return Minutes(
        minute[starts], mean, np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts), count
    )


def live_digest(name: str, minutes: Minutes, times: Times, values: Values) -> str:
    """SHA-256 over a live batch: its means as any batch's, then what stands beside them and the values."""
    count = minutes.count.astype(np.float64)
    beside = {"lowest": minutes.lowest, "highest": minutes.highest, "count": count}
    columns = {name: (minutes.times, minutes.mean), f"{name}\traw": (times, values)}
    columns.update({f"{name}\t{part}": (minutes.times, found) for part, found in beside.items()})
    return batch_digest(columns)


class LiveReadings:
    """Sealing and reading live values.

    Args:
        readings: Readings. Of the same database.
    """

    def __init__(self, readings: Readings) -> None:
        self.readings = readings
        self.database = readings.database

    def seal(
        self, name: str, columns: tuple[Times, Values], info: ReadingsSealed, by: Stamp, entry_id: str
    ) -> BatchRecord:
        """Store one live hour of one series, or any other stretch within one day UTC, and seal it.

        Args:
            name: str. Of the series, such as 'D2/temperature_c'.
            columns: (times, values). In any order, no moment twice. [s since 1970 UTC]
            info: ReadingsSealed. Rows, digest, series, first_at and last_at are filled in here; rows
                counts the minutes.
            by: Stamp.
            entry_id: str. Sealing again under the same id changes nothing.

        Raises:
            InputError: nothing, a moment twice, a value that is not finite, or more than one day.
            StoreError: the batch's name was used for other values.
        """
        if not len(columns[0]):
            raise InputError("the batch holds no reading", got=name, do="nothing was sealed")
        times, values = ordered_rows(name, *columns)
        day = int(times[0]) - int(times[0]) % DAY
        if times[-1] >= day + DAY:
            raise InputError("a batch of live values lies within one day (UTC)", got=name, do="seal each day")
        minutes = by_minute(times, values)
        sealed = replace(
            filled(info, {name: (minutes.times, minutes.mean)}),
            digest=live_digest(name, minutes, times, values),
        )
        new = sealing_entry(entry_id, sealed, by)

        def work(connection: Connection) -> None:
            known = select(batch_number.c.number).where(batch_number.c.batch == info.batch)
            if connection.execute(known).scalar() is None:
                put_batch(connection, info.batch, {name: (minutes.times, minutes.mean)})
                number = int(connection.execute(known).scalar_one())
                _put_beside(connection, name, number, minutes)
                _put_block(connection, name, number, day=day, times=times, values=values)
            elif not list(journal.by_ids(connection, [entry_id])):
                raise StoreError(f"the batch {info.batch} was sealed already", do="give it another name")
            writing.append(connection, [new])

        self.database.write(work)
        return self.readings.get(info.batch)

    def minutes(self, room: str, quantity: str, start: datetime, end: datetime) -> Minutes:
        """What counts of the live minutes that began from start to end, both included."""
        own = reading_minute
        with self.database.reading() as connection:
            rows = connection.execute(
                select(own.c.at, reading.c.value, own.c.lowest, own.c.highest, own.c.size)
                .join(series, series.c.number == own.c.series)
                .join(
                    reading,
                    (reading.c.series == own.c.series)
                    & (reading.c.at == own.c.at)
                    & (reading.c.batch == own.c.batch),
                )
                .join(batch_now, batch_now.c.number == own.c.batch)
                .where(series.c.name == series_name(room, quantity), batch_now.c.voided_by == "")
                .where(own.c.at >= int(start.timestamp()), own.c.at <= int(end.timestamp()))
                .order_by(own.c.at, own.c.batch)
            ).all()
        newest = {row.at: row for row in rows}
        table = np.array([tuple(row) for row in newest.values()], dtype=np.float64).reshape(-1, 5)
        return Minutes(
            np.array(list(newest), dtype=np.int64),
            table[:, 1],
            table[:, 2],
            table[:, 3],
            table[:, 4].astype(np.int64),
        )

    def raw(self, room: str, quantity: str, start: datetime, end: datetime) -> tuple[Times, Values]:
        """The live values as they came, from start to end; at a moment the newest batch not undone counts."""
        first, last = int(start.timestamp()), int(end.timestamp())
        own = reading_block
        with self.database.reading() as connection:
            bodies = connection.execute(
                select(own.c.body, own.c.day, own.c.size)
                .join(series, series.c.number == own.c.series)
                .join(batch_now, batch_now.c.number == own.c.batch)
                .where(series.c.name == series_name(room, quantity), batch_now.c.voided_by == "")
                .where(own.c.day >= first - first % DAY, own.c.day <= last)
                .order_by(own.c.day, own.c.batch)
            ).all()
        parts = [_unpacked(row.body, row.day, row.size) for row in bodies]
        times = np.concatenate([part[0] for part in parts]) if parts else np.empty(0, np.int64)
        values = np.concatenate([part[1] for part in parts]) if parts else np.empty(0, np.float64)
        chosen = (times >= first) & (times <= last)
        order = np.argsort(times[chosen], kind="stable")
        times, values = times[chosen][order], values[chosen][order]
        newest = np.append(np.diff(times) != 0, True)[: len(times)]
        return times[newest], values[newest]


def digest_with_beside(
    connection: Connection, number: int, columns: Mapping[str, tuple[Times, Values]]
) -> str | None:
    """The digest of a live batch from all its tables; None for a batch that is none.

    Args:
        number: int. Of the batch.
        columns: mapping of series name to (times, values). Its rows among the readings.
    """
    beside = connection.execute(
        select(reading_minute).where(reading_minute.c.batch == number).order_by(reading_minute.c.at)
    ).all()
    blocks = connection.execute(select(reading_block).where(reading_block.c.batch == number)).all()
    if not beside and not blocks:
        return None
    if len(columns) != 1 or len(blocks) != 1:
        return ""
    ((name, (times, mean)),) = columns.items()
    if [row.at for row in beside] != times.tolist():
        return ""
    lowest, highest = (np.array([row[place] for row in beside], np.float64) for place in (3, 4))
    count = np.array([row.size for row in beside], np.int64)
    try:
        raw = _unpacked(blocks[0].body, blocks[0].day, blocks[0].size)
    except (ValueError, zlib.error):
        return ""
    return live_digest(name, Minutes(times, mean, lowest, highest, count), *raw)


def strays(connection: Connection) -> int:
    """Rows beside the readings that belong to no batch."""
    known = select(batch_number.c.number)
    return sum(
        connection.execute(
            select(func.count()).select_from(table).where(table.c.batch.not_in(known))
        ).scalar_one()
        for table in (reading_minute, reading_block)
    )


def _put_beside(connection: Connection, name: str, number: int, minutes: Minutes) -> None:
    own = connection.execute(select(series.c.number).where(series.c.name == name)).scalar_one()
    rows = zip(
        minutes.times.tolist(),
        minutes.lowest.tolist(),
        minutes.highest.tolist(),
        minutes.count.tolist(),
        strict=True,
    )
    connection.execute(
        reading_minute.insert(),
        [
            {"series": own, "at": at, "batch": number, "lowest": low, "highest": high, "size": count}
            for at, low, high, count in rows
        ],
    )


def _put_block(
    connection: Connection, name: str, number: int, *, day: int, times: Times, values: Values
) -> None:
    own = connection.execute(select(series.c.number).where(series.c.name == name)).scalar_one()
    body = (times - day).astype("<i4").tobytes() + values.astype("<f8").tobytes()
    connection.execute(
        reading_block.insert().values(
            series=own, day=day, batch=number, size=len(times), body=zlib.compress(body, 6)
        )
    )


def _unpacked(body: bytes, day: int, count: int) -> tuple[Times, Values]:
    content = zlib.decompress(body)
    times = np.frombuffer(content[: 4 * count], "<i4").astype(np.int64) + day
    return times, np.frombuffer(content[4 * count :], "<f8").astype(np.float64)
