"""Real result dataclasses with plain arithmetic in them, for tests of papers and charts."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from saltloft.foundation.bands import Band
from saltloft.plant.answers import AirGap, AirRecord, LotOutlook, MeasuredPoint
from saltloft.process.result import DryingForecast, Flag, SeriesBand, TargetDay

STUFFED = datetime(2026, 3, 10, 12, 30, tzinfo=UTC)


def forecast() -> DryingForecast:
    """A loss that closes on 44 % with a scale of 30 days, doubt growing with it."""
    time = np.linspace(0.0, 120.0, 481)

    def loss(factor: float) -> np.ndarray:
        return 44.0 * (1.0 - np.exp(-time * factor / 30.0))

    def day(factor: float) -> float:
        return float(-np.log(1.0 - 35.0 / 44.0) * 30.0 / factor)

    series = SeriesBand(loss(0.8), loss(1.0), loss(1.25), loss(0.9), loss(1.0), loss(1.1))
    rest = SeriesBand(*(np.full_like(time, value) for value in (0.88, 0.9, 0.92, 0.89, 0.9, 0.91)))
    mean = Band(day(1.1), day(1.0), day(0.9))
    piece = Band(day(1.25), day(1.0), day(0.8))
    target = TargetDay(
        piece, mean, 1.0, {"0.5": mean, "0.9": Band(day(0.95), day(0.88), day(0.8))}, {"water": 41.0}
    )
    flag = Flag("case_hardening", 8.0, 0.3, "The rim dries faster than the core gives; 3 in 10 members.")
    return DryingForecast(
        time,
        120.0,
        {"weight_loss_pct": series, "water_activity_mean": rest},
        {"weight_loss_pct": target},
        {},
        (flag,),
        ("drying.water_diffusivity", "sorption.protein_capacity"),
        400,
        1,
        from_log_until_d=20.0,
    )


def outlook(*, gap_hours: float = 60.0, hang_offset_h: float = 4.0, lot: str = "AL-0310") -> LotOutlook:
    """A 65 mm lot on its day 20 with three weighings and a hole in the log."""
    time = np.arange(0.0, 20.0, 5.0 / 1440.0)
    time = time[(time < 11.0) | (time > 11.0 + gap_hours / 24.0)]
    rh = 80.0 + 4.0 * np.sin(time * 9.0)
    temperature = 14.0 + 0.4 * np.cos(time * 9.0)
    rh[np.argmin(abs(time - 6.0))] = 97.0
    air = AirRecord(
        tuple(time),
        tuple(temperature),
        tuple(rh),
        (AirGap(11.0, 11.0 + gap_hours / 24.0, "taken as set, with wider doubt"),),
        ("batch-7",),
    )
    points = tuple(
        MeasuredPoint(day, 44.0 * (1.0 - np.exp(-day / 30.0)) + shift, 0.0, 0.0, 6, (f"e{day}",))
        for day, shift in ((4.0, 0.3), (9.0, -0.4), (17.0, 0.1))
    )
    points = tuple(
        MeasuredPoint(p.day, p.value, p.value - 0.8, p.value + 0.8, p.pieces, p.entries) for p in points
    )
    return LotOutlook(
        lot=lot,
        product="alder",
        title="Alder 65",
        asof=STUFFED + timedelta(days=20),
        zone="Europe/Dublin",
        stuffed_at=STUFFED,
        hung_at=STUFFED + timedelta(hours=hang_offset_h),
        target_name="weight_loss_pct",
        target_value=35.0,
        weighings=points,
        air=air,
        result=forecast(),
        used_entries=("e4.0", "e9.0", "e17.0"),
        prior="house-0",
        model="drying 1",
        key="ab12",
    )
