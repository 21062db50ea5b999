"""Single cells: moments held against `datetime.strptime`, numbers against Python's own, headings by hand."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from saltloft.store.loggers import numbers
from saltloft.store.loggers.date_order import place_moments
from saltloft.store.loggers.headers import understand
from saltloft.store.loggers.model import ReadOptions
from saltloft.store.loggers.stamps import read_stamps

FORMS = (
    "%Y-%m-%d %H:%M:%S",
    "%Y-%m-%dT%H:%M:%S",
    "%Y/%m/%d %H:%M",
    "%d.%m.%Y %H:%M",
    "%d-%m-%Y %H:%M:%S",
    "%d/%m/%Y %I:%M:%S %p",
    "%d/%m/%y %H.%M.%S",
    "%d-%b-%Y %H:%M",
    "%B %d, %Y %I:%M %p",
    "%a %d.%m.%Y %H:%M",
    "%Y%m%d%H%M%S",
    "%Y%m%dT%H%M",
)


@settings(max_examples=200, deadline=None)
@given(
    st.datetimes(datetime.fromisoformat("2011-01-04"), datetime.fromisoformat("2049-12-31")),
    st.sampled_from(FORMS),
)
def test_a_moment_reads_as_strptime_reads_it(moment: datetime, form: str) -> None:
    """Every form, any date: once the order is known, the parts are those of the standard library."""
    written = moment.strftime(form)
    expected = datetime.strptime(written, form).replace(tzinfo=UTC).timestamp()
    parts = read_stamps([written])
    options = ReadOptions(answers={"date_order": "dmy"})
    placed = place_moments(parts, np.array([1], np.int32), options)
    assert placed.seconds.tolist() == [expected]


@pytest.mark.parametrize(
    "cell",
    ["2026-02-30 10:00", "2026-11-03 24:01", "2026-11-03 10:60", "2026-11-03 13:00 PM", "2026-13-01 10:00"],
)
def test_moments_that_do_not_exist_are_none(cell: str) -> None:
    """30 February, 24:01, minute 60, 13 p.m., month 13."""
    placed = place_moments(read_stamps([cell]), np.array([1], np.int32), ReadOptions())
    assert not np.isfinite(placed.seconds).any()


@settings(max_examples=200, deadline=None)
@given(st.decimals(-60, 130, places=2), st.sampled_from([".", ","]), st.sampled_from(["", " ", "'", '"']))
def test_a_number_reads_as_python_reads_it(value: object, decimal: str, before: str) -> None:
    """Decimal comma or point, stray blanks and quotes; fault codes apart."""
    text = str(value).replace(".", decimal)
    read = numbers.number(before + text + before, decimal)
    expected = float(str(value))
    assert (math.isnan(read) and expected in (-127.0,)) or read == expected


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("1,234.5", ".", 1234.5),
        ("1.234,5", ",", 1234.5),
        ("+14.20", ".", 14.2),
        ("−3.5", ".", -3.5),
        ("14.2 °C", ".", 14.2),
        ("81%", ".", 81.0),
        ("14.2", ",", numbers.NOT_A_NUMBER),
        ("14,2", ".", numbers.NOT_A_NUMBER),
        ("1.2.3", ".", numbers.NOT_A_NUMBER),
        ("0x1F", ".", numbers.NOT_A_NUMBER),
        ("1_000", ".", numbers.NOT_A_NUMBER),
        ("inf", ".", numbers.NOT_A_NUMBER),
        ("  ", ".", numbers.BLANK),
    ],
)
def test_odd_cells_read_as_a_person_reads_them(cell: str, decimal: str, value: float) -> None:
    """The other decimal mark is never taken for a grouping mark; nothing but plain numbers is one."""
    assert numbers.number(cell, decimal) == value


@pytest.mark.parametrize(
    ("label", "role", "quantity", "unit", "place"),
    [
        ("Temp(°C)", "quantity", "temperature_c", "C", ""),
        ("T [degF]", "quantity", "temperature_c", "F", ""),
        ("Room D1 T", "quantity", "temperature_c", "", "D1"),
        ("D2_RH", "quantity", "rh_pct", "", "D2"),
        ("rel. Feuchte [%]", "quantity", "rh_pct", "%", ""),
        ("r.F. %", "quantity", "rh_pct", "%", ""),
        ("U.R. (%)", "quantity", "rh_pct", "%", ""),
        ("Umidità relativa", "quantity", "rh_pct", "", ""),
        ("Humedad %HR", "quantity", "rh_pct", "%", ""),
        ("Cella 3 Temperatura ï¿½C", "quantity", "temperature_c", "C", "3"),
        ("Taupunkt °C", "other", "", "C", ""),
        ("Batteria %", "other", "", "%", ""),
        ("Wet bulb °F", "other", "", "F", ""),
        ("Dry bulb °F", "quantity", "temperature_c", "F", ""),
        ("Valve %", "", "", "%", ""),
        ("Fecha y hora", "stamp", "", "", ""),
        ("Uhrzeit", "time", "", "", ""),
        ("Nr.", "index", "", "", ""),
        ("Messwert", "value", "", "", ""),
        ("Einheit", "unit", "", "", ""),
    ],
)
def test_headings_in_four_languages(label: str, role: str, quantity: str, unit: str, place: str) -> None:
    """What each heading means, decided by hand."""
    found = understand(label)
    assert (found.role, found.quantity, found.unit, found.place) == (role, quantity, unit, place)
