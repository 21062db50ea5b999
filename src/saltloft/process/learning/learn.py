"""Learning of one lot from its readings: find the best point, name the slips, move the members."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from saltloft.process.draws import Draws
from saltloft.process.learning.air import Story, stories
from saltloft.process.learning.columns import Likelihood, LinearModel, LotPrior, likelihood_of
from saltloft.process.learning.faults import Fault, contradictions, slipped_decimals, wild_faults
from saltloft.process.learning.fit import Fit, fitted
from saltloft.process.learning.lanes import Lot
from saltloft.process.learning.members import corrected, moved, offsets_of, put_back
from saltloft.process.learning.observations import Measured, Observations, Weighing, observations_of
from saltloft.process.learning.scales import Gain, scale_gains, scale_step, scale_unseen
from saltloft.process.learning.swaps import Swap, swapped_tags
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece
from saltloft.process.programme import Programme
from saltloft.process.simulate import Run, simulate

Array = NDArray[np.float64]

MOST_EXCHANGES = 3


@dataclass(frozen=True)
class Learned:
    """What the readings did.

    Args:
        draws: Draws. The lot's columns moved.
        outlier_share: array (weighings,). Probability of each being a wild one, 0..1.
        likelihood: Likelihood or None. What the readings alone say; None without any.
        faults: tuple of Fault. Slips of weighing, by name.
        linear: LinearModel or None. The readings as a straight function of the draws.
        offsets: mapping of a tag to array (lots, PIECE_SLOTS). Piece draws of each tagged
            piece, member by member.
        runs: int. Small batches of the model that were needed.
    """

    draws: Draws
    outlier_share: Array
    likelihood: Likelihood | None = None
    faults: tuple[Fault, ...] = ()
    linear: LinearModel | None = None
    offsets: Mapping[str, Array] = field(default_factory=dict)
    runs: int = 0


def learn(
    piece: Piece,
    programme: Programme,
    parameters: DryingParameters,
    draws: Draws,
    *,
    weighings: Sequence[Weighing] = (),
    measured: Sequence[Measured] = (),
    prior: LotPrior | None = None,
    seed: int,
    lot: str,
    correct: bool = True,
) -> Learned:
    """Move the lot draws by everything read on the lot.

    Args:
        piece: Piece.
        programme: Programme.
        parameters: DryingParameters.
        draws: Draws. Plain prior draws.
        weighings: sequence of Weighing.
        measured: sequence of Measured.
        prior: LotPrior or None. What other lots of the house say; None: the literature alone.
        seed: int.
        lot: str.
        correct: bool. Run the members once to take the curvature of the model in.

    Returns:
        Learned. Without a reading the draws are the prior's.

    Raises:
        InputError: readings that no piece can have.
    """
    if prior is not None:
        draws = prior.moved(draws)
    if not weighings and not measured:
        return Learned((prior or LotPrior.plain()).sized(draws), np.zeros(0))

    def run_of(of: Draws, time_d: Array) -> Run:
        return simulate(piece, programme, parameters, of, time_d)

    known = Lot(piece, programme, parameters, prior or LotPrior.plain(), run_of)
    observed = observations_of(weighings, measured, parameters)
    fit, observed, faults = _explained(known, observed)
    whole = moved(draws, fit, seed=seed, lot=lot)
    offsets: Mapping[str, Array] = {}
    if correct:
        whole, left = corrected(whole, draws, fit, known, observed)
        offsets = offsets_of(left, fit, observed, drift=parameters.place_drift, seed=seed, lot=lot)
    return Learned(
        draws=put_back(draws, whole),
        outlier_share=observed.unsorted(fit.wild)[: len(weighings)],
        likelihood=_likelihood(fit),
        faults=faults,
        linear=_linear(fit, observed),
        offsets=offsets,
        runs=fit.runs,
    )


def _explained(known: Lot, observed: Observations) -> tuple[Fit, Observations, tuple[Fault, ...]]:
    """The fit with exchanged tags put right and scales that are off let free."""
    fit = fitted(known, observed)
    swaps: list[Swap] = []
    for _ in range(MOST_EXCHANGES):
        found = swapped_tags(fit.posterior, observed, fit.added, known.parameters)
        if not found:
            break
        swaps += found
        value = observed.value.copy()
        for swap in found:
            value[swap.rows] = swap.value
        observed = replace(observed, value=value)
        fit = _again(known, observed, (), fit)
    gains = scale_gains(_stories(fit, known), observed)
    if gains:
        fit = _again(known, observed, tuple(gains), fit)
    step = scale_step(_stories(fit, known), observed)
    if step is not None:
        gains.append(step)
        fit = _again(known, observed, tuple(gains), fit)
    slips = slipped_decimals(fit.posterior, observed, fit.wild > 0.5)
    exchanged = {int(row) for swap in swaps for row in swap.rows}
    doubled = contradictions(observed, {*slips, *exchanged}, known.parameters)
    faults = [
        *slips.values(),
        *dict.fromkeys(doubled.values()),
        *(swap.fault for swap in swaps),
        *(gain.fault for gain in gains if gain.fault is not None),
        *scale_unseen(observed),
        *wild_faults(observed, fit.wild, [*slips, *doubled]),
    ]
    return fit, observed, tuple(faults)


def _stories(fit: Fit, known: Lot) -> list[Story]:
    return stories(fit.posterior, np.array(known.prior.air), fit.air)


def _again(known: Lot, observed: Observations, gains: tuple[Gain, ...], fit: Fit) -> Fit:
    """Fit once more from where it stood."""
    again = fitted(known, observed, gains, fit.best)
    return replace(again, runs=fit.runs + again.runs)


def _likelihood(fit: Fit) -> Likelihood:
    posterior, state = fit.posterior, fit.posterior.state
    from_zero = posterior.residual + posterior.slopes @ state.mean
    vector = posterior.slopes.T @ posterior.errors.solve(from_zero[:, None])[:, 0]
    return replace(likelihood_of(posterior.information, vector, state), air=fit.air)


def _linear(fit: Fit, observed: Observations) -> LinearModel:
    posterior, state = fit.posterior, fit.posterior.state
    more = len(state.names) - state.draws
    place = np.empty(observed.count, dtype=np.int64)
    place[observed.order] = np.arange(observed.count)
    return LinearModel(
        columns=state.names,
        jacobian=observed.unsorted(posterior.slopes),
        blocks=posterior.errors,
        place=place,
        expected=observed.unsorted(fit.slopes.expected),
        observed=observed.unsorted(observed.value),
        point=np.concatenate([fit.point, np.zeros(more)]),
        prior_mean=state.mean,
        prior_covariance=state.covariance,
    )
