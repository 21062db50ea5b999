"""The doubt of a fermentation: what was stated, what is drawn, and each member's own numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from saltloft.process.fermentation.model import AcidModel, Members
from saltloft.process.programme import Span
from saltloft.science import statistics

FloatArray = NDArray[np.float64]

SLOTS = (
    "start_ph",
    "buffer_scale",
    "yield",
    "starter",
    "rate",
    "lag",
    "acid",
    "film",
    "diameter",
    "lean",
    "water",
    "dextrose",
    "start_temperature",
    "nitrite",
    "organism_rate",
    "piece_ph",
)
STAGE_SLOTS = ("duration", "temperature")
_STAGE_SLOT0 = 200


@dataclass(frozen=True)
class Doubt:
    """A number with its spread: log-normal when log_sd is set, else normal.

    Args:
        median: float. [its own unit]
        log_sd: float. Standard deviation of the natural logarithm. [1]
        sd: float. Standard deviation. [its own unit]
        low, high: float. Bounds that are never left. [its own unit]
    """

    median: float
    log_sd: float = 0.0
    sd: float = 0.0
    low: float = float("-inf")
    high: float = float("inf")

    def at(self, z: FloatArray) -> FloatArray:
        """The value at standard normal draws, array like z, in its own unit."""
        value = self.median * np.exp(self.log_sd * z) if self.log_sd else self.median + self.sd * z
        return np.clip(value, self.low, self.high)


@dataclass(frozen=True)
class FermentationParameters:
    """Everything the forecast takes from the literature.

    Args:
        model: AcidModel.
        buffer_scale: Doubt. [1]
        acid_yield: Doubt, 0..1. Acid made of the sugar. [1]
        rate_scale: Doubt. Factor on the starter's growth. [1]
        lag_h: Doubt. [h]
        acid_per_growth: Doubt. [mmol/cfu]
        film_heat: Doubt. [W/m2.K]
        start_ph: Doubt. Used when none was stated. [pH]
        starter: Doubt. Used when none was stated; its spread always. [log10 cfu/g]
        lactate_per_dextrose: float. [mmol/g]
        meter_ph_sd: float. [pH]
        model_ph_sd: float. [pH]
        piece_ph_sd: float. [pH]
        facts: tuple of str. Fact keys.
    """

    model: AcidModel
    buffer_scale: Doubt
    acid_yield: Doubt
    rate_scale: Doubt
    lag_h: Doubt
    acid_per_growth: Doubt
    film_heat: Doubt
    start_ph: Doubt
    starter: Doubt
    lactate_per_dextrose: float
    meter_ph_sd: float
    model_ph_sd: float
    piece_ph_sd: float
    facts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Batch:
    """What was stuffed, as stated; a range is drawn evenly.

    Args:
        diameter_m: Span. [m]
        lean: Span, 0..1. Lean in the batter. [kg/kg]
        water: Span, 0..1. Water in the batter. [kg/kg]
        dextrose_g_kg: Span. Fermentable sugar as dextrose. [g/kg batter]
        start_c: Span. Temperature at stuffing. [degC]
        nitrite_mg_kg: Span. [mg/kg]
        start_ph: Span or None. Measured pH of the mince; None: the prior. [pH]
        starter_log10: Span or None. Lactic flora after mixing; None: the prior. [log10 cfu/g]
    """

    diameter_m: Span
    lean: Span
    water: Span
    dextrose_g_kg: Span
    start_c: Span
    nitrite_mg_kg: Span
    start_ph: Span | None = None
    starter_log10: Span | None = None


@dataclass(frozen=True)
class Place:
    """One stage's room, its ranges drawn once a member.

    Args:
        duration_h: Span. [h]
        temperature_c: Span. [degC]
    """

    duration_h: Span
    temperature_c: Span


def draws(seed: int, lot: str, members: int, stages: int) -> FloatArray:
    """Standard normal draws, one row a member; a member's row depends on its number only.

    Args:
        seed: int, 0 or more.
        lot: str. Name that keys the draws.
        members: int, 1 or more.
        stages: int. Stages whose ranges are drawn.

    Returns:
        Array (members, SLOTS and two a stage). [1]
    """
    slots = np.concatenate((np.arange(len(SLOTS)), _STAGE_SLOT0 + np.arange(len(STAGE_SLOTS) * stages)))
    return statistics.normal(seed, "ferment:" + lot, np.arange(members)[:, None], slots[None, :])


def _drawn(z: FloatArray) -> Mapping[str, FloatArray]:
    return {name: z[:, index] for index, name in enumerate(SLOTS)}


def members_of(z: FloatArray, batch: Batch, parameters: FermentationParameters) -> Members:
    """Each member's own numbers.

    Args:
        z: array (members, columns). Standard normal draws. [1]
        batch: Batch.
        parameters: FermentationParameters.

    Returns:
        Members. A stated pH keeps the meter's error, a stated starter count the spread of counts.
    """
    column = _drawn(z)
    spread = parameters.starter
    if batch.start_ph is None:
        start_ph = parameters.start_ph.at(column["start_ph"])
    else:
        start_ph = batch.start_ph.mean + _width(batch.start_ph, parameters.meter_ph_sd) * column["start_ph"]
    if batch.starter_log10 is None:
        density = spread.at(column["starter"])
    else:
        density = batch.starter_log10.mean + _width(batch.starter_log10, spread.sd) * column["starter"]
    dextrose = batch.dextrose_g_kg.at(ndtr(column["dextrose"]))
    potential = parameters.lactate_per_dextrose * parameters.acid_yield.at(column["yield"]) * dextrose
    return Members(
        radius_m=0.5 * batch.diameter_m.at(ndtr(column["diameter"])),
        film_heat_w_m2k=parameters.film_heat.at(column["film"]),
        start_c=batch.start_c.at(ndtr(column["start_temperature"])),
        start_ph=np.clip(start_ph, 4.0, 7.5),
        lean=batch.lean.at(ndtr(column["lean"])),
        water=batch.water.at(ndtr(column["water"])),
        buffer_scale=parameters.buffer_scale.at(column["buffer_scale"]),
        acid_potential_mmol_kg=np.maximum(potential, 1e-9),
        density_log10=np.clip(density, 0.0, parameters.model.density_max_log10 - 0.01),
        rate_scale=parameters.rate_scale.at(column["rate"]),
        lag_h=parameters.lag_h.at(column["lag"]),
        acid_per_growth=parameters.acid_per_growth.at(column["acid"]),
        nitrite_mg_kg=batch.nitrite_mg_kg.at(ndtr(column["nitrite"])),
    )


def _width(span: Span, sd: float) -> float:
    """Spread of a stated number: its own error and, for a range, the range's own (a flat one's sd)."""
    return float(np.hypot(sd, (span.high - span.low) / np.sqrt(12.0)))


def rooms_of(z: FloatArray, places: tuple[Place, ...], time_h: FloatArray) -> FloatArray:
    """Room temperature of each member over the step that ends at each time.

    Args:
        z: array (members, columns). [1]
        places: tuple of Place, in order.
        time_h: array (times,). [h]

    Returns:
        Array (times, members); the last stage is carried on. [degC]
    """
    shares = ndtr(z[:, len(SLOTS) :].reshape(len(z), len(places), len(STAGE_SLOTS)))
    ends = np.cumsum([place.duration_h.at(shares[:, k, 0]) for k, place in enumerate(places)], axis=0)
    celsius = np.array([place.temperature_c.at(shares[:, k, 1]) for k, place in enumerate(places)])
    middle = np.concatenate(([0.0], 0.5 * (time_h[1:] + time_h[:-1])))
    which = np.minimum((middle[:, None, None] >= ends[None]).sum(axis=1), len(places) - 1)
    return np.take_along_axis(celsius, which, axis=0)
