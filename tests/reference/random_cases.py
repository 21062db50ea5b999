"""Random pieces in random rooms: drawn from the priors, with logs as rough as real ones.

Every case hangs on its number alone (Philox keyed by it). The piece's parameters are drawn
by the engine's own priors and handed to the finite volume as plain numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from saltloft.process.build import batter_of, members_of
from saltloft.process.draws import Draws, draw, value_of
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.piece import Piece
from saltloft.process.programme import AirTrace, Programme, Span
from saltloft.process.room_air import blocks_of, stage_ends_d
from tests.drying_cases import parameters, piece
from tests.reference.finite_volume import Case, Log

Array = NDArray[np.float64]

KEY = 20261125
# What the engine is told of a piece, and the finite volume knows: a new number fails here first.
KNOWN = {
    "diameter_m", "water", "salt", "solutes", "green_mass", "law", "potential", "length_share",
    "salt_ratio", "salt_drag", "halsey", "brine", "resistance_s_m", "other_heat", "activation",
    "end_factor", "linear_sorption", "path", "sorption_heat_k", "sorption_kelvin", "rim",
}  # fmt: skip


@dataclass(frozen=True)
class Random:
    """One case: what the engine gets, and the same for the finite volume."""

    number: int
    words: str
    piece: Piece
    days: Array
    trace: AirTrace
    members: Members
    blocks: Blocks
    case: Case
    log: Log


def _held(numbers: np.random.Generator, hours: Array) -> tuple[Array, Array, Array]:
    """T, RH and air held over one to five stretches, by hour."""
    count = int(numbers.integers(1, 6))
    starts = np.concatenate([[0], np.sort(numbers.uniform(0.0, hours[-1], count - 1))])
    place = np.searchsorted(starts, hours, side="right") - 1
    celsius, humidity = numbers.uniform(10.0, 24.0, count), numbers.uniform(0.60, 0.92, count)
    speed = np.exp(numbers.uniform(np.log(0.05), np.log(0.5), count))
    return celsius[place], humidity[place], speed[place]


def random_log(numbers: np.random.Generator, until_d: float) -> tuple[Log, str]:
    """Hourly readings with noise, a daily swing and jump, defrosts and fan stops, and what they are."""
    hours = np.arange(0.0, 24.0 * until_d + 1.0)
    celsius, humidity, speed = _held(numbers, hours)
    noise, swing, phase = numbers.uniform(0.01, 0.03), numbers.uniform(0.0, 0.04), numbers.uniform(0, 24)
    humidity = humidity + noise * numbers.normal(size=len(hours))
    humidity += swing * np.sin(2.0 * np.pi * (hours - phase) / 24.0)
    celsius = celsius + numbers.uniform(0.05, 0.3) * numbers.normal(size=len(hours))
    celsius += numbers.uniform(0.0, 1.0) * np.sin(2.0 * np.pi * (hours - phase) / 24.0)
    # Each day some hours of other air, as when the doors stand open.
    daily = numbers.uniform(-0.08, 0.08) * numbers.integers(0, 2)
    humidity += daily * ((hours - phase) % 24.0 < numbers.integers(1, 9))
    every = int(numbers.choice([0, 6, 8, 12, 24]))
    if every:
        thaw = (hours % every) == every - 1
        humidity += thaw * numbers.uniform(0.04, 0.12)
        celsius += thaw * numbers.uniform(0.5, 3.0)
    still = np.zeros(len(hours), dtype=bool)
    stops = int(numbers.integers(0, 5))
    for start in numbers.uniform(0.0, hours[-1], stops):
        still |= (hours >= start) & (hours < start + numbers.uniform(2.0, 48.0))
    pulsed = bool(numbers.integers(0, 4) == 0)
    if pulsed:
        still |= (hours - phase) % 24.0 < numbers.integers(4, 13)
    humidity += still * numbers.uniform(0.02, 0.08)
    speed = np.where(still, 0.0, speed)
    words = f"noise {100 * noise:.1f} %RH, daily jump {100 * daily:.1f}, thaw every {every} h, {stops} stops"
    log = Log(hours / 24.0, celsius, np.clip(humidity, 0.4, 0.98), speed)
    return log, words + (", pulsed" if pulsed else "")


def with_steps(log: Log) -> Log:
    """The same log with every change of more than 5 %RH or 2 K held until a minute before it."""
    large = (np.abs(np.diff(log.humidity)) > 0.05) | (np.abs(np.diff(log.celsius)) > 2.0)
    at = np.flatnonzero(large) + 1
    time = np.insert(log.time_d, at, log.time_d[at] - 1.0 / 1440.0)
    return Log(time, *(np.insert(row, at, row[at - 1]) for row in (log.celsius, log.humidity, log.speed)))


def case_of(members: Members, draws: Draws, index: int = 0) -> Case:
    """A member of the engine as plain numbers."""
    unknown = {entry.name for entry in fields(Members)} - KNOWN
    assert not unknown, f"the finite volume does not know {unknown}"
    p, law, m = parameters(), members.law, members
    at = draws.at_place

    def of(values: object) -> float:
        return float(np.broadcast_to(np.asarray(values), (m.count,))[index])

    share, rim = p.place_share, m.rim
    memory = {} if rim is None else {
        "rim_reversible": of(rim.reversible), "rim_lasting": of(rim.lasting), "rim_wet": rim.wet,
        "rim_dry": rim.dry, "harden_s": rim.harden_s, "soften_s": rim.soften_s,
    }  # fmt: skip
    return Case(
        diameter_m=of(m.diameter_m),
        water=of(m.water),
        salt=of(m.salt),
        fat=of(law.fat_volume) * p.density_fat,
        solutes=of(m.solutes),
        green_mass=of(m.green_mass),
        d0=of(law.reference),
        k=of(law.exponent),
        nu=of(law.fat_exponent),
        crust=of(law.crust_water),
        length_share=of(m.length_share),
        salt_ratio=of(m.salt_ratio),
        drag=of(m.salt_drag),
        halsey_a=of(m.halsey.scale),
        halsey_r=of(m.halsey.power),
        casing=of(m.resistance_s_m),
        other_heat=of(m.other_heat),
        activation=of(m.activation) * 8.314462618,
        film=p.film.median * float(np.exp(p.film.log_sd * of(at("film", share)))),
        draught=p.local_air.median * float(np.exp(p.local_air.log_sd * of(at("local_air", share)))),
        warmer=of(value_of(p.temperature_offset, at("temperature_offset", share))),
        wetter=of(value_of(p.humidity_offset, at("humidity_offset", share))),
        ends=of(m.end_factor),
        path=(of(m.path.constant), of(m.path.linear), of(m.path.square)),
        sorption_heat=of(m.sorption_heat_k),
        **memory,
    )


def output_days(until_d: float) -> Array:
    """Every day and some hours of the first."""
    return np.unique(np.concatenate([[0.0, 0.25, 0.5, 1.5], np.arange(0.0, until_d + 1e-9)]))


def _odd(what: Piece, numbers: np.random.Generator) -> tuple[Piece, str]:
    """The same piece short, pressed or oval, with a rim that remembers and a heat of sorption."""
    diameter = what.diameter_m.mean
    odd = replace(
        what,
        length_m=Span.of(diameter * numbers.uniform(1.5, 7.0)),
        pressed_to_m=Span.of(diameter * numbers.uniform(0.6, 1.0)),
        oval=bool(numbers.integers(0, 2)),
        net_heat_j_mol=float(numbers.uniform(0.0, 10e3)),
        rim_remembers=True,
    )
    return odd, ", odd of shape and rim"


def random_case(number: int, *, days_per_mm: float = 1.0, resolve: bool = False) -> Random:
    """Case `number` of the endless row of them; `resolve`: every hour of the log is a block."""
    numbers = np.random.Generator(np.random.Philox(key=[KEY, number]))
    diameter, fat = numbers.uniform(25.0, 110.0), numbers.uniform(0.10, 0.40)
    salt = numbers.uniform(0.020, 0.035)
    until_d = float(np.ceil(10.0 + days_per_mm * diameter))
    log, words = random_log(numbers, until_d)
    if number % 2:
        log = with_steps(log)
    what = piece(diameter, fat=fat, salt=salt)
    if number % 7 == 3:
        what, odd = _odd(what, numbers)
        words += odd
    draws = draw(KEY, f"reference {number}", 2, 0)
    batter = batter_of(what, parameters(), draws)
    members = members_of(what, parameters(), draws, batter)
    trace = AirTrace(log.time_d, log.celsius, log.humidity, log.speed)
    programme = Programme((), trace)
    ends = stage_ends_d(programme, draws)
    blocks = blocks_of(
        programme, parameters(), members, draws, ends_d=ends, horizon_d=until_d, resolve=resolve
    )
    words = f"case {number}: {diameter:.0f} mm, fat {100 * fat:.0f} %, {until_d:.0f} d, {words}"
    case = case_of(members, draws)
    return Random(number, words, what, output_days(until_d), trace, members, blocks, case, log)
