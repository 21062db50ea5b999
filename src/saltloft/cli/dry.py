"""`saltloft dry`: when is this piece ready, in this air? Needs no house."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from saltloft.cli.case_answers import answer_files
from saltloft.foundation.words import say

if TYPE_CHECKING:
    from saltloft.foundation.bands import Band
    from saltloft.jobs.calculate import Answered

TABLE_DAYS = (0.0, 1.0, 3.0, 7.0, 14.0, 21.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 270.0, 400.0)


def register(app: typer.Typer) -> None:
    """Add the command to the list."""
    app.command(name="dry", help="Compute the drying of one piece from CASE.toml files.")(dry)


def dry(
    cases: Annotated[list[Path], typer.Argument(help="Case files.", metavar="CASE.toml...")],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object a line.")] = False,
) -> None:
    """Answer every case in order; a refused one says why and the rest go on."""
    from saltloft.jobs.calculate import DryingDesk

    answer_files(cases, DryingDesk.open(time.perf_counter), plain_words, as_json)


def plain_words(name: str, answered: Answered) -> str:
    """A sentence for each target, a small table, and the flags."""
    result = answered.forecast
    lines = [answered.case.title or name]
    for target, level in answered.case.targets.items():
        day = result.targets[target]
        lines.append(_sentence(target, level, day.piece, day.share_reached))
    lines += ["", *_table(answered), ""]
    lines += [f"! {flag.words}" for flag in result.flags]
    lines.append(
        say(
            "Days count from stuffing; 5 to 95 in 100 pieces in brackets. {members} members, {wall:.1f} s.",
            members=result.members,
            wall=answered.wall_s,
        )
    )
    lines.append(
        say(
            "Saltloft does not decide whether this may be eaten or sold; the inspector and a process "
            "authority do"
        )
        + "."
    )
    return "\n".join(lines) + "\n"


def _target_words(target: str, level: float) -> str:
    return {
        "weight_loss_pct": say("weight loss {level:g} %", level=level),
        "moisture_protein": say("moisture:protein ratio {level:g}", level=level),
        "water_activity": say("water activity {level:g}", level=level),
        "water_activity_core": say("core water activity {level:g}", level=level),
    }[target]


def _sentence(target: str, level: float, days: Band, share: float) -> str:
    what = _target_words(target, level)
    if days.p50 is None:
        return say("{what}: not reached by half of the pieces ({share:.0f} % reach it)", what=what,
                   share=100.0 * share)  # fmt: skip
    early = say("never") if days.p05 is None else f"{days.p05:.0f}"
    late = say("never") if days.p95 is None else f"{days.p95:.0f}"
    return say(
        "{what}: about day {middle:.0f} ({early} to {late})",
        what=what,
        middle=days.p50,
        early=early,
        late=late,
    )


def _table(answered: Answered) -> list[str]:
    result = answered.forecast
    head = say("  day   loss %              moisture %  M:P   a_w mean  core   rim    mm")
    rows = [head]
    for day in TABLE_DAYS:
        if day > result.horizon_d + 1e-9:
            break
        i = int(abs(result.time_d - day).argmin())
        bands = result.bands
        loss = bands["weight_loss_pct"]
        # 'z': what rounds to nothing carries no minus sign.
        rows.append(
            f"{result.time_d[i]:5.0f}  {loss.p50[i]:z5.1f} ({loss.p05[i]:z4.1f} to {loss.p95[i]:z4.1f})"
            f"  {bands['moisture_pct'].p50[i]:8.1f}"
            f"  {bands['moisture_protein'].p50[i]:5.2f}"
            f"  {bands['water_activity_mean'].p50[i]:8.3f}"
            f"  {bands['water_activity_core'].p50[i]:5.3f}"
            f"  {bands['water_activity_rim'].p50[i]:5.3f}"
            f"  {bands['diameter_mm'].p50[i]:4.1f}"
        )
    return rows
