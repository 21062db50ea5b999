"""What the reader understood, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

from saltloft.foundation.words import say, say_many
from saltloft.store.loggers.clock import zone_named
from saltloft.store.loggers.columns import LONG, Columns
from saltloft.store.loggers.encoding import TextForm
from saltloft.store.loggers.model import TEMPERATURE, Counts, Series, SeriesGap
from saltloft.store.loggers.table import FIXED_WIDTH, Table


def local_text(moment_s: float, zone: str) -> str:
    """A moment on the house's or logger's clock, with its offset."""
    return datetime.fromtimestamp(moment_s, UTC).astimezone(zone_named(zone)).isoformat(" ", "seconds")


def utc_text(moment_s: int) -> str:
    """A moment in UTC as ISO with Z."""
    return f"{datetime.fromtimestamp(moment_s, UTC):%Y-%m-%dT%H:%M:%SZ}"


def table_sentences(table: Table, columns: Columns, form: TextForm) -> Iterator[str]:
    """How the file is written: encoding, separator, decimal mark, layout, columns left out."""
    names = {
        ";": say("semicolons"),
        "\t": say("tabs"),
        "|": say("bars"),
        ",": say("commas"),
        FIXED_WIDTH: say("spaces"),
    }
    yield say(
        "Text is {codec}, fields are separated by {separator}, decimals have a {mark}.",
        codec=form.words,
        separator=names[table.separator],
        mark=say("comma") if table.decimal == "," else say("point"),
    )
    if columns.layout == LONG:
        yield say("One value a row; the row says which device, channel or unit it is.")
    else:
        yield say_many(
            "One moment a row with {count} column of readings.",
            "One moment a row with {count} columns of readings.",
            len(columns.values),
        )
    if table.header_line:
        yield say(
            "The heading stands on line {line}, readings begin on line {first}.",
            line=table.header_line,
            first=table.first_line,
        )
    else:
        yield say("The table has no heading; readings begin on line {first}.", first=table.first_line)
    if columns.unused:
        yield say("Columns not read: {names}.", names=", ".join(columns.unused))


def series_sentences(
    series: Sequence[Series], gaps: Sequence[SeriesGap], counts: Counts, zone: str
) -> Iterator[str]:
    """What was found: each series with its span and step, gaps, and everything set aside."""
    for one in series:
        if one.values.size == 1:
            yield say(
                "{room} {quantity}: one reading, {first}.",
                room=one.room,
                quantity=say("temperature") if one.quantity == TEMPERATURE else say("humidity"),
                first=local_text(float(one.times_s[0]), zone)[:16],
            )
            continue
        yield say(
            "{room} {quantity}: {count} readings from {first} to {last}, every {step}.",
            room=one.room,
            quantity=say("temperature") if one.quantity == TEMPERATURE else say("humidity"),
            count=one.values.size,
            first=local_text(float(one.times_s[0]), zone)[:16],
            last=local_text(float(one.times_s[-1]), zone)[:16],
            step=duration_text(one.interval_s),
        )
    if gaps:
        longest = max(gaps, key=lambda gap: gap.end_s - gap.start_s)
        yield say_many(
            "{count} gap; the longest is {length} in {series} from {start}.",
            "{count} gaps; the longest is {length} in {series} from {start}.",
            len(gaps),
            length=duration_text(longest.end_s - longest.start_s),
            series=longest.series,
            start=local_text(longest.start_s, zone)[:16],
        )
    elif series:
        yield say("No gaps.")
    yield from _set_aside(counts)


def _set_aside(counts: Counts) -> Iterator[str]:
    if counts.events:
        yield say_many(
            "{count} row states an event or a note and was skipped.",
            "{count} rows state events or notes and were skipped.",
            counts.events,
        )
    if counts.missing:
        yield say_many(
            "{count} value is missing or a fault code.",
            "{count} values are missing or fault codes.",
            counts.missing,
        )
    if counts.repeated:
        yield say_many(
            "{count} value repeats an earlier one and was dropped.",
            "{count} values repeat earlier ones and were dropped.",
            counts.repeated,
        )
    if counts.out_of_order:
        yield say_many(
            "{count} step back in time was put in order.",
            "{count} steps back in time were put in order.",
            counts.out_of_order,
        )
    if counts.refused:
        yield say_many(
            "{count} row or value was not taken.", "{count} rows or values were not taken.", counts.refused
        )


def duration_text(seconds: int) -> str:
    """A length of time in the largest fitting unit."""
    if seconds >= 2 * 86400 and seconds % 86400 == 0:
        return say("{days} d", days=seconds // 86400)
    if seconds >= 7200:
        return say("{hours} h", hours=f"{seconds / 3600:.4g}")
    if seconds >= 60:
        return say("{minutes} min", minutes=f"{seconds / 60:.4g}")
    return say("{seconds} s", seconds=seconds)
