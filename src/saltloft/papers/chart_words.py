"""What a chart shows, in one sentence computed from its data."""

from __future__ import annotations

from saltloft.foundation.bands import Band
from saltloft.foundation.words import say, say_many
from saltloft.plant.answers import LotOutlook
from saltloft.plant.sentences import now_words, range_words, ready_words, target_words


def lot_curve_words(outlook: LotOutlook) -> str:
    """The alternative text of the lot's curve: now, weighings, ready day, air, its gaps, the air ahead."""
    parts = [
        say(
            "Weight loss of {lot} by days since hanging, computed {now} on day {day}.",
            lot=outlook.lot,
            now=now_words(outlook),
            day=round(outlook.age_d - outlook.hang_offset_d),
        )
    ]
    if outlook.weighings:
        last = outlook.weighings[-1]
        parts.append(
            say_many(
                "{count} weighing, measured {loss} % on day {day}.",
                "{count} weighings, the last measured {loss} % on day {day}.",
                len(outlook.weighings),
                loss=f"{last.value:.1f}",
                day=round(last.day - outlook.hang_offset_d),
            )
        )
    else:
        parts.append(say("No weighing yet."))
    parts.append(ready_words(outlook))
    parts.append(air_words(outlook))
    parts += [flag.words for flag in outlook.result.flags if flag.code == "air_ahead"]
    return " ".join(part for part in parts if part)


def air_words(outlook: LotOutlook) -> str:
    """The room's air under the curve, in one sentence; says so when there is none."""
    air = outlook.air
    if not air.time_d:
        return say("No reading of the room's air.")
    hours = sum(gap.end_d - gap.start_d for gap in air.gaps) * 24.0
    holes = say_many(
        "{count} stretch without a reading, {hours} h in all.",
        "{count} stretches without a reading, {hours} h in all.",
        len(air.gaps),
        hours=round(hours) if hours >= 2.0 else f"{hours:.1f}",
    )
    return say(
        "Room air {cold} to {warm} °C and {dry} to {wet} % RH. {holes}",
        cold=f"{min(air.temperature_c):.1f}",
        warm=f"{max(air.temperature_c):.1f}",
        dry=round(min(air.rh_pct)),
        wet=round(max(air.rh_pct)),
        holes=holes if air.gaps else say("No gap in the log."),
    )


def ready_days_words(outlook: LotOutlook) -> str:
    """The alternative text of the ready-day lanes, in days since hanging."""
    target = outlook.result.targets[outlook.target_name]
    share = target.share_of_pieces.get("0.9")
    offset = outlook.hang_offset_d
    words = say(
        "Days since hanging until {lot} is at {target}: mean of the lot {mean}.",
        lot=outlook.lot,
        target=target_words(outlook),
        mean=range_words(_shifted(target.mean, offset), say("d")),
    )
    if share is None:
        return words
    return words + " " + say("9 of 10 pieces {days}.", days=range_words(_shifted(share, offset), say("d")))


def _shifted(band: Band, offset: float) -> Band:
    return Band(*(None if end is None else end - offset for end in (band.p05, band.p50, band.p95)))
