"""Files from outside, in a process of their own: the same answer as within, and bombs go off there only."""

from __future__ import annotations

import io
import resource
import time
import zipfile
from datetime import datetime, timedelta
from pathlib import Path

import pytest
import xlsxwriter

from saltloft.foundation.errors import InputError
from saltloft.store.apart import MOST_UNPACKED, Limits, read_log_apart
from saltloft.store.loggers import ReadOptions, read_log

LOG = "\n".join(
    [
        "time,temperature_c,rh_pct",
        *(f"2026-03-01T{hour:02d}:00:00Z,14.{hour % 10},79.5" for hour in range(24)),
    ]
).encode()
OPTIONS = ReadOptions("D1.csv", room="D1")


def sheet(rows: int = 24) -> bytes:
    """A logger's table as a spreadsheet, with real dates in its cells."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        page = book.add_worksheet()
        dated = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        page.write_row(0, 0, ["time", "temperature_c", "rh_pct"])
        for row in range(rows):
            page.write_datetime(row + 1, 0, datetime(2026, 3, 1) + timedelta(hours=row), dated)  # noqa: DTZ001
            page.write_row(row + 1, 1, [14.0 + row / 10, 79.5])
    return out.getvalue()


def bomb(inflated: int) -> bytes:
    """A workbook whose sheet is packed a thousandfold."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(sheet())) as good,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made,
    ):
        for entry in good.infolist():
            body = good.read(entry)
            if entry.filename.endswith("sheet1.xml"):
                row = b'<row r="2"><c r="A2" t="inlineStr"><is><t>%s</t></is></c></row>' % (b" " * inflated)
                body = body.replace(b"</sheetData>", row + b"</sheetData>")
            made.writestr(entry.filename, body)
    return out.getvalue()


def test_it_reads_as_within() -> None:
    within, apart = read_log(LOG, OPTIONS), read_log_apart(LOG, OPTIONS)
    assert [one.name for one in apart.series] == [one.name for one in within.series]
    for one, other in zip(apart.series, within.series, strict=True):
        assert (one.times_s == other.times_s).all()
        assert (one.values == other.values).all()
    assert apart.understood == within.understood


def test_a_refusal_comes_over_whole() -> None:
    with pytest.raises(InputError) as within:
        read_log(b"no table here\n", OPTIONS)
    with pytest.raises(InputError) as apart:
        read_log_apart(b"no table here\n", OPTIONS)
    assert apart.value.message == within.value.message
    assert (apart.value.key, apart.value.line) == (within.value.key, within.value.line)


def test_a_spreadsheet_is_read_by_its_first_sheet() -> None:
    found = read_log_apart(sheet(), ReadOptions("D1.xlsx", room="D1", zone="UTC"))
    (temperature,) = [one for one in found.series if one.quantity == "temperature_c"]
    assert len(temperature.values) == 24
    assert temperature.values[3] == pytest.approx(14.3)
    assert temperature.times_s[0] == 1772323200  # 2026-03-01T00:00Z


def test_what_unfolds_to_too_much_is_refused_by_its_own_list() -> None:
    packed = bomb(MOST_UNPACKED)
    assert len(packed) < 1_000_000
    with pytest.raises(InputError, match="unfolds to more"):
        read_log_apart(packed, OPTIONS)


def test_what_lies_about_its_size_meets_the_limit_of_memory() -> None:
    """A list of contents that says little: the child runs into its limit, and we do not."""
    packed = bytearray(bomb(MOST_UNPACKED // 2))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(InputError, match="more memory or time"):
        read_log_apart(bytes(packed), OPTIONS, Limits(memory_mb=160))
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 150_000  # kB


def test_what_never_ends_meets_the_limit_of_time() -> None:
    started = time.monotonic()
    with pytest.raises(InputError, match="more memory or time"):
        read_log_apart(LOG, OPTIONS, Limits(wall_s=0.05))
    assert time.monotonic() - started < 5.0


def test_a_damaged_archive_is_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="packed, and damaged"):
        read_log_apart(sheet()[:400], OPTIONS)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made:
        made.writestr("../../evil.csv", "x")
    with pytest.raises(InputError, match="no spreadsheet"):
        read_log_apart(out.getvalue(), OPTIONS)
