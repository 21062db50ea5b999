"""Logger files written by hand, each with the readings a person takes from it.

Every expected moment was turned to UTC by hand: Vienna is UTC+1 in winter and
UTC+2 from the last Sunday of March to the last Sunday of October (Directive
2000/84/EC, art. 2 and 3); Fahrenheit to Celsius by (F - 32) / 1.8.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from saltloft.store.loggers import ReadOptions

T, RH = "temperature_c", "rh_pct"
VIENNA = "Europe/Vienna"


@dataclass(frozen=True)
class Layout:
    """One file and what it says.

    `expected` maps 'ROOM/quantity' to 'YYYY-MM-DD HH:MM[:SS]' in UTC and the value.
    """

    name: str
    data: bytes
    expected: dict[str, list[tuple[str, float]]]
    options: ReadOptions = field(default_factory=lambda: ReadOptions(house_zone=VIENNA))
    says: tuple[str, ...] = ()
    events: int = 0
    missing: int = 0
    refused: tuple[int, ...] = ()


def options(**known: object) -> ReadOptions:
    return ReadOptions(**{"house_zone": VIENNA, **known})  # type: ignore[arg-type]


LAYOUTS: list[Layout] = []


def layout(name: str, text: str, expected: dict[str, list[tuple[str, float]]], **more: object) -> None:
    encoding = str(more.pop("encoding", "utf-8"))
    data = text.lstrip("\n").encode(encoding)
    LAYOUTS.append(Layout(name, data, expected, **more))  # type: ignore[arg-type]
