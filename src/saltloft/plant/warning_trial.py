"""How the early warning of a shut rim did on an invented year whose rims set for good.

Figures of `scripts/bench early_warning` (seed 20261103, forecasts of day 10); a
long test runs it again and holds these against it.
"""

from __future__ import annotations

from dataclasses import dataclass

from saltloft.foundation.words import say
from saltloft.plant.sentences import number_words


@dataclass(frozen=True)
class WarningTrial:
    """Warnings against thick rims of a truth that is another model.

    Args:
        seed: int.
        day: float. Of the forecasts, from stuffing. [d]
        lots: int.
        hits, missed, false, silent: int. Thick rims warned of in half of the computed cases or more,
            and not; thin rims warned of, and not.
        calibre_mm: int. The one calibre with as many thick as thin rims. [mm]
        area, area_low, area_high: float. Within it: chance that a thick rim had the larger share than
            a thin one, and its 90 % interval; one half is chance.
    """

    seed: int
    day: float
    lots: int
    hits: int
    missed: int
    false: int
    silent: int
    calibre_mm: int
    area: float
    area_low: float
    area_high: float


TRIAL = WarningTrial(20261103, 10.0, 283, 22, 145, 0, 116, 50, 0.59, 0.50, 0.69)


def trial_words(trial: WarningTrial = TRIAL) -> str:
    """The trial in one sentence, whatever it says.

    Args:
        trial: WarningTrial.
    """
    return say(
        "Tried on an invented year whose rims set for good, {lots} lots on day {day}: it warned of {hits} of "
        "{thick} thick rims and of {false} of {thin} thin ones; within one calibre ({calibre} mm) it put a "
        "thick rim above a thin one {share} times in 100 ({low} to {high}), where chance gives 50.",
        lots=trial.lots,
        day=number_words(trial.day, 0),
        hits=trial.hits,
        thick=trial.hits + trial.missed,
        false=trial.false,
        thin=trial.false + trial.silent,
        calibre=trial.calibre_mm,
        share=number_words(100.0 * trial.area, 0),
        low=number_words(100.0 * trial.area_low, 0),
        high=number_words(100.0 * trial.area_high, 0),
    )
