"""Ham groups and fresh batches as tables: what is recorded, and that no forecast of them is computed yet."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from saltloft.foundation.words import say, say_many
from saltloft.papers.page import Grid
from saltloft.plant.answers import FreshLine, HamLine
from saltloft.plant.sentences import day_words
from saltloft.web.quantities import Units, plain

# A fresh batch is listed until this long after its use-by day.
OVER = timedelta(days=3)


def ham_grid(hams: Sequence[HamLine]) -> Grid:
    """Every ham group, youngest first; ripeness and the end of the cold are not computed yet."""
    rows = tuple(
        (
            ham.lot,
            str(ham.legs),
            ham.room,
            str(ham.days),
            ham.state,
            plain(ham.loss_pct, 1) if ham.loss_pct is not None else "",
            say("not computed yet"),
        )
        for ham in sorted(hams, key=lambda ham: ham.days)
    )
    columns = (
        say("group"),
        say("legs"),
        say("room"),
        say("day"),
        say("salt"),
        say("loss %, measured"),
        say("ripe"),
    )
    return Grid(say("Ham groups"), columns, rows, right=(1, 3, 5), empty=say("No ham group is recorded."))


def fresh_grid(batches: Sequence[FreshLine], units: Units, today: date) -> Grid:
    """The fresh batches that can still be sold, youngest first; their keeping time is not computed yet."""
    shown = [
        batch for batch in batches if not batch.use_by or date.fromisoformat(batch.use_by) >= today - OVER
    ]
    rows = tuple(
        (
            batch.lot,
            units.mass_of(batch.left_kg * 1e6),
            units.temperature_of(batch.core_temperature_c)
            if batch.core_temperature_c is not None
            else say("not read"),
            day_words(date.fromisoformat(batch.use_by), today) if batch.use_by else say("not packed"),
            say("not computed yet"),
        )
        for batch in reversed(shown)
    )
    columns = (
        say("batch"),
        say("left, {unit}", unit=units.mass),
        say("core, {unit}", unit=units.temperature),
        say("use-by, entered"),
        say("keeps until"),
    )
    older = len(batches) - len(shown)
    note = (
        say_many(
            "{count} older batch is still booked here, its use-by over.",
            "{count} older batches are still booked here, their use-by over.",
            older,
        )
        if older
        else ""
    )
    return Grid(
        say("Fresh batches"), columns, rows, right=(1, 2), note=note, empty=say("No fresh batch is recorded.")
    )
