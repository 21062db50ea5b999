"""What is found out about a piece besides its weight, pH and water activity: composition and diameter."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

ANALYSTS = ("laboratory", "in_house")


@dataclass(frozen=True)
class LotAnalysed:
    """The composition of a sample of a lot, by a laboratory or in the house.

    Args:
        lot: str.
        moisture_pct: Decimal. Water by weight. [%]
        protein_pct: Decimal or None. Of the same sample. [%]
        fat_pct: Decimal or None. [%]
        salt_pct: Decimal or None. [%]
        sample: str. One of SAMPLE_KINDS: how the sample was taken.
        analyst: str. One of ANALYSTS.
        method: str. In the report's own words.
        document: str. Number of the report, or SHA-256 of the attached file.
        pieces: int. Pieces that went into the sample.
        kept: int. 1 when kept after being asked.
    """

    lot: str
    moisture_pct: Decimal
    protein_pct: Decimal | None = None
    fat_pct: Decimal | None = None
    salt_pct: Decimal | None = None
    sample: str = "ground"
    analyst: str = "laboratory"
    method: str = ""
    document: str = ""
    pieces: int = 1
    kept: int = 0


@dataclass(frozen=True)
class PieceMeasured:
    """The diameter of a hanging piece at half its length.

    Args:
        lot: str.
        diameter_mm: Decimal. [mm]
        tag: str. Tag of the piece; empty for one without a tag.
        other_mm: Decimal or None. Across the first, for a piece that is not round. [mm]
        kept: int. 1 when kept after being asked.
    """

    lot: str
    diameter_mm: Decimal
    tag: str = ""
    other_mm: Decimal | None = None
    kept: int = 0

    @property
    def mean_mm(self) -> float:
        """Mean of the diameters that were taken. [mm]"""
        other = self.diameter_mm if self.other_mm is None else self.other_mm
        return float(self.diameter_mm + other) / 2.0
