"""Shape, pulse drying and rim of a product: version 1 read as today's, what cannot be refused by name."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from tests.small_house import alder

from saltloft.cases.lot import piece_of, plan_of
from saltloft.foundation.errors import InputError
from saltloft.plant.entries import decode, encode, kind_of
from saltloft.plant.limits import refuse_impossible
from saltloft.plant.lots import LotMade
from saltloft.plant.recipes import ProductDefined, StageTarget
from saltloft.process.pulses import Pulse

PRESSED = replace(alder(), shape="pressed", width_mm=Decimal(72), thickness_mm=Decimal(50))


def test_a_product_of_version_1_is_round_with_steady_fans() -> None:
    plain = encode(alder())
    new = ("shape", "width_mm", "thickness_mm", "sorption_heat_kj_mol", "rim_remembers")
    old = {key: value for key, value in plain.items() if key not in new}
    pulsed = ("fans_on_h", "fans_off_h", "rest_rh_pct")
    old["stages"] = [
        {key: value for key, value in stage.items() if key not in pulsed} for stage in plain["stages"]
    ]
    read = decode("product.defined/1", old)
    assert isinstance(read, ProductDefined)
    assert read == alder()
    assert kind_of(read) == "product.defined/2"
    assert decode("product.defined/2", plain) == alder()


def test_a_pressed_piece_is_the_round_one_of_its_section_pressed_to_its_thickness() -> None:
    piece = piece_of(PRESSED, _made(), None)
    assert piece.diameter_m.mean == pytest.approx(float(PRESSED.round_mm) / 1000.0)
    assert piece.pressed_to_m is not None
    assert piece.pressed_to_m.mean == pytest.approx(0.050)
    assert not piece.oval
    assert piece_of(replace(PRESSED, shape="oval"), _made(), None).oval
    assert piece_of(alder(), _made(), None).pressed_to_m is None


def test_the_rim_is_said_as_a_case_file_says_it() -> None:
    piece = piece_of(replace(alder(), sorption_heat_kj_mol=Decimal("1.5"), rim_remembers=1), _made(), None)
    assert piece.net_heat_j_mol == pytest.approx(1500.0)
    assert piece.rim_remembers
    plain = piece_of(alder(), _made(), None)
    assert plain.net_heat_j_mol is None
    assert not plain.rim_remembers


def test_fans_that_rest_are_a_pulse_of_the_stage() -> None:
    stage = StageTarget(
        "drying", Decimal(1080), Decimal(14), Decimal(80), Decimal("0.3"), Decimal(2), Decimal(4)
    )
    (planned,) = plan_of(replace(alder(), stages=(stage,)), 0.0)
    assert planned.pulse == Pulse(2.0, 4.0, None)
    (wetter,) = plan_of(replace(alder(), stages=(replace(stage, rest_rh_pct=Decimal(88)),)), 0.0)
    assert wetter.pulse == Pulse(2.0, 4.0, 0.88)


@pytest.mark.parametrize(
    ("wrong", "key"),
    [
        (replace(alder(), shape="square"), "shape"),
        (replace(alder(), width_mm=Decimal(70)), "shape"),
        (replace(PRESSED, thickness_mm=Decimal(80)), "thickness_mm"),
        (replace(PRESSED, thickness_mm=Decimal(12)), "thickness_mm"),
        (replace(alder(), sorption_heat_kj_mol=Decimal(30)), "sorption_heat_kj_mol"),
        (replace(alder(), rim_remembers=2), "rim_remembers"),
        (replace(alder(), stages=(replace(alder().stages[0], fans_on_h=Decimal(2)),)), "fans_off_h"),
    ],
)
def test_what_cannot_be_is_refused_by_name(wrong: ProductDefined, key: str) -> None:
    with pytest.raises(InputError) as refusal:
        refuse_impossible(wrong)
    assert (refusal.value.key or "").endswith(key)
    refuse_impossible(PRESSED)


def _made() -> LotMade:
    from tests.small_house import lot_made

    return lot_made()
