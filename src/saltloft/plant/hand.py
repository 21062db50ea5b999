"""The curer's hand beside the numbers: what was learned of it, and what to say when they disagree."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from saltloft.foundation.words import say
from saltloft.plant.answers import LotOutlook
from saltloft.plant.grade_words import grade_skill_words, grade_words
from saltloft.plant.sentences import calendar_day, day_words, number_words, share_words
from saltloft.process import hand_skill
from saltloft.process.hand import LEAST_CUTS, LEAST_LOTS, HandLaw, Held
from saltloft.process.hand_grades import GradeLaw
from saltloft.process.hand_skill import Skill


@dataclass(frozen=True)
class HouseHand:
    """What the house's presses and cuts taught.

    Args:
        press: HandLaw. Press score, 1 to 5.
        rim: HandLaw. Cut rim. [mm]
        skill: Skill. Of the computed case-hardening index against the cut rim.
        left_out: int. Cuts with no number beside them.
        grades: tuple of GradeLaw. Hollow, ring, smear and colour.
    """

    press: HandLaw
    rim: HandLaw
    skill: Skill
    left_out: int = 0
    grades: tuple[GradeLaw, ...] = ()


def learned_words(law: HandLaw) -> str:
    """What a law rests on, or how much is missing before it says anything."""
    if not law.learned:
        return say(
            "Not learned yet: {cuts} of {least} cuts, {lots} of {least_lots} lots.",
            cuts=min(law.cuts, LEAST_CUTS),
            least=LEAST_CUTS,
            lots=min(law.lots, LEAST_LOTS),
            least_lots=LEAST_LOTS,
        )
    words = say("Learned from {cuts} cuts of {lots} lots.", cuts=law.cuts, lots=law.lots)
    if law.inside is None:
        return words
    inside = number_words(100.0 * law.inside, 0)
    return words + " " + say("Its 90 % ranges held {inside} % of the cuts that came after.", inside=inside)


def press_words(law: HandLaw, lot: str) -> str:
    """The last press of a lot beside what its numbers lead to expect; empty without one."""
    held = law.last_of(lot)
    if held is None:
        return ""
    if not held.learned:
        return say("Pressed {said}.", said=number_words(held.said, 1)) + " " + _rests_on_few(held)
    values = _values(held)
    if not held.disagrees:
        return say(
            "Pressed {said}; loss and water activity lead to expect {expected} ({low} to {high}, by {cuts} "
            "earlier cuts).",
            **values,
        )
    if held.z < 0.0:
        return say(
            "Hand and number disagree: pressed {said}, softer than the {expected} ({low} to {high}, by "
            "{cuts} earlier cuts) that loss and water activity lead to expect. Cut another piece, read its "
            "water activity and look at the weighings.",
            **values,
        )
    return say(
        "Hand and number disagree: pressed {said}, harder than the {expected} ({low} to {high}, by {cuts} "
        "earlier cuts) that loss and water activity lead to expect. Cut another piece and look at its rim.",
        **values,
    )


def rim_words(law: HandLaw, lot: str) -> str:
    """The last cut rim of a lot beside what its numbers lead to expect; empty without one."""
    held = law.last_of(lot)
    if held is None:
        return ""
    if not held.learned:
        return say("Rim {said} mm.", said=number_words(held.said, 1)) + " " + _rests_on_few(held)
    values = _values(held)
    if not held.disagrees:
        return say(
            "Rim {said} mm; expected {expected} mm ({low} to {high}, by {cuts} earlier cuts).", **values
        )
    if held.z > 0.0:
        return say(
            "Knife and number disagree: a rim of {said} mm, thicker than the {expected} mm ({low} to {high}, "
            "by {cuts} earlier cuts) expected. Look at the room's humidity and air, and cut another piece.",
            **values,
        )
    return say(
        "Knife and number disagree: a rim of {said} mm, thinner than the {expected} mm ({low} to {high}, by "
        "{cuts} earlier cuts) expected.",
        **values,
    )


def skill_words(skill: Skill) -> str:
    """Whether the case-hardening index may be taken as more than information."""
    if not skill.enough:
        return say(
            "The case-hardening index is information only: not held against enough cut rims yet, {cuts} of "
            "{least} cuts, {lots} of {least_lots} lots.",
            cuts=min(skill.cuts, hand_skill.LEAST_CUTS),
            least=hand_skill.LEAST_CUTS,
            lots=min(skill.lots, hand_skill.LEAST_LOTS),
            least_lots=hand_skill.LEAST_LOTS,
        )
    if skill.rank is None or skill.rank_low is None or skill.rank_high is None:
        return say("The case-hardening index is information only: the cut rims do not differ enough to rank.")
    values = {
        "rank": number_words(skill.rank, 2),
        "low": number_words(skill.rank_low, 2),
        "high": number_words(skill.rank_high, 2),
        "cuts": skill.cuts,
        "lots": skill.lots,
    }
    if not skill.shown:
        return say(
            "The case-hardening index is information only: beyond product and loss it does not know this "
            "house's cut rims (rank correlation {rank}, {low} to {high}, {cuts} cuts of {lots} lots).",
            **values,
        )
    words = say(
        "On the day of the cut the case-hardening index knows this house's rims, beyond product and loss: "
        "rank correlation {rank} ({low} to {high}), {cuts} cuts of {lots} lots. A warning that has begun is "
        "worth a cut.",
        **values,
    )
    if skill.area is None or skill.area_low is None or skill.area_high is None:
        return words
    return (
        words
        + " "
        + say(
            "It puts a rim of {thick} mm or more above a thinner one of the same product {share} times in "
            "100 ({low} to {high}).",
            thick=number_words(hand_skill.THICK_RIM_MM, 0),
            share=number_words(100.0 * skill.area, 0),
            low=number_words(100.0 * skill.area_low, 0),
            high=number_words(100.0 * skill.area_high, 0),
        )
    )


def warning_words(outlook: LotOutlook, skill: Skill) -> tuple[tuple[str, str], ...]:
    """The forecast's warnings of a shut rim: worth a cut where the index has shown skill, else information.

    Args:
        outlook: LotOutlook.
        skill: Skill.

    Returns:
        tuple of (mark, sentence); the mark is 'look' or 'waiting'.
    """
    found = []
    for flag in outlook.result.flags:
        if flag.code not in ("case_hardening", "hollow_centre"):
            continue
        today = outlook.asof.astimezone(ZoneInfo(outlook.zone)).date()
        since = "" if flag.at_d is None else day_words(calendar_day(outlook, flag.at_d), today, weekday=False)
        values = {"words": flag.words, "share": share_words(flag.share), "day": since}
        begun = flag.at_d is not None and flag.at_d <= outlook.age_d
        if skill.shown and begun:
            words = say(
                "Early warning, in {share} computed cases from {day}: {words}. Cut a piece.", **values
            )
            found.append(("look", words))
        else:
            words = say("In {share} computed cases from {day}: {words}.", **values)
            found.append(("waiting", words))
    return tuple(found)


def hand_lines(hand: HouseHand, lot: str) -> tuple[tuple[str, str], ...]:
    """What a lot's last press and cut say beside the numbers: a mark and a sentence each.

    Args:
        hand: HouseHand.
        lot: str.
    """
    lines = []
    for law, words in ((hand.press, press_words(hand.press, lot)), (hand.rim, rim_words(hand.rim, lot))):
        held = law.last_of(lot)
        if held is not None and words:
            mark = "look" if held.disagrees else ("ready" if held.learned else "waiting")
            lines.append((mark, words))
    graded = (grade_words(law, lot) for law in hand.grades)
    return (*lines, *(line for line in graded if line[1]))


def learned_lines(hand: HouseHand) -> tuple[str, ...]:
    """What the laws of a house's hand rest on, and what they claim.

    Args:
        hand: HouseHand.
    """
    found = [
        say("Press: {words}", words=learned_words(hand.press)),
        say("Rim: {words}", words=learned_words(hand.rim)),
    ]
    found += [grade_skill_words(law) for law in hand.grades]
    if hand.left_out:
        found.append(say("{count} cuts had no weighing and no forecast beside them.", count=hand.left_out))
    return tuple(found)


def _rests_on_few(held: Held) -> str:
    return say(
        "Too few cuts came before it to say whether it fits: {cuts} of {least}.",
        cuts=min(held.cuts, LEAST_CUTS),
        least=LEAST_CUTS,
    )


def _values(held: Held) -> dict[str, str]:
    names = ("said", "expected", "low", "high")
    return {**{name: number_words(getattr(held, name), 1) for name in names}, "cuts": str(held.cuts)}
