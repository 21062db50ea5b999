"""Outside air over the year: wet maritime winters, short summers, one week of heat in July."""

from __future__ import annotations

from datetime import date, datetime

import numpy as np

from demo.clock import START, STEP_SECONDS, STEPS, ZONE, local
from demo.draws import stream
from demo.truth.sorption import Array, saturated_vapour_g_m3

HEAT_FROM, HEAT_TO = local(date(2026, 7, 12), "12:00"), local(date(2026, 7, 19), "18:00")


def _smooth_noise(rng: np.random.Generator, hours: float, size: int) -> Array:
    """Unit noise that forgets itself over some hours, linear between half-day knots."""
    spacing = max(1, int(hours * 3600 / STEP_SECONDS))
    knots = rng.standard_normal(size // spacing + 2)
    return np.interp(np.arange(size) / spacing, np.arange(knots.size), knots)


def outside(seed: int) -> tuple[Array, Array]:
    """Outside temperature [degC] and vapour [g/m3] at every truth step."""
    seconds = np.arange(STEPS) * float(STEP_SECONDS)
    start_local: datetime = START.astimezone(ZONE)
    year_day = start_local.timetuple().tm_yday + seconds / 86400.0
    hour = (seconds / 3600.0 + start_local.hour) % 24.0
    summer = 0.5 - 0.5 * np.cos(2 * np.pi * (year_day - 20.0) / 365.25)
    weather = _smooth_noise(stream(seed, "weather", "temperature"), 60.0, STEPS)
    temperature = 3.8 + 12.6 * summer + 2.6 * weather
    temperature += (1.2 + 3.4 * summer) * np.cos(2 * np.pi * (hour - 15.0) / 24.0)
    heat = _bump(HEAT_FROM, HEAT_TO)
    # In the heat week noon stands at 29 to 31 degC with a dew point near 17 degC.
    hot = 23.8 + 6.6 * np.cos(2 * np.pi * (hour - 15.0) / 24.0)
    temperature = (1 - heat) * temperature + heat * hot
    damp = 0.88 - 0.14 * summer + 0.05 * _smooth_noise(stream(seed, "weather", "damp"), 40.0, STEPS)
    night = temperature - 2.0 * np.cos(2 * np.pi * (hour - 15.0) / 24.0)
    vapour = np.clip(damp, 0.5, 0.99) * saturated_vapour_g_m3(np.minimum(temperature, night))
    vapour = (1 - heat) * vapour + heat * 14.4
    return temperature, np.minimum(vapour, saturated_vapour_g_m3(temperature) * 0.99)


def _bump(start: datetime, end: datetime) -> Array:
    """1 between two moments, smooth over a day at either side."""
    day = 86400.0
    seconds = np.arange(STEPS) * float(STEP_SECONDS)
    rise = (seconds - (start - START).total_seconds()) / day + 1.0
    fall = ((end - START).total_seconds() - seconds) / day + 1.0
    bump: Array = np.clip(rise, 0.0, 1.0) * np.clip(fall, 0.0, 1.0)
    return bump
