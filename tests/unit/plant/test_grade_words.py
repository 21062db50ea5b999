"""What is said of hollow, ring, smear and colour: no claim without skill, and both log scores with it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from saltloft.plant.grade_words import grade_skill_words, grade_words, seen_words
from saltloft.process.hand_grades import GRADES, GradeHeld, GradeLaw, GradeSkill

HELD = GradeHeld("AL-0310", "e11", 2, (0.982, 0.015, 0.003), (0.9, 0.07, 0.03), 60, 20, True)
SKILL = GradeSkill(44, 15, 12, -0.31, -0.44, 0.13, 0.05, 0.21)
LAW = GradeLaw("ring", 61, 21, (0.8, 0.15, 0.05), (1.0, 0.2, 0.1, 0.0), (HELD,), SKILL)


def test_a_disagreement_says_what_the_numbers_gave_and_what_the_share_alone() -> None:
    mark, words = grade_words(LAW, "AL-0310")
    assert mark == "look"
    assert words.startswith(
        "Ring: clear. Knife and number disagree: the numbers gave a find 2 times in 100 (10 without them, by "
        "60 earlier cuts)."
    )
    shut = replace(HELD, grade=0, given=(0.01, 0.4, 0.59))
    assert grade_words(replace(LAW, held=(shut,)), "AL-0310")[0] == "look"
    fits = replace(HELD, grade=0)
    assert grade_words(replace(LAW, held=(fits,)), "AL-0310") == (
        "ready",
        "Ring: none; the numbers gave a find 2 times in 100 (10 without them, by 60 earlier cuts).",
    )
    assert grade_words(LAW, "AL-9999") == ("", "")


@pytest.mark.parametrize(
    "skill",
    [
        replace(SKILL, gain_low=-0.01),
        replace(SKILL, cuts=19),
        replace(SKILL, finds=4),
        replace(SKILL, lots=5),
    ],
)
def test_without_skill_nothing_is_claimed_and_nothing_disagrees(skill: GradeSkill) -> None:
    mark, words = grade_words(replace(LAW, skill=skill), "AL-0310")
    assert mark == "waiting"
    assert words.endswith("The computed numbers claim nothing.")
    assert "othing" in grade_skill_words(replace(LAW, skill=skill))


def test_skill_is_said_with_both_scores_and_its_interval() -> None:
    assert grade_skill_words(LAW) == (
        "Ring under the rim: index, rim and early loss foretell it better than its share of the product "
        "alone, in the order of time: log score \u22120.31 against \u22120.44, better by 0.13 "
        "(0.05 to 0.21), 44 cuts of 15 lots, 12 finds."
    )


def test_few_looks_say_what_is_missing() -> None:
    few = GradeSkill(3, 2, 1, -0.5, -0.5, 0.0, None, None)
    assert grade_skill_words(replace(LAW, skill=few)) == (
        "Ring under the rim: nothing claimed. 3 of 20 cuts, 2 of 6 lots and 1 of 5 of the rarer sort were "
        "held against earlier ones."
    )
    early = replace(HELD, learned=False)
    assert grade_words(replace(LAW, held=(early,)), "AL-0310")[1].startswith("Ring: clear. Too few cuts")


def test_every_grade_has_words() -> None:
    said = {seen_words(name, grade) for name, grades in GRADES.items() for grade in range(grades)}
    assert len(said) == sum(GRADES.values())
