"""What a scoring run found: by quantity, and sliced by as-of day, calibre and lead time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from tests.truth.baselines import OWN_COUNT, THREE
from tests.truth.scores import Coverage, RankHistogram, coverage, lot_means, rank_histogram, redraw

Array = NDArray[np.float64]

CALIBRE_CLASSES_MM = ((0.0, 44.0), (44.0, 57.0), (57.0, 73.0), (73.0, 999.0))
BAND_HOLDS, TAIL_HOLDS = (0.85, 0.95), (0.02, 0.08)
SKILL_NEEDED, SKILL_IN_SQUARE_ROOT, FLAT_BEYOND = 0.25, -0.05, 0.05


@dataclass(frozen=True)
class Row:
    """One forecast against one observation.

    Args:
        quantity: str. 'ready' [d], 'weighed' (mean loss, 0..1) or 'piece' (loss of one, 0..1).
        lot, house: int. Numbers of the lot and of its house.
        calibre_mm, asof_d, lead_d: float. lead_d is nan for a ready day. [mm, d, d]
        observed, low, middle, high: float. Observation, 5 %, 50 % and 95 % quantile.
        crps: float. In the quantity's unit.
        place: float. Of the observation among the samples, 0..1.
        other_error, other_crps: mapping of baseline to its absolute error and score.
    """

    quantity: str
    lot: int
    house: int
    calibre_mm: float
    asof_d: float
    lead_d: float
    observed: float
    low: float
    middle: float
    high: float
    crps: float
    place: float
    other_error: dict[str, float]
    other_crps: dict[str, float]


@dataclass(frozen=True)
class Part:
    """Scores over some rows.

    Args:
        coverage: Coverage.
        ranks: RankHistogram.
        error: float. Median absolute error of the median, in the quantity's unit.
        crps: float. Mean over lots of each lot's mean, same unit.
        other_error, other_crps: mapping of baseline to the same.
        crps_skill_low, crps_skill_high: float or None. 90 % interval of `crps_skill`, whole houses drawn
            again.
    """

    coverage: Coverage
    ranks: RankHistogram
    error: float
    crps: float
    other_error: dict[str, float]
    other_crps: dict[str, float]
    crps_skill_low: float | None
    crps_skill_high: float | None

    @property
    def error_skill(self) -> float:
        """Share by which the median error is under the best of the three baselines'; negative when over."""
        return 1.0 - self.error / min(self.other_error[name] for name in THREE)

    @property
    def crps_skill(self) -> float:
        """Share by which the CRPS is under the best of the three baselines'; negative when over."""
        return 1.0 - self.crps / min(self.other_crps[name] for name in THREE)


@dataclass(frozen=True)
class Report:
    """A forecaster on one family.

    Args:
        family: str.
        seed, lots: int.
        already_ready: int. Questions left out of 'ready' because the lot was ready by then.
        parts: mapping of quantity to mapping of slice ('all', 'day 7', '44-57 mm', 'lead 14') to Part.
    """

    family: str
    seed: int
    lots: int
    already_ready: int
    parts: dict[str, dict[str, Part]]

    def as_dict(self) -> dict[str, object]:
        """Plain numbers, lists and names, for JSON."""
        plain: dict[str, object] = {
            quantity: {
                name: {key: _plain(value) for key, value in asdict(part).items()}
                for name, part in slices.items()
            }
            for quantity, slices in self.parts.items()
        }
        head = {
            "family": self.family,
            "seed": self.seed,
            "lots": self.lots,
            "already_ready": self.already_ready,
        }
        return head | plain

    def table(self) -> str:
        """A text table, one line a slice; losses in points, dates in days; `own` is the own count's CRPS."""
        lines = [
            f"{self.family}, {self.lots} lots, seed {self.seed}; {self.already_ready} ready before asked"
        ]
        head = f"{'':28}{'lots':>5}{'in 90 %':>9}{'interval':>12}{'under':>7}{'over':>6}{'width':>8}"
        lines.append(
            head + f"{'error':>8}{'crps':>8}{'best of three':>22}{'skill':>14}{'own':>8}{'flat p':>8}"
        )
        for quantity, slices in self.parts.items():
            scale = 1.0 if quantity == "ready" else 100.0
            lines += [_line(f"{quantity} {name}", part, scale) for name, part in slices.items()]
        return "\n".join(lines)


def _plain(value: object) -> object:
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    return value.tolist() if isinstance(value, np.ndarray) else value


