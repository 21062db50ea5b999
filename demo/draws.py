"""Random numbers by name: every draw has its own stream, so one more draw moves no other."""

from __future__ import annotations

import hashlib

import numpy as np


def stream(seed: int, *names: object) -> np.random.Generator:
    """A generator that depends on the seed and the names only.

    Args:
        seed: int. Seed of the whole house.
        names: anything printable. What is drawn, such as 'lot', 'AL-0310', 'fat'.
    """
    text = "/".join(str(name) for name in (seed, *names))
    digest = hashlib.sha256(text.encode()).digest()
    return np.random.Generator(np.random.Philox(key=int.from_bytes(digest[:16], "big")))
