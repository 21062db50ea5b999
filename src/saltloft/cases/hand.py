"""Every press and cut of the house beside its numbers on that day, and what the engine learned of them."""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from saltloft.cases import kept_outlook
from saltloft.cases.lot_weighings import losses, measured_points
from saltloft.cases.open_house import OpenHouse, known_at
from saltloft.plant.answers import LotOutlook, MeasuredPoint
from saltloft.plant.hand import HouseHand
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.readings import PressedAndCut
from saltloft.plant.stated import Stated
from saltloft.process.hand import Cut, HandLaw, Held, press_law, rim_law
from saltloft.process.hand_grades import GradeHeld, GradeLaw, GradeSkill, grade_laws
from saltloft.process.hand_skill import Skill, index_skill
from saltloft.store.kept import KeptResult

SORT, SUBJECT = "hand", "house"
# Raised when the law or how cuts are gathered changes.
MODEL = "hand/4"
# The newest lots that were cut; older hands and recipes teach little (chosen, no source).
MOST_LOTS = 150
# A weighing or a water activity this close to the cut is the number of that cut.
SAME_LOOK = timedelta(hours=36)
GROUND = ("ground", "slice")
# From when to when the early loss is taken, days from stuffing.
EARLY_D = (3.0, 7.0)


@dataclass(frozen=True)
class HandCase:
    """The cuts of a house and the digest of what they rest on.

    Args:
        cuts: tuple of Cut. By time.
        left_out: int. Cuts without any number beside them.
        key: str.
    """

    cuts: tuple[Cut, ...]
    left_out: int
    key: str


def hand_case(house: OpenHouse, at: datetime) -> HandCase:
    """Gather the cuts of the newest lots with their loss, water activity and computed rim.

    Args:
        house: OpenHouse.
        at: datetime, aware. Only what was recorded by then counts.
    """
    known = known_at(house, at)
    newest: dict[str, datetime] = {}
    for item in house.store.cuts.all(known):
        newest[item.payload.lot] = max(item.at, newest.get(item.payload.lot, item.at))
    lots = sorted(newest, key=lambda lot: (newest[lot], lot))[-MOST_LOTS:]
    meters = {record.instrument: record for record in house.store.instruments.all(known)}
    cuts: list[Cut] = []
    rests_on = [MODEL, *(f"{name} {len(record.history)}" for name, record in sorted(meters.items()))]
    left_out = 0
    for lot in lots:
        record = house.store.lots.find(lot, known)
        if record is None or record.family != "dry_sausage":
            continue
        kept = house.store.kept.latest(kept_outlook.SORT, lot)
        outlook = None if kept is None else kept_outlook.from_bytes(kept.body)
        points = measured_points(losses(record))
        good = [
            (item.at, float(item.payload.value))
            for item in record.water_activities
            if item.payload.sample in GROUND
            and item.payload.instrument in meters
            and meters[item.payload.instrument].in_check_at(item.at)
        ]
        found = [_cut(record, item, points, good, outlook) for item in record.pressed_and_cut]
        cuts += [cut for cut in found if cut is not None]
        left_out += sum(cut is None for cut in found)
        rests_on.append(f"{lot} {record.last_seq} {'' if outlook is None else outlook.key}")
    key = hashlib.sha256("\n".join(rests_on).encode()).hexdigest()
    return HandCase(tuple(sorted(cuts, key=lambda cut: (cut.at_s, cut.lot, cut.entry))), left_out, key)


