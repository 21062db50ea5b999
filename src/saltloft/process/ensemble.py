"""The forecast of one lot: prior draws, learning from weighings, bands, targets and flags."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.bands import Band
from saltloft.foundation.errors import InputError, OutOfRange
from saltloft.foundation.words import say
from saltloft.process.draws import Draws, draw
from saltloft.process.flags import flags_of, range_flags
from saltloft.process.kill import KillModel, kill_of
from saltloft.process.learning import Learned, Weighing, learn
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece
from saltloft.process.programme import Programme
from saltloft.process.result import DryingForecast, Flag, SeriesBand, TargetDay
from saltloft.process.simulate import Run, first_day, lot_mean, simulate
from saltloft.science.statistics import weighted_quantile
from saltloft.science.water_activity import equilibrium_water

Array = NDArray[np.float64]

LONGEST_D = 400.0
SHARES = ("0.5", "0.9")
_NORMAL_90 = 1.2815515655446004  # 90 % quantile of the standard normal

# Target name: the quantity it is read off, and whether that comes down to the target.
TARGETS: dict[str, tuple[str, bool]] = {
    "weight_loss_pct": ("weight_loss_pct", False),
    "moisture_protein": ("moisture_protein", True),
    "water_activity": ("water_activity_mean", True),
    "water_activity_core": ("water_activity_core", True),
}


def output_days(until_d: float, also: Sequence[float] = ()) -> Array:
    """The days of a forecast: dense early, wider later.

    Args:
        until_d: float. Last day. [d]
        also: sequence of float. Days that must be among them. [d]
    """
    parts = [
        np.arange(0.0, 3.0, 0.25),
        np.arange(3.0, 10.0, 0.5),
        np.arange(10.0, 100.0, 1.0),
        np.arange(100.0, 200.0, 2.0),
        np.arange(200.0, until_d, 5.0),
    ]
    days = np.concatenate([*parts, [until_d], np.asarray(also, dtype=np.float64)])
    return np.unique(np.round(days[days <= until_d], 9))


def series_of(run: Run) -> dict[str, Array]:
    """Every quantity of a forecast by name, arrays (times, members), in the unit of its name."""
    states = run.states
    return {
        "weight_loss_pct": 100.0 * states.weight_loss,
        "moisture_pct": 100.0 * run.moisture,
        "moisture_protein": run.moisture_protein,
        "water_activity_mean": states.water_activity_mean,
        "water_activity_core": states.water_activity_core,
        "water_activity_rim": states.water_activity_rim,
        "diameter_mm": 1000.0 * states.diameter_m,
        "loss_rate_pct_d": 8.64e6 * states.loss_rate_s,
        "case_hardening": states.case_hardening,
    }


def band_of(values: Array, lots: int) -> SeriesBand:
    """Quantiles over the pieces and over the lots' means.

    Args:
        values: array (times, members). [any unit]
        lots: int.
    """
    piece = weighted_quantile(values, None, [0.05, 0.5, 0.95])
    mean = weighted_quantile(lot_mean(values, lots), None, [0.05, 0.5, 0.95])
    return SeriesBand(*piece, *mean)


def day_band(days: Array) -> Band:
    """Quantiles of days of which some are 'never'; those quantiles are None.

    Args:
        days: array (draws,). Infinity for never. [d]
    """
    ends = [float(day) for day in weighted_quantile(days, None, [0.05, 0.5, 0.95])]
    reached = float(np.isfinite(days).mean())
    return Band(*(end if np.isfinite(end) and reached >= q else None
                  for end, q in zip(ends, (0.05, 0.5, 0.95), strict=True)))  # fmt: skip


def target_day(run: Run, values: Array, level: float, *, falling: bool) -> TargetDay:
    """When a target is reached: by a piece, by the lot's mean, by a share of the pieces.

    Args:
        run: Run.
        values: array (times, members). The quantity. [unit of the target]
        level: float. The target. [unit of the target]
        falling: bool. The quantity comes down to it.

    Notes:
        Within a lot the pieces lie normally about its mean, with the spread of the mirrored
        pairs at that time; a share of the pieces is there when that quantile is.
    """
    lots = run.draws.lots
    means = lot_mean(values, lots)
    members = first_day(run.time_d, values, level, falling=falling)
    spread = _piece_spread(values, lots)
    later = spread[:, None] * (_NORMAL_90 if falling else -_NORMAL_90)
    shares = {
        "0.5": day_band(first_day(run.time_d, means, level, falling=falling)),
        "0.9": day_band(first_day(run.time_d, means + later, level, falling=falling)),
    }
    piece = day_band(members)
    composition = {} if piece.p50 is None else _composition_on(run, piece.p50)
    return TargetDay(
        piece=piece,
        mean=shares["0.5"],
        share_reached=float(np.isfinite(members).mean()),
        share_of_pieces=shares,
        composition=composition,
    )


def _piece_spread(values: Array, lots: int) -> Array:
    """Standard deviation between the pieces of one lot, array (times,)."""
    pairs = values[:, : 2 * (values.shape[1] // 2)]
    if pairs.shape[1] == 0:
        return np.zeros(len(values))
    half: Array = 0.5 * (pairs[:, 0::2] - pairs[:, 1::2])
    spread: Array = np.sqrt(np.mean(np.square(half), axis=1))
    return spread


def _composition_on(run: Run, day: float) -> dict[str, float]:
    """Median composition on one day, per cent of the weight."""

    def at(values: Array) -> Array:
        place = int(np.clip(np.searchsorted(run.time_d, day), 1, len(run.time_d) - 1))
        t0, t1 = run.time_d[place - 1], run.time_d[place]
        share = (day - t0) / (t1 - t0)
        result: Array = values[place - 1] * (1.0 - share) + values[place] * share
        return result

    left = 1.0 - at(run.states.weight_loss)
    batter = run.batter
    parts = {
        "water_pct": at(run.moisture),
        "protein_pct": batter.protein / left,
        "fat_pct": batter.fat / left,
        "salt_pct": batter.salt / left,
        "other_pct": (batter.sugar + batter.other) / left,
    }
    return {name: 100.0 * float(np.median(np.asarray(part))) for name, part in parts.items()}


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
        loss = simulate(piece, programme, parameters, draws, time_d).states.weight_loss
        return lot_mean(loss, draws.lots)[place], _piece_spread(loss, draws.lots)[place]

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


def _equilibrium_flag(run: Run, parameters: DryingParameters, targets: Mapping[str, float]) -> list[Flag]:
    """Members whose last room cannot bring them to the loss or ratio they are meant to reach."""
    if not run.blocks.open[-1]:
        return []
    humidity = np.clip(run.blocks.vapour[-1] / run.blocks.saturated[-1], 0.05, 0.99)
    members = run.members
    try:
        water = equilibrium_water(humidity, members.salt, members.solutes, members.brine, members.halsey)
    except OutOfRange:
        return []
    loss = 100.0 * (members.water - water) / members.green_mass
    ratio = water * run.batter.solids / run.batter.protein
    short = np.zeros(members.count, dtype=np.bool_)
    if "weight_loss_pct" in targets:
        short |= loss < targets["weight_loss_pct"]
    if "moisture_protein" in targets:
        short |= ratio > targets["moisture_protein"]
    wanted = [targets[name] for name in ("water_activity", "water_activity_core") if name in targets]
    if wanted:
        short |= humidity > min(wanted)
    share = float(short.mean())
    if share < 0.05:
        return []
    words = say("not with this room: the piece comes to rest before the target")
    return [Flag("equilibrium_short_of_target", None, share, words)]


def _horizon(run: Run, stated_d: float, days: Sequence[Array]) -> float:
    """Last day worth showing: all stated stages, and the targets of all but a few members."""
    latest = [float(weighted_quantile(day, None, 0.975)) for day in days]
    wanted = max([stated_d, *(min(day, LONGEST_D) for day in latest)])
    place = int(np.searchsorted(run.time_d, wanted - 1e-9))
    return float(run.time_d[min(place, len(run.time_d) - 1)])


def _cut(run: Run, horizon_d: float) -> Run:
    """The run up to its horizon."""
    keep = run.time_d <= horizon_d + 1e-9
    states = replace(run.states, **{name: getattr(run.states, name)[keep] for name in vars(run.states)})
    return replace(run, time_d=run.time_d[keep], states=states)


def _notes(programme: Programme, stated_d: float, horizon_d: float) -> list[Flag]:
    """Flags about the air that was given."""
    notes = []
    if programme.set_points_only:
        words = say("set-points only: no promise date; a logger at the piece or weighings narrow it")
        notes.append(Flag("set_points_only", None, 1.0, words))
    if any(stage.until_ph is not None for stage in programme.stages):
        words = say("no pH course is computed here: a stage that waits for a pH goes to its latest end")
        notes.append(Flag("ph_not_computed", None, 1.0, words))
    if programme.trace is not None and programme.trace.longest_gap_d > 0.5:
        words = say("the air log has a hole of {days:.1f} d", days=programme.trace.longest_gap_d)
        notes.append(Flag("log_gap", None, 1.0, words))
    if horizon_d > stated_d + 0.5:
        words = say(
            "the last air is carried on after its end on day {end:.0f}, to day {day:.0f}",
            end=stated_d,
            day=horizon_d,
        )
        notes.append(Flag("programme_extended", stated_d, 1.0, words))
    return notes


def _outlier_flags(learned: Learned, weighings: Sequence[Weighing]) -> list[Flag]:
    """Weighings that were hardly believed, by name."""
    found = []
    for weighing, wild in zip(weighings, learned.outlier_share, strict=True):
        if wild > 0.5:
            words = say(
                "the weighing of day {day:g} ({loss:.1f} %) does not fit the others: weigh again",
                day=weighing.day,
                loss=100.0 * weighing.weight_loss,
            )
            found.append(Flag("weighing_outlier", weighing.day, float(wild), words))
    return found


def _ph_band(programme: Programme, run: Run) -> Array | None:
    """Stated pH over time where stages state one, array (times, 3); None when none does."""
    if not any(stage.ph_end for stage in programme.stages):
        return None
    ends = np.median(run.ends_d, axis=1)
    ph = np.full((len(run.time_d), 3), np.nan)
    for stage, end in zip(programme.stages, ends, strict=True):
        if stage.ph_end:
            span = stage.ph_end
            ph[run.time_d >= end - 1e-9] = (span.low, span.mean, span.high)
    return ph


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
    series = series_of(whole)
    days = {}
    for name, level in targets.items():
        quantity, falling = TARGETS[name]
        days[name] = target_day(whole, series[quantity], level, falling=falling)
    reached = [
        first_day(whole.time_d, series[TARGETS[name][0]], level, falling=TARGETS[name][1])
        for name, level in targets.items()
    ]
    run = _cut(whole, _horizon(whole, stated_d, reached))
    bands = {name: band_of(values[: len(run.time_d)], run.draws.lots) for name, values in series.items()}
    ph = _ph_band(programme, run)
    if ph is not None:
        bands["ph"] = SeriesBand(*ph.T, *ph.T)
    kills = {model.organism: kill_of(run, model, None if ph is None else ph[:, 2]) for model in kill}
    horizon_d = float(run.time_d[-1])
    flags = [
        *_notes(programme, stated_d, horizon_d),
        *_equilibrium_flag(run, parameters, targets),
        *flags_of(run, parameters, mould=piece.mould),
        *range_flags(run, parameters),
        *_outlier_flags(learned, weighings),
    ]
    return DryingForecast(
        time_d=run.time_d,
        horizon_d=horizon_d,
        bands=bands,
        targets={name: _with_kill(day, run, kills) for name, day in days.items()},
        kill_log10=kills,
        flags=tuple(flags),
        facts=parameters.facts,
        members=members,
        seed=seed,
        from_log_until_d=programme.trace.end_d if programme.trace else 0.0,
    )


def _with_kill(day: TargetDay, run: Run, kills: Mapping[str, tuple[Array, Array]]) -> TargetDay:
    if day.piece.p50 is None:
        return day
    at = {}
    for name, (mean, low) in kills.items():
        mean_then, low_then = (float(np.interp(day.piece.p50, run.time_d, part)) for part in (mean, low))
        at[name] = (mean_then, low_then)
    return replace(day, kill_log10=at)


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
