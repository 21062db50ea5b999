"""Quantiles with weights, and random numbers that depend on nothing but their place.

A draw is a function of (seed, lot, member, slot): the same lot gets the same
numbers alone, among others, on one thread or two, in any order.
"""

from __future__ import annotations

import hashlib

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from saltloft.foundation.errors import InputError

FloatArray = NDArray[np.float64]
_Words = NDArray[np.uint64]

# Philox4x64-10 (Salmon et al. 2011), the generator behind numpy.random.Philox.
_MULTIPLIERS = (np.uint64(0xD2E7470EE14C6C93), np.uint64(0xCA5A826395121157))
_STEPS = (0x9E3779B97F4A7C15, 0xBB67AE8584CAA73B)
_LOW_HALF = np.uint64(0xFFFFFFFF)
_HALF = np.uint64(32)


def _high_word(factor: np.uint64, words: _Words) -> _Words:
    """Upper 64 bits of a 64 x 64 bit product, by halves."""
    f_low, f_high = factor & _LOW_HALF, factor >> _HALF
    w_low, w_high = words & _LOW_HALF, words >> _HALF
    cross = f_high * w_low + ((f_low * w_low) >> _HALF)
    carry = (cross & _LOW_HALF) + f_low * w_high
    high: _Words = f_high * w_high + (cross >> _HALF) + (carry >> _HALF)
    return high


def philox(counter: tuple[_Words, ...], key: tuple[int, int]) -> tuple[_Words, ...]:
    """Ten rounds of Philox4x64 on arrays of counters.

    Args:
        counter: four arrays of uint64 of one shape.
        key: two ints of 64 bits.

    Returns:
        Four arrays of uint64 of that shape.
    """
    c0, c1, c2, c3 = counter
    k0, k1 = key
    for _ in range(10):
        high0, low0 = _high_word(_MULTIPLIERS[0], c0), _MULTIPLIERS[0] * c0
        high1, low1 = _high_word(_MULTIPLIERS[1], c2), _MULTIPLIERS[1] * c2
        c0, c1, c2, c3 = high1 ^ c1 ^ np.uint64(k0), low1, high0 ^ c3 ^ np.uint64(k1), low0
        k0, k1 = (k0 + _STEPS[0]) & 0xFFFFFFFFFFFFFFFF, (k1 + _STEPS[1]) & 0xFFFFFFFFFFFFFFFF
    return c0, c1, c2, c3


def lot_word(lot: str) -> int:
    """The 64 bits that stand for a lot's name in the key of its draws."""
    return int.from_bytes(hashlib.sha256(lot.encode()).digest()[:8], "big")


def uniform(seed: int, lot: str, member: ArrayLike, slot: ArrayLike) -> FloatArray:
    """Uniform draws, above 0 and below 1.

    Args:
        seed: int, 0 or more.
        lot: str. Name of the lot or case.
        member: int or array of int, 0 or more. Ensemble member. [1]
        slot: int or array of int, 0 or more. Which parameter the draw is for. [1]

    Returns:
        Array of the broadcast shape of member and slot.

    Raises:
        InputError: a negative seed.
    """
    if seed < 0:
        raise InputError("the seed is below zero", got=str(seed), allowed="0 or more", key="seed")
    members, slots = np.broadcast_arrays(
        np.asarray(member, dtype=np.uint64), np.asarray(slot, dtype=np.uint64)
    )
    zero = np.zeros(members.shape, dtype=np.uint64)
    counter = tuple(np.atleast_1d(words) for words in (members, slots, zero, zero))
    with np.errstate(over="ignore"):  # products wrap around at 64 bits by design
        word = philox(counter, (seed & 0xFFFFFFFFFFFFFFFF, lot_word(lot)))[0]
    # 53 random bits and half a step keep both ends out.
    draws: FloatArray = ((word >> np.uint64(11)).astype(np.float64) + 0.5) * 2.0**-53
    return draws.reshape(members.shape)


def normal(seed: int, lot: str, member: ArrayLike, slot: ArrayLike) -> FloatArray:
    """Standard normal draws by the inverse of the distribution, one uniform each.

    Args:
        seed: int, 0 or more.
        lot: str. Name of the lot or case.
        member: int or array of int, 0 or more. Ensemble member. [1]
        slot: int or array of int, 0 or more. Which parameter the draw is for. [1]

    Returns:
        Array of the broadcast shape of member and slot, mean 0, standard deviation 1.
    """
    draws: FloatArray = ndtri(uniform(seed, lot, member, slot))
    return draws


