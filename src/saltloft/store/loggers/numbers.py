"""Reading cells as numbers: decimal marks, stray units, missing and fault codes."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np

from saltloft.store.loggers.headers import words_set
from saltloft.store.loggers.model import Values

MISSING = math.nan
NOT_A_NUMBER = math.inf
BLANK = -math.inf

_MISSING_WORDS = words_set(
    "- -- --- ---- ----- . .. n/a #n/a na nan null none nil ol lo hi err error fault fehler errore "
    "open short over under ovr udr oor invalid ungültig no_reading"
)
# Codes of sensors and of 16-bit words (common practice, no source).
_MISSING_NUMBERS = frozenset((-999.0, -9999.0, -999.9, -127.0, 32767.0, -32768.0, 655.35, 6553.5, 9999.0))
_TRIMMED = re.compile(
    r"^[+-]?[\d.,]*\d[\d.,]*(?:[eE][+-]?\d+)?\s*(?:(?:°|º|\ufffd|deg\.?)?\s*[CF]|%(?:\s*r\.?[hf]\.?)?)?$",
    re.IGNORECASE,
)
_PLAIN = re.compile(r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$")
_LARGEST_MEMO = 200_000
_LONGEST_CELL = 40


class NumberReader(dict[str, float]):
    """A memory of cells already read: loggers repeat themselves, so most cells are one look-up.

    Args:
        decimal: str. '.' or ','.
    """

    def __init__(self, decimal: str) -> None:
        super().__init__()
        self.decimal = decimal

    def __missing__(self, cell: str) -> float:
        if len(self) > _LARGEST_MEMO:
            self.clear()
        value = self[cell] = number(cell, self.decimal)
        return value

    def column(self, cells: Sequence[str]) -> Values:
        """The cells as numbers, with MISSING, BLANK and NOT_A_NUMBER marked.

        Args:
            cells: sequence of str (n,).

        Returns:
            float64 array (n,). NaN missing, -inf blank, +inf not a number. [unit of the column]
        """
        return np.fromiter(map(self.__getitem__, cells), np.float64, len(cells))


def number(cell: str, decimal: str) -> float:
    """One cell as a number.

    Args:
        cell: str. As it stands.
        decimal: str. '.' or ','.

    Returns:
        float. NaN for a missing or fault code, -inf for blank, +inf for text. [unit of the cell]
    """
    text = cell.strip().lstrip("'").strip("\"' \u00a0\u202f").replace("\u2212", "-")
    if not text:
        return BLANK
    if text.casefold() in _MISSING_WORDS:
        return MISSING
    digits = _digits(text, decimal) if len(text) <= _LONGEST_CELL else ""
    if not _PLAIN.match(digits):
        return NOT_A_NUMBER
    value = float(digits)
    return MISSING if value in _MISSING_NUMBERS or not math.isfinite(value) else value


def _digits(text: str, decimal: str) -> str:
    """The number with a point and without unit and grouping marks; empty when it is none."""
    if not _TRIMMED.match(text):
        return ""
    text = re.sub(r"\s*(?:(?:°|º|\ufffd|deg\.?)?\s*[CF]|%.*)$", "", text, flags=re.IGNORECASE)
    grouping = "," if decimal == "." else "."
    if grouping in text:
        # A grouping mark stands before three digits; anything else is the other decimal mark.
        if not re.fullmatch(rf"[+-]?\d{{1,3}}(?:\{grouping}\d{{3}})+(?:\{decimal}\d*)?", text):
            return ""
        text = text.replace(grouping, "")
    return text.replace(",", ".")


def decimal_votes(cells: Sequence[str]) -> tuple[int, int]:
    """How many cells have a decimal comma, and how many a decimal point.

    Args:
        cells: sequence of str. Cells of temperatures or humidities, which are never in thousands.

    Returns:
        (comma, point) counts; the last mark of a cell is its decimal mark.
    """
    marks = [found[1] for cell in cells if (found := re.search(r"\d([.,])\d+\D*$", cell))]
    return marks.count(","), marks.count(".")
