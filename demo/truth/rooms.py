"""Room air in the truth: a heat and a moisture balance a room, stepped every ten minutes.

The load evaporates into it, coil and humidifier work within a band, doors
open in working hours, the coil defrosts, outside air leaks in.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from demo.clock import START, STEP_SECONDS, STEPS, ZONE, local, step_of
from demo.draws import stream
from demo.house import ROOM_INDEX, ROOMS
from demo.truth.sorption import Array, saturated_vapour_g_m3
from demo.truth.weather import outside

TRIP_FROM, TRIP_TO = local(date(2026, 7, 17), "23:40"), local(date(2026, 7, 18), "07:10")
SAWTOOTH_FROM = local(date(2026, 7, 2), "06:00")
_HOURS = STEP_SECONDS / 3600.0
_FERMENTING = np.array([room.role == "fermenting" for room in ROOMS])
_BUFFER = 4.0
"""Walls, racks and rinds take up and give vapour: the room acts as if its air were four times as much."""


@dataclass
class RoomAir:
    """The air of every room, step by step, and what drives it.

    Args:
        temperature_c, rh: arrays (steps, rooms). What the air really was. [degC], [0..1]
        set_temperature_c, set_rh, air_m_s: arrays (steps, rooms). What the rooms were set to.
    """

    seed: int
    temperature_c: Array = field(init=False)
    rh: Array = field(init=False)
    set_temperature_c: Array = field(init=False)
    set_rh: Array = field(init=False)
    air_m_s: Array = field(init=False)

    def __post_init__(self) -> None:
        shape = (STEPS, len(ROOMS))
        self.temperature_c, self.rh = np.zeros(shape), np.zeros(shape)
        self.set_temperature_c = np.tile([room.temperature_c for room in ROOMS], (STEPS, 1))
        self.set_rh = np.tile([room.rh_pct / 100 for room in ROOMS], (STEPS, 1))
        self.air_m_s = np.tile([room.air_m_s for room in ROOMS], (STEPS, 1))
        self._outside_c, self._outside_g = outside(self.seed)
        self._doors = _doors(self.seed)
        self._defrost = _defrosts()
        rng = stream(self.seed, "rooms", "flutter")
        self._flutter = rng.standard_normal(shape) * 0.05
        self._cycle = _cycles(self.seed)
        self._volume = np.array([room.volume_m3 for room in ROOMS])
        self._leak = np.where(_FERMENTING, 0.10, 0.06)
        self._now_c = np.array([room.temperature_c for room in ROOMS], dtype=float)
        self._now_g = np.array([room.rh_pct / 100 for room in ROOMS]) * saturated_vapour_g_m3(self._now_c)
        self._trip = (step_of(TRIP_FROM), step_of(TRIP_TO))

    def step(self, index: int, evaporated_kg_h: Array) -> None:
        """Advance every room by ten minutes under the load's evaporation. [kg/h]"""
        goal = self.set_temperature_c[index] + self._cycle[index] * 0.35 + 0.8 * self._defrost[index]
        doors, outdoors = self._doors[index], self._outside_c[index]
        corridor = 10.0 + 0.35 * (outdoors - 8.0)
        pull = np.where(_FERMENTING, 3.0, 2.2)
        top = self._now_c + _HOURS * (pull * goal + doors * corridor + 0.02 * outdoors)
        self._now_c = top / (1.0 + _HOURS * (pull + doors + 0.02))
        self._vapour(index, evaporated_kg_h, corridor)
        d2 = ROOM_INDEX["D2"]
        if self._trip[0] <= index < self._trip[1]:
            self._tripped(index, d2)
        self.temperature_c[index] = self._now_c + self._flutter[index]
        saturated = saturated_vapour_g_m3(self.temperature_c[index])
        self.rh[index] = np.clip(self._now_g / saturated, 0.2, 0.985)

    def _vapour(self, index: int, evaporated_kg_h: Array, corridor_c: float) -> None:
        saturated = saturated_vapour_g_m3(self._now_c)
        goal = (self.set_rh[index] + 0.016 * self._cycle[index]) * saturated
        aim = self._now_g + 0.5 * (goal - self._now_g)
        doors = self._doors[index]
        gain = 1000.0 * evaporated_kg_h / self._volume + self._leak * self._outside_g[index]
        gain = gain + doors * 0.65 * saturated_vapour_g_m3(np.array(corridor_c))
        # What the controller asks of coil and humidifier, as far as they can go.
        surplus = _BUFFER * (self._now_g - aim) / _HOURS + gain - (self._leak + doors) * aim
        coil_g = np.minimum(saturated_vapour_g_m3(self._now_c - 9.0), self._now_g)
        coil = np.clip(surplus / np.maximum(aim - coil_g, 0.3), 0.0, 15.0) * (1.0 - self._defrost[index])
        mist = np.clip(-surplus / np.maximum(saturated - aim, 0.2), 0.0, 3.0)
        gain = gain + coil * coil_g + mist * saturated
        rate = coil + mist + self._leak + doors
        self._now_g = (_BUFFER * self._now_g + _HOURS * gain) / (_BUFFER + _HOURS * rate)

    def _tripped(self, index: int, room: int) -> None:
        """D2 with its compressor off: it warms towards 24.8 degC and nothing takes the water away."""
        hours = (index - self._trip[0] + 1) * _HOURS
        self._now_c[room] = 14.0 + 10.85 * (1.0 - np.exp(-hours / 1.95))
        before = self.rh[index - 1, room]
        rh = before + (0.97 - before) * _HOURS / 1.1
        self._now_g[room] = rh * float(saturated_vapour_g_m3(self._now_c[room]))


def _doors(seed: int) -> Array:
    """Air changes by open doors at every step. [1/h]"""
    rng = stream(seed, "rooms", "doors")
    shape = (STEPS, len(ROOMS))
    first = START.astimezone(ZONE)
    hour = (np.arange(STEPS) * _HOURS + first.hour) % 24.0
    weekday = ((np.arange(STEPS) * _HOURS + first.hour) // 24 + first.weekday()) % 7
    chance = np.where((hour > 5.4) & (hour < 16.0) & (weekday < 5), 0.10, 0.004)
    return np.where(rng.random(shape) < chance[:, None], rng.gamma(2.0, 0.5, shape), 0.0)


def _defrosts() -> Array:
    """Share of every step in which the coil defrosts: cold and drying rooms, every eight hours."""
    hours = np.arange(STEPS)[:, None] * _HOURS
    phase = (hours + 0.7 * np.arange(len(ROOMS))[None, :]) % 8.0
    return np.where((phase < 0.34) & ~_FERMENTING[None, :], 1.0, 0.0)


def _cycles(seed: int) -> Array:
    """The coil's own swing, unit amplitude; D2's grows from 2 July on, the early sign nobody read."""
    rng = stream(seed, "rooms", "cycle")
    periods = np.where(_FERMENTING, 0.9, rng.uniform(0.9, 1.6, len(ROOMS)))
    phase = (np.arange(STEPS)[:, None] * _HOURS / periods[None, :]) % 1.0
    swing = 0.6 * (2.0 * phase - 1.0) * np.where(_FERMENTING, 0.25, 1.0)[None, :]
    early, repaired = step_of(SAWTOOTH_FROM), step_of(TRIP_TO)
    swing[early:repaired, ROOM_INDEX["D2"]] *= 5.0
    return swing
