"""The forecasts a house can make with a pencil, dressed with their own errors on other lots.

Each gives a point forecast; the errors it makes on the *other* lots of the family, at the same
as-of day and lead, are hung on it as an ensemble. That corrects its bias and gives it an honest
spread, and since errors on later lots count too, it knows a little more than a house could:
whoever beats it has beaten it at its best.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.truth.known import KnownLot, Lot

Array = NDArray[np.float64]

SOONEST_D, LATEST_D = 0.5, 400.0
THREE = ("square root", "Page", "day count")
OWN_COUNT = "own count"


@dataclass(frozen=True)
class Point:
    """A point forecast: ready day [d] and mean loss 0..1 on the asked days, array (days,)."""

    ready_d: float
    loss: Array


def square_root_line(known: KnownLot, days: Array) -> Point:
    """Least-squares line of mean loss in the square root of time, the green weight among the points.

    Args:
        known: KnownLot, cut at the as-of day.
        days: array (days,). [d]
    """
    time, loss = known.mean_loss()
    root, seen = np.sqrt(np.append(0.0, time)), np.append(0.0, loss)
    slope, start = np.polyfit(root, seen, 1)
    ready = ((known.target_loss - start) / slope) ** 2 if slope > 1e-6 else LATEST_D
    return Point(float(np.clip(ready, SOONEST_D, LATEST_D)), start + slope * np.sqrt(days))


def page_curve(known: KnownLot, days: Array) -> Point:
    """Page's curve, loss = end (1 - exp(-k t^n)), fitted to the mean loss as weighed.

    Args:
        known: KnownLot, cut at the as-of day.
        days: array (days,). [d]

    Notes:
        The end loss can't be fitted from young weighings; it is taken as 0.8 of the recipe's water
        (what is left at rest in ripening air; own estimate). k and n by least squares on the
        doubly logged curve, n kept to 0.3 .. 1.6.
    """
    time, loss = known.mean_loss()
    end = 0.8 * known.water
    bent = np.log(-np.log1p(-np.clip(loss / end, 1e-4, 0.999)))
    power = float(np.clip(np.polyfit(np.log(time), bent, 1)[0], 0.3, 1.6)) if len(time) > 1 else 0.7
    rate = float(np.exp(np.mean(bent - power * np.log(time))))
    share = -np.log1p(-min(known.target_loss / end, 0.999))
    ready = (share / rate) ** (1.0 / power)
    return Point(float(np.clip(ready, SOONEST_D, LATEST_D)), end * -np.expm1(-rate * days**power))


FITTED: dict[str, Callable[[KnownLot, Array], Point]] = {
    "square root": square_root_line,
    "Page": page_curve,
}


def leave_one_out_line(x: Array, y: Array) -> Array:
    """What a straight line through all *other* points says at each point.

    Args:
        x: array (points,). Not all equal.
        y: array (points,). nan where nothing was seen; three or more numbers.

    Returns:
        Array (points,): y - residual / (1 - leverage) where y was seen, else the line.
    """
    seen = np.isfinite(y)
    design = np.stack([np.ones_like(x), x], axis=1)
    solve = np.linalg.pinv(design[seen])
    line: Array = design @ (solve @ y[seen])
    leverage = np.einsum("ij,ji->i", design[seen], solve)
    line[seen] = y[seen] - (y[seen] - line[seen]) / (1.0 - leverage)
    return line


def day_count(lots: Sequence[Lot], days: Array) -> list[Point]:
    """Days by calibre: a straight line of ln days, and of the loss on each day, in ln calibre.

    Args:
        lots: sequence of Lot. Each is answered from all others.
        days: array (days,). Among every lot's asked days. [d]
    """
    calibre = np.log([lot.known.calibre_m for lot in lots])
    ready = np.exp(leave_one_out_line(calibre, np.log([true_ready(lot) for lot in lots])))
    seen = np.array([weighed(lot, days) for lot in lots])
    loss = np.array([leave_one_out_line(calibre, column) for column in seen.T]).T
    return [Point(float(r), row) for r, row in zip(ready, loss, strict=True)]


def own_count(lots: Sequence[Lot], days: Array) -> list[Point]:
    """What this product took in this house: the mean over its other lots, earlier and later ones.

    Not one of the three: it knows the house's future, and is shown beside them because it is what a
    house with long habits really goes by. A product with fewer than two other lots is answered by
    `day_count`.
    """
    points = []
    for number, fallback in enumerate(day_count(lots, days)):
        mine = lots[number].known
        own = [
            lot
            for i, lot in enumerate(lots)
            if i != number and (lot.known.house, lot.known.product) == (mine.house, mine.product)
        ]
        if len(own) < 2:
            points.append(fallback)
            continue
        ready = float(np.exp(np.mean([np.log(true_ready(lot)) for lot in own])))
        seen = np.array([weighed(lot, days) for lot in own])
        count = np.isfinite(seen).sum(axis=0)
        mean = np.nansum(seen, axis=0) / np.maximum(count, 1)
        points.append(Point(ready, np.where(count > 1, mean, fallback.loss)))
    return points


def true_ready(lot: Lot) -> float:
    """True ready day, the horizon when it never was. [d]"""
    return min(lot.truth.target_day, lot.truth.horizon_d)


def weighed(lot: Lot, days: Array) -> Array:
    """Mean loss of the tagged pieces as the scale shows it, array (days,), 0..1.

    Args:
        lot: Lot.
        days: array (days,). Among the asked days; nan comes back for those after the lot was sold. [d]
    """
    loss = np.full(len(days), np.nan)
    hanging = days <= lot.truth.followed_d
    at = np.searchsorted(lot.truth.asked_day, days[hanging])
    loss[hanging] = lot.truth.asked_loss[at].mean(axis=1)
    return loss


@dataclass(frozen=True)
class Dressed:
    """A baseline's ensembles: ready day (members,) [d], and loss on each asked day (its members,) 0..1."""

    ready_d: Array
    loss: tuple[Array, ...]


