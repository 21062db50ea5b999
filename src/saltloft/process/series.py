"""The quantities of a forecast over time, and their bands over pieces and lots."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from saltloft.process.programme import Programme
from saltloft.process.result import SeriesBand
from saltloft.process.simulate import Run, lot_mean
from saltloft.science.statistics import weighted_quantile

Array = NDArray[np.float64]


def output_days(until_d: float, also: Sequence[float] = ()) -> Array:
    """The days of a forecast: dense early, wider later.

    Args:
        until_d: float. Last day. [d]
        also: sequence of float. Days that must be among them. [d]
    """
    parts = [
        np.arange(0.0, 3.0, 0.25),
        np.arange(3.0, 10.0, 0.5),
        np.arange(10.0, 100.0, 1.0),
        np.arange(100.0, 200.0, 2.0),
        np.arange(200.0, until_d, 5.0),
    ]
    days = np.concatenate([*parts, [until_d], np.asarray(also, dtype=np.float64)])
    return np.unique(np.round(days[days <= until_d], 9))


def quantity_of(run: Run, name: str) -> Array:
    """One quantity of a forecast, array (times, members), in the unit of its name.

    Args:
        run: Run.
        name: str. One of QUANTITIES but 'ph'. Loss and water alone are told without the rest.
    """
    if name == "weight_loss_pct":
        return 100.0 * run.weight_loss
    if name == "moisture_pct":
        return 100.0 * run.moisture
    if name == "moisture_protein":
        return run.moisture_protein
    return series_of(run)[name]


def series_of(run: Run) -> dict[str, Array]:
    """Every quantity of a forecast by name, arrays (times, members), in the unit of its name."""
    states = run.states
    return {
        "weight_loss_pct": 100.0 * run.weight_loss,
        "moisture_pct": 100.0 * run.moisture,
        "moisture_protein": run.moisture_protein,
        "water_activity_mean": states.water_activity_mean,
        "water_activity_core": states.water_activity_core,
        "water_activity_rim": states.water_activity_rim,
        "diameter_mm": 1000.0 * states.diameter_m,
        "loss_rate_pct_d": 8.64e6 * states.loss_rate_s,
        "case_hardening": states.case_hardening,
    }


def band_of(values: Array, lots: int) -> SeriesBand:
    """Quantiles over the pieces and over the lots' means.

    Args:
        values: array (times, members). [any unit]
        lots: int.
    """
    piece = weighted_quantile(values, None, [0.05, 0.5, 0.95])
    mean = weighted_quantile(lot_mean(values, lots), None, [0.05, 0.5, 0.95])
    return SeriesBand(*piece, *mean)


def ph_band(programme: Programme, run: Run) -> Array | None:
    """Stated pH over time where stages state one, array (times, 3); None when none does."""
    if not any(stage.ph_end for stage in programme.stages):
        return None
    ends = np.median(run.ends_d, axis=1)
    ph = np.full((len(run.time_d), 3), np.nan)
    for stage, end in zip(programme.stages, ends, strict=True):
        if stage.ph_end:
            span = stage.ph_end
            ph[run.time_d >= end - 1e-9] = (span.low, span.mean, span.high)
    return ph
