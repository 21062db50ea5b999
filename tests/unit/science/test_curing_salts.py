"""The two bases, and the traps of per cent and fraction."""

from __future__ import annotations

import pytest

from saltloft.foundation.errors import InputError
from saltloft.science import curing_salts


def test_two_bases_stay_apart() -> None:
    """2.5 g/kg of 6.25 % curing salt on 97 kg of meat in a 100 kg batter: 156.25 and 151.5625 mg/kg."""
    agent = curing_salts.pure_agent_kg(0.0025 * 97.0, 0.0625)
    found = curing_salts.ingoing_mg_kg(agent, 97.0, 100.0)
    assert found.per_meat_mg_kg == pytest.approx(156.25)
    assert found.per_batter_mg_kg == pytest.approx(151.5625)


def test_a_per_cent_is_not_taken_for_a_fraction() -> None:
    """6.25 for 6.25 % would be 100 times too much: refused, with the way out."""
    with pytest.raises(InputError, match=r"0 to 1 \(6.25 % is 0.0625\)"):
        curing_salts.pure_agent_kg(1.0, 6.25)
    with pytest.raises(InputError, match="pump_fraction"):
        curing_salts.pumped_mg_kg(0.5, 250.0, 10.0)


@pytest.mark.parametrize(
    "amounts", [(0.1, 0.0, 1.0), (-0.1, 1.0, 1.0), (0.1, 2.0, 1.0), (0.1, float("nan"), 1.0)]
)
def test_impossible_amounts_are_refused(amounts: tuple[float, float, float]) -> None:
    """No meat, a negative agent, a batter lighter than its meat."""
    with pytest.raises(InputError):
        curing_salts.ingoing_mg_kg(*amounts)


def test_nitrite_is_not_nitrate() -> None:
    """No weight factor leads from one to the other, and unknown salts are named."""
    with pytest.raises(InputError, match="do not convert"):
        curing_salts.equal_amount_factor("sodium_nitrite", "nitrate")
    with pytest.raises(InputError, match="not known"):
        curing_salts.equal_amount_factor("saltpetre", "nitrate")
    with pytest.raises(InputError, match="above zero"):
        curing_salts.cure_needed_kg(150.0, 1.0, 0.0)
