"""`[[measured]]` of a drying case, and the same readings out of a lot's records."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from tests.drying_cases import parameters
from tests.unit.cases.test_lot_weighings import MADE, lot, piece

from saltloft.cases.dry import read_dry
from saltloft.cases.lot_samples import samples
from saltloft.cases.lot_weighings import losses
from saltloft.foundation.errors import InputError
from saltloft.plant.analyses import LotAnalysed, PieceMeasured
from saltloft.plant.readings import WaterActivityRead
from saltloft.plant.stated import Stated
from saltloft.process.learning import Measured

CASE = """format = 1
[piece]
diameter_mm = 50
[[stage]]
duration_d = 30
temperature_c = 14
rh_pct = 78
"""


def _read(tmp_path: Path, more: str) -> tuple[Measured, ...]:
    path = tmp_path / "CASE.toml"
    path.write_text(CASE + more, encoding="utf-8")
    return read_dry(path, parameters()).measured


def test_one_table_may_hold_several_readings_of_a_sample(tmp_path: Path) -> None:
    """Water activity by the meter's error, moisture as a fraction, diameter in metres."""
    table = "[[measured]]\nday = 21\nwater_activity = 0.9\nmoisture_pct = 38\ndiameter_mm = 43\npieces = 2\n"
    activity, moisture, diameter = _read(tmp_path, table)
    assert activity == Measured(21.0, "water_activity_mean", 0.9, 0.005, 2)
    assert (moisture.quantity, moisture.value) == ("moisture", pytest.approx(0.38))
    assert (diameter.quantity, diameter.value) == ("diameter_m", pytest.approx(0.043))


def test_a_rim_is_hit_less_well_than_a_ground_piece(tmp_path: Path) -> None:
    rim, core = _read(
        tmp_path,
        "".join(
            f'[[measured]]\nday = 9\nwater_activity = 0.9\nsample = "{name}"\n' for name in ("rim", "core")
        ),
    )
    assert (rim.quantity, core.quantity) == ("water_activity_rim", "water_activity_core")
    assert rim.sd > core.sd > 0.005


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ("[[measured]]\nday = 9\n", "day"),
        ('[[measured]]\nday = 9\nmoisture_pct = 40\nsample = "rim"\n', "sample"),
        ("[[measured]]\nday = 9\nmoisture_pct = 0.4\n", "moisture_pct"),
        ("[[measured]]\nday = 9\nwater_activity = 1.2\n", "water_activity"),
    ],
)
def test_a_reading_that_is_none_is_refused_with_its_key(tmp_path: Path, more: str, key: str) -> None:
    with pytest.raises(InputError) as error:
        _read(tmp_path, more)
    assert error.value.key.endswith(key)


def _stated(payload: Any, day: float) -> Stated[Any]:
    at = MADE + timedelta(days=day)
    return Stated("e90", 90, "kind/1", at, at, "maren", "tablet", payload, payload)


def test_readings_of_a_lot_teach_with_what_they_stand_for() -> None:
    """A ground sample is the whole piece, a core is the core; a moisture of a rim is not taken."""
    record = replace(
        lot(),
        water_activities=(_stated(WaterActivityRead("AL-0310", Decimal("0.912"), "core", "aw-1"), 20.0),),
        analyses=(
            _stated(LotAnalysed("AL-0310", Decimal("38.5"), pieces=3), 21.0),
            _stated(LotAnalysed("AL-0310", Decimal("30.0"), sample="rim"), 21.0),
        ),
        diameters=(_stated(PieceMeasured("AL-0310", Decimal(43), "14"), 22.0),),
    )
    found, entries = samples(record, 0.005)
    assert [(one.quantity, one.day, one.tag) for one in found] == [
        ("water_activity_core", 20.0, ""),
        ("moisture", 21.0, ""),
        ("diameter_m", 22.0, "14"),
    ]
    assert found[1].pieces == 3
    assert entries == ("e90", "e90", "e90")


def test_scales_and_racks_come_with_the_loss() -> None:
    """A rack of four against its own green weight, tare off both; a set without one says so."""
    trolley: dict[str, Any] = {"rack": "R2", "pieces": 4}
    record = lot(
        (0.2, piece("4.000", green=1, **trolley)),
        (7.0, replace(piece("3.400", **trolley), instrument="S-1")),
        (8.0, piece("5.000", pieces=6)),
    )
    rack, loose = losses(record)
    assert rack.loss == pytest.approx(0.15)
    assert (rack.scale, rack.green_scale, rack.rack, rack.own_green) == ("S-1", "S-2", "R2", True)
    assert not loose.own_green
