"""What the dossier and the page of one lot lay out; `cases.lot_folder` gathers it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from saltloft.plant.answers import HouseFace, LotJudgement, LotOutlook
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.readings import DocumentRecorded
from saltloft.plant.recipes import ProductDefined, RecipeDefined
from saltloft.plant.stated import Stated


@dataclass(frozen=True)
class IngredientIn:
    """One ingredient as it went in, by weighed amounts where they are known.

    Args:
        name: str.
        mass_kg: float or None. Weighed into the batch. [kg]
        dose_g_kg: float or None. Of the recipe's basis. [g/kg]
        material_lots: tuple of str.
        entries: tuple of str.
    """

    name: str
    mass_kg: float | None
    dose_g_kg: float | None
    material_lots: tuple[str, ...] = ()
    entries: tuple[str, ...] = ()


@dataclass(frozen=True)
class InstrumentUse:
    """An instrument this lot was measured with, and whether it was in check each time.

    Args:
        instrument: str.
        type: str.
        uses: int. Readings of this lot.
        out_of_check: int. Readings taken while it was not in check, or in doubt since.
        last_good: str. When and what its last good check before the last use found.
        failed: str. A check that failed and reaches back to a reading; may be empty.
    """

    instrument: str
    type: str
    uses: int
    out_of_check: int
    last_good: str
    failed: str = ""


@dataclass(frozen=True)
class SourceLine:
    """One fact a verdict or forecast rested on, with its source.

    Args:
        key: str. Fact key.
        value: str. With its unit.
        source: str. Title of the work and the place in it.
        confidence: str. As in foundation.sources.
        confirmed: str. 'by source', 'by <person>', 'demo' or ''.
    """

    key: str
    value: str
    source: str
    confidence: str
    confirmed: str


@dataclass(frozen=True)
class LotFolder:
    """Everything the dossier of one lot lays out.

    Args:
        house: HouseFace.
        at: datetime, aware.
        record: LotRecord.
        product: ProductDefined.
        recipe: RecipeDefined or None.
        ingoing: tuple of IngredientIn.
        nitrite_mg_kg: mapping of basis to ingoing sodium nitrite; empty when none. [mg/kg]
        outlook: LotOutlook or None.
        judgement: LotJudgement.
        next_step: str.
        instruments: tuple of InstrumentUse.
        people: mapping of person id to shown name and role.
        documents: tuple of Stated of DocumentRecorded that name a hazard of its plan.
        sources: tuple of SourceLine.
    """

    house: HouseFace
    at: datetime
    record: LotRecord
    product: ProductDefined
    recipe: RecipeDefined | None
    ingoing: tuple[IngredientIn, ...]
    nitrite_mg_kg: Mapping[str, float]
    outlook: LotOutlook | None
    judgement: LotJudgement
    next_step: str
    instruments: tuple[InstrumentUse, ...]
    people: Mapping[str, str]
    documents: tuple[Stated[DocumentRecorded], ...]
    sources: tuple[SourceLine, ...]
