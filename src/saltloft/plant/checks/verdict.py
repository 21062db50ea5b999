"""A verdict: one rule held against what was measured on one lot."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """The four outcomes; there is no fifth."""

    MET = "met"
    NOT_MET = "not met"
    NOT_SHOWN = "not shown"
    DOES_NOT_APPLY = "does not apply"


@dataclass(frozen=True)
class Gap:
    """A stretch without a reading.

    Args:
        start: str. ISO moment, UTC.
        end: str. ISO moment, UTC.
        worst: float. The value assumed for the worst bound. [unit of the rule's reading]
        words: str. What it means for this rule.
    """

    start: str
    end: str
    worst: float
    words: str


@dataclass(frozen=True)
class Verdict:
    """One rule's outcome for one lot.

    Args:
        hazard: str. The hazard it speaks to, or 'name of the product'.
        rule: str. Key of the rule.
        outcome: Outcome.
        words: str. One sentence for people: the number, the limit, what is missing.
        used: float or None. The amount of the allowance used. [unit]
        limit: float or None. [unit]
        unit: str.
        margin: float or None. limit - used; None when not measured. [unit]
        readings: tuple of str. Entry ids and batch ids it used.
        gaps: tuple of Gap.
        sources: tuple of str. Fact keys.
        confidence: str. 'confirmed', 'unconfirmed' or 'by document, not judged'.
        why: str. Why a rule does not apply, or what is not shown.
        next: str. What to measure or do next, and by when; may be empty.
    """

    hazard: str
    rule: str
    outcome: Outcome
    words: str
    used: float | None = None
    limit: float | None = None
    unit: str = ""
    margin: float | None = None
    readings: tuple[str, ...] = ()
    gaps: tuple[Gap, ...] = ()
    sources: tuple[str, ...] = ()
    confidence: str = "unconfirmed"
    why: str = ""
    next: str = ""
