"""How each firmware writes its text: one function a layout, rows in, one text out."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from demo.truth.sorption import Array


@dataclass(frozen=True)
class Sheet:
    """What one download holds, before it is written.

    Args:
        serial: str. The logger.
        rooms: tuple of str.
        stamps: list of datetime. Naive, as the logger's own clock showed them.
        temperature_c: array (n, rooms). As sensed. [degC]
        rh_pct: array (n, rooms). As sensed; NaN where the sensor gave nothing. [%RH]
    """

    serial: str
    rooms: tuple[str, ...]
    stamps: list[datetime]
    temperature_c: Array
    rh_pct: Array


def _fixed(values: Array, mark: str = ".", missing: str = "---") -> list[str]:
    tenths = np.round(values, 1).tolist()
    return [missing if math.isnan(value) else f"{value:.1f}".replace(".", mark) for value in tenths]


def semicolon(sheet: Sheet) -> str:
    """Row counter, date and time apart, semicolons and decimal commas."""
    warm, damp = _fixed(sheet.temperature_c[:, 0], ","), _fixed(sheet.rh_pct[:, 0], ",")
    rows = [
        f"{number};{stamp:%d.%m.%Y;%H:%M:%S};{t};{h}"
        for number, (stamp, t, h) in enumerate(zip(sheet.stamps, warm, damp, strict=True), 1)
    ]
    return "\r\n".join(["No.;Date;Time;Temp(°C);RH(%)", *rows, ""])


def quoted(sheet: Sheet) -> str:
    """Quoted headings that carry the unit, day before month, leading spaces before numbers."""
    warm, damp = _fixed(sheet.temperature_c[:, 0]), _fixed(sheet.rh_pct[:, 0])
    rows = [
        f"{number},{stamp:%d/%m/%Y %H:%M:%S}, {t}, {h}"
        for number, (stamp, t, h) in enumerate(zip(sheet.stamps, warm, damp, strict=True), 1)
    ]
    return "\r\n".join(['"#","Date/Time","Temperature (°C)","Humidity (%RH)"', *rows, ""])


def fahrenheit_12h(sheet: Sheet) -> str:
    """US export firmware: month first, twelve-hour clock, degrees Fahrenheit."""
    warm, damp = _fixed(sheet.temperature_c[:, 0] * 1.8 + 32.0), _fixed(sheet.rh_pct[:, 0])
    rows = [
        f"{stamp:%m/%d/%Y,%I:%M %p},{t},{h}" for stamp, t, h in zip(sheet.stamps, warm, damp, strict=True)
    ]
    return "\n".join(["Date,Time,Temp(°F),RH(%)", *rows, ""])


def fahrenheit_24h(sheet: Sheet) -> str:
    """US export firmware, newer: month first, one stamp, degrees Fahrenheit."""
    warm, damp = _fixed(sheet.temperature_c[:, 0] * 1.8 + 32.0), _fixed(sheet.rh_pct[:, 0])
    rows = [f"{stamp:%m/%d/%Y %H:%M},{t},{h}" for stamp, t, h in zip(sheet.stamps, warm, damp, strict=True)]
    return "\n".join(["Timestamp,Temperature deg F,Relative Humidity %", *rows, ""])


def long(sheet: Sheet) -> str:
    """One value a row, in UTC with a Z."""
    warm, damp = _fixed(sheet.temperature_c[:, 0]), _fixed(sheet.rh_pct[:, 0])
    lines = ["device_id,timestamp,channel,value,unit,quality"]
    for stamp, t, h in zip(sheet.stamps, warm, damp, strict=True):
        when = f"{sheet.serial},{stamp:%Y-%m-%dT%H:%M:%SZ}"
        lines += (f"{when},temperature,{t},C,good", f"{when},humidity,{h},%,good")
    return "\n".join([*lines, ""])


def channels(sheet: Sheet) -> str:
    """The hub: every room a pair of columns."""
    columns = []
    for index in range(len(sheet.rooms)):
        columns += [_fixed(sheet.temperature_c[:, index]), _fixed(sheet.rh_pct[:, index])]
    heads = [f"{room} {what}" for room in sheet.rooms for what in ("T (°C)", "RH (%)")]
    rows = [
        f"{stamp:%Y-%m-%d %H:%M}," + ",".join(cells)
        for stamp, *cells in zip(sheet.stamps, *columns, strict=True)
    ]
    return "\n".join(["Timestamp," + ",".join(heads), *rows, ""])


LAYOUTS: dict[str, Callable[[Sheet], str]] = {
    "semicolon": semicolon,
    "quoted": quoted,
    "fahrenheit_12h": fahrenheit_12h,
    "fahrenheit_24h": fahrenheit_24h,
    "long": long,
    "channels": channels,
}
ENCODINGS = {"semicolon": "cp1252"}
"""The old firmware writes its degree sign in the PC's own code page; the rest write UTF-8."""
