"""May a lot be signed out? Every hazard, every hold, every instrument, and the right to sign."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from saltloft.foundation.errors import RuleBroken
from saltloft.foundation.words import say
from saltloft.plant.answers import HazardStand, LotJudgement
from saltloft.plant.checks.verdict import Outcome, Verdict
from saltloft.plant.sentences import hazard_words, outcome_word

ROLES_THAT_SIGN = ("quality",)


@dataclass(frozen=True)
class OpenHold:
    """A hold that nobody has lifted.

    Args:
        entry_id: str. Entry of the hold.
        reason: str.
        until: str. What has to be measured or decided first.
    """

    entry_id: str
    reason: str
    until: str = ""


@dataclass(frozen=True)
class InstrumentState:
    """An instrument whose readings an outcome rests on.

    Args:
        instrument: str.
        in_check: bool. In its calibration window at every such reading.
        why: str. Why not, in words.
    """

    instrument: str
    in_check: bool
    why: str = ""


@dataclass(frozen=True)
class Signer:
    """Who would sign.

    Args:
        person: str.
        role: str.
    """

    person: str
    role: str


def open_points(
    hazards: Sequence[HazardStand], holds: Sequence[OpenHold], instruments: Sequence[InstrumentState]
) -> tuple[str, ...]:
    """What stands in the way of release, one line each; empty when nothing does.

    Args:
        hazards: sequence of HazardStand.
        holds: sequence of OpenHold.
        instruments: sequence of InstrumentState.
    """
    lines = [
        say(
            "{hazard}: {outcome}; {words}",
            hazard=hazard_words(stand.hazard),
            outcome=outcome_word(stand.outcome),
            words=stand.words,
        )
        for stand in hazards
        if stand.is_open
    ]
    lines += [say("hold: {reason}", reason=hold.reason) for hold in holds]
    lines += [
        say("instrument {name} was not in check: {why}", name=state.instrument, why=state.why)
        for state in instruments
        if not state.in_check
    ]
    return tuple(lines)


def judge_release(
    lot: str,
    at: datetime,
    hazards: Sequence[HazardStand],
    *,
    names: Sequence[Verdict] = (),
    holds: Sequence[OpenHold] = (),
    instruments: Sequence[InstrumentState] = (),
) -> LotJudgement:
    """Lay out everything release asks about a lot.

    Args:
        lot: str.
        at: datetime, aware.
        hazards: sequence of HazardStand, one a hazard of the product.
        names: sequence of Verdict. Name of the product and keeping without cold; neither closes a hazard.
        holds: sequence of OpenHold.
        instruments: sequence of InstrumentState.

    Returns:
        LotJudgement. A lot without a single hazard on its list is not releasable.
    """
    lines = open_points(hazards, holds, instruments)
    if not hazards:
        lines = (*lines, say("the product lists no hazard: its plan is missing"))
    other = [
        Verdict(
            hazard="release",
            rule="release.hold",
            outcome=Outcome.NOT_MET,
            words=hold.reason,
            readings=(hold.entry_id,),
            why=say("a hold is open"),
            next=hold.until,
        )
        for hold in holds
    ]
    other += [
        Verdict(
            hazard="release",
            rule=f"release.instrument.{state.instrument}",
            outcome=Outcome.MET if state.in_check else Outcome.NOT_SHOWN,
            words=say("{name} in check", name=state.instrument)
            if state.in_check
            else say("{name} not in check: {why}", name=state.instrument, why=state.why),
            why=state.why,
            confidence="confirmed",
        )
        for state in instruments
    ]
    return LotJudgement(lot, at, tuple(hazards), tuple(names), tuple(other), not lines, lines)


def refuse_unless_releasable(judgement: LotJudgement, signer: Signer) -> None:
    """Do nothing when the lot may be signed out by this person, else raise.

    Args:
        judgement: LotJudgement.
        signer: Signer.

    Raises:
        RuleBroken: naming each open hazard, hold and instrument, or the right that is missing.
    """
    if signer.role not in ROLES_THAT_SIGN:
        raise RuleBroken(
            say("{person} may not sign lots out", person=signer.person),
            got=signer.role,
            allowed=", ".join(ROLES_THAT_SIGN),
            do=say("ask a person with that right"),
        )
    if not judgement.releasable:
        raise RuleBroken(
            say("{lot} cannot be signed out", lot=judgement.lot),
            got=" | ".join(judgement.open),
            allowed=say("every hazard met on confirmed facts or covered by a document, no hold open"),
            do=say("measure or record what is named"),
        )
