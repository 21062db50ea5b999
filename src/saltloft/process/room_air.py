"""From a programme or a room's log to the air of every member, in blocks."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from saltloft.process.draws import Draws, value_of
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.log_air import block_means, cut_log, held_means
from saltloft.process.parameters import DryingParameters
from saltloft.process.programme import DAY_S, AirTrace, Programme, Span, Stage
from saltloft.process.pulses import pulse_ends
from saltloft.science import moist_air, transfer

Array = NDArray[np.float64]


MOST_LEVELS = 12  # of air speed in a log
# The air at a piece is held at this, hour by hour; in blocks by what the log has over these.
MOST_HUMID = 0.995
CEILINGS = np.linspace(0.85, 1.0, 31)


def _over(excess: Array, ceiling: Array) -> Array:
    """What is cut off at each member's own ceiling, (blocks, members); excess (blocks, CEILINGS)."""
    cut = np.zeros((len(excess), ceiling.shape[-1]))
    step = CEILINGS[1] - CEILINGS[0]
    some = np.flatnonzero(excess[:, 0] > 0.0)
    own = np.broadcast_to(ceiling, cut.shape)[some]
    place = np.clip((own - CEILINGS[0]) / step, 0.0, len(CEILINGS) - 1.0)
    cell = np.minimum(place.astype(np.int64), len(CEILINGS) - 2)
    low, high = (np.take_along_axis(excess[some], cell + more, axis=1) for more in (0, 1))
    cut[some] = low + (place - cell) * (high - low)
    return cut


def stage_ends_d(programme: Programme, draws: Draws) -> Array:
    """Where each stage ends if only the clock ends it, array (stages, lots). [d]"""
    lengths = [stage.duration_d.at(draws.of_stage(i, "duration")) for i, stage in enumerate(programme.stages)]
    ends: Array = programme.start_d + np.cumsum(np.array(lengths).reshape(len(lengths), draws.lots), axis=0)
    return ends


@dataclass(frozen=True)
class _Stretch:
    """Some blocks of air before the members' own offsets; arrays (blocks, members) or (blocks, 1).

    Args:
        end_s: array. [s]
        temperature_c: array. [degC]
        saturated, vapour: arrays. Concentrations. [kg/m3]
        film: three arrays. Coefficient, its power of the diameter, mass ratio.
        measured: array of bool (blocks, 1).
        speed_up: array or None. None: that of the temperature.
        humidity_drift_s: array or float. Rise of the relative humidity. [1/s]
        is_open: bool.
        excess: array (blocks, CEILINGS) or None. Humidity over each of CEILINGS, its mean.
    """

    end_s: Array
    temperature_c: Array
    saturated: Array
    vapour: Array
    film: tuple[Array, Array, Array]
    measured: NDArray[np.bool_]
    speed_up: Array | None = None
    humidity_drift_s: Array | float = 0.0
    is_open: bool = True
    excess: Array | None = None


