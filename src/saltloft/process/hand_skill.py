"""Does the case-hardening index know the cut rim? Rank correlation and ranking of thick rims, with doubt.

Both are asked within a product only: that a thick calibre has a thicker rim and a
higher index than a thin one is no skill. Nor is it any that both grow while a lot
dries: the rank correlation is that beyond the loss. Cuts of one lot resemble each
other, so the interval comes from drawing whole lots.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import rankdata

from saltloft.process.hand import Cut
from saltloft.science.statistics import uniform

Array = NDArray[np.float64]

# Chosen, no source: a rim this thick is one a curer would rather not have. [mm]
THICK_RIM_MM = 2.0
LEAST_CUTS, LEAST_LOTS = 20, 6
DRAWS, SEED = 400, 1


@dataclass(frozen=True)
class Skill:
    """How well the index ranks the cut rims.

    Args:
        cuts, lots: int. With both a computed index and a cut rim.
        rank, rank_low, rank_high: float or None. Rank correlation within products, the part that goes
            with the loss taken out of both, and its 90 % interval, -1..1.
        area, area_low, area_high: float or None. Chance that a thick rim had the higher index than a
            thin one of its product, and its 90 % interval, 0..1; None without a product of both sorts.
        thick: int. Rims of THICK_RIM_MM or more.
    """

    cuts: int
    lots: int
    rank: float | None
    rank_low: float | None
    rank_high: float | None
    area: float | None
    area_low: float | None
    area_high: float | None
    thick: int

    @property
    def enough(self) -> bool:
        """Enough cuts of enough lots to look at."""
        return self.cuts >= LEAST_CUTS and self.lots >= LEAST_LOTS

    @property
    def shown(self) -> bool:
        """The whole interval of the rank correlation lies above nought."""
        return self.enough and self.rank_low is not None and self.rank_low > 0.0


def index_skill(cuts: Sequence[Cut]) -> Skill:
    """The index against the cut rim over a house's lots.

    Args:
        cuts: sequence of Cut. Those without an index or a rim are left out.
    """
    known = [cut for cut in cuts if cut.index is not None and cut.rim_mm is not None]
    names = sorted({cut.lot for cut in known})
    index = np.array([cut.index for cut in known], dtype=np.float64)
    rim = np.array([cut.rim_mm for cut in known], dtype=np.float64)
    products = sorted({cut.product for cut in known})
    product = np.array([products.index(cut.product) for cut in known], dtype=np.int64)
    thick = rim >= THICK_RIM_MM
    of_lot = [np.flatnonzero([cut.lot == name for cut in known]) for name in names]
    loss = np.array([cut.loss for cut in known], dtype=np.float64)
    ranks, areas = _drawn(np.stack([index, rim, loss]), product, of_lot)
    rank, area = rank_beyond(index, rim, loss, product), area_within(index, thick, product)
    return Skill(len(known), len(names), rank, *_ends(ranks), area, *_ends(areas), int(thick.sum()))


def rank_correlation(one: Array, other: Array) -> float | None:
    """Spearman's rank correlation, ties at their mean rank; None when one of them does not vary.

    Args:
        one, other: arrays (n,). [any unit]
    """
    if one.size < 3:
        return None
    a, b = rankdata(one) - (one.size + 1) / 2.0, rankdata(other) - (one.size + 1) / 2.0
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size if size > 0.0 else None


def ranking_area(score: Array, marked: NDArray[np.bool_]) -> float | None:
    """Chance that a marked one has the higher score than one that is not, ties counted half.

    Args:
        score: array (n,). [any unit]
        marked: array of bool (n,). [1]

    Returns:
        float, 0..1, the area under the curve of hits against false alarms; None without both sorts.
    """
    yes, no = int(marked.sum()), int((~marked).sum())
    if not yes or not no:
        return None
    above = float(rankdata(score)[marked].sum()) - yes * (yes + 1) / 2.0
    return above / (yes * no)


def rank_beyond(one: Array, other: Array, beside: Array, group: NDArray[np.int64]) -> float | None:
    """Partial rank correlation: ranks within each group, what goes with a third quantity taken out.

    Args:
        one, other, beside: arrays (n,). [any unit]
        group: array (n,). [1]

    Returns:
        float, -1..1; None when nothing is left that varies.
    """
    if one.size < 4:
        return None
    a, b, c = (_ranks_within(values, group) for values in (one, other, beside))
    if c @ c > 0.0:
        a, b = a - c * (a @ c) / (c @ c), b - c * (b @ c) / (c @ c)
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size if size > 1e-9 * one.size else None


def _ranks_within(values: Array, group: NDArray[np.int64]) -> Array:
    """Ranks within each group about their middle, ties at their mean."""
    ranks = np.zeros(values.size)
    for own in np.unique(group):
        here = group == own
        ranks[here] = rankdata(values[here]) - (int(here.sum()) + 1) / 2.0
    return ranks


def area_within(score: Array, marked: NDArray[np.bool_], group: NDArray[np.int64]) -> float | None:
    """Chance that a marked one has the higher score than one of its group that is not, ties half.

    Args:
        score: array (n,). [any unit]
        marked: array of bool (n,). [1]
        group: array (n,). [1]

    Returns:
        float, 0..1, over all pairs within groups; None without a group of both sorts.
    """
    above, pairs = 0.0, 0
    for own in np.unique(group):
        here = group == own
        area = ranking_area(score[here], marked[here])
        if area is not None:
            yes = int(marked[here].sum())
            both = yes * (int(here.sum()) - yes)
            above, pairs = above + area * both, pairs + both
    return above / pairs if pairs else None


def _drawn(
    known: Array, product: NDArray[np.int64], of_lot: list[NDArray[np.int64]]
) -> tuple[list[float], list[float]]:
    """Both measures over drawn lots; `known` holds index, rim and loss."""
    ranks: list[float] = []
    areas: list[float] = []
    if len(of_lot) < 2:
        return ranks, areas
    slots = np.arange(len(of_lot))
    for draw in range(DRAWS):
        picked = np.floor(uniform(SEED, "hand", draw, slots) * len(of_lot)).astype(int)
        rows = np.concatenate([of_lot[lot] for lot in picked])
        index, rim, loss = known[:, rows]
        rank = rank_beyond(index, rim, loss, product[rows])
        area = area_within(index, rim >= THICK_RIM_MM, product[rows])
        if rank is not None:
            ranks.append(rank)
        if area is not None:
            areas.append(area)
    return ranks, areas


def _ends(drawn: list[float]) -> tuple[float | None, float | None]:
    """The 90 % interval; none when most draws had nothing to rank."""
    if len(drawn) < DRAWS // 2:
        return None, None
    low, high = np.quantile(drawn, (0.05, 0.95))
    return float(low), float(high)