def _line(name: str, part: Part, scale: float) -> str:
    held = part.coverage
    text = f"{name:28}{held.lots:5d}{100 * held.inside:9.1f}{100 * held.low:6.0f}-{100 * held.high:<5.0f}"
    text += f"{100 * held.below:7.1f}{100 * held.above:6.1f}{scale * held.width:8.2f}"
    text += f"{scale * part.error:8.3f}{scale * part.crps:8.3f}"
    if part.other_crps:
        best = min(THREE, key=lambda other: part.other_crps[other])
        least = min(part.other_error[other] for other in THREE)
        text += f"{best:>12}{scale * least:5.2f}{scale * part.other_crps[best]:5.2f}"
        text += f"{100 * part.error_skill:7.0f}{100 * part.crps_skill:7.0f}"
        text += f"{scale * part.other_crps[OWN_COUNT]:8.2f}"
    else:
        text += " " * 44
    return text + f"{part.ranks.p_flat:8.2f}"


def summarise(rows: Sequence[Row], family: str, seed: int, lots: int, already_ready: int) -> Report:
    """All slices of all quantities.

    Args:
        rows: sequence of Row.
        family: str.
        seed, lots, already_ready: int.

    Returns:
        Report. A slice without rows is left out.
    """
    parts: dict[str, dict[str, Part]] = {}
    for quantity in ("ready", "weighed", "piece"):
        mine = [row for row in rows if row.quantity == quantity]
        slices = {name: [row for row in mine if wanted(row)] for name, wanted in _slices(mine).items()}
        found = {name: _part(chosen) for name, chosen in slices.items() if chosen}
        if found:
            parts[quantity] = found
    return Report(family, seed, lots, already_ready, parts)


def _slices(rows: Sequence[Row]) -> dict[str, Callable[[Row], bool]]:
    """What to cut by: everything, each as-of day, each size class, each lead."""
    found: dict[str, Callable[[Row], bool]] = {"all": lambda row: True}
    for asof in sorted({row.asof_d for row in rows}):
        found[f"day {asof:g}"] = lambda row, asof=asof: row.asof_d == asof  # type: ignore[misc]
    for low, high in CALIBRE_CLASSES_MM:
        found[f"{low:g}-{high:g} mm"] = lambda row, low=low, high=high: low <= row.calibre_mm < high  # type: ignore[misc]
    for lead in sorted({row.lead_d for row in rows if np.isfinite(row.lead_d)}):
        found[f"lead {lead:g}"] = lambda row, lead=lead: row.lead_d == lead  # type: ignore[misc]
    return found


def _part(rows: Sequence[Row]) -> Part:
    lot = np.array([row.lot for row in rows])
    house = np.array([row.house for row in rows])
    score = np.array([row.crps for row in rows])
    observed = np.array([row.observed for row in rows])
    names = list(rows[0].other_crps)
    other = {name: np.array([row.other_crps[name] for row in rows]) for name in names}
    other_crps = {name: float(lot_means(values, lot).mean()) for name, values in other.items()}
    low = high = None
    if names:
        best = min(THREE, key=lambda name: other_crps[name])
        drawn = 1.0 - redraw(score, lot, house) / redraw(other[best], lot, house)
        low, high = (float(end) for end in np.quantile(drawn, [0.05, 0.95]))
    return Part(
        coverage=coverage(np.array([(row.low, row.high) for row in rows]), observed, lot, house),
        ranks=rank_histogram(np.array([row.place for row in rows]), lot, house),
        error=float(np.median([abs(row.middle - row.observed) for row in rows])),
        crps=float(lot_means(score, lot).mean()),
        other_error={name: float(np.median([row.other_error[name] for row in rows])) for name in names},
        other_crps=other_crps,
        crps_skill_low=low,
        crps_skill_high=high,
    )


def shortfalls(report: Report) -> list[str]:
    """What of the demands on the drying engine this report does not meet, in words; empty if all is met.

    Args:
        report: Report.

    Returns:
        List of str. The demands: 90 % bands of what was weighed hold 85 to 95 %, each tail 2 to 8 %;
        error and CRPS of the ready date a quarter under the best baseline (in the square-root
        family not over 5 % above it); rank histograms flat within their noise.
    """
    found = []
    for quantity in ("weighed", "ready"):
        part = report.parts[quantity]["all"]
        held = part.coverage
        if not BAND_HOLDS[0] <= held.inside <= BAND_HOLDS[1]:
            found.append(f"{quantity}: 90 % bands hold {100 * held.inside:.1f} %")
        for side, share in (("under", held.below), ("over", held.above)):
            if not TAIL_HOLDS[0] <= share <= TAIL_HOLDS[1]:
                found.append(f"{quantity}: {100 * share:.1f} % lie {side} the band")
        if part.ranks.p_flat < FLAT_BEYOND:
            found.append(f"{quantity}: rank histogram not flat (p {part.ranks.p_flat:.3f})")
    ready = report.parts["ready"]["all"]
    needed = SKILL_IN_SQUARE_ROOT if report.family == "square_root" else SKILL_NEEDED
    for what, skill in (("median error", ready.error_skill), ("CRPS", ready.crps_skill)):
        if skill < needed:
            found.append(
                f"ready: {what} {100 * skill:.0f} % under the best baseline, {100 * needed:.0f} needed"
            )
    return found
