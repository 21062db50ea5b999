"""What the house's presses and cuts taught: learned after the morning's forecasts, read by the pages."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from saltloft.cases.hand import house_hand, kept_hand
from saltloft.cases.open_house import OpenHouse
from saltloft.plant.grade_words import grade_skill_words, grade_words
from saltloft.plant.hand import HouseHand, learned_words, press_words, rim_words, skill_words
from saltloft.process.hand import HandLaw
from saltloft.process.hand_grades import GradeLaw

__all__ = ["hand_fields", "kept_hand", "learn"]


def learn(house: OpenHouse, at: datetime | None = None) -> HouseHand:
    """Learn from every cut recorded so far; answered from what is kept when nothing changed.

    Args:
        house: OpenHouse.
        at: datetime or None. Only what was recorded by then counts; None: now.
    """
    return house_hand(house, at or house.now())


def hand_fields(hand: HouseHand, lot: str) -> Mapping[str, Any]:
    """What `forecast --json` says of the hand under `hand`.

    Args:
        hand: HouseHand.
        lot: str.
    """
    skill = hand.skill
    return {
        "press": {**_law(hand.press, lot), "words": press_words(hand.press, lot)},
        "rim_mm": {**_law(hand.rim, lot), "words": rim_words(hand.rim, lot)},
        "case_hardening": {
            "cuts": skill.cuts,
            "lots": skill.lots,
            "rank_correlation": skill.rank,
            "rank_correlation_90": [skill.rank_low, skill.rank_high],
            "area": skill.area,
            "area_90": [skill.area_low, skill.area_high],
            "skill_shown": skill.shown,
            "words": skill_words(skill),
        },
        "grades": {law.name: _grade(law, lot) for law in hand.grades},
    }


def _grade(law: GradeLaw, lot: str) -> dict[str, Any]:
    skill, held = law.skill, law.last_of(lot)
    return {
        "cuts": law.cuts,
        "lots": law.lots,
        "shares": list(law.shares),
        "log_score": skill.score,
        "base_log_score": skill.base,
        "gain": skill.gain,
        "gain_90": [skill.gain_low, skill.gain_high],
        "skill_shown": skill.shown,
        "skill_words": grade_skill_words(law),
        "last": None
        if held is None
        else {
            "grade": held.grade,
            "given": list(held.given),
            "base": list(held.base),
            "cuts": held.cuts,
            "disagrees": skill.shown and (held.too_much or held.too_little),
            "entry": held.entry,
        },
        "words": grade_words(law, lot)[1],
    }


def _law(law: HandLaw, lot: str) -> dict[str, Any]:
    held = law.last_of(lot)
    return {
        "cuts": law.cuts,
        "lots": law.lots,
        "learned": law.learned,
        "learned_words": learned_words(law),
        "inside_90": law.inside,
        "last": None
        if held is None
        else {
            "said": held.said,
            "expected": held.expected,
            "low": held.low,
            "high": held.high,
            "z": held.z,
            "cuts": held.cuts,
            "disagrees": held.disagrees,
            "entry": held.entry,
        },
    }
