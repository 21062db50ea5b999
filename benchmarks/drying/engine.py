"""Time and error of the engine on the case, and of the references in the same run."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from benchmarks.drying.case import OUTPUT_S, Array, best_s, ensemble, jumping_log, loss_of
from benchmarks.drying.references import Reference, lsoda, same_scheme
from saltloft.process.drying.compiled import integrate_compiled
from saltloft.process.drying.integrate import Control
from saltloft.process.drying.nodes import radau_nodes
from saltloft.process.programme import Programme
from saltloft.process.simulate import CONTROL, NODES

MEMBERS = 1024
# The references are slow: few members, the first of the same ensemble.
LSODA_MEMBERS, PYTHON_MEMBERS, SCALAR_MEMBERS = 8, 2, 64
# What the engine is held against: every hour of the log a block of its own, small steps, more nodes.
FINE_NODES, FINE = 14, Control(1e-3, 1e-6)
BATCH = 64


@dataclass(frozen=True)
class EngineFigures:
    """How the engine did.

    Args:
        us_per_member: float. [us]
        error: float. Worst over members and output days, weight loss, 0..1.
        steps: float. Mean steps of a member.
        lsoda_compiled, lsoda_python, scalar: Reference.
    """

    us_per_member: float
    error: float
    steps: float
    lsoda_compiled: Reference
    lsoda_python: Reference
    scalar: Reference


def measure() -> EngineFigures:
    """Run the case and the references."""
    programme = Programme((), jumping_log())
    pieces = ensemble(programme, MEMBERS)
    nodes = radau_nodes(NODES)

    def run() -> object:
        return integrate_compiled(pieces.members, nodes, pieces.blocks, OUTPUT_S, CONTROL)

    coarse = integrate_compiled(pieces.members, nodes, pieces.blocks, OUTPUT_S, CONTROL)
    taken = best_s(run)
    fine = truth(programme)
    error = np.abs(loss_of(pieces.members, coarse) - fine)

    few = ensemble(programme, LSODA_MEMBERS)
    by_compiled = lsoda(
        few, fine, float(np.max(error[:, :LSODA_MEMBERS])), members=LSODA_MEMBERS, compiled=True
    )
    by_python = lsoda(few, fine, 1.0, members=PYTHON_MEMBERS, compiled=False, tolerances=(by_compiled.rtol,))
    return EngineFigures(
        us_per_member=1e6 * taken / MEMBERS,
        error=float(np.max(error)),
        steps=float(np.mean(coarse.steps)),
        lsoda_compiled=by_compiled,
        lsoda_python=by_python,
        scalar=same_scheme(ensemble(programme, SCALAR_MEMBERS), fine),
    )


def truth(programme: Programme) -> Array:
    """Weight loss of all members against the hourly log, array (times, members), 0..1."""
    hourly = ensemble(programme, MEMBERS, resolve=True)
    nodes = radau_nodes(FINE_NODES)

    def part(first: int) -> Array:
        own = slice(first, first + BATCH)
        some = hourly.part(own)
        return loss_of(some.members, integrate_compiled(some.members, nodes, some.blocks, OUTPUT_S, FINE))

    with ThreadPoolExecutor(2) as pool:
        return np.concatenate(list(pool.map(part, range(0, MEMBERS, BATCH))), axis=1)
