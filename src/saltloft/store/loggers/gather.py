"""Columns and channels of one file to series of rooms: units, places, repeats, order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from saltloft.foundation.errors import InputError
from saltloft.foundation.units import celsius_from_fahrenheit
from saltloft.foundation.words import say
from saltloft.store.loggers.columns import LONG, Columns, channel_heading
from saltloft.store.loggers.headers import Heading
from saltloft.store.loggers.model import HUMIDITY, TEMPERATURE, Question, ReadOptions, Series, Times, Values
from saltloft.store.loggers.places import SKIP, room_of
from saltloft.store.loggers.rows import OddRows, RawRows
from saltloft.store.loggers.steps import usual_step
from saltloft.store.loggers.table import Table
from saltloft.store.loggers.units_found import in_own_unit, to_celsius_by_parts, unit_changes


@dataclass
class Gathered:
    """Series of one file and what was seen on the way.

    Args:
        series: list of Series.
        understood: list of str.
        questions: list of Question.
        repeated: int. Values that repeat an earlier one exactly.
        out_of_order: int. Steps back in time.
        shown: dict of row index to list of str. What the first rows became.
    """

    series: list[Series] = field(default_factory=list)
    understood: list[str] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    repeated: int = 0
    out_of_order: int = 0
    shown: dict[int, list[tuple[str, float, float]]] = field(default_factory=dict)


_Merged = tuple[Times, Values, npt.NDArray[np.int32]]


@dataclass(frozen=True)
class _Channel:
    heading: Heading
    room: str
    rows: npt.NDArray[np.intp] | slice
    values: Values


def gather(
    raw: RawRows,
    utc: Values,
    *,
    table: Table,
    columns: Columns,
    options: ReadOptions,
    role_of: Mapping[str, str],
) -> Gathered:
    """Build the series of a file.

    Args:
        raw: RawRows (n,).
        utc: float64 array (n,). NaN where a row is left out. [s]
        table: Table.
        columns: Columns.
        options: ReadOptions.
        role_of: mapping of room to role.

    Raises:
        UnknownName: a channel names a room the house does not know.
    """
    found = Gathered()
    channels: dict[tuple[str, str], list[_Channel]] = {}
    for channel in _channels(raw, table, columns, options, found):
        channels.setdefault((channel.room, channel.heading.quantity), []).append(channel)
    for (room, quantity), members in channels.items():
        labels = {member.heading.label for member in members}
        if len(labels) > 1:
            found.questions.append(_which(room, quantity, sorted(labels)))
            continue
        role = role_of.get(room.partition("/")[0], options.role)
        parts = [
            _taken(member, room, utc, raw, options=options, role=role, found=found) for member in members
        ]
        merged = parts[0] if len(parts) == 1 else _joined(parts)
        if merged[0].size:
            found.series.append(
                _series(
                    _name(room, quantity),
                    members[0].heading,
                    merged,
                    odd=raw.odd,
                    options=options,
                    found=found,
                )
            )
    return found


def _taken(
    member: _Channel,
    room: str,
    utc: Values,
    raw: RawRows,
    *,
    options: ReadOptions,
    role: str,
    found: Gathered,
) -> _Merged:
    """The readings of one channel that count: whole seconds, own unit, lines; nothing missing among them."""
    own = _own_unit(member, role, raw, options, found)
    when = utc[member.rows]
    _show(found, _name(room, member.heading.quantity), member.rows, when, own)
    keep = np.isfinite(own) & np.isfinite(when)
    lines = raw.lines[member.rows]
    if not keep.all():
        own, when, lines = own[keep], when[keep], lines[keep]
    return np.rint(when).astype(np.int64), own, lines


def _joined(parts: list[_Merged]) -> _Merged:
    times, values, lines = zip(*parts, strict=True)
    return np.concatenate(times), np.concatenate(values), np.concatenate(lines)


def _name(room: str, quantity: str) -> str:
    """'ROOM/quantity', with a second logger of the room as a third part."""
    place, slash, logger = room.partition("/")
    return f"{place}/{quantity}{slash}{logger}"


def _channels(
    raw: RawRows, table: Table, columns: Columns, options: ReadOptions, found: Gathered
) -> list[_Channel]:
    everything: list[tuple[Heading, npt.NDArray[np.intp] | slice, Values]] = []
    for index, key in enumerate(raw.groups):
        rows = slice(None) if len(raw.groups) == 1 else np.flatnonzero(raw.group == index)
        if columns.layout == LONG:
            everything.append((channel_heading(key, table, columns), rows, raw.values[0][rows]))
            continue
        for place, column in zip(columns.values, raw.values, strict=True):
            heading = table.headings[place]
            if key and key[0].strip():
                label = f"{key[0].strip()} {heading.label}"
                heading = Heading(
                    label, heading.role, heading.quantity, heading.unit, key[0].strip(), heading.mean
                )
            everything.append((heading, rows, column[rows]))
    measured = [one for one in everything if one[0].quantity in (TEMPERATURE, HUMIDITY)]
    others = (
        sorted({one[0].label for one in everything if one not in measured})
        if len(measured) < len(everything)
        else []
    )
    if others:
        found.understood.append(say("Not read: {names}.", names=", ".join(others)))
    lone = len({one[0].place for one in measured}) <= 1 or _one_of_each(measured)
    if options.room and not lone:
        raise InputError(
            say("the file holds several places, so one --room can't name them"),
            got=", ".join(sorted({one[0].label for one in measured})),
            do=say("name each with --answer 'room.CHANNEL=ROOM', or =skip to leave it out"),
            key="room",
        )
    channels = []
    for heading, rows, values in measured:
        room = room_of(heading, table.notes, options, lone)
        if not room:
            found.questions.append(_ask_room(heading, options))
            room = heading.place or "?"
        if room == SKIP:
            found.understood.append(say("'{label}' is left out, as you answered.", label=heading.label))
        elif np.isfinite(values).any():
            channels.append(_Channel(heading, room, rows, values))
    return channels


def _one_of_each(measured: list[tuple[Heading, npt.NDArray[np.intp] | slice, Values]]) -> bool:
    quantities = [one[0].quantity for one in measured]
    return len(quantities) == len(set(quantities))


def _ask_room(heading: Heading, options: ReadOptions) -> Question:
    words = say("Which room is '{label}'? Answer it, or give --room.", label=heading.label)
    return Question(f"room.{heading.place or heading.label}", words, tuple(options.rooms))


def _which(room: str, quantity: str, labels: list[str]) -> Question:
    words = say(
        "{names} all give {quantity} of {room}. Leave the others out: answer =skip for each but one.",
        names=", ".join(f"'{label}'" for label in labels),
        quantity=say("the temperature") if quantity == TEMPERATURE else say("the humidity"),
        room=room,
    )
    return Question(f"room.{labels[1]}", words, (SKIP,))


def _own_unit(member: _Channel, role: str, raw: RawRows, options: ReadOptions, found: Gathered) -> Values:
    heading = member.heading
    values = member.values
    if heading.quantity == TEMPERATURE:
        values, mixed = _mixed_unit(member, raw, options, found)
        if mixed:
            heading = Heading(
                heading.label, heading.role, heading.quantity, mixed, heading.place, heading.mean
            )
    own = in_own_unit(values, heading, role, options)
    raw.odd.missing += own.missing
    for row in np.flatnonzero(own.impossible).tolist():
        line = int(raw.lines[member.rows][row])
        reason = say(
            "{value} in '{label}' can't be air in a room",
            value=f"{member.values[row]:g}",
            label=heading.label,
        )
        raw.odd.refuse(line, reason, "")
    if own.words and own.words not in found.understood:
        found.understood.append(own.words)
    if own.question and own.question.key not in {question.key for question in found.questions}:
        found.questions.append(own.question)
    return own.values


def _mixed_unit(member: _Channel, raw: RawRows, options: ReadOptions, found: Gathered) -> tuple[Values, str]:
    """The values in one unit, and which when a change was found and answered ('' otherwise)."""
    values, label = member.values, member.heading.label
    changes = unit_changes(values)
    if not changes:
        return values, ""
    at = changes[0]
    first, second = float(values[np.flatnonzero(np.isfinite(values[:at]))[-1]]), float(values[at])
    line = int(raw.lines[member.rows][at])
    key = f"unit_change.{label}"
    answer = options.answers.get(key, "")
    if answer == "keep":
        return values, ""
    if answer == "convert":
        found.understood.append(
            say(
                "'{label}' changes its unit at line {line}: all of it in °C, as you answered.",
                label=label,
                line=line,
            )
        )
        return to_celsius_by_parts(values, changes), "C"
    if answer:
        raise InputError(
            say("a change of unit is converted or kept"), got=f"'{answer}'", allowed="convert, keep", key=key
        )
    words = say(
        "'{label}' goes from {before} to {after} at line {line}, as if it changed between °C and °F "
        "({fahrenheit} °F is {celsius} °C). Convert the Fahrenheit part, or keep the numbers?",
        label=label,
        before=f"{first:g}",
        after=f"{second:g}",
        line=line,
        fahrenheit=f"{max(first, second):g}",
        celsius=f"{celsius_from_fahrenheit(max(first, second)):.1f}",
    )
    found.questions.append(Question(key, words, ("convert", "keep")))
    return values, ""


def _show(found: Gathered, name: str, rows: npt.NDArray[np.intp] | slice, utc: Values, own: Values) -> None:
    for place in range(min(5, own.size)):
        row = place if isinstance(rows, slice) else int(rows[place])
        if row < 5 and np.isfinite(own[place]) and np.isfinite(utc[place]):
            found.shown.setdefault(row, []).append((name, float(utc[place]), float(own[place])))


def _series(
    name: str,
    heading: Heading,
    merged: _Merged,
    *,
    odd: OddRows,
    options: ReadOptions,
    found: Gathered,
) -> Series:
    times, values, lines = merged
    room = name.partition("/")[0]
    steps = np.diff(times)
    if not np.all(steps > 0):
        found.out_of_order += int(np.sum(steps < 0))
        times = _spread_minutes(times, name, found)
        order = np.argsort(times, kind="stable")
        times, values, lines = times[order], values[order], lines[order]
        first = np.concatenate(([True], np.diff(times) > 0))
        leader = np.maximum.accumulate(np.where(first, np.arange(times.size), 0))
        same = ~first & (values == values[leader])
        found.repeated += int(same.sum())
        clashes = np.flatnonzero(~first & ~same)
        for place in clashes.tolist():
            reason = say(
                "{name}: the same time as line {line} with another value",
                name=name,
                line=int(lines[leader[place]]),
            )
            odd.refuse(int(lines[place]), reason, "")
        _ask_repeated_hour(times[~first], clashes.size, lines[~first], found, options)
        times, values = times[first], values[first]
    return Series(name, room, heading.label, heading.quantity, times, values, usual_step(times))


def _ask_repeated_hour(
    repeats: npt.NDArray[np.int64],
    clashes: int,
    lines: npt.NDArray[np.int32],
    found: Gathered,
    options: ReadOptions,
) -> None:
    """One hour that stands twice with other values, on a day without a clock change, is a wrong zone."""
    one_hour = repeats.size >= 2 and clashes >= 2 and int(repeats[-1] - repeats[0]) < 3600
    asked = any(question.key == "repeated_hour" for question in found.questions)
    if not one_hour or asked or options.answers.get("repeated_hour") or options.answers.get("spring_hour"):
        return
    words = say(
        "From line {line} an hour stands twice with other values, but this zone changes no clock then. "
        "Is the zone right? Give --zone, or leave the second hour out.",
        line=int(lines.min()),
    )
    found.questions.append(Question("repeated_hour", words, ("leave_out",)))


def _spread_minutes(times: npt.NDArray[np.int64], name: str, found: Gathered) -> npt.NDArray[np.int64]:
    """Stamps cut to the minute that each stand k times in a row are spread evenly over their minute."""
    starts = np.flatnonzero(np.concatenate(([True], np.diff(times) != 0)))
    runs = np.diff(np.concatenate((starts, [times.size])))
    count = int(np.bincount(runs).argmax()) if runs.size else 1
    inner = runs[1:-1]
    if count < 2 or runs.size < 4 or np.any(times % 60) or float(np.mean(inner == count)) < 0.8:
        return times
    if int(np.median(np.diff(times[starts]))) != 60:
        return times
    found.understood.append(
        say(
            "{name}: seconds are cut off, so {count} readings a minute are spread evenly.",
            name=name,
            count=count,
        )
    )
    place = np.arange(times.size) - np.repeat(starts, runs)
    return times + np.minimum(place * (60 // count), 59)
