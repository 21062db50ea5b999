"""A kept outlook reads back as it was written, and small."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "papers"))

import examples

from saltloft.cases.kept_outlook import from_bytes, to_bytes
from saltloft.papers.chart_words import lot_curve_words


def test_it_reads_back_with_the_same_words_and_six_figures() -> None:
    lot = examples.outlook()
    back = from_bytes(to_bytes(lot))
    assert lot_curve_words(back) == lot_curve_words(lot)
    assert (back.asof, back.used_entries, back.weighings[0].entries) == (
        lot.asof,
        lot.used_entries,
        lot.weighings[0].entries,
    )
    assert back.result.targets["weight_loss_pct"].share_of_pieces.keys() == {"0.5", "0.9"}
    np.testing.assert_allclose(
        back.result.bands["weight_loss_pct"].p95, lot.result.bands["weight_loss_pct"].p95, rtol=1e-5
    )
    assert back.result.flags == lot.result.flags


def test_writing_twice_gives_the_same_bytes_and_reading_back_writes_the_same() -> None:
    body = to_bytes(examples.outlook())
    assert body == to_bytes(examples.outlook())
    assert to_bytes(from_bytes(body)) == body
    assert len(body) < 200_000
