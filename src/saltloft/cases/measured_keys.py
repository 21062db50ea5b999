"""`[[measured]]` of a drying case: water activity, moisture and diameters of samples."""

from __future__ import annotations

from collections.abc import Sequence

from saltloft.cases.case_file import Table
from saltloft.cases.keys import Number, Section, Text
from saltloft.cases.lot_samples import DIAMETER_ERROR_M, MOISTURE_ERROR, QUANTITY, activity_error
from saltloft.foundation.words import say
from saltloft.process.learning import Measured
from saltloft.process.learning.observations import LONGEST_D

READ = ("water_activity", "moisture_pct", "diameter_mm")

MEASURED = Section(
    {
        "day": Number(0.05, LONGEST_D, required=True),
        "water_activity": Number(0.4, 1.0),
        "moisture_pct": Number(1.0, 90.0, fraction_below=0.91),
        "diameter_mm": Number(5.0, 300.0),
        "sample": Text(choices=tuple(QUANTITY)),
        "pieces": Number(1, 1000, whole=True),
        "tag": Text(),
    },
    many=True,
)


def measured_of(tables: Sequence[Table], meter: float) -> tuple[Measured, ...]:
    """Every reading of the `[[measured]]` tables; one table may hold several of one sample.

    Args:
        tables: sequence of Table.
        meter: float. Standard deviation of the water activity meter. [1]

    Raises:
        InputError: a table without a reading, or a moisture of the core or rim alone.
    """
    found: list[Measured] = []
    for table in tables:
        day, tag = table.number("day"), table.text("tag") or ""
        assert day is not None  # the schema requires it
        sample, pieces = table.text("sample") or "ground", table.whole("pieces") or 1
        activity, moisture, diameter = (table.number(name) for name in READ)
        if activity is None and moisture is None and diameter is None:
            raise table.refusal("day", say("nothing is measured in this table"), allowed=", ".join(READ))
        if activity is not None:
            error = activity_error(sample, meter)
            found.append(Measured(day, QUANTITY[sample], activity, error, pieces, tag))
        if moisture is not None:
            if QUANTITY[sample] != "water_activity_mean":
                words = say("a moisture must be of the whole piece")
                raise table.refusal("sample", words, got=sample, allowed="ground, slice")
            found.append(Measured(day, "moisture", 0.01 * moisture, MOISTURE_ERROR, pieces, tag))
        if diameter is not None:
            found.append(Measured(day, "diameter_m", 1e-3 * diameter, DIAMETER_ERROR_M, pieces, tag))
    return tuple(found)