class _AirRows:
    """Collects blocks of air, each given for all members."""

    def __init__(self, members: Members, parameters: DryingParameters, draws: Draws) -> None:
        self.members, self.parameters, self.draws = members, parameters, draws
        self.blocks: list[Blocks] = []
        share = parameters.place_share
        self.warmer = value_of(parameters.temperature_offset, draws.at_place("temperature_offset", share))
        wetter = draws.at_place("humidity_offset", share)
        self.wetter = {
            True: value_of(parameters.humidity_offset, wetter),
            False: value_of(parameters.humidity_offset_set_point, wetter),
        }
        self.film, self.air = draws.at_place("film", share), draws.at_place("local_air", share)

    def film_at(self, speed: Array, temperature_c: Array, *, measured: bool) -> tuple[Array, Array, Array]:
        """Film coefficient at the stuffed diameter, its power of the diameter, mass ratio."""
        p = self.parameters
        spread = (p.film.log_sd, p.local_air.log_sd) if measured else (p.set_point_log_sd, p.set_point_log_sd)
        local = speed * p.local_air.median * np.exp(spread[1] * self.air)
        air = transfer.air_properties(temperature_c)
        wide = transfer.film_heat_w_m2k(self.members.diameter_m, local, air)
        thin = transfer.film_heat_w_m2k(0.8 * self.members.diameter_m, local, air)
        ratio = transfer.film_mass_m_s(np.ones_like(wide), air)
        multiplier = p.film.median * np.exp(spread[0] * self.film)
        return multiplier * wide, np.log(thin / wide) / np.log(0.8), ratio

    def temperature_factor(self, kelvin: Array) -> Array:
        """How much faster water moves than at the reference temperature."""
        reference = self.parameters.reference_temperature_c + 273.15
        factor: Array = np.exp(-self.members.activation * (1.0 / kelvin - 1.0 / reference))
        return factor

    def add(self, stretch: _Stretch) -> None:
        """Blocks with the offsets of each member's place."""
        warm = stretch.temperature_c + self.warmer
        log_slope = moist_air.concentration_log_slope_k(warm)
        here = stretch.saturated * np.exp(log_slope * self.warmer)
        most = MOST_HUMID * here
        wetter = np.where(stretch.measured, self.wetter[True], self.wetter[False])
        humidity = stretch.vapour / stretch.saturated + wetter
        if stretch.excess is not None:
            humidity = humidity - _over(stretch.excess, MOST_HUMID - wetter)
        vapour = np.clip(humidity * here, 0.0, most)
        end_s = np.broadcast_to(stretch.end_s, vapour.shape)
        begin = self.blocks[-1].end_s[-1:] if self.blocks else np.zeros_like(end_s[:1])
        half = 0.5 * np.diff(np.concatenate([begin, end_s]), axis=0)
        # At both ends of a block the vapour stays between none and nearly saturated.
        steepest = np.minimum(vapour, most - vapour) / np.maximum(half, 1.0)
        kelvin = warm + 273.15
        parts = {
            "end_s": end_s,
            "speed_up": self.temperature_factor(kelvin) if stretch.speed_up is None else stretch.speed_up,
            "kelvin": kelvin,
            "saturated": here,
            "vapour": vapour,
            "log_slope": log_slope,
            "latent": moist_air.latent_heat_j_kg(warm),
            "film_heat": stretch.film[0],
            "film_power": stretch.film[1],
            "film_ratio": stretch.film[2],
            "drift": np.clip(stretch.humidity_drift_s * here, -steepest, steepest),
        }
        shape = (len(stretch.end_s), self.members.count)
        is_open = np.full(shape[0], stretch.is_open)
        self.blocks.append(
            Blocks(**{name: np.broadcast_to(part, shape) for name, part in parts.items()}, open=is_open)
        )

    def hold(self, until_s: float) -> None:
        """Carry the last air on, at its mean."""
        last = self.blocks[-1]
        if last.drift is not None and last.drift[-1].any():
            names = [entry.name for entry in fields(Blocks)]
            one = {name: getattr(last, name)[-1:] for name in names}
            self.blocks.append(Blocks(**(one | {"drift": np.zeros_like(one["drift"])})))
            last = self.blocks[-1]
        end_s = np.array(last.end_s)
        end_s[-1] = np.maximum(end_s[-1], until_s)
        self.blocks[-1] = replace(last, end_s=end_s)

    def joined(self) -> Blocks:
        """All blocks, one after the other."""
        names = [entry.name for entry in fields(Blocks)]
        return Blocks(
            **{name: np.concatenate([getattr(part, name) for part in self.blocks]) for name in names}
        )


@dataclass(frozen=True)
class _BlockFilm:
    """The film of every block with the air as it counts through it.

    Args:
        film: three arrays (blocks, members). Coefficient, its power of the diameter, mass ratio.
        saturated, vapour: arrays (blocks, members) or (blocks, 1). Weighted means. [kg/m3]
    """

    film: tuple[Array, Array, Array]
    saturated: Array
    vapour: Array


def _levels(trace: AirTrace) -> Array:
    """Roots of the air speeds at which films are worked out."""
    root = np.sqrt(trace.speed)
    found = np.unique(root)
    return found if len(found) <= MOST_LEVELS else np.linspace(root.min(), root.max(), MOST_LEVELS)


def _films(rows: _AirRows, log: _LogMeans) -> _BlockFilm:
    """The film of every block: the mean of the film over its readings, not the film of their mean.

    Where the air stands and moves within a block its vapour counts by how much passes: fans rest
    in moist air, and hardly anything leaves the piece then. Each speed is weighted by film and
    casing in series.
    """
    ones, mean_c = np.ones(rows.members.count), log.temperature_c
    # Round ends, so that the film of a day does not hang on how warm later days are.
    ends_c = 4.0 * np.array([np.floor(np.min(mean_c) / 4.0), np.floor(np.max(mean_c) / 4.0) + 1.0])
    warm = (mean_c - ends_c[0]) / (ends_c[1] - ends_c[0])
    turning = len(log.levels) > 1
    found = np.zeros((6 if turning else 3, len(mean_c), rows.members.count))
    for measured in np.unique(log.was_read):
        table = np.array(
            [
                [rows.film_at(level**2 * ones, c * ones, measured=measured) for c in ends_c]
                for level in log.levels
            ]
        )
        chosen = np.flatnonzero(log.was_read == measured)
        found[:3, chosen] = _mixed(log.shares, warm, table, chosen)
        if turning:
            passes = 1.0 / (1.0 / (table[:, :, 0] * table[:, :, 2]) + rows.members.resistance_s_m)
            for row, parts in ((3, log.shares), (4, log.by_level[0]), (5, log.by_level[1])):
                found[row, chosen] = _mixed(parts, warm, passes[:, :, None], chosen)[0]
    film = (found[0], found[1], found[2])
    if not turning:
        return _BlockFilm(film, log.saturated[:, None], log.vapour[:, None])
    return _BlockFilm(film, found[4] / found[3], found[5] / found[3])


