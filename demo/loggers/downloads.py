"""Every download of every logger: what was sensed, when its clock said so, as a file's bytes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np

from demo.clock import FIRST_DAY, START, STEP_SECONDS, TODAY, ZONE, local
from demo.draws import stream
from demo.house import ROOM_INDEX
from demo.loggers.fleet import FLEET, Logger
from demo.loggers.layouts import ENCODINGS, LAYOUTS, Sheet
from demo.truth.rooms import RoomAir
from demo.truth.sorption import Array

EVERY = timedelta(minutes=10)
HEAT_GAP_AFTER = datetime.fromisoformat("2026-07-18T03:10")
"""D2's logger stopped at this stamp of its own clock and went on 14 minutes later."""
HEAT_CLOCK_FAST = timedelta(minutes=9)
FLAT_LINE = (local(date(2026, 5, 21), "01:00"), local(date(2026, 5, 21), "07:00"))
BUG_FROM = datetime(2026, 3, 29, 1, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Download:
    """One file as it was copied off a logger.

    Args:
        file_name: str.
        logger: Logger.
        text: bytes.
        downloaded_at: datetime. UTC.
        clock_fast_s: int. Seconds the logger's clock was ahead of the phone at the download. [s]
        rows: int. Stamps in the file.
    """

    file_name: str
    logger: Logger
    text: bytes
    downloaded_at: datetime
    clock_fast_s: int
    rows: int

    @property
    def answers(self) -> dict[str, str]:
        """What the person who copied the file knows about the logger's clock."""
        known = {"clock_fast_seconds": str(self.clock_fast_s)} if self.clock_fast_s else {}
        if self.logger.clock == "bug" and self.file_name.endswith("2026-03.csv"):
            known["spring_hour"] = "standard_after"
        return known


def _periods() -> list[tuple[date, date]]:
    """First and last-plus-one day of each download; October's is taken on today's morning."""
    starts = [FIRST_DAY] + [date(2025, 12, 1)] + [date(2026, month, 1) for month in range(1, 11)]
    return list(zip(starts, [*starts[1:], date(2026, 11, 4)], strict=True))


def _fast_seconds(logger: Logger, moment: datetime) -> float:
    months = (moment - START).total_seconds() / (30.4 * 86400)
    return logger.drift_s_month * months


def _clock_shows(logger: Logger, moment: datetime) -> datetime:
    """The logger's own naive stamp at a true moment, without drift."""
    if logger.clock == "utc":
        return moment.replace(tzinfo=None)
    shown = moment.astimezone(ZONE).replace(tzinfo=None)
    if logger.clock == "bug" and BUG_FROM + timedelta(hours=1) <= moment < local(date(2026, 4, 1), "00:00"):
        # It sprang to 03:00 in March and an hour later fell back; the next download set it right.
        shown -= timedelta(hours=1)
    return shown


def _sense(seed: int, logger: Logger, air: RoomAir, moments: list[datetime]) -> tuple[Array, Array]:
    """Temperature and RH of the logger's rooms as it senses them."""
    seconds = np.array([(moment - START).total_seconds() for moment in moments])
    index = np.clip(seconds / STEP_SECONDS, 0, air.rh.shape[0] - 1)
    low = np.minimum(index.astype(int), air.rh.shape[0] - 2)
    share = (index - low)[:, None]
    columns = [ROOM_INDEX[room] for room in logger.rooms]
    rng = stream(seed, "sensor", logger.name, moments[0].date())
    shape = (len(moments), len(columns))
    warm = air.temperature_c[low][:, columns] * (1 - share) + air.temperature_c[low + 1][:, columns] * share
    damp = air.rh[low][:, columns] * (1 - share) + air.rh[low + 1][:, columns] * share
    warm = warm + logger.temperature_bias_c + 0.04 * rng.standard_normal(shape)
    drift = logger.rh_bias_pct + logger.rh_drift_pct_year * seconds[:, None] / (365.25 * 86400)
    damp = np.minimum(100.0 * damp + drift + 0.25 * rng.standard_normal(shape), 99.9)
    return warm, damp


def _stamps(logger: Logger, first: date, last: date) -> tuple[list[datetime], list[datetime]]:
    """True moments and shown stamps of one download."""
    end = min(local(last, "00:00"), TODAY)
    moment = local(first, "00:00")
    heat = logger.name == "L04" and first == date(2026, 7, 1)
    moments, shown = [], []
    while moment < end:
        fast = timedelta(seconds=round(_fast_seconds(logger, moment)))
        stamp = _clock_shows(logger, moment)
        # A logger samples at the round minutes of its own clock: a fast clock samples early.
        true = moment - (HEAT_CLOCK_FAST if heat else fast)
        if heat and stamp > HEAT_GAP_AFTER:
            stamp, true = stamp + timedelta(minutes=4), true + timedelta(minutes=4)
        moments.append(true)
        shown.append(stamp)
        moment += EVERY
    return moments, shown


def _download(seed: int, logger: Logger, air: RoomAir, first: date, last: date) -> Download:
    moments, shown = _stamps(logger, first, last)
    warm, damp = _sense(seed, logger, air, moments)
    if logger.name == "L03":
        stuck = np.array([FLAT_LINE[0] <= moment < FLAT_LINE[1] for moment in moments])
        damp[stuck] = 99.9
    if logger.name in ("L02", "L10"):
        lost = stream(seed, "lost", logger.name, first).integers(0, len(moments), 3)
        damp[lost] = np.nan
    text = LAYOUTS[logger.layout](Sheet(logger.name, logger.rooms, shown, warm, damp))
    downloaded = min(local(last, "05:20"), TODAY - timedelta(minutes=10))
    fast = _fast_seconds(logger, downloaded)
    if logger.name == "L04" and first == date(2026, 7, 1):
        fast = HEAT_CLOCK_FAST.total_seconds()
    rooms = "-".join(logger.rooms)
    return Download(
        f"{logger.name}_{rooms}_{first:%Y-%m}.csv",
        logger,
        text.encode(ENCODINGS.get(logger.layout, "utf-8")),
        downloaded,
        round(fast),
        len(shown),
    )


def downloads(seed: int, air: RoomAir) -> Iterator[Download]:
    """Every download of the year, in the order they were taken."""
    for first, last in _periods():
        for logger in FLEET:
            yield _download(seed, logger, air, first, last)
