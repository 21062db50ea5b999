"""The exceptions of Saltloft.

    SaltloftError
    ├── InputError (ValueError)      what a person or file said cannot be taken
    │   └── UnknownName (KeyError)   a name nobody knows; carries the nearest names
    ├── OutOfRange (ValueError)      a model was asked outside its validity range
    ├── RuleBroken                   an action the house's own rules refuse
    ├── NumericsError                a computation could not reach its tolerance
    └── StoreError                   the database refused, clashed or is damaged

Every message says four things: what, what came, what is allowed, what to do.
Only `web` knows HTTP statuses and only `cli` knows exit codes.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class SaltloftError(Exception):
    """Anything Saltloft itself says no to.

    Args:
        what: str. The field, file or action concerned, in plain words.
        got: str. What came, as typed.
        allowed: str. What would have been taken.
        do: str. The next thing a person can do.
        key: str. Dotted name of the offending key, when there is one.
        line: int or None. Line in the file, counted from 1.
    """

    def __init__(
        self,
        what: str,
        *,
        got: str = "",
        allowed: str = "",
        do: str = "",
        key: str = "",
        line: int | None = None,
    ) -> None:
        self.what = what
        self.got = got
        self.allowed = allowed
        self.do = do
        self.key = key
        self.line = line
        super().__init__(self.message)

    @property
    def message(self) -> str:
        """The whole sentence, with line, what came, what is allowed and what to do."""
        where = f"line {self.line}: " if self.line is not None else ""
        parts = [f"{where}{self.what}"]
        if self.got:
            parts.append(f"got {self.got}")
        if self.allowed:
            parts.append(f"allowed: {self.allowed}")
        if self.do:
            parts.append(self.do)
        return "; ".join(parts)

    def __str__(self) -> str:
        return self.message


class InputError(SaltloftError, ValueError):
    """What a person or a file said cannot be taken; nothing was changed."""


class UnknownName(InputError, KeyError):
    """A name that is not known here; the message offers the nearest ones.

    Args:
        kind: str. What sort of name it is, such as 'lot' or 'key'.
        name: str. The name that came.
        known: iterable of str. The names that exist.
    """

    def __init__(
        self,
        kind: str,
        name: str,
        known: Iterable[str],
        *,
        key: str = "",
        line: int | None = None,
    ) -> None:
        names = sorted(set(known))
        self.nearest = difflib.get_close_matches(name, names, n=3, cutoff=0.5)
        offered = self.nearest or names[:8]
        super().__init__(
            f"no {kind} is called '{name}'",
            allowed=", ".join(offered) if offered else f"no {kind} exists yet",
            do="did you mean one of these?" if self.nearest else "",
            key=key or name,
            line=line,
        )


class OutOfRange(SaltloftError, ValueError):
    """A model was asked outside the range in which it may be used."""


class RuleBroken(SaltloftError):
    """The action is refused by a rule of the house or of the record."""


class NumericsError(SaltloftError):
    """A computation did not reach its tolerance; no number is given."""


class StoreError(SaltloftError):
    """The database refused the entry, clashed with another, or is damaged."""
