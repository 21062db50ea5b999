"""The members of a run up to a day, kept so that tomorrow's forecast of the lot goes on from there.

Used again only where everything they rest on is the same bit for bit: the code, every piece, every
draw, and the air up to that day. Then the answer is the same, byte for byte, as from nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from saltloft import process
from saltloft.process.draws import Draws
from saltloft.process.drying.integrate import Start
from saltloft.process.drying.laws import Potential
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.outputs import SEEN
from saltloft.process.packed import pack, unpack

Array = NDArray[np.float64]
Single = NDArray[np.float32]

# Readings of the last hours may come late, and the last block of a log grows with it. [d]
LATE_D = 1.0
EVERY_MEMBER = 16  # the air is digested for so few of the members: all are told from the same log


@dataclass(frozen=True)
class KeptStates:
    """States of the members at the first moments of a run, and where to go on.

    Args:
        rests_on: str. From `digest_of`.
        time_d: array (times,). From stuffing; the last is where to go on. [d]
        values: mapping of SEEN to arrays (times, members) in single precision.
        start: Start.
    """

    rests_on: str
    time_d: Array
    values: Mapping[str, Single]
    start: Start

    @property
    def until_d(self) -> float:
        """The day from which to go on. [d]"""
        return float(self.time_d[-1])

    def fits(self, time_d: Array, rests_on: str) -> bool:
        """Whether a run over these days that rests on this may go on from here.

        Args:
            time_d: array (times,). [d]
            rests_on: str. From `digest_of`, up to `until_d`.
        """
        count = len(self.time_d)
        return self.rests_on == rests_on and np.array_equal(self.time_d, time_d[:count])

    def to_bytes(self) -> bytes:
        """Written down; the same states give the same bytes."""
        start = self.start
        arrays = {"time_d": self.time_d, "water": start.water, "salt": start.salt, "length_s": start.length_s}
        arrays |= {} if start.memory is None else {"memory": start.memory}
        states = {f"states_{name}": values for name, values in self.values.items()}
        return pack({"rests_on": self.rests_on, "time_s": start.time_s}, arrays | states)

    @staticmethod
    def from_bytes(body: bytes) -> KeptStates | None:
        """What was written; None when it is damaged or of another version."""
        try:
            told, arrays = unpack(body)
            begin = (arrays["water"], arrays["salt"], arrays["length_s"], arrays.get("memory"))
            values = {name: arrays[f"states_{name}"] for name in SEEN}
            return KeptStates(told["rests_on"], arrays["time_d"], values, Start(told["time_s"], *begin))
        except (ValueError, KeyError, TypeError):
            return None


def single(values: Array) -> Array:
    """As a kept state holds it: to seven figures, so that kept or not the answer is the same.

    Args:
        values: array. [any unit]
    """
    return values.astype(np.float32).astype(np.float64)


@lru_cache(maxsize=1)
def code_digest() -> str:
    """Digest of all files of the model: what they carry and learn may change with any of them."""
    files = sorted(Path(process.__file__).parent.rglob("*.py"))
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()


def digest_of(draws: Draws, members: Members, blocks: Blocks, until_s: float) -> str:
    """Digest of all that the states up to a moment rest on.

    Args:
        draws: Draws.
        members: Members.
        blocks: Blocks. Of the whole run.
        until_s: float. [s]
    """
    digest = hashlib.sha256(code_digest().encode())
    for part in (draws.lot, draws.piece):
        digest.update(np.ascontiguousarray(part).tobytes())
    feed(digest, members)
    behind = np.sum(blocks.end_s <= until_s * (1.0 + 1e-12), axis=0).max()
    for entry in fields(blocks):
        value = getattr(blocks, entry.name)
        if value is not None:
            some = value[:behind] if value.ndim == 1 else value[:behind, ::EVERY_MEMBER]
            digest.update(np.ascontiguousarray(some).tobytes())
    return digest.hexdigest()


def feed(digest: Any, value: Any) -> None:
    """Take everything in a dataclass of arrays, numbers and text into a digest.

    Args:
        digest: a digest of hashlib.
        value: dataclass, tuple, array or plain value. A table made of the rest is left out.
    """
    if isinstance(value, Potential):
        return
    if is_dataclass(value) and not isinstance(value, type):
        for entry in fields(value):
            feed(digest, getattr(value, entry.name))
    elif isinstance(value, tuple):
        for part in value:
            feed(digest, part)
    elif isinstance(value, np.ndarray):
        digest.update(np.ascontiguousarray(value).tobytes())
    else:
        digest.update(f"{value!r}\n".encode())
