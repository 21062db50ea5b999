"""What the house's cuts taught of hollow, ring, smear and colour, in words; no claim without skill."""

from __future__ import annotations

from saltloft.foundation.words import say
from saltloft.plant.sentences import number_words
from saltloft.process.hand_grades import SKILL_CUTS, SKILL_FINDS, SKILL_LOTS, GradeHeld, GradeLaw, GradeSkill


def grade_name(name: str) -> str:
    """What was looked for.

    Args:
        name: str. One of GRADES.
    """
    return {
        "hollow": say("hollow"),
        "ring": say("ring under the rim"),
        "smear": say("smeared fat"),
        "colour": say("uneven colour"),
    }[name]


def seen_words(name: str, grade: int) -> str:
    """What was seen, such as 'Hollow: small'.

    Args:
        name: str. One of GRADES.
        grade: int.
    """
    grades = {
        "hollow": (say("Hollow: none"), say("Hollow: small"), say("Hollow: large")),
        "ring": (say("Ring: none"), say("Ring: faint"), say("Ring: clear")),
        "smear": (say("Smear: none"), say("Smear: some"), say("Smear: much")),
        "colour": (say("Colour: even"), say("Colour: not even")),
    }[name]
    return grades[grade]


def grade_words(law: GradeLaw, lot: str) -> tuple[str, str]:
    """The last look of a lot beside what was to be expected of it.

    Args:
        law: GradeLaw.
        lot: str.

    Returns:
        (mark, sentence); the mark is 'look', 'ready' (fits) or 'waiting' (information). Both empty
        where nobody looked.
    """
    held = law.last_of(lot)
    if held is None:
        return "", ""
    seen = seen_words(law.name, held.grade)
    if not held.learned:
        return "waiting", say("{seen}. Too few cuts came before it to say whether it fits.", seen=seen)
    if not law.skill.shown:
        return "waiting", say(
            "{seen}; the product's earlier cuts alone give a find {usual} times in 100. The computed numbers "
            "claim nothing.",
            seen=seen,
            usual=_hundredth(held.usual),
        )
    return _against(held, seen)


def _against(held: GradeHeld, seen: str) -> tuple[str, str]:
    values = {
        "seen": seen,
        "given": _hundredth(held.find),
        "usual": _hundredth(held.usual),
        "cuts": str(held.cuts),
    }
    if held.too_much:
        return "look", say(
            "{seen}. Knife and number disagree: the numbers gave a find {given} times in 100 ({usual} "
            "without them, by {cuts} earlier cuts). Cut another piece, and look at the stuffing and the "
            "room's air.",
            **values,
        )
    if held.too_little:
        return "look", say(
            "{seen}. Knife and number disagree: the numbers gave a find {given} times in 100 ({usual} "
            "without them, by {cuts} earlier cuts). Cut another piece.",
            **values,
        )
    return "ready", say(
        "{seen}; the numbers gave a find {given} times in 100 ({usual} without them, by {cuts} earlier "
        "cuts).",
        **values,
    )


def grade_skill_words(law: GradeLaw) -> str:
    """Whether the computed numbers foretell this better than the house's own share, said plainly.

    Args:
        law: GradeLaw.
    """
    skill, name = law.skill, grade_name(law.name)
    if not skill.enough or skill.gain is None or skill.gain_low is None or skill.gain_high is None:
        return say(
            "{name}: nothing claimed. {cuts} of {least} cuts, {lots} of {least_lots} lots and {finds} of "
            "{least_finds} of the rarer sort were held against earlier ones.",
            name=_begin(name),
            cuts=min(skill.cuts, SKILL_CUTS),
            least=SKILL_CUTS,
            lots=min(skill.lots, SKILL_LOTS),
            least_lots=SKILL_LOTS,
            finds=min(skill.finds, skill.cuts - skill.finds, SKILL_FINDS),
            least_finds=SKILL_FINDS,
        )
    values = _skill_values(skill, name)
    if skill.shown:
        return say(
            "{name}: index, rim and early loss foretell it better than its share of the product alone, in "
            "the order of time: log score {score} against {base}, better by {gain} ({low} to {high}), {cuts} "
            "cuts of {lots} lots, {finds} finds.",
            **values,
        )
    return say(
        "{name}: index, rim and early loss are not shown to foretell it better than its share of the product "
        "alone: log score {score} against {base}, difference {gain} ({low} to {high}), {cuts} cuts of {lots} "
        "lots, {finds} finds. Nothing is claimed.",
        **values,
    )


def _skill_values(skill: GradeSkill, name: str) -> dict[str, str]:
    numbers = {
        "score": skill.score,
        "base": skill.base,
        "gain": skill.gain,
        "low": skill.gain_low,
        "high": skill.gain_high,
    }
    said = {key: number_words(value, 2) for key, value in numbers.items() if value is not None}
    counts = {"cuts": str(skill.cuts), "lots": str(skill.lots), "finds": str(skill.finds)}
    return {"name": _begin(name), **said, **counts}


def _begin(words: str) -> str:
    return words[:1].upper() + words[1:]


def _hundredth(chance: float) -> str:
    """A chance as times in a hundred, never none and never all."""
    return number_words(min(max(100.0 * chance, 1.0), 99.0), 0)