def _mixed(parts: Array, warm: Array, table: Array, chosen: NDArray[np.int64]) -> Array:
    """Quantities (levels, 2, own, members) mixed by level and temperature, array (own, blocks, members)."""
    by_end = np.stack([parts * (1.0 - warm), parts * warm], axis=1)[:, :, chosen]
    # One product of matrices: (blocks, levels x ends) @ (levels x ends, quantities x members).
    flat = by_end.reshape(-1, len(chosen)).T @ table.reshape(by_end[..., 0].size, -1)
    return np.asarray(flat.reshape(len(chosen), table.shape[2], -1).transpose(1, 0, 2))


@dataclass(frozen=True)
class _LogMeans:
    """A log in blocks before any member is known; arrays (blocks,).

    Args:
        border_d: array (blocks + 1,). [d]
        humidity_slope_d: array. [1/d]
        temperature_c, saturated, vapour: arrays. Means. [degC] [kg/m3] [kg/m3]
        log_factor: array. Logarithm of the mean temperature factor of a typical activation energy.
        was_read: array of bool.
        levels: array (levels,). Roots of air speeds.
        shares: array (levels, blocks). Share of each level; a reading between two counts for both.
        by_level: array (2, levels, blocks). What of saturated and of vapour falls to each. [kg/m3]
        excess: array (blocks, CEILINGS). How far the humidity's mean lies over its mean below each
            of CEILINGS; zero where it never gets there.
    """

    border_d: Array
    humidity_slope_d: Array
    temperature_c: Array
    saturated: Array
    vapour: Array
    log_factor: Array
    was_read: NDArray[np.bool_]
    levels: Array
    shares: Array
    by_level: Array
    excess: Array


@lru_cache(maxsize=8)
def _means(trace: AirTrace, typical_k: float, reference_k: float, *, resolve: bool) -> _LogMeans:
    """Told once for a log: learning, the run and its slice all ask for it."""
    cut = cut_log(trace, resolve=resolve)
    borders = cut.border_d
    saturated = moist_air.vapour_concentration_kg_m3(trace.temperature_c)
    vapour = saturated * trace.relative_humidity
    # Both are straight between readings, so their product bends: exactly a sixth of its ends.
    bend = np.append(np.diff(saturated) * np.diff(trace.relative_humidity), 0.0) / 6.0
    # The mean of the temperature factor at a typical activation energy; a member's own
    # energy enters as a power of it, exact to second order in the swing.
    factor = np.exp(-typical_k * (1.0 / (trace.temperature_c + 273.15) - 1.0 / reference_k))
    read = np.ones(len(trace.time_d)) if trace.measured is None else trace.measured.astype(np.float64)
    means = (
        block_means(trace, borders, saturated),
        block_means(trace, borders, vapour) - held_means(trace, borders, bend),
    )
    levels = _levels(trace)
    hats = np.array([np.interp(np.sqrt(trace.speed), levels, unit) for unit in np.eye(len(levels))])
    passing = [np.append(0.5 * (part[1:] + part[:-1]), part[-1]) for part in (saturated, vapour)]
    passing[1] -= bend
    by_level = np.array([[held_means(trace, borders, hat * part) for hat in hats] for part in passing])
    return _LogMeans(
        border_d=borders,
        humidity_slope_d=cut.humidity_slope_d,
        temperature_c=block_means(trace, borders, trace.temperature_c),
        saturated=means[0],
        vapour=means[1],
        log_factor=np.log(block_means(trace, borders, factor)),
        was_read=block_means(trace, borders, read) >= 0.5,
        levels=levels,
        shares=np.array([held_means(trace, borders, hat) for hat in hats]),
        # A border within an hour cuts it exactly only for the whole: the levels share its mean.
        by_level=by_level * (np.array(means) / by_level.sum(axis=1))[:, None],
        excess=_excess(trace, borders, saturated),
    )