def _cut(
    record: LotRecord,
    item: Stated[PressedAndCut],
    points: Sequence[MeasuredPoint],
    activities: Sequence[tuple[datetime, float]],
    outlook: LotOutlook | None,
) -> Cut | None:
    """One cut with the numbers measured beside it, else those computed for that day; None with neither."""
    day = (item.at - record.made_at).total_seconds() / 86400.0
    near = SAME_LOOK.total_seconds() / 86400.0
    weighed = min(points, key=lambda point: abs(point.day - day), default=None)
    loss = weighed.value / 100.0 if weighed is not None and abs(weighed.day - day) <= near else None
    read = min(activities, key=lambda pair: abs(pair[0] - item.at), default=None)
    activity = read[1] if read is not None and abs(read[0] - item.at) <= SAME_LOOK else None
    measured = loss is not None and activity is not None
    if loss is None:
        computed = _computed(outlook, "weight_loss_pct", day)
        loss = None if computed is None else computed / 100.0
    if activity is None:
        activity = _computed(outlook, "water_activity_mean", day)
    if loss is None or activity is None:
        return None
    core, rim = (_computed(outlook, f"water_activity_{place}", day) for place in ("core", "rim"))
    said = item.payload
    return Cut(
        lot=record.lot,
        product=record.product,
        at_s=item.at.timestamp(),
        press=sum(said.press) / len(said.press) if said.press else None,
        rim_mm=None if said.rim_mm is None else float(said.rim_mm),
        loss=loss,
        water_activity=activity,
        measured=measured,
        gap=None if core is None or rim is None else core - rim,
        index=_computed(outlook, "case_hardening", day),
        entry=item.entry_id,
        rim_activity=rim,
        early_rate=_early_rate(outlook, day),
        hollow_share=_hollow_share(outlook, day),
        hollow=said.hollow,
        ring=said.ring,
        smear=said.smear,
        colour=said.colour,
    )


def _early_rate(outlook: LotOutlook | None, day: float) -> float | None:
    """Loss from day 3 to 7 of the lot's median; None where a cut came before that. [% a day]"""
    first, last = EARLY_D
    ends = [_computed(outlook, "weight_loss_pct", at) for at in EARLY_D]
    if day < last or ends[0] is None or ends[1] is None:
        return None
    return (ends[1] - ends[0]) / (last - first)


def _hollow_share(outlook: LotOutlook | None, day: float) -> float | None:
    """Share of computed cases in which a hollow centre was to be feared by a day, 0..1."""
    if outlook is None:
        return None
    found = [flag for flag in outlook.result.flags if flag.code == "hollow_centre"]
    return sum(flag.share for flag in found if flag.at_d is not None and flag.at_d <= day)


def _computed(outlook: LotOutlook | None, quantity: str, day: float) -> float | None:
    """The lot's median at a day; None outside of what was computed."""
    if outlook is None or not outlook.result.time_d[0] <= day <= outlook.result.horizon_d:
        return None
    return float(np.interp(day, outlook.result.time_d, outlook.result.bands[quantity].mean_p50))


def house_hand(house: OpenHouse, at: datetime) -> HouseHand:
    """What the house's hands taught: the kept answer when nothing it rests on changed, else a new one, kept.

    Args:
        house: OpenHouse.
        at: datetime, aware.
    """
    case = hand_case(house, at)
    kept = house.store.kept.get(case.key)
    if kept is not None:
        return from_bytes(kept.body)
    found = HouseHand(
        press_law(case.cuts),
        rim_law(case.cuts),
        index_skill(case.cuts),
        case.left_out,
        grade_laws(case.cuts),
    )
    house.store.kept.put(KeptResult(case.key, SORT, SUBJECT, house.now(), to_bytes(found)))
    return found


def kept_hand(house: OpenHouse) -> HouseHand | None:
    """The last answer kept, whatever it rested on; None when there is none or another version wrote it."""
    kept = house.store.kept.latest(SORT, SUBJECT)
    try:
        return None if kept is None else from_bytes(kept.body)
    except (KeyError, TypeError):
        return None


def to_bytes(hand: HouseHand) -> bytes:
    """As compressed JSON; the same hand gives the same bytes."""
    return zlib.compress(json.dumps(asdict(hand), sort_keys=True).encode(), 6)


def from_bytes(body: bytes) -> HouseHand:
    """The hand behind `to_bytes`."""
    plain = json.loads(zlib.decompress(body))

    def law(part: dict[str, object]) -> HandLaw:
        held = tuple(Held(**one) for one in part.pop("held"))  # type: ignore[attr-defined]
        return HandLaw(held=held, **{**part, "coefficients": tuple(part["coefficients"])})  # type: ignore[arg-type]

    return HouseHand(
        law(plain["press"]),
        law(plain["rim"]),
        Skill(**plain["skill"]),
        plain["left_out"],
        tuple(_grade_law(one) for one in plain["grades"]),
    )


def _grade_law(plain: dict[str, Any]) -> GradeLaw:
    held = tuple(
        GradeHeld(**{**one, "given": tuple(one["given"]), "base": tuple(one["base"])})
        for one in plain["held"]
    )
    lists = {name: tuple(plain[name]) for name in ("shares", "slopes")}
    return GradeLaw(**{**plain, **lists, "held": held, "skill": GradeSkill(**plain["skill"])})
