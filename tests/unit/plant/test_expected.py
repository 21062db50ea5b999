"""The question before a slip is stored: what is asked about, and what is not."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from tests.small_house import MADE_AT, lot_made, weighing

from saltloft.plant.analyses import LotAnalysed, PieceMeasured
from saltloft.plant.expected import fit_of
from saltloft.plant.lot_state import LotState
from saltloft.plant.readings import PhRead, WaterActivityRead

DAY = timedelta(days=1)


def state() -> LotState:
    """AL-0310 with tag 14 weighed at 1.05 kg on its first day and core pH 5.49."""
    lot = LotState("AL-0310")
    lot.take("e-1", lot_made(), MADE_AT)
    lot.take("e-2", weighing("1.05", green=1), MADE_AT)
    lot.take("e-3", PhRead("AL-0310", (Decimal("5.49"),), "core", "pH-A"), MADE_AT + 2 * DAY)
    lot.take("e-4", WaterActivityRead("AL-0310", Decimal("0.93"), "ground", "AW"), MADE_AT + 20 * DAY)
    return lot


@pytest.mark.parametrize(
    ("kg", "days", "fits"),
    [
        ("1.03", 1, True),
        ("10.4", 1, False),  # the demo house's decimal slip
        ("2.16", 1, False),  # its pounds in a kilogram field
        ("1.06", 1, True),  # one division of the scale above
        ("1.12", 1, False),
        ("0.72", 20, True),
        ("0.30", 20, False),
        ("0.85", 1, False),  # 19 % in a day
    ],
)
def test_a_weight_against_the_last_one(kg: str, days: int, fits: bool) -> None:
    """What a hanging piece can do in the time is taken; the rest is asked about."""
    found = fit_of(weighing(kg), state(), MADE_AT + days * DAY)
    assert found.fits is fits
    assert "The last was 1.05 kg" in found.words


@pytest.mark.parametrize(("kg", "fits"), [("0.98", True), ("0.55", True), ("9.8", False), ("0.098", False)])
def test_a_first_weight_against_the_lot(kg: str, fits: bool) -> None:
    """A tag never weighed before is compared with the mean piece at stuffing, 0.98 kg."""
    found = fit_of(weighing(kg, tag="99"), state(), MADE_AT + DAY)
    assert found.fits is fits
    assert "0.98 kg on average" in found.words


@pytest.mark.parametrize(
    ("values", "fits"),
    [
        (("5.31", "5.27"), True),
        (("5.9", "5.9"), False),
        (("3.9",), False),
        (("5.2", "5.9"), False),
        (("7.0",), False),
    ],
)
def test_a_ph_set_against_the_last_one(values: tuple[str, ...], fits: bool) -> None:
    """A rise within days, a spread within the set, and values no sausage has are asked about."""
    said = PhRead("AL-0310", tuple(Decimal(value) for value in values), "core", "pH-A")
    assert fit_of(said, state(), MADE_AT + 3 * DAY).fits is fits


@pytest.mark.parametrize(
    ("value", "sample", "fits"), [("0.91", "ground", True), ("0.97", "ground", False), ("0.55", "rim", False)]
)
def test_a_water_activity_against_the_last_one(value: str, sample: str, fits: bool) -> None:
    """It does not rise by more than 0.03, and nothing here is drier than 0.6."""
    said = WaterActivityRead("AL-0310", Decimal(value), sample, "AW")
    assert fit_of(said, state(), MADE_AT + 30 * DAY).fits is fits


@pytest.mark.parametrize(
    ("parts", "fits"),
    [
        (("36.4", "21.5", "33.2", "4.1"), True),
        (("36.4", "21.5", None, None), True),
        (("26.4", "11.5", "33.2", "4.1"), False),  # a quarter of the sample is missing
        (("60.4", "10.5", None, None), False),  # wetter against its protein than fresh lean meat
        (("49.0", "18.0", None, None), False),  # wetter than last time
    ],
)
def test_an_analysis_is_held_against_a_whole_and_the_last_one(
    parts: tuple[str | None, ...], fits: bool
) -> None:
    """Four parts make about a whole; a piece does not get wetter."""
    lot = state()
    lot.take("e-5", LotAnalysed("AL-0310", Decimal("44.0")), MADE_AT + 20 * DAY)
    said = LotAnalysed("AL-0310", *(None if part is None else Decimal(part) for part in parts))  # type: ignore[arg-type]
    assert fit_of(said, lot, MADE_AT + 30 * DAY).fits is fits


@pytest.mark.parametrize(("mm", "fits"), [("58", True), ("64", True), ("66", False), ("48", False)])
def test_a_diameter_is_held_against_the_last_of_the_same_piece(mm: str, fits: bool) -> None:
    """A piece shrinks slowly and never grows."""
    lot = state()
    lot.take("e-5", PieceMeasured("AL-0310", Decimal("62.0"), "14"), MADE_AT + 5 * DAY)
    assert fit_of(PieceMeasured("AL-0310", Decimal(mm), "14"), lot, MADE_AT + 9 * DAY).fits is fits
    assert fit_of(PieceMeasured("AL-0310", Decimal(mm), "3"), lot, MADE_AT + 9 * DAY).words == ""
