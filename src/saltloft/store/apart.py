"""Files from outside are read in a process of their own, with limits on memory and time.

What a file does to its reader, a bomb packed into a spreadsheet or a table that
never ends, happens to that process; the pages go on. The child is handed the
bytes, writes one answer and holds no secret: it opens no database and gets an
empty environment.
"""

from __future__ import annotations

import csv
import io
import pickle
import resource
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.words import LANGUAGE, say
from saltloft.store.loggers import LogReading, ReadOptions, read_log

ZIP = b"PK\x03\x04"
# What a packed file may unfold to, by its own list of contents. [bytes]
MOST_UNPACKED = 200 * 1024 * 1024
MOST_ROWS = 1_000_000


@dataclass(frozen=True)
class Limits:
    """What reading one file may use.

    Args:
        memory_mb: int. Address space of the child. [MB]
        processor_s: int. [s]
        wall_s: float. [s]
    """

    memory_mb: int = 1536
    processor_s: int = 30
    wall_s: float = 60.0


LIMITS = Limits()


def read_log_apart(data: bytes, options: ReadOptions | None = None, limits: Limits = LIMITS) -> LogReading:
    """As `loggers.read_log`, in a process of its own; takes a spreadsheet (xlsx, ods) too, its first sheet.

    Args:
        data: bytes. The file.
        options: ReadOptions.
        limits: Limits.

    Raises:
        InputError: as `read_log`, or the file took more memory or time than one may.
    """
    asked = pickle.dumps((LANGUAGE.get(), options or ReadOptions(), limits, data))
    command = [sys.executable, "-m", "saltloft.store.apart"]
    try:
        done = subprocess.run(
            command,
            input=asked,
            capture_output=True,
            timeout=limits.wall_s,
            env={"OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": ":".join(part for part in sys.path if part)},
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise _too_much() from None
    if done.returncode != 0 or not done.stdout:
        raise _too_much()
    # The child runs our own code on bytes it was handed; its answer is made by that code alone.
    kind, answer = pickle.loads(done.stdout)
    if kind == "read":
        read: LogReading = answer
        return read
    raise _said_again(answer)


def _too_much() -> InputError:
    return InputError(
        say("reading the file took more memory or time than one file may"),
        do=say(
            "export it again with fewer days, or bring it in by 'saltloft import' on the house's computer"
        ),
        key="file",
    )


def _said_again(said: dict[str, object]) -> InputError:
    """The child's refusal as our own."""
    error = InputError(str(said["what"]))
    vars(error).update(said)
    error.args = (error.message,)
    return error


def sheet_as_text(data: bytes) -> bytes:
    """The first sheet of a spreadsheet as comma-separated text, with the values its cells show.

    Raises:
        InputError: no spreadsheet, or one that unfolds to more than a file may.
    """
    from python_calamine import CalamineError, CalamineWorkbook  # noqa: PLC0415

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            unpacked = sum(entry.file_size for entry in packed.infolist())
    except zipfile.BadZipFile as error:
        raise InputError(say("the file is packed, and damaged"), got=str(error), key="file") from error
    if unpacked > MOST_UNPACKED:
        raise InputError(
            say("the file unfolds to more than a spreadsheet may"),
            got=f"{unpacked // 2**20} MB",
            allowed=say("up to {size} MB", size=MOST_UNPACKED // 2**20),
            key="file",
        )
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        rows = book.get_sheet_by_index(0).iter_rows()
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        for number, row in enumerate(rows):
            if number >= MOST_ROWS:
                raise InputError(say("the sheet has too many rows"), allowed=str(MOST_ROWS), key="file")
            writer.writerow([_cell(value) for value in row])
    except (CalamineError, IndexError) as error:
        raise InputError(
            say("the file is no spreadsheet we can read"),
            got=str(error)[:200],
            allowed=say("xlsx or ods, or the logger's own text file"),
            key="file",
        ) from error
    return out.getvalue().encode()


def _cell(value: object) -> str:
    if isinstance(value, datetime | date | time):
        return value.isoformat(sep=" ") if isinstance(value, datetime) else value.isoformat()
    if isinstance(value, timedelta):
        return str(value)
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)


def _child() -> None:
    """Read what is asked, answer, end."""
    language, options, limits, data = pickle.loads(sys.stdin.buffer.read())
    most = limits.memory_mb * 2**20
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    resource.setrlimit(resource.RLIMIT_CPU, (limits.processor_s, limits.processor_s + 1))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    LANGUAGE.set(language)
    try:
        text = sheet_as_text(data) if data.startswith(ZIP) else data
        answer: tuple[str, object] = ("read", read_log(text, options))
    except SaltloftError as error:
        fields = ("what", "got", "allowed", "do", "key", "line")
        answer = ("refused", {name: getattr(error, name) for name in fields})
    sys.stdout.buffer.write(pickle.dumps(answer))


if __name__ == "__main__":
    _child()
