"""How a verdict's margin and confidence are said."""

from __future__ import annotations

from saltloft.foundation.words import say
from saltloft.plant.checks.verdict import Verdict
from saltloft.web.quantities import plain


def margin_words(verdict: Verdict) -> str:
    """'922 of 1,200 F.h', 'margin 0.03'; empty when nothing was measured against a limit."""
    if verdict.used is None or verdict.limit is None:
        return ""
    decimals = 0 if abs(verdict.limit) >= 100 else 2 if abs(verdict.limit) >= 1 else 3
    return say(
        "measured {used} against {limit} {unit}",
        used=plain(verdict.used, decimals),
        limit=plain(verdict.limit, decimals),
        unit=verdict.unit,
    ).rstrip()


def confidence_words(confidence: str) -> str:
    """Whether the rule's facts are confirmed."""
    words = {
        "confirmed": say("facts confirmed"),
        "unconfirmed": say("facts unconfirmed: counts as not shown"),
        "by document, not judged": say("by document, not judged"),
    }
    return words.get(confidence, confidence)
