"""Readers of sensor files: bytes in, series of readings out, nothing stored.

May import `foundation` and `plant`. Read `reader.py` first: it names the steps
in order (`encoding`, `table`, `headers`, `rows`, `stamps`, `clock`, `units_found`,
`quality`, `explain`). Nothing here opens a file or knows a house.
"""

from saltloft.store.loggers.model import LogReading, Question, ReadOptions, Series
from saltloft.store.loggers.reader import MAXIMUM_BYTES, read_log

__all__ = ["MAXIMUM_BYTES", "LogReading", "Question", "ReadOptions", "Series", "read_log"]
