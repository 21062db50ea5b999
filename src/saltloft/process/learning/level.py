"""What a house's earlier lots lead to expect of the slope of the next one's straight line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Without earlier lots: 35 % in 30 d at 50 mm, days as the 1.65th power of the calibre (common practice,
# no source), ln slope off by a third: house and product each, and a lot's own. Own choice.
USUAL_LOSS, USUAL_D, USUAL_M, USUAL_POWER = 0.35, 30.0, 0.050, 0.825
HOUSE_SD, PRODUCT_SD, LOT_SD = 0.25, 0.20, 0.12
# So many lots' worth of belief in LOT_SD stands beside the lots' own residuals. Own choice.
LOT_SD_WORTH = 6.0


@dataclass(frozen=True)
class Level:
    """What is known of a lot's slope before it is weighed.

    Args:
        log_slope: float. ln of the loss per root day. [ln 1/d^0.5]
        sd: float. Above 0. [1]
    """

    log_slope: float
    sd: float

    @property
    def slope(self) -> float:
        """Loss per root day. [1/d^0.5]"""
        return float(np.exp(self.log_slope))


@dataclass(frozen=True)
class PastLine:
    """What an earlier lot's weighings say of its line.

    Args:
        lot, product: str.
        calibre_m: float. [m]
        log_slope: float. ln of the loss per root day. [ln 1/d^0.5]
        sd: float. Of it, as far as the lot's own weighings fix it. [1]
        evidence: array (nodes,). Log density of its weighings at each of NODES.
    """

    lot: str
    product: str
    calibre_m: float
    log_slope: float
    sd: float
    evidence: Array


def usual_level(calibre_m: float) -> Level:
    """Of any house.

    Args:
        calibre_m: float. [m]
    """
    slope = USUAL_LOSS / np.sqrt(USUAL_D) * (USUAL_M / calibre_m) ** USUAL_POWER
    return Level(float(np.log(slope)), float(np.sqrt(HOUSE_SD**2 + PRODUCT_SD**2 + LOT_SD**2)))


def level_of(past: Sequence[PastLine], product: str, calibre_m: float) -> Level:
    """What the earlier lots of a house lead to expect of the next one's slope.

    Args:
        past: sequence of PastLine. The lot itself not among them.
        product: str.
        calibre_m: float. [m]

    Notes:
        ln slope = practice by calibre + house + product + the lot's own, all normal. The lot's own
        spread is LOT_SD_WORTH lots' worth of LOT_SD and the residuals that each earlier lot leaves
        when it is told from the others.
    """
    if not past:
        return usual_level(calibre_m)
    names = np.array([one.product for one in past])
    off = np.array([one.log_slope - usual_level(one.calibre_m).log_slope for one in past])
    own = np.array([one.sd**2 for one in past])
    same = (names[:, None] == names) * PRODUCT_SD**2 + HOUSE_SD**2
    lot = LOT_SD**2
    for _ in range(2):
        inverse = np.linalg.inv(same + np.diag(own + lot))
        left_out = (inverse @ off) / np.diag(inverse)
        known = 1.0 / np.diag(inverse) - lot
        excess = np.maximum(left_out**2 - np.maximum(known, 0.0), 0.0)
        lot = (LOT_SD_WORTH * LOT_SD**2 + float(excess.sum())) / (LOT_SD_WORTH + len(past))
    inverse = np.linalg.inv(same + np.diag(own + lot))
    shared = (names == product) * PRODUCT_SD**2 + HOUSE_SD**2
    gain = shared @ inverse
    variance = HOUSE_SD**2 + PRODUCT_SD**2 - float(gain @ shared) + lot
    return Level(usual_level(calibre_m).log_slope + float(gain @ off), float(np.sqrt(variance)))
