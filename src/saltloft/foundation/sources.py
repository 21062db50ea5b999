"""What a number rests on: sources, confidence words and fact rows.

The shapes live here so that every layer can carry them; reading the rows from
files is the business of `facts`.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum


class Confidence(StrEnum):
    """How we came to know a row; only `read`, and `computed` from `read`, are confirmed."""

    READ = "read"
    SECOND_HAND = "second-hand"
    MEMORY = "memory"
    COMPUTED = "computed"
    PRACTICE = "practice"
    OWN = "own"


@dataclass(frozen=True)
class Source:
    """A work that numbers were taken from.

    Args:
        key: str. Short name used by fact rows.
        title: str. Author, year, title and journal or office.
        address: str. DOI, section of law or ISBN; empty when there is none.
    """

    key: str
    title: str
    address: str = ""


@dataclass(frozen=True)
class Fact:
    """One number (or word) with where it comes from.

    Args:
        key: str. Dotted name, unique, such as 'drying.water_diffusivity'.
        value: Decimal or str. The value in `unit`, as the source prints it.
        unit: str. Unit of value, low and high; '1' for a pure number, '' for a word.
        low: Decimal or None. Lower end of its doubt, in `unit`.
        high: Decimal or None. Upper end of its doubt, in `unit`.
        valid: str. Where it may be used, in words, such as 'temperature_c 0..47'.
        source: str. Key of the Source.
        place: str. Table, equation, section or page in the source.
        confidence: Confidence. How we came to know it.
        rests_on: tuple of str. Keys of the rows a computed value was computed from.
        note: str. One sentence a reader needs; may be empty.
        log_sd: Decimal or None. Standard deviation of the natural logarithm, where a prior.
        sd: Decimal or None. Standard deviation in `unit`, where a normal prior.
    """

    key: str
    value: Decimal | str
    unit: str
    source: str
    place: str
    confidence: Confidence
    low: Decimal | None = None
    high: Decimal | None = None
    valid: str = ""
    rests_on: tuple[str, ...] = ()
    note: str = ""
    log_sd: Decimal | None = None
    sd: Decimal | None = None

    @property
    def number(self) -> float:
        """The value as a float in `unit`; raises ValueError for a word."""
        if isinstance(self.value, str):
            raise ValueError(f"fact {self.key} holds a word, not a number: {self.value!r}")
        return float(self.value)
