"""`saltloft ferment`: how does pH fall, and what of the degree-hours is used? Needs no house."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from saltloft.cli.case_answers import answer_files
from saltloft.foundation.words import say

if TYPE_CHECKING:
    from saltloft.foundation.bands import Band
    from saltloft.jobs.ferment import Answered

TABLE_HOURS = (0.0, 6.0, 12.0, 18.0, 24.0, 36.0, 48.0, 60.0, 72.0, 96.0, 120.0, 168.0, 336.0, 720.0, 1440.0)


def register(app: typer.Typer) -> None:
    """Add the command to the list."""
    app.command(name="ferment", help="Compute the fermentation of one piece from CASE.toml files.")(ferment)


def ferment(
    cases: Annotated[list[Path], typer.Argument(help="Case files.", metavar="CASE.toml...")],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object a line.")] = False,
) -> None:
    """Answer every case in order; a refused one says why and the rest go on."""
    from saltloft.jobs.ferment import FermentationDesk

    answer_files(cases, FermentationDesk.open(time.perf_counter), plain_words, as_json)


def plain_words(name: str, answered: Answered) -> str:
    """The hour of 5.3, degree-hours by country, a small table, and the flags."""
    from saltloft.jobs.ferment import flags_of

    result = answered.forecast
    lines = [answered.case.title or name, _reach_words(result.time_to_end_ph_h, result.share_reached)]
    for market, heat in answered.heat.items():
        country = {"us": say("United States"), "ca": say("Canada")}[market]
        lines.append(
            say(
                "Degree-hours {country}: {outcome} ({basis}). {words}",
                country=country,
                outcome=heat.outcome.value,
                basis=heat.basis,
                words=heat.words,
            )
        )
    lines += ["", *_table(answered), ""]
    lines += [f"! {flag['words']}" for flag in flags_of(answered)]
    lines.append(
        say(
            "Hours count from stuffing; 5 to 95 in 100 pieces in brackets. {members} members, {wall:.1f} s.",
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


def _reach_words(hours: Band, share: float) -> str:
    if hours.p50 is None:
        return say(
            "Core pH 5.3: not within the stages for half of the pieces ({share:.0f} % get there).",
            share=100.0 * share,
        )
    early = say("at once") if hours.p05 is None else f"{hours.p05:.0f}"
    late = say("later") if hours.p95 is None else f"{hours.p95:.0f}"
    return say(
        "Core pH 5.3: about hour {middle:.0f} ({early} to {late}), forecast.",
        middle=hours.p50,
        early=early,
        late=late,
    )


def _table(answered: Answered) -> list[str]:
    result = answered.forecast
    rows = [say("  hour   core pH              rim pH  core °C")]
    for hour in TABLE_HOURS:
        if hour > result.time_h[-1] + 1e-9:
            break
        i = int(abs(result.time_h - hour).argmin())
        rows.append(
            f"{result.time_h[i]:6.0f}   {result.core.p50[i]:.2f} ({result.core.p05[i]:.2f}-"
            f"{result.core.p95[i]:.2f})   {result.rim.p50[i]:.2f}   {result.core_c[i]:6.1f}"
        )
    return rows
