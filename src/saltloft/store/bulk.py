"""Readings in and out by the thousand, past SQLAlchemy: once for each of the two databases.

A row through the driver as a Python tuple costs minutes at twenty million
readings. SQLite takes and gives tuples only; PostgreSQL takes its own binary copy
format and gives columns as bytes, both of which numpy handles as they stand.
"""

from __future__ import annotations

from itertools import repeat
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from saltloft.foundation.errors import StoreError
from saltloft.store.engines import SQLITE

Times = NDArray[np.int64]
Values = NDArray[np.float64]

# A row of `reading` as it comes back: seconds since 1970 UTC, number of the batch, value.
ROW = np.dtype([("at", "i8"), ("batch", "i8"), ("value", "f8")])
# Rows handed to the driver at once; as Python numbers a reading takes ten times its room.
_ROWS_AT_ONCE = 100_000

# PostgreSQL's binary copy: a head, then for each row the number of its fields and each field's length.
_COPY_HEAD = b"PGCOPY\n\xff\r\n\0" + bytes(8)
_COPY_END = b"\xff\xff"
_COPY_IN = np.dtype(
    [
        ("fields", ">i2"),
        *(
            (name, sort)
            for field, sort in (("series", ">i4"), ("at", ">i8"), ("batch", ">i8"), ("value", ">f8"))
            for name, sort in ((f"{field}_bytes", ">i4"), (field, sort))
        ),
    ]
)


def add_readings(connection: Connection, series: int, batch: int, times: Times, values: Values) -> None:
    """Add rows of one series and batch to the table `reading`, inside the caller's transaction.

    Args:
        series, batch: int. Their numbers.
        times, values: int64 and float64, shape (rows,). [s since 1970 UTC; unit of the series]
    """
    for start in range(0, len(times), _ROWS_AT_ONCE):
        part = slice(start, start + _ROWS_AT_ONCE)
        if connection.dialect.name == SQLITE:
            _driver(connection).executemany(
                "INSERT INTO reading (series, at, batch, value) VALUES (?, ?, ?, ?)",
                zip(repeat(series), times[part].tolist(), repeat(batch), values[part].tolist(), strict=False),
            )
        else:
            _copy_in(connection, series, batch, times[part], values[part])


def _copy_in(connection: Connection, series: int, batch: int, times: Times, values: Values) -> None:
    rows = np.zeros(len(times), _COPY_IN)
    rows["fields"], rows["series_bytes"] = 4, 4
    rows["at_bytes"] = rows["batch_bytes"] = rows["value_bytes"] = 8
    rows["series"], rows["at"], rows["batch"], rows["value"] = series, times, batch, values
    with (
        _driver(connection).cursor() as cursor,
        cursor.copy("COPY reading (series, at, batch, value) FROM STDIN (FORMAT BINARY)") as copy,
    ):
        copy.write(_COPY_HEAD + rows.tobytes() + _COPY_END)


def readings_between(
    connection: Connection, series: int, first: int, last: int, batch: int | None = None
) -> NDArray[Any]:
    """Rows of one series from first to last, both included, by time and batch.

    Args:
        series: int. Its number.
        first, last: int. [s since 1970 UTC]
        batch: int or None. Only this batch.

    Returns:
        array of ROW, shape (rows,).
    """
    # Whole numbers only are put into the text, so nothing can be slipped in.
    chosen = "" if batch is None else f" AND batch = {int(batch)}"
    query = (
        f"SELECT at, batch, value FROM reading WHERE series = {int(series)}"
        f" AND at BETWEEN {int(first)} AND {int(last)}{chosen} ORDER BY at, batch"
    )
    if connection.dialect.name == SQLITE:
        rows = _driver(connection).execute(query).fetchall()
        return np.fromiter(rows, dtype=ROW, count=len(rows))
    # Each column as one string of bytes: row by row the protocol alone would take three times as long.
    columns = ", ".join(
        f"string_agg({send}({name}), ''::bytea)"
        for name, send in (("at", "int8send"), ("batch", "int8send"), ("value", "float8send"))
    )
    with _driver(connection).cursor(binary=True) as cursor:
        got = cursor.execute(f"SELECT {columns} FROM ({query}) AS rows").fetchone()
    found = np.empty(len(got[0] or b"") // 8, ROW)
    for name, content, sort in zip(("at", "batch", "value"), got, (">i8", ">i8", ">f8"), strict=True):
        found[name] = np.frombuffer(content or b"", sort)
    return found


def _driver(connection: Connection) -> Any:
    driver = connection.connection.driver_connection
    if driver is None:
        raise StoreError("the database connection was lost", do="try again")
    return driver
