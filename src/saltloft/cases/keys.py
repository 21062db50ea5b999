"""The kinds of key a case file may hold, and reading one value against its kind."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, time

from saltloft.foundation.errors import InputError, UnknownName
from saltloft.foundation.words import say


def _no_hint() -> str:
    return ""


@dataclass(frozen=True)
class Range:
    """Two ends of a number of which the case says only that it lies between.

    Args:
        low: float. Lower end, in the key's unit.
        high: float. Upper end, equal to low for a plain number.
    """

    low: float
    high: float

    @property
    def mean(self) -> float:
        """Half way between the ends, in the key's unit."""
        return 0.5 * (self.low + self.high)


@dataclass(frozen=True)
class Number:
    """A key that holds one number.

    Args:
        low: float. Smallest number taken, in the key's unit.
        high: float. Largest number taken.
        required: bool. The key must be there.
        whole: bool. Only whole numbers.
        fraction_below: float. A number above 0 and below this is a fraction written for per
            cent, and is refused; 0 for a key that is no percentage.
        hint: function returning str. What to do when the number is outside; a function, so
            that it speaks the language of the moment.
    """

    low: float
    high: float
    required: bool = False
    whole: bool = False
    fraction_below: float = 0.0
    hint: Callable[[], str] = _no_hint


@dataclass(frozen=True)
class Span(Number):
    """A key that holds one number or `[low, high]`."""


@dataclass(frozen=True)
class Text:
    """A key that holds words.

    Args:
        choices: tuple of str. The words taken; empty for free text.
        required: bool. The key must be there.
    """

    choices: tuple[str, ...] = ()
    required: bool = False


@dataclass(frozen=True)
class Flag:
    """A key that holds true or false."""

    required: bool = False


Key = Number | Text | Flag


@dataclass(frozen=True)
class Section:
    """A table of keys, `[name]`, or a list of them, `[[name]]`.

    Args:
        keys: mapping of str to Key.
        many: bool. A list of tables.
        required: bool. At least one must be there.
    """

    keys: Mapping[str, Key]
    many: bool = False
    required: bool = False


Schema = Mapping[str, Key | Section]
Value = float | int | str | bool | Range


def read_value(key: str, raw: object, kind: Key, line: int | None) -> Value:
    if isinstance(kind, Flag):
        if isinstance(raw, bool):
            return raw
    elif isinstance(kind, Text):
        if isinstance(raw, str):
            if kind.choices and raw not in kind.choices:
                raise UnknownName(say("{key}", key=key), raw, kind.choices, key=key, line=line)
            return raw
    elif isinstance(kind, Span):
        if isinstance(raw, list) and len(raw) == 2:
            low, high = (_number(key, end, kind, line) for end in raw)
            if low > high:
                raise InputError(
                    say("{key} must be [low, high]", key=key), got=shown(raw), allowed=f"[{high:g}, {low:g}]",
                    key=key, line=line,
                )  # fmt: skip
            return Range(low, high)
        number = _number(key, raw, kind, line)
        return Range(number, number)
    else:
        return _number(key, raw, kind, line)
    raise InputError(
        say("{key} is not what it should be", key=key),
        got=shown(raw),
        allowed=allowed_words(kind),
        key=key,
        line=line,
    )


def _number(key: str, raw: object, kind: Number, line: int | None) -> float | int:
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        do = say("write the number without quotes") if isinstance(raw, str) else ""
        raise InputError(
            say("{key} is not a number", key=key),
            got=shown(raw),
            allowed=allowed_words(kind),
            do=do,
            key=key,
            line=line,
        )
    if not math.isfinite(raw) or not kind.low <= raw <= kind.high:
        raise InputError(
            say("{key} cannot be this number", key=key),
            got=shown(raw), allowed=allowed_words(kind), do=kind.hint(), key=key, line=line,
        )  # fmt: skip
    if 0.0 < raw < kind.fraction_below:
        raise InputError(
            say("{key} looks like a fraction", key=key),
            got=shown(raw),
            allowed=f"{kind.fraction_below:g} to {kind.high:g}",
            do=say("per cent: write {per_cent:g} for {per_cent:g} %", per_cent=100.0 * raw),
            key=key,
            line=line,
        )
    if kind.whole and raw != int(raw):
        raise InputError(
            say("{key} must be a whole number", key=key),
            got=shown(raw),
            allowed=allowed_words(kind),
            key=key,
            line=line,
        )
    return int(raw) if kind.whole else float(raw)


def allowed_words(kind: Key) -> str:
    if isinstance(kind, Flag):
        return "true, false"
    if isinstance(kind, Text):
        return ", ".join(kind.choices) or say("text in quotes")
    ends = f"{kind.low:.12g} to {kind.high:.12g}" if kind.low < kind.high else f"{kind.low:g}"
    if isinstance(kind, Span):
        return say("{ends}, or [low, high]", ends=ends)
    return say("a whole number, {ends}", ends=ends) if kind.whole else ends


def shown(raw: object) -> str:
    """A value as it would stand in the file, cut short."""
    if isinstance(raw, bool):
        text = "true" if raw else "false"
    else:
        text = str(raw) if isinstance(raw, date | time) else repr(raw)
    return text if len(text) <= 60 else text[:57] + "..."
