"""The figures of docs/models/equal-drying.md are those the engine and the fact rows give today."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from tests.published.equal_drying import NAMES, ROOMS, dried, drying_table, growth_table, rate_h

PAGE = (Path(__file__).parents[2] / "docs" / "models" / "equal-drying.md").read_text(encoding="utf-8")


def _rows(text: str) -> list[list[str]]:
    return [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("|") and not line.startswith("|---")
    ]


def _numbers(cell: str) -> list[float]:
    return [float(number) for number in re.findall(r"\d+\.?\d*", cell)]


def test_the_page_prints_what_is_computed() -> None:
    """Words alike; days within 2 or 4 %, water activity and E within 0.01."""
    printed, computed = _rows(PAGE), _rows(drying_table() + growth_table())
    assert len(printed) == len(computed)
    for ours, theirs in zip(computed, printed, strict=True):
        for one, other in zip(ours, theirs, strict=True):
            assert re.sub(r"\d+\.?\d*", "#", one) == re.sub(r"\d+\.?\d*", "#", other), (ours, theirs)
            for a, b in zip(_numbers(one), _numbers(other), strict=True):
                assert a == pytest.approx(b, abs=0.01 if a < 1.0 else 2.0, rel=0.04), (ours, theirs)


def test_equal_drying_and_unequal_growth() -> None:
    """What the page claims: days within a tenth, doublings at least twice as fast, a softer rim."""
    warm, cold = ROOMS
    for calibre in (50.0, 80.0):
        days = {row.room: row for row in dried() if row.calibre_mm == calibre}
        middle = [float(np.median(days[room].day)) for room in (warm, cold)]
        assert middle[0] == pytest.approx(middle[1], rel=0.10)
        assert days[warm].rim - days[cold].rim > 0.07
        assert days[warm].index < days[cold].index
    ratios = [rate_h(name, 18.0) / rate_h(name, 12.0) for name in NAMES]
    assert min(ratios) > 1.9
    assert max(ratios) < 15.0


def test_no_advice_and_the_caution() -> None:
    """The page holds figures and the sentence of caution, and says nowhere what to do."""
    assert "Saltloft does not decide whether this may be eaten or sold" in PAGE
    assert not re.search(r"\b(should|recommend|choose the|better to|you can|is safe|are safe)\b", PAGE, re.I)