def weighted_quantile(
    values: ArrayLike, weights: ArrayLike | None, q: ArrayLike, axis: int = -1
) -> FloatArray:
    """Quantiles of members that count with different weights.

    Args:
        values: array. Members along `axis`; an infinity means 'later than any'. [any unit]
        weights: array (members,) or None. Each 0 or more, in sum above 0; None: all alike. [1]
        q: float or array (k,). Wanted shares, 0..1.
        axis: int. The axis of the members.

    Returns:
        Array: the shape of q, followed by the shape of values without `axis`. In the
        unit of values.

    Raises:
        InputError: weights that are negative, all zero, or of another length; q outside 0..1.

    Notes:
        Members stand at the middle of their weight; between two the value is linear. With
        equal weights this is the Hazen form (p = (i - 1/2) / n) of a sample quantile.
    """
    moved = np.moveaxis(np.asarray(values, dtype=np.float64), axis, -1)
    count = moved.shape[-1]
    wanted = np.asarray(q, dtype=np.float64)
    if weights is None and count:
        return _unweighted(moved, _shares(wanted))
    share = np.ones(count) if weights is None else np.asarray(weights, dtype=np.float64)
    if share.shape != (count,) or np.any(share < 0.0) or not share.sum() > 0.0:
        raise InputError(
            "the weights do not fit the members",
            got=f"{share.shape} weights of sum {share.sum():g}",
            allowed=f"{count} weights, each 0 or more",
        )
    wanted = _shares(wanted)
    kept = share > 0.0
    moved, share = moved[..., kept], share[kept] / share.sum()
    order = np.argsort(moved, axis=-1, kind="stable")
    ordered = np.take_along_axis(moved, order, axis=-1)
    middles = np.cumsum(share[order], axis=-1) - 0.5 * share[order]
    return np.stack([_at(ordered, middles, float(p)) for p in wanted.ravel()]).reshape(
        wanted.shape + moved.shape[:-1]
    )


def _shares(wanted: FloatArray) -> FloatArray:
    if np.any(wanted < 0.0) or np.any(wanted > 1.0):
        raise InputError("a quantile is outside 0..1", got=str(wanted), allowed="0 to 1", key="q")
    return wanted


def _unweighted(values: FloatArray, wanted: FloatArray) -> FloatArray:
    """The same with equal weights, where the places are known without adding any up."""
    count = values.shape[-1]
    place = np.clip(wanted.ravel() * count - 0.5, 0.0, count - 1.0)
    right = np.ceil(place).astype(np.int64)
    left = np.maximum(right - 1, 0)
    part = np.where(right == left, 0.0, place - left)
    ordered = np.sort(values, axis=-1)
    v_left, v_right = ordered[..., left], ordered[..., right]
    inside = (part > 0.0) & np.isfinite(v_right)
    step = np.where(inside, v_right, 0.0) - np.where(inside, v_left, 0.0)
    result = np.where(inside, v_left + part * step, np.where(part > 0.0, v_right, v_left))
    return np.moveaxis(result, -1, 0).reshape(wanted.shape + values.shape[:-1])


def _at(ordered: FloatArray, middles: FloatArray, p: float) -> FloatArray:
    """The value at one share, all rows at once."""
    last = ordered.shape[-1] - 1
    right = np.clip((middles < p).sum(axis=-1), 0, last)
    left = np.maximum(right - 1, 0)
    picked = [
        np.take_along_axis(table, index[..., None], axis=-1)[..., 0]
        for table, index in ((ordered, left), (ordered, right), (middles, left), (middles, right))
    ]
    v_left, v_right, p_left, p_right = picked
    span = np.where(p_right > p_left, p_right - p_left, 1.0)
    part = np.where(right == left, 0.0, np.clip((p - p_left) / span, 0.0, 1.0))
    inside = (part > 0.0) & np.isfinite(v_right)
    step = np.where(inside, v_right, 0.0) - np.where(inside, v_left, 0.0)
    result: FloatArray = np.where(inside, v_left + part * step, np.where(part > 0.0, v_right, v_left))
    return result
