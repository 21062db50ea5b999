"""Gauss-Newton on a lot's draws: three to five small batches of the model to the best point."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from saltloft.process.draws import PIECE_SLOTS
from saltloft.process.learning.air import air_evidence, air_weights, with_air
from saltloft.process.learning.columns import AIR_SIZES, State, state_of
from saltloft.process.learning.errors import ErrorBlocks
from saltloft.process.learning.lanes import Lot, Slopes, slopes
from saltloft.process.learning.observations import Observations
from saltloft.process.learning.places import PLACE, PLACE_AND_DRIFT, of_piece, with_drift
from saltloft.process.learning.posterior import Posterior
from saltloft.process.learning.robust import inflated, inflation, wildness
from saltloft.process.learning.scales import Gain
from saltloft.process.parameters import DryingParameters

Array = NDArray[np.float64]

MOST_STEPS = 5
# Enough when no draw moves further than this. [prior standard deviations]
SETTLED = 0.1
LONGEST_STEP = 1.5
# Variance of a reading that cannot be one: it teaches nothing, and others still say what it should be.
LEFT_OUT = 1e3
MOST_RACKS = 12


@dataclass(frozen=True)
class Fit:
    """Where a fit stands.

    Args:
        point: array (draw columns,). Where `slopes` was taken.
        slopes: Slopes.
        posterior: Posterior. At that point, doubtful readings loosened.
        added: array (obs,). Variance the doubtful readings were given.
        wild: array (obs,). Probability of being wild, 0..1.
        runs: int. Batches of the model it took.
        air: array (sizes,). Log evidence of AIR_SIZES.
    """

    point: Array
    slopes: Slopes
    posterior: Posterior
    added: Array
    wild: Array
    runs: int
    air: Array

    @property
    def best(self) -> Array:
        """Most probable draws, array (draw columns,)."""
        return self.posterior.best[: self.posterior.state.draws]


def fitted(lot: Lot, observed: Observations, gains: tuple[Gain, ...] = (), start: Array | None = None) -> Fit:
    """The most probable draws of a lot given its readings.

    Args:
        lot: Lot.
        observed: Observations, at least one.
        gains: tuple of Gain. Scales that may read too much.
        start: array (draw columns,) or None. Where to begin; without one the prior's mean. [1]
    """
    racks = _racks(observed)
    nuisances = {f"rack {rack}.{name}": 1.0 for rack in racks for name in PLACE_AND_DRIFT}
    nuisances |= {gain.name: gain.variance for gain in gains}
    state = state_of(lot.prior, len(lot.programme.stages), nuisances)
    point = state.mean[: state.draws] if start is None else start
    for number in range(MOST_STEPS):
        local = slopes(point, lot, observed)
        piece, more = _shared(local, observed, racks, gains, lot.parameters)
        met = _met(replace(local, piece=piece), more, point, state, observed)
        fit = _air_sized(_loosened(met, point, local, observed, lot.parameters), lot)
        step = np.clip(fit.best - point, -LONGEST_STEP, LONGEST_STEP)
        fit = replace(fit, runs=number + 1)
        if float(np.max(np.abs(step))) < SETTLED:
            break
        point = point + step
    return fit


def _racks(observed: Observations) -> tuple[str, ...]:
    """Racks with more than one group of pieces on them: their shared air can be told apart."""
    groups: dict[str, set[int]] = {}
    for rack, group in zip(observed.rack, observed.group.tolist(), strict=True):
        if rack:
            groups.setdefault(rack, set()).add(group)
    shared = sorted(rack for rack, inside in groups.items() if len(inside) > 1)
    return tuple(shared) if len(shared) <= MOST_RACKS else ()


def _shared(
    local: Slopes,
    observed: Observations,
    racks: tuple[str, ...],
    gains: tuple[Gain, ...],
    parameters: DryingParameters,
) -> tuple[Array, Array]:
    """What a piece adds to each reading, (obs, slots), and what racks and scales add, (obs, nuisances).

    After its own slots come the stretches of its place, and last how far its green weight lies from
    the mean it was compared with.
    """
    piece = local.piece / np.sqrt(observed.pieces)[:, None]
    place = np.array([PIECE_SLOTS.index(name) for name in PLACE])
    more = []
    for rack in racks:
        here = np.array([one == rack for one in observed.rack])
        # The place is the rack's, whole: of what differs by place nothing is left to the piece.
        of_rack = with_drift(local.piece[:, place], observed.day, parameters.place_drift)
        more.append(np.where(here[:, None], of_rack, 0.0))
        piece[np.ix_(here, place)] = 0.0
    more += [gain.slope[:, None] for gain in gains]
    piece = of_piece(piece, observed.day, parameters.place_drift)
    own = np.linalg.norm(piece, axis=1)
    stated = observed.spread / np.sqrt(observed.pieces)
    scaled = np.isfinite(stated) & (own > 0.0)
    piece[scaled] *= (stated[scaled] / own[scaled])[:, None]
    green = observed.green_spread / np.sqrt(observed.pieces) * np.clip(1.0 - observed.value, 0.0, 1.0)
    return np.column_stack([piece, green]), np.concatenate([np.zeros((observed.count, 0)), *more], axis=1)


def _met(local: Slopes, more: Array, point: Array, state: State, observed: Observations) -> Posterior:
    """Readings met with the prior at one linearisation."""
    left_out = np.where(observed.impossible, LEFT_OUT, 0.0)
    return Posterior(
        state=state,
        slopes=np.concatenate([local.lot, more], axis=1),
        errors=ErrorBlocks(1.0 / (observed.variance + left_out), local.piece, observed.group),
        residual=observed.value - local.expected - local.lot @ (state.mean[: state.draws] - point),
    )


def _loosened(
    met: Posterior, point: Array, local: Slopes, observed: Observations, parameters: DryingParameters
) -> Fit:
    """Wild readings found, and their errors made larger."""
    wild = np.where(observed.impossible, 1.0, wildness(met, observed.wide, parameters))
    added = np.where(observed.impossible, 0.0, inflation(wild, observed.wide))
    left_out = np.where(observed.impossible, LEFT_OUT, 0.0)
    return Fit(point, local, inflated(met, added), added + left_out, wild, 0, np.zeros(len(AIR_SIZES)))


def _air_sized(fit: Fit, lot: Lot) -> Fit:
    """The same with the error of a day's air as large as the readings tell."""
    evidence = air_evidence(fit.posterior)
    state = with_air(fit.posterior.state, air_weights(np.array(lot.prior.air), evidence))
    return replace(fit, posterior=replace(fit.posterior, state=state), air=evidence)
