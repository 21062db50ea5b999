"""What is ready or nearly, and what a usual week would still make."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from statistics import median

from saltloft.cases.house_day import HouseDay
from saltloft.foundation.words import say
from saltloft.plant.answers import DayItem
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.sentences import day_words, hazards_words, loss_at, now_words, ready_words

# 'Nearly': the early end of the range lies within a week.
NEARLY_D = 7.0
# A usual week is the median of this many full weeks in which the product was made at all.
WEEKS = 8


def ready(day: HouseDay) -> list[DayItem]:
    """Lots whose target lies within reach, those nearest to it first; held lots are left out."""
    found = []
    for lot in day.hanging:
        outlook = day.outlooks.get(lot.lot)
        band = outlook.result.targets[outlook.target_name].mean if outlook else None
        if outlook is None or band is None or band.p05 is None or band.p50 is None or lot.open_holds:
            continue
        if not outlook.promise or band.p05 > outlook.age_d + NEARLY_D:
            continue
        judgement = day.judgements.get(lot.lot)
        sources = [*outlook.used_entries, *outlook.air.batches]
        words = [say("Computed {now} lost.", now=now_words(outlook)), ready_words(outlook)]
        if judgement is not None:
            words.append(hazards_words(judgement, most=4))
            stands = (verdict for stand in judgement.hazards for verdict in stand.verdicts)
            sources += [source for verdict in stands for source in (*verdict.readings, *verdict.sources)]
        loss = loss_at(outlook, outlook.age_d).p50
        item = DayItem(
            "ready",
            lot.lot,
            None if loss is None else float(round(loss)),
            say("% lost"),
            " ".join(words),
            tuple(dict.fromkeys(sources)),
        )
        found.append((band.p50 - outlook.age_d, item))
    return [item for _, item in sorted(found, key=lambda pair: pair[0])]


def make(day: HouseDay) -> list[DayItem]:
    """What a usual week of each product still leaves to make, from what was made before."""
    return [item for name in sorted(day.products) if (item := _of_product(day, name)) is not None]


def _of_product(day: HouseDay, name: str) -> DayItem | None:
    monday = day.day - timedelta(days=day.day.weekday())
    weeks: dict[date, list[LotRecord]] = defaultdict(list)
    for lot in day.lots:
        if lot.product == name:
            made = day.local(lot.made_at)
            weeks[made - timedelta(days=made.weekday())].append(lot)
    full = [monday - timedelta(weeks=number) for number in range(1, WEEKS + 1)]
    busy = [week for week in full if week in weeks]
    if len(busy) * 2 < WEEKS:
        return None
    usual = median(sum(lot.green_mass.kg for lot in weeks[week]) for week in busy)
    done = sum(lot.green_mass.kg for lot in weeks.get(monday, []))
    left = usual - done
    if left < 0.1 * usual:
        return None
    entries = [
        entry for week in (*busy, monday) for lot in weeks.get(week, []) for entry in lot.made.entry_ids
    ]
    title = day.products[name].title
    return DayItem(
        "make",
        title,
        float(round(left)),
        "kg",
        say(
            "{title}: a usual week is {usual} kg (median of the {count} weeks made since {since}); "
            "{done} kg made since Monday.",
            title=title,
            usual=f"{usual:,.0f}",
            count=len(busy),
            since=day_words(min(busy), day.day),
            done=f"{done:,.0f}",
        ),
        (*entries, *day.product_entries.get(name, ())),
    )
