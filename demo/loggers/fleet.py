"""The eleven loggers: where they sit, which firmware they run, and what is wrong with them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Logger:
    """One logger.

    Args:
        name: str. Its serial, part of the file name.
        rooms: tuple of str. One room, or several for the hub.
        layout: str. Key of `layouts.LAYOUTS`.
        clock: str. 'follows' summer time, 'utc', or 'bug' for the one that counts 03:00 twice in March.
        temperature_bias_c, rh_bias_pct: float. Constant errors. [degC], [%RH]
        rh_drift_pct_year: float. [%RH/a]
        drift_s_month: float. Seconds its clock gains a month, never reset. [s]
        role: str. 'main' or 'second': the second logger of a room stands in only where the first has a gap.
    """

    name: str
    rooms: tuple[str, ...]
    layout: str
    clock: str = "follows"
    temperature_bias_c: float = 0.0
    rh_bias_pct: float = 0.0
    rh_drift_pct_year: float = 0.0
    drift_s_month: float = 0.0
    role: str = "main"

    @property
    def said_room(self) -> str:
        """The room named when a file is brought in: none for the hub, ROOM/LOGGER for a second logger."""
        if len(self.rooms) > 1:
            return ""
        return self.rooms[0] if self.role == "main" else f"{self.rooms[0]}/{self.name}"


FLEET = (
    Logger("L01", ("F1",), "semicolon", temperature_bias_c=0.05, rh_bias_pct=0.6),
    Logger("L02", ("F2",), "quoted", rh_bias_pct=-0.4),
    Logger("L03", ("D1",), "semicolon", temperature_bias_c=-0.08, rh_bias_pct=0.9, rh_drift_pct_year=0.8),
    Logger("L04", ("D2",), "fahrenheit_12h", temperature_bias_c=0.06, rh_bias_pct=-0.7),
    Logger("L05", ("A1",), "long", clock="utc", rh_bias_pct=0.5),
    Logger("L06", ("H1", "H2", "H3", "H4"), "channels", temperature_bias_c=0.04, rh_bias_pct=0.3),
    Logger("L07", ("F2",), "fahrenheit_24h", temperature_bias_c=0.12, rh_bias_pct=1.1, role="second"),
    Logger("L08", ("D1",), "semicolon", rh_bias_pct=1.6, drift_s_month=240.0, role="second"),
    Logger("L09", ("A1",), "quoted", clock="bug", rh_bias_pct=-0.9, role="second"),
    Logger("L10", ("P1",), "quoted", temperature_bias_c=0.1),
    Logger("L11", ("C1",), "long", clock="utc", temperature_bias_c=-0.1),
)
