"""Degree-hours to pH 5.3: the room's heat above the base until the core is acid enough.

The count runs on readings only. It ends at the first set of core readings that
the plan accepts; a forecast or a value between two readings never ends it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from saltloft.foundation.words import say
from saltloft.plant.checks.degree_hours_count import (
    Count,
    DegreeHoursRule,
    EndingPlan,
    LimitRow,
    count,
    ending_set,
    hours_left,
)
from saltloft.plant.checks.trace import Cover, PhSet, TemperatureTrace, cover
from saltloft.plant.checks.verdict import Gap, Outcome, Verdict


def judge_degree_hours(
    rule: DegreeHoursRule,
    trace: TemperatureTrace,
    ph_sets: Sequence[PhSet],
    *,
    start_s: float,
    at_s: float,
    plan: EndingPlan,
    second: TemperatureTrace | None = None,
    confirmed: Collection[str] = (),
    shown_time: Callable[[float], str] | None = None,
) -> Verdict:
    """Hold one lot's readings against the rule of one market.

    Args:
        rule: DegreeHoursRule.
        trace: TemperatureTrace. The fermenting room's logger; without a reading when there is none.
        ph_sets: sequence of PhSet of the lot.
        start_s: float. Entry to the room. [s]
        at_s: float. Moment of judging; later readings are not used. [s]
        plan: EndingPlan.
        second: TemperatureTrace or None. A second logger of the same room.
        confirmed: collection of str. Fact keys that are confirmed.
        shown_time: function of seconds to words, in the house's zone; None: UTC.

    Returns:
        Verdict with hazard 'staphylococcus_aureus'.
    """
    known = [one for one in ph_sets if one.at_s <= at_s]
    ended = ending_set(known, rule, plan, start_s)
    stop_s = ended.at_s if ended else max(at_s, start_s)
    laid = cover(trace, start_s, stop_s, plan.longest_gap_s, second)
    total = count(laid, rule)
    face = _Face(rule, plan, laid, total, ended, stop_s, shown_time or _utc)
    outcome, words, why = face.outcome()
    words = " ".join([words + ".", *face.sets_not_counted(known, start_s)])
    readings = [batch for one in (trace, second) if one is not None for batch in one.batches]
    readings += [one.entry_id for one in known if one.entry_id]
    row = face.row(outcome)
    sources = (*rule.sources, *((row.source,) if row else ()))
    counted = total.measured if outcome is Outcome.NOT_MET else total.worst
    used = counted if np.isfinite(counted) else None
    limit = row.limit if row else None
    return Verdict(
        hazard="staphylococcus_aureus",
        rule=rule.key,
        outcome=outcome,
        words=words,
        used=used,
        limit=limit,
        unit=rule.unit,
        margin=None if limit is None or used is None else round(limit - used, 6),
        readings=tuple(dict.fromkeys(readings)),
        gaps=face.gaps(),
        sources=sources,
        confidence="confirmed" if all(key in confirmed for key in sources) else "unconfirmed",
        why=why,
        next=face.next_step(outcome),
    )


def _utc(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, tz=UTC).strftime("%Y-%m-%d %H:%M UTC")


@dataclass(frozen=True)
class _Face:
    """The outcome of one count, and the words for it."""

    rule: DegreeHoursRule
    plan: EndingPlan
    laid: Cover
    total: Count
    ended: PhSet | None
    stop_s: float
    shown_time: Callable[[float], str]

    @property
    def limit(self) -> float | None:
        """The limit by the highest worst temperature; None when the base was not reached."""
        row = self.row(Outcome.NOT_SHOWN)
        return row.limit if row else None

    def row(self, outcome: Outcome) -> LimitRow | None:
        """The row that was used: by what was measured when that alone breaks it, else by the worst."""
        measured, worst = self.total.highest_measured_c, self.total.highest_worst_c
        highest = measured if outcome is Outcome.NOT_MET else worst
        return None if highest is None or self.never_above else self.rule.row(highest)

    @property
    def never_above(self) -> bool:
        """The base was never reached, not even in a gap at its worst."""
        highest = self.total.highest_worst_c
        if highest is None:  # no time went by: acid before it was hung
            return self.ended is not None
        return self.rule.degrees_of(highest) <= self.rule.base

    @property
    def measured_breaks(self) -> bool:
        """What was measured alone uses up the limit of the row that was measured."""
        highest = self.total.highest_measured_c
        return highest is not None and round(self.total.measured, 3) >= self.rule.row(highest).limit

    def outcome(self) -> tuple[Outcome, str, str]:
        """Outcome, the sentence for people, and why."""
        rule, total, limit = self.rule, self.total, self.limit
        if self.measured_breaks:
            assert total.highest_measured_c is not None
            own = rule.row(total.highest_measured_c).limit
            words = say(
                "{used} of {limit} {unit} used by what was measured alone: the allowance is used up",
                used=_number(total.measured), limit=_number(own), unit=rule.unit,
            )  # fmt: skip
            return Outcome.NOT_MET, words, say("a total must be below the limit")
        if self.never_above and not any(gap.too_long for gap in self.laid.gaps):
            words = say(
                "the room never rose above {base} {degrees}: this rule gives no protection here",
                base=_number(rule.base), degrees=rule.degrees,
            )  # fmt: skip
            return Outcome.DOES_NOT_APPLY, words, say("this rule gives no protection here")
        why = self._open_reason()
        if why:
            return Outcome.NOT_SHOWN, self._used_so_far(why), why
        assert limit is not None
        assert self.ended is not None
        words = say(
            "{used} of {limit} {unit} used until core pH {ph} at {time}",
            used=_number(total.worst), limit=_number(limit), unit=rule.unit,
            ph=f"{max(self.ended.values):.2f}", time=self.shown_time(self.ended.at_s),
        )  # fmt: skip
        return Outcome.MET, words, ""

    def _open_reason(self) -> str:
        """Why it is neither met nor not met; '' when it is met."""
        long_gaps = [gap for gap in self.laid.gaps if gap.too_long]
        if long_gaps:
            first = long_gaps[0]
            return say(
                "no reading of the room from {start} to {end}, longer than the {minutes} minutes of the plan",
                start=self.shown_time(first.start_s), end=self.shown_time(first.end_s),
                minutes=_number(self.plan.longest_gap_s / 60.0),
            )  # fmt: skip
        if self.ended is None:
            return say(
                "no set of {count} core readings at or under pH {ph} by a meter in check yet",
                count=self.plan.core_readings,
                ph=f"{self.rule.end_ph - self.plan.ph_guard:.2f}",
            )
        highest = self.total.highest_measured_c
        if highest is None or self.rule.degrees_of(highest) <= self.rule.base:
            return say("only in a gap may the room have risen above the base of this rule")
        if self.limit is None or round(self.total.worst, 3) >= self.limit:
            return say("with the gaps at their worst the limit may be used up")
        return ""

    def _used_so_far(self, why: str) -> str:
        if self.limit is None:
            return why
        return say(
            "{used} of {limit} {unit} used, {measured} of it measured; {why}",
            used=_number(self.total.worst), limit=_number(self.limit), unit=self.rule.unit,
            measured=_number(self.total.measured), why=why,
        )  # fmt: skip

    def sets_not_counted(self, known: Sequence[PhSet], start_s: float) -> list[str]:
        """A sentence for each acid set before the end that may not end the count, saying why."""
        found = []
        bound = round(self.rule.end_ph - self.plan.ph_guard, 6)
        for one in sorted(known, key=lambda item: item.at_s):
            acid = one.values and round(max(one.values), 6) <= bound
            if not acid or one is self.ended or not start_s <= one.at_s <= self.stop_s:
                continue
            time, ph = self.shown_time(one.at_s), f"{max(one.values):.2f}"
            if one.where != "core":
                where = one.where.replace("_", " ")
                found.append(
                    say("pH {ph} at {time} does not count: {where}, not core.", ph=ph, time=time, where=where)
                )
            elif not one.in_check:
                found.append(
                    say(
                        "pH {ph} at {time} does not count: meter {meter} was not in check.",
                        ph=ph,
                        time=time,
                        meter=one.instrument or "?",
                    )
                )
            else:
                found.append(
                    say(
                        "pH {ph} at {time} does not count: {got} of {count} readings.",
                        ph=ph,
                        time=time,
                        got=len(one.values),
                        count=self.plan.core_readings,
                    )
                )
        return found

    def gaps(self) -> tuple[Gap, ...]:
        """The gaps in the form of a verdict, worst value in the rule's degrees."""
        return tuple(
            Gap(
                start=datetime.fromtimestamp(gap.start_s, tz=UTC).isoformat(),
                end=datetime.fromtimestamp(gap.end_s, tz=UTC).isoformat(),
                worst=self.rule.degrees_of(gap.worst_c),
                words=say("needs a second logger") if gap.too_long else say("counted at its worst"),
            )
            for gap in self.laid.gaps
        )

    def next_step(self, outcome: Outcome) -> str:
        """What to measure or do, and by when at the last temperature read."""
        if outcome is Outcome.MET:
            return ""
        if outcome is Outcome.NOT_MET:
            return say(
                "hold the lot; sample for Staphylococcus aureus and its enterotoxin; ask a process authority"
            )
        if outcome is Outcome.DOES_NOT_APPLY:
            return say("this hazard needs another route")
        if any(gap.too_long for gap in self.laid.gaps):
            return say("import the file of a second logger of this room")
        left = self._hours_left()
        if self.ended is not None or left is None:
            return say("measure the core with a meter in check")
        return say(
            "core pH must reach {ph} by {time}",
            ph=f"{self.rule.end_ph - self.plan.ph_guard:.2f}",
            time=self.shown_time(self.stop_s + 3600.0 * left),
        )

    def _hours_left(self) -> float | None:
        if self.limit is None or not self.laid.end_c.size:
            return None
        latest = self.rule.degrees_of(float(self.laid.end_c[int(np.argmax(self.laid.end_s))]))
        return hours_left(self.total.worst, self.limit, latest, self.rule.base)


def _number(value: float) -> str:
    """Whole numbers as such, others to one decimal."""
    if not np.isfinite(value):
        return say("any number")
    return f"{value:.0f}" if abs(value - round(value)) < 0.05 else f"{value:.1f}"