def _excess(trace: AirTrace, borders: Array, saturated: Array) -> Array:
    """Mean of what the humidity has over each of CEILINGS, by saturated vapour, (blocks, CEILINGS)."""
    found = np.zeros((len(borders) - 1, len(CEILINGS)))
    mean = block_means(trace, borders, saturated)
    between = np.append(0.5 * (saturated[1:] + saturated[:-1]), saturated[-1])
    for place, ceiling in enumerate(CEILINGS):
        high = np.maximum(trace.relative_humidity - ceiling, 0.0)
        if not high.any():
            break
        # Straight between readings: a triangle where one of them lies below.
        both = high[1:] + high[:-1]
        rise = np.abs(np.diff(trace.relative_humidity))
        whole = np.minimum(trace.relative_humidity[1:], trace.relative_humidity[:-1]) >= ceiling
        over = np.where(whole, 0.5 * both, 0.5 * both * both / np.maximum(rise, 1e-12))
        found[:, place] = held_means(trace, borders, np.append(over, high[-1]) * between) / mean
    return found


def _log_stretch(rows: _AirRows, trace: AirTrace, *, resolve: bool) -> _Stretch:
    """The log in blocks."""
    typical = rows.parameters.activation_energy.median / moist_air.GAS_CONSTANT
    reference = rows.parameters.reference_temperature_c + 273.15
    log = _means(trace, typical, reference, resolve=resolve)
    warmer = rows.members.activation * rows.warmer / reference**2
    passing = _films(rows, log)
    return _Stretch(
        end_s=DAY_S * log.border_d[1:, None],
        temperature_c=log.temperature_c[:, None],
        saturated=passing.saturated,
        vapour=passing.vapour,
        film=passing.film,
        measured=log.was_read[:, None],
        speed_up=np.exp(log.log_factor[:, None] * (rows.members.activation / typical) + warmer),
        humidity_drift_s=log.humidity_slope_d[:, None] / DAY_S,
        excess=log.excess,
    )


def _stage_stretch(
    rows: _AirRows, stage: Stage, celsius: Array, air: tuple[Array, Array], end_s: Array
) -> _Stretch:
    """One stage: a block, or two a cycle where its fans run and rest in turn."""
    humidity, speed = air
    saturated = moist_air.vapour_concentration_kg_m3(celsius)
    states, ends = [(humidity, speed)], end_s[None]
    if stage.pulse is not None:
        begin_s = rows.blocks[-1].end_s[-1] if rows.blocks else np.zeros_like(end_s)
        ends = pulse_ends(begin_s, end_s, stage.pulse)
        rest = stage.pulse.rest_humidity
        states.append((humidity if rest is None else np.full_like(humidity, rest), 0.0 * speed))
    films = [rows.film_at(moving, celsius, measured=stage.measured) for _, moving in states]
    cycles = len(ends) // len(states)

    def in_turn(parts: list[Array]) -> Array:
        return np.tile(np.stack(parts), (cycles, 1))

    film = tuple(in_turn([one[part] for one in films]) for part in range(3))
    return _Stretch(
        end_s=ends,
        temperature_c=np.tile(celsius, (len(ends), 1)),
        saturated=np.tile(saturated, (len(ends), 1)),
        vapour=in_turn([saturated * wet for wet, _ in states]),
        film=(film[0], film[1], film[2]),
        measured=np.full((len(ends), 1), stage.measured),
        is_open=not stage.packed,
    )


def blocks_of(
    programme: Programme,
    parameters: DryingParameters,
    members: Members,
    draws: Draws,
    *,
    ends_d: Array,
    horizon_d: float,
    resolve: bool = False,
) -> Blocks:
    """The air of every member from stuffing to the horizon.

    Args:
        programme: Programme.
        parameters: DryingParameters.
        members: Members.
        draws: Draws.
        ends_d: array (stages, lots). From `stage_ends_d`, or earlier by an `until`. [d]
        horizon_d: float. The last stage is carried on to here. [d]
        resolve: bool. True: every stretch between two readings of a log is a block of its own.

    Returns:
        Blocks.
    """
    rows = _AirRows(members, parameters, draws)
    if programme.trace is not None:
        rows.add(_log_stretch(rows, programme.trace, resolve=resolve))
    for i, stage in enumerate(programme.stages):

        def drawn(span: Span, name: str, stage_number: int = i) -> Array:
            return draws.per_member(span.at(draws.of_stage(stage_number, name)))

        celsius = drawn(stage.temperature_c, "temperature")
        humidity, speed = drawn(stage.relative_humidity, "humidity"), drawn(stage.air_m_s, "air")
        end_s = DAY_S * draws.per_member(ends_d[i])
        if i == len(programme.stages) - 1:
            end_s = np.maximum(end_s, DAY_S * (horizon_d + 1.0))
        rows.add(_stage_stretch(rows, stage, celsius, (humidity, speed), end_s))
    rows.hold(DAY_S * (horizon_d + 1.0))
    return rows.joined()
