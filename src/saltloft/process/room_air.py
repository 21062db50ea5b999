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
        most = 0.995 * here
        wetter = np.where(stretch.measured, self.wetter[True], self.wetter[False])
        vapour = np.clip((stretch.vapour / stretch.saturated + wetter) * here, 0.0, most)
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


def _films(
    rows: _AirRows, trace: AirTrace, borders: Array, was_read: NDArray[np.bool_], mean_c: Array
) -> tuple[Array, Array, Array]:
    """The film of every block: the mean of the film over its readings, not the film of their mean."""
    root = np.sqrt(trace.speed)
    levels = np.unique(root) if len(np.unique(root)) <= 12 else np.linspace(root.min(), root.max(), 12)
    # The share of each level in each block; a reading between two levels counts for both.
    hats = np.array([np.interp(root, levels, unit) for unit in np.eye(len(levels))])
    shares = np.array([held_means(trace, borders, hat) for hat in hats])
    ones = np.ones(rows.members.count)
    # Round ends, so that the film of a day does not hang on how warm later days are.
    ends_c = 4.0 * np.array([np.floor(np.min(mean_c) / 4.0), np.floor(np.max(mean_c) / 4.0) + 1.0])
    warm = (mean_c - ends_c[0]) / (ends_c[1] - ends_c[0])
    by_end = np.stack([shares * (1.0 - warm), shares * warm], axis=1)
    found = np.zeros((3, len(mean_c), rows.members.count))
    for measured in np.unique(was_read):
        table = np.array(
            [[rows.film_at(level**2 * ones, c * ones, measured=measured) for c in ends_c] for level in levels]
        )
        chosen = np.flatnonzero(was_read == measured)
        # One product of matrices: (blocks, levels x ends) @ (levels x ends, quantities x members).
        flat = by_end[:, :, chosen].reshape(-1, len(chosen)).T @ table.reshape(by_end[..., 0].size, -1)
        found[:, chosen] = flat.reshape(len(chosen), 3, -1).transpose(1, 0, 2)
    return found[0], found[1], found[2]


@dataclass(frozen=True)
class _LogMeans:
    """A log in blocks before any member is known; arrays (blocks,).

    Args:
        border_d: array (blocks + 1,). [d]
        humidity_slope_d: array. [1/d]
        temperature_c, saturated, vapour: arrays. Means. [degC] [kg/m3] [kg/m3]
        log_factor: array. Logarithm of the mean temperature factor of a typical activation energy.
        was_read: array of bool.
    """

    border_d: Array
    humidity_slope_d: Array
    temperature_c: Array
    saturated: Array
    vapour: Array
    log_factor: Array
    was_read: NDArray[np.bool_]


@lru_cache(maxsize=8)
def _means(trace: AirTrace, typical_k: float, reference_k: float, *, resolve: bool) -> _LogMeans:
    """Told once for a log: learning, the run and its slice all ask for it."""
    cut = cut_log(trace, resolve=resolve)
    borders = cut.border_d
    saturated = moist_air.vapour_concentration_kg_m3(trace.temperature_c)
    mean_vapour = block_means(trace, borders, saturated * trace.relative_humidity)
    # Both are straight between readings, so their product bends: exactly a sixth of its ends.
    bend = np.append(np.diff(saturated) * np.diff(trace.relative_humidity), 0.0) / 6.0
    # The mean of the temperature factor at a typical activation energy; a member's own
    # energy enters as a power of it, exact to second order in the swing.
    factor = np.exp(-typical_k * (1.0 / (trace.temperature_c + 273.15) - 1.0 / reference_k))
    read = np.ones(len(trace.time_d)) if trace.measured is None else trace.measured.astype(np.float64)
    return _LogMeans(
        border_d=borders,
        humidity_slope_d=cut.humidity_slope_d,
        temperature_c=block_means(trace, borders, trace.temperature_c),
        saturated=block_means(trace, borders, saturated),
        vapour=mean_vapour - held_means(trace, borders, bend),
        log_factor=np.log(block_means(trace, borders, factor)),
        was_read=block_means(trace, borders, read) >= 0.5,
    )


def _log_stretch(rows: _AirRows, trace: AirTrace, *, resolve: bool) -> _Stretch:
    """The log in blocks."""
    typical = rows.parameters.activation_energy.median / moist_air.GAS_CONSTANT
    reference = rows.parameters.reference_temperature_c + 273.15
    log = _means(trace, typical, reference, resolve=resolve)
    warmer = rows.members.activation * rows.warmer / reference**2
    return _Stretch(
        end_s=DAY_S * log.border_d[1:, None],
        temperature_c=log.temperature_c[:, None],
        saturated=log.saturated[:, None],
        vapour=log.vapour[:, None],
        film=_films(rows, trace, log.border_d, log.was_read, log.temperature_c),
        measured=log.was_read[:, None],
        speed_up=np.exp(log.log_factor[:, None] * (rows.members.activation / typical) + warmer),
        humidity_drift_s=log.humidity_slope_d[:, None] / DAY_S,
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
