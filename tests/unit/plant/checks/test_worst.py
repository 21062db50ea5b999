"""Of several stuffings the worst verdict by each rule stands, and says whose it is."""

from __future__ import annotations

import itertools

from saltloft.plant.checks.verdict import Outcome, Verdict
from saltloft.plant.checks.worst import worst_of


def verdict(rule: str, outcome: Outcome, margin: float | None = None) -> Verdict:
    """A verdict of a rule."""
    return Verdict("h", rule, outcome, f"{rule} {outcome}", margin=margin)


def test_not_met_before_not_shown_before_no_protection_before_met() -> None:
    """Each pair in both orders; the smaller margin among equals."""
    order = [Outcome.NOT_MET, Outcome.NOT_SHOWN, Outcome.DOES_NOT_APPLY, Outcome.MET]
    for worse, better in itertools.pairwise(order):
        for stuffings in (
            [("A", [verdict("r", worse)]), ("B", [verdict("r", better)])],
            [("B", [verdict("r", better)]), ("A", [verdict("r", worse)])],
        ):
            (found,) = worst_of(stuffings)
            assert (found.outcome, found.words.startswith("A: ")) == (worse, True)
    near, far = verdict("r", Outcome.MET, 10.0), verdict("r", Outcome.MET, 200.0)
    assert worst_of([("A", [far]), ("B", [near])])[0].margin == 10.0


def test_one_stuffing_is_left_as_it_is() -> None:
    """No name stands before the words of a lot of one stuffing."""
    own = [verdict("r", Outcome.MET)]
    assert worst_of([("A", own)]) == own
