"""What drying's air and dryness may be credited with against E. coli; supporting evidence only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.process.simulate import Run
from saltloft.science.growth import GrowthGate, KillCredit, credited_kill_log10, growth_possible

Array = NDArray[np.float64]


@dataclass(frozen=True)
class KillModel:
    """Limits of growth and the credited death of one organism.

    Args:
        organism: str. Name as in `science.growth.ORGANISMS`.
        gate: GrowthGate.
        credit: KillCredit.
    """

    organism: str
    gate: GrowthGate
    credit: KillCredit


def kill_of(run: Run, model: KillModel, ph: Array | None) -> tuple[Array, Array]:
    """Credited kill over time: the mean, and the value that may be leaned on.

    Args:
        run: Run. The core counts, the wettest place.
        model: KillModel.
        ph: array (times,) or None. pH of the least acid place; None: taken as neutral,
            so only dryness and cold can end growth. [pH]

    Returns:
        Two arrays (times,): the median member's mean kill, and the conservative factor
        times the kill of the slowest twentieth of the members. [log10]
    """
    core = run.states.water_activity_core
    acid = np.full(core.shape, 7.0) if ph is None else np.broadcast_to(ph[:, None], core.shape)
    celsius = run.states.temperature_c
    is_open = growth_possible(celsius, acid, core, 0.0, model.gate)
    members = credited_kill_log10(
        run.time_d * 86400.0, celsius, acid, core, growth_open=is_open, credit=model.credit
    )
    lower = np.quantile(members, 0.05, axis=1)
    return np.median(members, axis=1), model.credit.conservative * lower
