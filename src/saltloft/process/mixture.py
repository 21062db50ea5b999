"""Members that follow the straight line instead of the drying model's weight loss."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.words import say
from saltloft.process.draws import Draws
from saltloft.process.learning.learn import Learned
from saltloft.process.learning.observations import Weighing
from saltloft.process.learning.rival import Drawn
from saltloft.process.learning.share import Experience, Share, readable, seen_of, share_of, taken
from saltloft.process.parameters import DryingParameters
from saltloft.process.result import Flag

Array = NDArray[np.float64]

STRAIGHT_LINE = "straight_line"


@dataclass(frozen=True)
class ByLine:
    """The part of an ensemble that the rival model takes.

    Args:
        share: Share.
        drawn: Drawn. A line for every lot draw.
        taken: array (lots,). Which lot draws follow theirs.
    """

    share: Share
    drawn: Drawn
    taken: NDArray[np.bool_]

    def members(self, draws: Draws) -> NDArray[np.bool_]:
        """Which members follow a line, array (members,)."""
        return draws.per_member(self.taken.astype(np.float64)) > 0.5

    def loss(self, draws: Draws, time_d: Array) -> Array:
        """Weight loss along the lines, array (times, members), 0..1.

        Args:
            draws: Draws. Two pieces of a lot draw lie to both sides of its line.
            time_d: array (times,), rising. [d]
        """
        drawn = self.drawn
        own = draws.per_member(drawn.piece_sd) * draws.of_piece("water_diffusivity")
        each = Drawn(
            start=draws.per_member(drawn.start),
            slope=draws.per_member(drawn.slope),
            pieces=draws.per_member(drawn.pieces),
            piece_sd=draws.per_member(drawn.piece_sd),
            visit_sd=draws.per_member(drawn.visit_sd),
            rest=draws.per_member(drawn.rest),
            tags=drawn.tags,
        )
        return each.loss(time_d, own)

    def flag(self) -> Flag:
        """Says so in words."""
        words = say(
            "{share} % of this forecast is a straight line of weight loss in the square root of time, "
            "because the house's earlier forecasts or this lot's own weighings speak for it. "
            "What it says of the inside, core and rim, is the drying model's alone.",
            share=round(100.0 * float(self.taken.mean())),
        )
        return Flag(STRAIGHT_LINE, None, float(self.taken.mean()), words)


def by_line(
    learned: Learned,
    weighings: list[Weighing],
    parameters: DryingParameters,
    experience: Experience,
    *,
    seed: int,
    lot: str,
) -> ByLine | None:
    """The rival's part of a forecast; None where it has none.

    Args:
        learned: Learned. What the lot's readings did to the drying model.
        weighings: list of Weighing.
        parameters: DryingParameters.
        experience: Experience. What the house knows.
        seed: int.
        lot: str.
    """
    wild = learned.outlier_share if weighings else None
    line = experience.line(seen_of(weighings, parameters, wild))
    share = share_of(experience.record, line, learned.linear, readable(weighings, wild))
    lots = learned.draws.lots
    which = taken(share, lots, seed=seed, lot=lot)
    if not which.any():
        return None
    return ByLine(share, line.draws(lots, seed=seed, lot=lot), which)
