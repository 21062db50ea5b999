"""A reading for people and programs: sentences for the odd rows, plain values for JSON."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from saltloft.foundation.words import say
from saltloft.store.loggers.explain import local_text, utc_text
from saltloft.store.loggers.model import LogReading, Series

_SHOWN_GAPS = 5
_SHOWN_REFUSED = 10


def reading_sentences(reading: LogReading) -> Iterator[str]:
    """The whole of what was understood: sentences, first rows, odd rows, questions; one line each."""
    yield from reading.understood
    for row in reading.first_rows:
        yield f"{row.line:>6} | {row.raw}"
        yield "       = " + ("; ".join(row.parsed) or say("nothing taken"))
    yield from odd_sentences(reading)
    for question in reading.questions:
        options = " | ".join(question.options) or "..."
        yield ("? " if question.blocking else "") + question.words
        yield f"    --answer '{question.key}={options}'"


def odd_sentences(reading: LogReading) -> Iterator[str]:
    """Gaps, stretches worth a look and rows not taken, one line each."""
    for gap in reading.gaps[:_SHOWN_GAPS]:
        yield say(
            "no reading of {series} between {start} and {end}",
            series=gap.series,
            start=local_text(gap.start_s, reading.zone)[:16],
            end=local_text(gap.end_s, reading.zone)[:16],
        )
    if len(reading.gaps) > _SHOWN_GAPS:
        yield say("and {more} more gaps", more=len(reading.gaps) - _SHOWN_GAPS)
    for flag in reading.flags[:_SHOWN_GAPS]:
        yield say("look, {when}: {words}", when=local_text(flag.start_s, reading.zone)[:16], words=flag.words)
    if len(reading.flags) > _SHOWN_GAPS:
        yield say("and {more} more stretches worth a look", more=len(reading.flags) - _SHOWN_GAPS)
    for refused in reading.refused[:_SHOWN_REFUSED]:
        yield say("line {line}: {reason}: {raw}", line=refused.line, reason=refused.reason, raw=refused.raw)
    if reading.counts.refused > _SHOWN_REFUSED:
        yield say("and {more} more rows or values not taken", more=reading.counts.refused - _SHOWN_REFUSED)


def reading_as_plain(reading: LogReading) -> dict[str, Any]:
    """The reading as strings, numbers, lists and objects; times in UTC, values in degC and %RH."""
    return {
        "zone": reading.zone,
        "understood": list(reading.understood),
        "questions": [asdict(question) for question in reading.questions],
        "series": [_series(one) for one in reading.series],
        "gaps": [
            {"series": gap.series, "start": utc_text(gap.start_s), "end": utc_text(gap.end_s)}
            for gap in reading.gaps
        ],
        "flags": [
            {
                "code": flag.code,
                "series": flag.series,
                "start": utc_text(flag.start_s),
                "end": utc_text(flag.end_s),
                "words": flag.words,
            }
            for flag in reading.flags
        ],
        "refused": [asdict(refused) for refused in reading.refused],
        "first_rows": [asdict(row) for row in reading.first_rows],
        "counts": asdict(reading.counts),
        "notes": [list(note) for note in reading.metadata],
    }


def _series(one: Series) -> dict[str, Any]:
    return {
        "name": one.name,
        "room": one.room,
        "quantity": one.quantity,
        "channel": one.channel,
        "count": int(one.values.size),
        "first": utc_text(int(one.times_s[0])),
        "last": utc_text(int(one.times_s[-1])),
        "interval_s": one.interval_s,
        "lowest": float(one.values.min()),
        "highest": float(one.values.max()),
    }
