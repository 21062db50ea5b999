"""One outcome for a lot of several stuffings: a rule is met by all of them or it is not met."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from saltloft.foundation.words import say
from saltloft.plant.checks.verdict import Outcome, Verdict

# 'does not apply' gives no protection, so it stands behind a met rule.
_WORST_FIRST = (Outcome.NOT_MET, Outcome.NOT_SHOWN, Outcome.DOES_NOT_APPLY, Outcome.MET)


def worst_of(stuffings: Sequence[tuple[str, Sequence[Verdict]]]) -> list[Verdict]:
    """By each rule the verdict of the stuffing that stands worst, named in its words.

    Args:
        stuffings: sequence of (lot, verdicts). A single one is returned as it is.
    """
    if len(stuffings) == 1:
        return list(stuffings[0][1])
    found: dict[tuple[str, str], tuple[str, Verdict]] = {}
    for lot, verdicts in stuffings:
        for verdict in verdicts:
            key = (verdict.hazard, verdict.rule)
            known = found.get(key)
            if known is None or _rank(verdict) < _rank(known[1]):
                found[key] = (lot, verdict)
    return [
        replace(verdict, words=say("{lot}: {words}", lot=lot, words=verdict.words))
        for lot, verdict in found.values()
    ]


def _rank(verdict: Verdict) -> tuple[int, float]:
    margin = verdict.margin if verdict.margin is not None else float("-inf")
    return _WORST_FIRST.index(verdict.outcome), margin
