"""The forecast of one lot: prior draws, learning from weighings, bands, targets and flags."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.process.draws import Draws, draw
from saltloft.process.flags import flags_of, range_flags
from saltloft.process.kill import KillModel, kill_of
from saltloft.process.learning import Learned, Weighing, learn
from saltloft.process.notes import air_notes, equilibrium_flags, outlier_flags
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece
from saltloft.process.programme import Programme
from saltloft.process.result import DryingForecast, SeriesBand
from saltloft.process.series import band_of, output_days, ph_band, quantity_of, series_of
from saltloft.process.simulate import Run, first_day, lot_mean, simulate
from saltloft.process.targets import TARGETS, piece_spread, target_day, with_kill
from saltloft.science.statistics import weighted_quantile

Array = NDArray[np.float64]

LONGEST_D = 400.0


def _learned(
    piece: Piece,
    programme: Programme,
    parameters: DryingParameters,
    prior: Draws,
    weighings: Sequence[Weighing],
    *,
    seed: int,
    lot: str,
) -> Learned:
    """The draws after every weighing; only the time up to the last weighing is recomputed."""
    days = np.array([weighing.day for weighing in weighings])
    time_d = output_days(float(days.max()), tuple(days)) if len(days) else np.zeros(1)
    place = np.searchsorted(time_d, np.round(days, 9))

    def expect(draws: Draws) -> tuple[Array, Array]:
        loss = simulate(piece, programme, parameters, draws, time_d).weight_loss
        return lot_mean(loss, draws.lots)[place], piece_spread(loss, draws.lots)[place]

    return learn(prior, weighings, expect, parameters, seed=seed, lot=lot)


def _check(members: int, targets: Mapping[str, float], weighings: Sequence[Weighing]) -> None:
    if not 2 <= members <= 20_000:
        raise InputError(
            say("the number of members"), got=str(members), allowed="2 to 20000", key="ensemble.members"
        )
    if weighings and members < 20:
        raise InputError(
            say("too few members to learn from weighings"),
            got=str(members),
            allowed="20 to 20000 with weighings",
            key="ensemble.members",
        )
    for name in targets:
        if name not in TARGETS:
            raise InputError(say("no such target"), got=name, allowed=", ".join(TARGETS), key=name)
    for weighing in weighings:
        if not (0.0 < weighing.day <= LONGEST_D and -0.2 <= weighing.weight_loss < 0.95):
            raise InputError(
                say("a weighing that no piece can have"),
                got=f"day {weighing.day:g}, loss {100 * weighing.weight_loss:g} %",
                allowed="day above 0 to 400, loss -20 to 95 %",
                key="weighing",
            )


def _horizon(run: Run, stated_d: float, days: Sequence[Array]) -> float:
    """Last day worth showing: all stated stages, and the targets of all but a few members."""
    latest = [float(weighted_quantile(day, None, 0.975)) for day in days]
    wanted = max([stated_d, *(min(day, LONGEST_D) for day in latest)])
    place = int(np.searchsorted(run.time_d, wanted - 1e-9))
    return float(run.time_d[min(place, len(run.time_d) - 1)])


def forecast(
    piece: Piece,
    programme: Programme,
    parameters: DryingParameters,
    *,
    targets: Mapping[str, float],
    weighings: Sequence[Weighing] = (),
    members: int = 400,
    seed: int = 1,
    lot: str = "case",
    kill: Sequence[KillModel] = (),
) -> DryingForecast:
    """When a lot is ready and how it gets there, with its doubt.

    Args:
        piece: Piece.
        programme: Programme. The room's log as far as it goes, then the planned stages.
        parameters: DryingParameters.
        targets: mapping of a name of TARGETS to its level. [unit of the name]
        weighings: sequence of Weighing. Without any the prior comes back unchanged.
        members: int, 2..20000.
        seed: int, 0 or more.
        lot: str. Name that keys the draws, so lots differ and each repeats itself.
        kill: sequence of KillModel. Organisms whose death may be credited.

    Returns:
        DryingForecast. `kill_log10` holds only the organisms with a model.

    Raises:
        InputError: targets, weighings or members that cannot be; a composition that is none.
        NumericsError: a member that cannot be followed.
    """
    _check(members, targets, weighings)
    prior = draw(seed, lot, members, len(programme.stages))
    learned = _learned(piece, programme, parameters, prior, weighings, seed=seed, lot=lot)
    whole, stated_d = _whole_run(
        piece, programme, parameters, learned.draws, targets=targets, weighings=weighings
    )
    days, reached = {}, []
    for name, level in targets.items():
        quantity, falling = TARGETS[name]
        values = quantity_of(whole, quantity)
        days[name] = target_day(whole, values, level, falling=falling)
        reached.append(first_day(whole.time_d, values, level, falling=falling))
    run = whole.until(_horizon(whole, stated_d, reached))
    bands = {name: band_of(values, run.draws.lots) for name, values in series_of(run).items()}
    ph = ph_band(programme, run)
    if ph is not None:
        bands["ph"] = SeriesBand(*ph.T, *ph.T)
    kills = {model.organism: kill_of(run, model, None if ph is None else ph[:, 2]) for model in kill}
    horizon_d = float(run.time_d[-1])
    flags = [
        *air_notes(programme, stated_d, horizon_d),
        *equilibrium_flags(run, targets),
        *flags_of(run, parameters, mould=piece.mould),
        *range_flags(run, parameters),
        *outlier_flags(learned, weighings),
    ]
    return DryingForecast(
        time_d=run.time_d,
        horizon_d=horizon_d,
        bands=bands,
        targets={name: with_kill(day, run, kills) for name, day in days.items()},
        kill_log10=kills,
        flags=tuple(flags),
        facts=parameters.facts,
        members=members,
        seed=seed,
        from_log_until_d=programme.trace.end_d if programme.trace else 0.0,
    )


def _whole_run(
    piece: Piece,
    programme: Programme,
    parameters: DryingParameters,
    draws: Draws,
    *,
    targets: Mapping[str, float],
    weighings: Sequence[Weighing],
) -> tuple[Run, float]:
    """The run as far as any answer may need, and the stated end of the programme. [d]"""
    stated = programme.start_d + sum(stage.duration_d.high for stage in programme.stages)
    last = max([stated, *(weighing.day for weighing in weighings)])
    sealed = bool(programme.stages) and programme.stages[-1].packed
    until = last if sealed or not targets else max(last, LONGEST_D)
    time_d = output_days(until, (*(weighing.day for weighing in weighings), stated))
    return simulate(piece, programme, parameters, draws, time_d), last
