"""Speed of the drying engine: microseconds per member, beside scipy's LSODA in the same run.

    .venv/bin/python -m benchmarks drying

The reference is the engine's own right-hand side handed to LSODA one member at a time,
restarted at every change of the air, with a tolerance that gives about the same error of the
weight loss. Its right-hand side is Python, so the ratio is that against a Python reference.
"""

from __future__ import annotations

import os
import platform
import sys
import time
from collections.abc import Callable

import numpy as np
from scipy.integrate import solve_ivp

from saltloft.cases.drying_parameters import drying_parameters
from saltloft.facts.loader import load_facts
from saltloft.process.build import batter_of, blocks_of, members_of, stage_ends_d
from saltloft.process.draws import draw
from saltloft.process.drying.compiled import integrate_compiled
from saltloft.process.drying.integrate import Control, air_in_block, integrate
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.nodes import radau_nodes
from saltloft.process.drying.rates import rates
from saltloft.process.ensemble import forecast
from saltloft.process.learning import Weighing
from saltloft.process.piece import Piece
from saltloft.process.programme import DAY_S, AirTrace, Programme, Span, Stage
from saltloft.process.simulate import CONTROL, NODES

DAYS = np.arange(0.0, 91.0)
ENGINE_MEMBERS, REFERENCE_MEMBERS = 400, 2


def _stage(days: float, celsius: float, rh: float, air: float) -> Stage:
    spans = (Span.of(days), Span.of(celsius), Span.of(rh), Span.of(air))
    return Stage("", *spans, measured=True)


def programmes() -> dict[str, Programme]:
    """A smooth programme and 90 d of an hourly log that jumps daily."""
    smooth = Programme((_stage(2.5, 22.0, 0.92, 0.3), _stage(87.5, 14.0, 0.78, 0.15)))
    time_d = np.arange(0.0, 24.0 * 90.0 + 1.0) / 24.0
    early = time_d < 2.5
    celsius = np.where(early, 22.0, 14.0) + 0.5 * np.sin(2.0 * np.pi * time_d)
    rh = np.where(early, 0.92, 0.78) + 0.025 * np.sin(2.0 * np.pi * time_d + 1.0)
    rh = np.clip(rh + np.where(time_d % 1.0 < 0.04, 0.06, 0.0), 0.0, 1.0)
    return {"programme": smooth, "log": Programme((), AirTrace(time_d, celsius, rh, 0.15))}


def ensemble(programme: Programme, members: int) -> tuple[Members, Blocks]:
    """Members and air of the standard 50 mm piece."""
    parameters = drying_parameters(load_facts())
    piece = Piece(Span.of(0.05), fat=Span.of(0.28), salt=Span.of(0.027))
    draws = draw(1, "benchmark", members, len(programme.stages))
    made = members_of(piece, parameters, draws, batter_of(piece, parameters, draws))
    ends = stage_ends_d(programme, draws)
    return made, blocks_of(programme, parameters, made, draws, ends_d=ends, horizon_d=90.0)


def timed(what: Callable[[], object], repeats: int = 3) -> float:
    """Best wall time of a few runs. [s]"""
    best = float("inf")
    for _ in range(repeats):
        start = time.perf_counter()
        what()
        best = min(best, time.perf_counter() - start)
    return best


def loss_of(members: Members, water: np.ndarray, nodes: int = NODES) -> np.ndarray:
    """Weight loss over time, array (times, members)."""
    mean = np.einsum("n,tnm->tm", radau_nodes(nodes).weight, water)
    return np.asarray((members.water - mean) / members.green_mass)


