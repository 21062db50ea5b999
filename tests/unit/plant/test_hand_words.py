"""What is said of the hand: nothing before it is learned, and more than information only with skill shown."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "papers"))

import examples
import pytest

from saltloft.plant.hand import learned_words, press_words, rim_words, skill_words, warning_words
from saltloft.process.hand import HandLaw, Held
from saltloft.process.hand_skill import Skill
from saltloft.process.result import Flag

HELD = Held("AL-0310", "e11", 2.0, 3.9, 3.2, 4.6, -4.1, 60, 20, True)
LAW = HandLaw(61, 21, (3.0, 0.7, 0.4, 0.0), 0.4, (HELD,), 0.91)
SKILL = Skill(44, 15, 0.64, 0.24, 0.86, 0.9, 0.8, 1.0, 12)
SHUT = Flag("case_hardening", 12.0, 0.6, "the rim dries much faster than the core can follow")


def test_a_disagreement_names_both_numbers_and_what_to_do() -> None:
    words = press_words(LAW, "AL-0310")
    assert words.startswith("Hand and number disagree: pressed 2.0, softer than the 3.9 (3.2 to 4.6, by 60")
    assert words.endswith("look at the weighings.")
    thick = replace(LAW, held=(replace(HELD, said=4.0, expected=1.0, low=0.4, high=1.6, z=3.3),))
    assert rim_words(thick, "AL-0310").startswith("Knife and number disagree: a rim of 4.0 mm, thicker than")
    thin = replace(thick, held=(replace(thick.held[0], z=-3.3),))
    assert "thinner than" in rim_words(thin, "AL-0310")
    fits = replace(LAW, held=(replace(HELD, z=0.3),))
    assert "disagree" not in press_words(fits, "AL-0310") + rim_words(fits, "AL-0310")
    assert press_words(LAW, "AL-9999") == ""


def test_before_it_is_learned_only_the_count_is_said() -> None:
    few = HandLaw(3, 2, (), 0.4, (replace(HELD, learned=False, cuts=2),), None)
    assert learned_words(few) == "Not learned yet: 3 of 15 cuts, 2 of 4 lots."
    assert "Too few cuts came before it to say whether it fits: 2 of 15." in press_words(few, "AL-0310")
    assert "Too few cuts" in rim_words(few, "AL-0310")
    assert learned_words(LAW).endswith("Its 90 % ranges held 91 % of the cuts that came after.")


@pytest.mark.parametrize(
    ("skill", "mark", "begins"),
    [
        (SKILL, "look", "Early warning, in about 6 in 10 computed cases from"),
        (replace(SKILL, rank_low=-0.1), "waiting", "In about 6 in 10 computed cases from"),
        (replace(SKILL, cuts=19), "waiting", "In about 6 in 10"),
        (replace(SKILL, rank=None, rank_low=None, rank_high=None), "waiting", "In about 6 in 10"),
    ],
)
def test_an_early_warning_is_more_than_information_only_with_skill(
    skill: Skill, mark: str, begins: str
) -> None:
    """The rule of the whole: no skill against the curer's cut rims, no alarm."""
    outlook = examples.outlook()
    warned = replace(outlook, result=replace(outlook.result, flags=(SHUT, Flag("log_gap", None, 1.0, "x"))))
    ((found, words),) = warning_words(warned, skill)
    assert found == mark
    assert words.startswith(begins)
    assert ("information only" in skill_words(skill)) is (mark == "waiting")


def test_a_skill_without_thick_rims_says_the_rank_only() -> None:
    assert "times in 100" in skill_words(SKILL)
    assert "times in 100" not in skill_words(replace(SKILL, area=None, area_low=None, area_high=None))
