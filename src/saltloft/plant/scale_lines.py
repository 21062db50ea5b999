"""What a scale sends over its serial line: one number, its unit, and whether it stands still.

Scales differ, but the lines of most (common practice, no source) hold the
number with its unit once, and 'ST' or 'S' for still, 'US', 'SD' or 'D' for moving,
'OL' for overloaded; such as 'ST,GS,+  1.043kg' or 'S S      1043.5 g'.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

UNITS = ("kg", "g", "lb", "oz")
_NUMBER = re.compile(r"([+-]?)\s*(?<![\d.,])(\d{1,6}(?:[.,]\d{1,4})?)\s*(kg|g|lb|oz)\b", re.IGNORECASE)
_WORD = re.compile(r"[A-Z]+")
_MOVING = frozenset({"US", "SD", "D", "UN"})
_FAULT = frozenset({"OL", "UL", "ERR", "E"})


@dataclass(frozen=True)
class ScaleLine:
    """One line understood.

    Args:
        number: str. As shown, without its sign, a point as decimal mark.
        unit: str. One of UNITS.
        still: bool. False while the reading moves.
    """

    number: str
    unit: str
    still: bool


def read_line(line: str) -> ScaleLine | None:
    """What one line says; None when it holds no weight above zero, two of them, or a fault.

    Args:
        line: str. Without its end.
    """
    found = _NUMBER.findall(line)
    if len(found) != 1:
        return None
    sign, number, unit = found[0]
    words = set(_WORD.findall(_NUMBER.sub(" ", line).upper()))
    number = number.replace(",", ".")
    if sign == "-" or float(number) == 0.0 or words & _FAULT:
        return None
    return ScaleLine(number, unit.lower(), not words & _MOVING)
