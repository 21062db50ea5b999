"""pH of meat from acid made in it: a proton balance over the meat's own buffers.

Two kinds of site take up protons (imidazole with phosphate near pH 6.8, carboxyl
near pH 4.2) beside lactate that the meat brought along. A constant buffering
value would be wrong below pH 5.3: it more than doubles between 5.5 and 5.0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltloft.foundation.errors import NumericsError

FloatArray = NDArray[np.float64]

_LN10 = float(np.log(10.0))
LOWEST_PH = 3.0


@dataclass(frozen=True)
class MeatBuffer:
    """The buffers of one kilogram of lean.

    Args:
        imidazole_mmol_kg: float. Imidazole and phosphate sites. [mmol/kg lean]
        imidazole_pka: float. Their dissociation constant. [1]
        carboxyl_mmol_kg: float. Carboxyl sites. [mmol/kg lean]
        carboxyl_pka: float. Their dissociation constant. [1]
        lactate_mmol_kg: float. Lactate the meat brought along. [mmol/kg lean]
        lactic_pka: float. Dissociation constant of lactic acid. [1]
    """

    imidazole_mmol_kg: float
    imidazole_pka: float
    carboxyl_mmol_kg: float
    carboxyl_pka: float
    lactate_mmol_kg: float
    lactic_pka: float


def dissociated_share(ph: ArrayLike, pka: float) -> FloatArray:
    """Share of an acid that has given its proton away.

    Args:
        ph: float or array. [pH]
        pka: float. Dissociation constant. [1]

    Returns:
        Array like ph, 0..1.
    """
    return np.asarray(1.0 / (1.0 + 10.0 ** (pka - np.asarray(ph, dtype=np.float64))))


def undissociated_mol_m3(total_mol_m3: ArrayLike, ph: ArrayLike, pka: float) -> FloatArray:
    """Acid that still holds its proton: the form that hampers bacteria.

    Args:
        total_mol_m3: float or array. Acid and its ion together in the water phase. [mol/m3]
        ph: float or array. [pH]
        pka: float. Dissociation constant. [1]

    Returns:
        Array of the broadcast shape. [mol/m3]
    """
    return np.asarray(np.asarray(total_mol_m3, dtype=np.float64) * (1.0 - dissociated_share(ph, pka)))


def bound_protons_mmol_kg(ph: ArrayLike, buffer: MeatBuffer) -> FloatArray:
    """Protons held by the sites of one kilogram of lean.

    Args:
        ph: float or array. [pH]
        buffer: MeatBuffer.

    Returns:
        Array like ph. [mmol/kg lean]
    """
    return np.asarray(
        buffer.imidazole_mmol_kg * (1.0 - dissociated_share(ph, buffer.imidazole_pka))
        + buffer.carboxyl_mmol_kg * (1.0 - dissociated_share(ph, buffer.carboxyl_pka))
    )


def _site_slope(ph: FloatArray, amount: float, pka: float) -> FloatArray:
    share = dissociated_share(ph, pka)
    return np.asarray(_LN10 * amount * share * (1.0 - share))


def buffering_mmol_kg(ph: ArrayLike, buffer: MeatBuffer) -> FloatArray:
    """Acid that lowers the pH of one kilogram of lean by one unit, without the added acid's own part.

    Args:
        ph: float or array. [pH]
        buffer: MeatBuffer.

    Returns:
        Array like ph. [mmol/kg lean per pH]
    """
    at = np.asarray(ph, dtype=np.float64)
    return np.asarray(
        _site_slope(at, buffer.imidazole_mmol_kg, buffer.imidazole_pka)
        + _site_slope(at, buffer.carboxyl_mmol_kg, buffer.carboxyl_pka)
        + _site_slope(at, buffer.lactate_mmol_kg, buffer.lactic_pka)
    )


def acid_for_ph(
    ph: ArrayLike, start_ph: ArrayLike, lean: ArrayLike, scale: ArrayLike, buffer: MeatBuffer
) -> FloatArray:
    """Lactic acid per kilogram of batter that brings it from one pH to another.

    Args:
        ph: float or array. The pH reached. [pH]
        start_ph: float or array. The pH before. [pH]
        lean: float or array. Lean in the batter, 0..1. [kg/kg]
        scale: float or array. Factor on the site numbers of this meat. [1]
        buffer: MeatBuffer.

    Returns:
        Array of the broadcast shape; negative when ph is above start_ph. [mmol/kg batter]

    Notes:
        acid*d(pH) + lean*lactate*(d(pH) - d(pH0)) = scale*lean*(Q(pH) - Q(pH0)), where d is the
        dissociated share of lactic acid and Q the bound protons. Free protons (under 1 %) are
        neglected.
    """
    share, share_start = (
        dissociated_share(ph, buffer.lactic_pka),
        dissociated_share(start_ph, buffer.lactic_pka),
    )
    taken_up = np.asarray(scale) * (
        bound_protons_mmol_kg(ph, buffer) - bound_protons_mmol_kg(start_ph, buffer)
    )
    native = buffer.lactate_mmol_kg * (share - share_start)
    return np.asarray(np.asarray(lean) * (taken_up - native) / share)


def ph_of_acid(
    acid_mmol_kg: ArrayLike, start_ph: ArrayLike, lean: ArrayLike, scale: ArrayLike, buffer: MeatBuffer
) -> FloatArray:
    """The pH of batter after acid was made in it.

    Args:
        acid_mmol_kg: float or array, 0 or more. Lactic acid made. [mmol/kg batter]
        start_ph: float or array. The pH before. [pH]
        lean: float or array. Lean in the batter, 0..1. [kg/kg]
        scale: float or array. Factor on the site numbers of this meat. [1]
        buffer: MeatBuffer.

    Returns:
        Array of the broadcast shape. [pH]

    Raises:
        NumericsError: more acid than brings the batter to pH 3, where the model ends.

    Notes:
        `acid_for_ph` falls steadily with pH, so the root is bracketed by LOWEST_PH and start_ph
        and halved 50 times: 1e-14 of a pH unit.
    """
    acid, start, lean_array, scale_array = np.broadcast_arrays(
        np.asarray(acid_mmol_kg, dtype=np.float64),
        np.asarray(start_ph, dtype=np.float64),
        np.asarray(lean, dtype=np.float64),
        np.asarray(scale, dtype=np.float64),
    )
    low, high = np.full(acid.shape, LOWEST_PH), np.array(start)
    if np.any(acid_for_ph(low, start, lean_array, scale_array, buffer) < acid):
        raise NumericsError(
            "the acid brings the batter below pH 3, where the buffer model ends",
            got=f"{float(np.max(acid)):.0f} mmol/kg",
            allowed="less sugar, or more lean",
        )
    for _ in range(50):
        middle = 0.5 * (low + high)
        too_acid = acid_for_ph(middle, start, lean_array, scale_array, buffer) > acid
        low, high = np.where(too_acid, middle, low), np.where(too_acid, high, middle)
    return np.asarray(0.5 * (low + high))


def refine_ph(
    acid_mmol_kg: FloatArray,
    guess: FloatArray,
    start_ph: FloatArray,
    *,
    lean: FloatArray,
    scale: FloatArray,
    buffer: MeatBuffer,
    rounds: int = 3,
) -> FloatArray:
    """The pH of batter near a known one, by Newton's method: for stepping through time.

    Args:
        acid_mmol_kg: array. Lactic acid made. [mmol/kg batter]
        guess: array. A pH close by. [pH]
        start_ph: array. The pH before any acid. [pH]
        lean: array. Lean in the batter, 0..1. [kg/kg]
        scale: array. Factor on the site numbers. [1]
        buffer: MeatBuffer.
        rounds: int. Newton steps.

    Returns:
        Array of the broadcast shape, between LOWEST_PH and start_ph. [pH]
    """
    ph = np.array(guess, dtype=np.float64)
    share_start = dissociated_share(start_ph, buffer.lactic_pka)
    bound_start = bound_protons_mmol_kg(start_ph, buffer)
    for _ in range(rounds):
        share = dissociated_share(ph, buffer.lactic_pka)
        share_slope = _LN10 * share * (1.0 - share)
        taken = scale * (bound_protons_mmol_kg(ph, buffer) - bound_start)
        taken -= buffer.lactate_mmol_kg * (share - share_start)
        taken_slope = -scale * _site_slope(ph, buffer.imidazole_mmol_kg, buffer.imidazole_pka)
        taken_slope -= scale * _site_slope(ph, buffer.carboxyl_mmol_kg, buffer.carboxyl_pka)
        taken_slope -= buffer.lactate_mmol_kg * share_slope
        slope = lean * (taken_slope * share - taken * share_slope) / share**2
        ph = np.clip(ph - (lean * taken / share - acid_mmol_kg) / slope, LOWEST_PH, start_ph)
    return ph