def lsoda(members: Members, blocks: Blocks, rtol: float) -> np.ndarray:
    """The same equations by LSODA, member by member, restarted at every block."""
    nodes = radau_nodes(NODES)
    state = np.concatenate([np.full((NODES, 1), members.water[0]), np.full((NODES, 1), members.salt[0])])[
        :, 0
    ]
    out, start = [state[:NODES].copy()], 0.0
    for number, end in enumerate(blocks.end_s[:, 0]):
        air = air_in_block(blocks, np.full(members.count, number))

        def slope(_t: float, y: np.ndarray, now: object = air) -> np.ndarray:
            dx, ds = rates(members, nodes, now, y[:NODES, None], y[NODES:, None])  # type: ignore[arg-type]
            return np.concatenate([dx[:, 0], ds[:, 0]])

        stop = min(float(end), DAYS[-1] * DAY_S)
        wanted = DAYS[(start + 1e-6 < DAYS * DAY_S) & (stop + 1e-6 >= DAYS * DAY_S)] * DAY_S
        times = np.unique(np.append(np.minimum(wanted, stop), stop))
        answer = solve_ivp(slope, (start, stop), state, method="LSODA", rtol=rtol, atol=1e-7, t_eval=times)
        out += [answer.y[:NODES, i] for i in range(len(wanted))]
        state, start = answer.y[:, -1], stop
        if start >= DAYS[-1] * DAY_S:
            break
    return np.array(out)[:, :, None]


def measure() -> dict[str, float]:
    """All figures of this benchmark, by name."""
    figures: dict[str, float] = {}
    nodes, times = radau_nodes(NODES), DAY_S * DAYS
    for name, programme in programmes().items():
        members, blocks = ensemble(programme, ENGINE_MEMBERS)
        integrate_compiled(members, nodes, blocks, times, CONTROL)
        compiled = timed(lambda m=members, b=blocks: integrate_compiled(m, nodes, b, times, CONTROL))  # type: ignore[misc]
        figures[f"{name}_us_per_member"] = 1e6 * compiled / ENGINE_MEMBERS
        readable = timed(lambda m=members, b=blocks: integrate(m, nodes, b, times, CONTROL), 1)  # type: ignore[misc]
        figures[f"{name}_numpy_us_per_member"] = 1e6 * readable / ENGINE_MEMBERS
        coarse = integrate_compiled(members, nodes, blocks, times, CONTROL).water
        fine = integrate_compiled(members, radau_nodes(14), blocks, times, Control(1e-6)).water
        error = np.abs(loss_of(members, coarse) - loss_of(members, fine, 14))
        figures[f"{name}_error"] = float(np.max(error))
        one, one_air = ensemble(programme, REFERENCE_MEMBERS)
        reference = timed(lambda m=one, b=one_air: lsoda(m, b, 1e-4), 1)  # type: ignore[misc]
        figures[f"{name}_lsoda_us_per_member"] = 1e6 * reference
        gone = loss_of(one, lsoda(one, one_air, 1e-4))[:, 0]
        figures[f"{name}_lsoda_error"] = float(np.max(np.abs(gone - loss_of(members, fine, 14)[:, 0])))
        figures[f"{name}_lsoda_python_ratio"] = 1e6 * reference / figures[f"{name}_us_per_member"]
    figures |= forecasts()
    return figures


def forecasts() -> dict[str, float]:
    """Whole forecasts with 400 members, warm: without and with twelve weighings. [ms]"""
    parameters = drying_parameters(load_facts())
    piece = Piece(Span.of(0.05), fat=Span.of(0.28), salt=Span.of(0.027))
    smooth = programmes()["programme"]
    days = np.linspace(3.0, 60.0, 12)
    weighings = [Weighing(float(d), float(0.41 * (1.0 - np.exp(-d / 16.0))), pieces=6) for d in days]

    def run(known: list[Weighing]) -> object:
        targets = {"weight_loss_pct": 35.0}
        return forecast(piece, smooth, parameters, targets=targets, weighings=known)

    return {
        "forecast_400_ms": 1e3 * timed(lambda: run([])),
        "learned_400_ms": 1e3 * timed(lambda: run(weighings), 1),
    }


def main() -> None:
    """Print every figure with machine and versions."""
    load = os.getloadavg()[0]
    print(f"{platform.machine()}, {os.cpu_count()} cores, load {load:.1f}, Python {sys.version.split()[0]}")
    print(f"numpy {np.__version__}; 90 d, 50 mm, outputs daily")
    for name, value in measure().items():
        print(f"{name:34s} {value:12.6g}")


if __name__ == "__main__":
    main()