def dress(points: Sequence[Point], lots: Sequence[Lot], asof_day: float, days: Array) -> list[Dressed]:
    """Hang on each lot's point forecast the errors made on the other lots.

    Args:
        points: sequence of Point, one a lot.
        lots: sequence of Lot.
        asof_day: float. [d]
        days: array (days,). Of the points' losses. [d]

    Returns:
        List of Dressed. Errors come from the half of the other lots that is nearest in calibre
        (those not yet ready at the as-of day for the date): the date's as ratios, the loss's as
        differences on the same day.
    """
    calibre = np.log([lot.known.calibre_m for lot in lots])
    truth = np.array([true_ready(lot) for lot in lots])
    ratio = np.log(truth / np.array([point.ready_d for point in points]))
    miss = np.array([weighed(lot, days) for lot in lots]) - np.array([point.loss for point in points])
    dressed = []
    for number, point in enumerate(points):
        order = np.argsort(np.abs(calibre - calibre[number]), kind="stable")
        near = order[order != number][: max(len(lots) // 2, 2)]
        asked = near[truth[near] > asof_day]
        ready = point.ready_d * np.exp(ratio[asked]) if len(asked) > 1 else np.full(2, point.ready_d)
        loss = tuple(
            value + column[np.isfinite(column)]
            for value, column in zip(point.loss, miss[near].T, strict=True)
        )
        dressed.append(Dressed(np.maximum(ready, asof_day), loss))
    return dressed


def baselines(lots: Sequence[Lot], asof_day: float, days: Array) -> dict[str, list[Dressed]]:
    """All three and the house's own count, dressed.

    Args:
        lots: sequence of Lot. Four or more.
        asof_day: float. [d]
        days: array (days,). Asked days after it. [d]

    Returns:
        Mapping of name to a list of Dressed, one a lot.
    """
    points = {name: [fit(lot.known.as_of(asof_day), days) for lot in lots] for name, fit in FITTED.items()}
    points["day count"] = day_count(lots, days)
    points[OWN_COUNT] = own_count(lots, days)
    return {name: dress(made, lots, asof_day, days) for name, made in points.items()}
