"""How the readings change with each draw: differences between the lanes of one small batch."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from saltloft.process.draws import (
    KNOTS_D,
    LOT_SLOTS,
    PIECE_SLOTS,
    STAGE_SLOTS,
    Draws,
    air_size,
    air_steps,
    error_size,
    slow_error,
)
from saltloft.process.learning.columns import LotPrior
from saltloft.process.learning.observations import QUANTITIES, WEIGHT_LOSS, Observations
from saltloft.process.learning.places import PLACE
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece
from saltloft.process.programme import Programme, Span
from saltloft.process.simulate import Run
from saltloft.science.water_activity import Halsey, of_mixture

Array = NDArray[np.float64]
RunOf = Callable[[Draws, Array], Run]

# Half a prior deviation: the slope over the doubt that is left, not at one point.
STEP = 0.5
# Drawn evenly between two ends of the piece: without width there is nothing to learn.
_BY_SPAN = {
    "fat": "fat",
    "salt": "salt",
    "water": "water",
    "protein": "protein",
    "sugar": "sugar",
    "other_solutes_stated": "other_solutes_mol_kg",
    "start_water_activity": "start_water_activity",
    "length": "length_m",
}
_NEEDS_ACTIVITY = ("activity_error", "salt_ratio", "halsey_power")
# Readings say nothing of these (posterior 0.98 of the prior or more, drying_priors); members keep theirs.
_NEVER = ("activation_energy", "crust_water", "rim_reversible", "rim_lasting")


def _wide(span: Span | None) -> bool:
    return span is not None and span.high > span.low


def lot_lanes(piece: Piece, programme: Programme, observed: Observations) -> list[int]:
    """Columns of Draws.lot that the readings may tell of and that need the model run.

    Args:
        piece: Piece.
        programme: Programme.
        observed: Observations.
    """
    activity = any(QUANTITIES[kind].startswith("water_activity") for kind in np.unique(observed.quantity))
    kept = []
    for i, name in enumerate(LOT_SLOTS):
        if name in _NEVER or (name == "mould" and not piece.mould):
            continue
        if name in _NEEDS_ACTIVITY and not activity:
            continue
        if name in _BY_SPAN and not _wide(getattr(piece, _BY_SPAN[name])):
            continue
        kept.append(i)
    first = len(LOT_SLOTS) + len(KNOTS_D)
    for i, stage in enumerate(programme.stages):
        spans = (stage.duration_d, stage.temperature_c, stage.relative_humidity, stage.air_m_s)
        kept += [first + len(STAGE_SLOTS) * i + j for j, span in enumerate(spans) if _wide(span)]
    return kept


def piece_lanes(piece: Piece) -> list[int]:
    """Columns of Draws.piece that need the model run; those of the place follow from the lot's.

    Args:
        piece: Piece.
    """
    skipped = PLACE if _wide(piece.diameter_m) else (*PLACE, "diameter_range")
    return [i for i, name in enumerate(PIECE_SLOTS) if name not in skipped]


def predicted(run: Run, observed: Observations) -> Array:
    """What can be read, array (quantities, times, lanes), in the order of QUANTITIES.

    Args:
        run: Run.
        observed: Observations. What nobody read stays 0: weighings alone ask for no activity.
    """
    table = np.zeros((len(QUANTITIES), len(run.time_d), run.draws.members))
    for kind in np.unique(observed.quantity).tolist():
        name = QUANTITIES[kind]
        source = run if name in {WEIGHT_LOSS, "moisture"} else run.states
        table[kind] = getattr(source, name)
    return table


@dataclass(frozen=True)
class Lot:
    """What a fit needs to know of a lot.

    Args:
        piece: Piece.
        programme: Programme.
        parameters: DryingParameters.
        prior: LotPrior.
        run_of: function of Draws and days giving a Run.
    """

    piece: Piece
    programme: Programme
    parameters: DryingParameters
    prior: LotPrior
    run_of: RunOf


@dataclass(frozen=True)
class Slopes:
    """The readings near one point of the draws.

    Args:
        expected: array (obs,). At the point, for a piece of the lot's mean.
        lot: array (obs, lot columns).
        piece: array (obs, PIECE_SLOTS). What one standard piece draw adds, for a single piece.
    """

    expected: Array
    lot: Array
    piece: Array


def lanes_of(point: Array, lot: list[int], piece: list[int], stages: int) -> Draws:
    """The point itself, then one lane a column, half a deviation away.

    Args:
        point: array (lot columns,). Draws of the lot. [1]
        lot, piece: lists of int. Columns that get a lane.
        stages: int.
    """
    count = 1 + len(lot) + len(piece)
    of_lot = np.tile(point, (count, 1))
    of_piece = np.zeros((count, len(PIECE_SLOTS)))
    of_lot[1 + np.arange(len(lot)), lot] += STEP
    of_piece[1 + len(lot) + np.arange(len(piece)), piece] += STEP
    return Draws(of_lot, of_piece, stages, pieces_each=1)


def slopes(point: Array, known: Lot, observed: Observations) -> Slopes:
    """The readings and their slopes at a point, from one batch of the model.

    Args:
        point: array (lot columns,). Draws of the lot. [1]
        known: Lot.
        observed: Observations.
    """
    of_lot, of_piece = lot_lanes(known.piece, known.programme, observed), piece_lanes(known.piece)
    lanes = lanes_of(point, of_lot, of_piece, len(known.programme.stages))
    run = known.run_of(lanes, observed.time_d)
    series = predicted(run, observed)
    table = observed.pick(series)
    changes = (table[:, 1:] - table[:, :1]) / STEP
    lot = np.zeros((observed.count, len(point)))
    lot[:, of_lot] = changes[:, : len(of_lot)]
    knots = slice(len(LOT_SLOTS), len(LOT_SLOTS) + len(KNOTS_D))
    errors = observed.pick(error_slopes(run, known.parameters))
    lot[:, knots] = errors[:, : len(KNOTS_D)]
    steps = lanes.air.shape[1]
    lot[:, len(point) - steps :] = errors[:, len(KNOTS_D) : len(KNOTS_D) + steps]
    own = np.zeros((observed.count, len(PIECE_SLOTS)))
    own[:, of_piece] = changes[:, len(of_lot) :]
    share = known.parameters.place_share
    for name in PLACE:
        own[:, PIECE_SLOTS.index(name)] = lot[:, LOT_SLOTS.index(name)] * np.sqrt(share / (1.0 - share))
    return Slopes(table[:, 0], lot, own)


def error_slopes(run: Run, parameters: DryingParameters) -> Array:
    """Slope of every quantity by each knot of the slow error and each step of the air; no run needed.

    Returns:
        Array (quantities, times, knots and steps).
    """
    count = len(KNOTS_D)
    unit = np.zeros((count, run.draws.lot.shape[1]))
    unit[:, len(LOT_SLOTS) : len(LOT_SLOTS) + count] = np.eye(count)
    path = slow_error(replace(run.draws, lot=unit), parameters.discrepancy_log_time, run.time_d)
    loss, water, moisture = run.weight_loss[:, :1], run.water[:, :1], run.moisture[:, :1]
    slow = path * error_size(loss, run.time_d, parameters)
    both = np.concatenate([slow, air_steps(run.time_d) * air_size(loss, run.time_d, parameters)], axis=1)
    rows = np.tile(np.arange(len(run.time_d), dtype=np.float64)[:, None], (1, run.draws.members))
    # While a piece is packed its error stays what it was at the sealing.
    of_loss = both[run.held(rows)[:, 0].astype(np.int64)]
    member = run.members
    halsey = Halsey(np.atleast_1d(member.halsey.scale)[:1], np.atleast_1d(member.halsey.power)[:1])
    step, green = 1e-3, member.green_mass[:1]
    wet, dry = (
        of_mixture(water - sign * step * green, member.salt[:1], member.solutes[:1], member.brine, halsey)
        for sign in (-1.0, 1.0)
    )
    slope = np.zeros((len(QUANTITIES), len(run.time_d), of_loss.shape[1]))
    slope[QUANTITIES.index("weight_loss")] = of_loss
    slope[QUANTITIES.index("moisture")] = -of_loss * (1.0 - moisture) / (1.0 - loss)
    slope[QUANTITIES.index("water_activity_mean")] = of_loss * (dry - wet) / (2.0 * step)
    return slope
