"""What a product has to reach on the racks, and what is done to it until it leaves the house."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

READY_SAMPLES = ("mean", "core")
STEPS = ("wash", "dry", "equalise", "slice", "pack")


@dataclass(frozen=True)
class ReadyPlanned:
    """When a product of dry sausage counts as ready, and how long each step after the racks takes.

    The defaults are common practice, no source: a day to brush or wash, a day to dry again, a day
    to pack, five days for a laboratory.

    Args:
        product: str.
        water_activity: Decimal. What it has to come down to; 0 when the house wants none. [1]
        water_activity_of: str. One of READY_SAMPLES: of the ground piece, or of its core.
        least_days: int. Days from hanging that it must have at least; 0 for none. [d]
        least_days_why: str. The rule, plan or customer that asks for them, in its own words.
        lab_days: Decimal. From sending a sample to the report. [d]
        wash_days, dry_days, equalise_days, slice_days, pack_days: Decimal. Length of each step; 0
            when it is not done. [d]
    """

    product: str
    water_activity: Decimal = Decimal(0)
    water_activity_of: str = "mean"
    least_days: int = 0
    least_days_why: str = ""
    lab_days: Decimal = Decimal(5)
    wash_days: Decimal = Decimal(1)
    dry_days: Decimal = Decimal(1)
    equalise_days: Decimal = Decimal(0)
    slice_days: Decimal = Decimal(0)
    pack_days: Decimal = Decimal(1)

    def days_of(self, step: str) -> float:
        """Length of one of STEPS. [d]"""
        return float(getattr(self, f"{step}_days"))
