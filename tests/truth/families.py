"""Five families of drying truth: from a seed to lots, each with what is known and what is true."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from tests.truth.cylinder import Body, Course, PieceAir, dry
from tests.truth.houses import LOTS_PER_HOUSE, PIECES, TAGS, LotDraw, draw_lot, practice_days
from tests.truth.known import KnownLot, Lot, TrueLot
from tests.truth.laws import moisture_exponential, obstruction
from tests.truth.materials import batter
from tests.truth.rooms import HOURS, Places, Room, hang, logged, true_room
from tests.truth.weighing import weigh

Array = NDArray[np.float64]

LOTS_IN_A_BATCH = 40
SHORTEST_D, LONGEST_D = 45, 200


@dataclass(frozen=True)
class Family:
    """What is odd about a family of truths.

    Args:
        name: str.
        number: int. Its place in the seeds; never reused.
        other_law: bool. Diffusivity by another law.
        compartments: bool. Part of the water only gives to the flowing part.
        racks_move: bool. Places differ more, and racks change places.
        probe_and_fans: bool. The probe drifts, and fans stop without a record.
        square_root: bool. Loss is exactly proportional to the square root of time.
    """

    name: str
    number: int
    other_law: bool = False
    compartments: bool = False
    racks_move: bool = False
    probe_and_fans: bool = False
    square_root: bool = False


FAMILIES = {
    family.name: family
    for family in (
        Family("other_diffusivity", 1, other_law=True),
        Family("two_compartments", 2, compartments=True),
        Family("moving_racks", 3, racks_move=True),
        Family("drifted_probe", 4, probe_and_fans=True),
        Family("square_root", 5, square_root=True),
    )
}


def time_grid(days: int) -> Array:
    """Steps of one hour to day 4, two to day 12, then three; whole days are among them. [d]"""
    young, mid = min(days, 4), min(days, 12)
    hours = np.concatenate(
        [
            np.arange(0, young * HOURS, 1),
            np.arange(young * HOURS, mid * HOURS, 2),
            np.arange(mid * HOURS, days * HOURS, 3),
        ]
    )
    return np.append(hours, days * HOURS) / HOURS


def horizon_days(calibre_m: float) -> int:
    """How long a lot of this calibre is followed: 2.6 times practice, 45 to 200 d. [d]"""
    return int(np.clip(2.6 * practice_days(np.array(calibre_m)), SHORTEST_D, LONGEST_D))


def make_lots(name: str, lots: int, seed: int, per_house: int = LOTS_PER_HOUSE) -> list[Lot]:
    """The first lots of a family.

    Args:
        name: str. One of FAMILIES.
        lots: int. How many, from number 0.
        seed: int. README.md says which seeds are for tuning and which for scoring.
        per_house: int. Lots in a row that belong to one house, as many of each of its four products.

    Returns:
        List of Lot, in order of number.
    """
    family = FAMILIES[name]
    draws = [draw_lot(seed, family.number, number, per_house) for number in range(lots)]
    if family.square_root:
        return [_square_root_lot(draw) for draw in draws]
    by_length = sorted(draws, key=lambda draw: (horizon_days(draw.product.calibre_m), draw.number))
    batches = [by_length[i : i + LOTS_IN_A_BATCH] for i in range(0, lots, LOTS_IN_A_BATCH)]
    done = [lot for batch in batches for lot in _dry_batch(family, batch)]
    order = np.argsort([draw.number for batch in batches for draw in batch])
    return [done[i] for i in order]


def _dry_batch(family: Family, batch: list[LotDraw]) -> list[Lot]:
    """Dry a few lots side by side to the longest horizon among them."""
    days = max(horizon_days(draw.product.calibre_m) for draw in batch)
    # Always drawn at full length, so that a lot's draws do not hang on its neighbours in the batch.
    rooms = [true_room(draw, LONGEST_D, family.probe_and_fans) for draw in batch]
    places = [hang(draw, LONGEST_D, family.racks_move) for draw in batch]
    body = _body(family, batch)
    edges = time_grid(days)
    course = dry(body, piece_air(family, batch, rooms, places, edges))
    return [
        _finish(
            family,
            draw,
            rooms[i],
            places[i],
            body=body,
            course=course,
            mine=slice(i * PIECES, (i + 1) * PIECES),
        )
        for i, draw in enumerate(batch)
    ]


def _body(family: Family, batch: list[LotDraw]) -> Body:
    """The pieces of all lots of a batch, one after another."""

    def lotwise(values: list[float]) -> Array:
        return np.repeat(np.array(values), PIECES)

    solids = lotwise([1.0 - draw.water - draw.fat - draw.salt for draw in batch])
    speed = lotwise([draw.house.log_diffusivity + draw.log_diffusivity for draw in batch])
    speed = np.exp(speed + np.concatenate([draw.piece_log_diffusivity for draw in batch]))
    shape = lotwise([draw.house.law_shape for draw in batch])
    fat = lotwise([draw.house.law_fat for draw in batch])
    law = (
        moisture_exponential(7.4e-11 * speed, 4.0 + 0.7 * shape, 0.95 + 0.05 * np.clip(fat, -2.0, 2.0))
        if family.other_law
        else obstruction(
            (0.95e-10 if family.compartments else 0.86e-10) * speed,
            1.7 * np.exp(0.2 * shape),
            0.25 + 0.15 * fat,
        )
    )
    slow = 0.35 + 0.05 * np.clip(shape, -2.0, 2.0) if family.compartments else np.zeros_like(shape)
    return Body(
        diameter_m=np.concatenate([draw.diameter_m for draw in batch]),
        water=lotwise([draw.water for draw in batch]) / solids,
        salt=lotwise([draw.salt for draw in batch]) / solids,
        fat=lotwise([draw.fat for draw in batch]) / solids,
        solutes=lotwise([draw.solutes_mol_kg for draw in batch]) / solids,
        law=law,
        activation_j_mol=np.full_like(shape, 22e3 if family.other_law else 30e3),
        salt_ratio=np.full_like(shape, 2.5),
        drag=np.full_like(shape, 0.0 if family.other_law else 0.5),
        film_factor=lotwise([float(np.exp(draw.rng.normal(0.0, 0.15))) for draw in batch]),
        casing_s_m=lotwise([draw.product.casing_s_m for draw in batch]),
        radiation_w_m2k=np.full_like(shape, 2.2),
        slow_share=slow,
        slow_per_s=np.exp(-0.5 * fat) / (4.0 * 86400.0),
    )


def _step_means(hourly: Array, edges: Array) -> Array:
    """Means of an hourly series over the steps, by trapezoids; edges fall on whole hours."""
    area = np.concatenate([[0.0], np.cumsum(0.5 * (hourly[1:] + hourly[:-1]))])
    at = np.rint(edges * HOURS).astype(int)
    return np.asarray(np.diff(area[at]) / np.diff(at))


def piece_air(
    family: Family, batch: list[LotDraw], rooms: list[Room], places: list[Places], edges: Array
) -> PieceAir:
    """The room's air with each piece's place on top, a lot after the other in the columns."""
    spread = 2.5 if family.racks_move else 1.0
    day = np.floor(edges[:-1] + 1e-9).astype(int)
    columns: dict[str, list[Array]] = {"c": [], "rh": [], "air": [], "exchange": []}
    for draw, room, hung in zip(batch, rooms, places, strict=True):
        place = hung.place[day]
        moist = draw.house.place_humidity.mean() + spread * (
            draw.house.place_humidity - draw.house.place_humidity.mean()
        )
        speed = draw.house.place_air**spread
        still = np.ones_like(place, dtype=float)
        columns["c"].append(_step_means(room.temperature_c, edges)[:, None] * still)
        humid = _step_means(room.relative_humidity, edges)[:, None] + moist[place]
        columns["rh"].append(np.clip(humid, 0.40, 0.985))
        columns["air"].append(_step_means(room.air_m_s, edges)[:, None] * speed[place])
        columns["exchange"].append(_step_means(room.exchange, edges)[:, None] * still)
    c, rh, air, exchange = (np.concatenate(column, axis=1) for column in columns.values())
    return PieceAir(edges, c, rh, air, exchange)


def _finish(
    family: Family, draw: LotDraw, room: Room, places: Places, *, body: Body, course: Course, mine: slice
) -> Lot:
    """Cut one lot out of its batch and let the house look at it."""
    end = horizon_days(draw.product.calibre_m) + 1
    solids = body.solids_kg_m[mine] * draw.length_m
    water, salt, gone = (solids * part[:end, mine] for part in (course.water, course.salt, course.evaporated))
    weight = solids * (1.0 + body.fat[mine]) + water + salt
    return _lot(family, draw, room, places, parts=(weight, gone, water, salt), target_day=None)


def _square_root_lot(draw: LotDraw) -> Lot:
    """A lot whose every piece loses in proportion to the square root of time.

    The law of a receding front behind a crust of constant resistance per depth in a flat body; no
    claim that sausage does it. The room does its own wandering, which here has no effect.
    """
    product, last = draw.product, draw.product.stages[-1]
    slower = (
        3.0 * (draw.fat - 0.27) + 4.0 * (last.relative_humidity - 0.78) - 0.04 * (last.temperature_c - 14.0)
    )
    slower -= draw.house.log_diffusivity + draw.log_diffusivity
    days_to_35 = practice_days(draw.diameter_m) * np.exp(slower - draw.piece_log_diffusivity)
    per_root_day = 0.35 / np.sqrt(days_to_35)
    longest = (0.9 * draw.water / per_root_day.max()) ** 2
    days = int(min(horizon_days(product.calibre_m), longest))
    room, places = true_room(draw, LONGEST_D, False), hang(draw, LONGEST_D, False)
    green = np.pi / 4.0 * draw.diameter_m**2 * draw.length_m * 1050.0
    gone = green * per_root_day * np.sqrt(np.arange(days + 1.0))[:, None]
    salt = np.broadcast_to(green * draw.salt, gone.shape)
    target_day = float((product.target_loss * green.sum() / (green * per_root_day).sum()) ** 2)
    parts = (green - gone, gone, green * draw.water - gone, salt)
    return _lot(FAMILIES["square_root"], draw, room, places, parts=parts, target_day=target_day)


def _day_reached(day: Array, loss: Array, target: float) -> float:
    """First day at which a rising loss is at the target, inf if never."""
    if loss.max() < target:
        return float("inf")
    first = int(np.argmax(loss >= target))
    roots = PchipInterpolator(day, loss - target).roots(extrapolate=False)
    inside = roots[(roots >= day[first - 1]) & (roots <= day[first])]
    return float(inside[0])


def _lot(
    family: Family,
    draw: LotDraw,
    room: Room,
    places: Places,
    *,
    parts: tuple[Array, Array, Array, Array],
    target_day: float | None,
) -> Lot:
    """What is known beside what is true; parts are weight, evaporated, water and salt in kg."""
    weight, gone, water, salt = parts
    product, day = draw.product, np.arange(len(weight), dtype=float)
    green, weighings, asked, asked_loss = weigh(draw, day, weight[:, draw.tagged], product.target_loss)
    loss = 1.0 - weight.sum(axis=1) / weight[0].sum()
    reached = _day_reached(day, loss, product.target_loss) if target_day is None else target_day
    truth = TrueLot(day, weight, gone, water, salt, draw.tagged, reached, asked, asked_loss)
    nominal_water, nominal_protein = batter(np.array(product.fat), np.array(product.salt))
    known = KnownLot(
        lot=f"{draw.house.name} lot {draw.number + 1}",
        house=draw.house.name,
        product=product.name,
        start_day=draw.start_day,
        calibre_m=product.calibre_m,
        length_m=product.length_m,
        fat=product.fat,
        salt=product.salt,
        water=float(nominal_water),
        protein=float(nominal_protein),
        casing=product.casing,
        stages=product.stages,
        log=logged(draw, room, family.probe_and_fans).until(day[-1]),
        tags=tuple(f"T{i + 1}" for i in range(TAGS)),
        green_kg=green,
        weighings=weighings,
        scale_division_kg=draw.house.division_kg,
        moves=places.moves,
        target_loss=product.target_loss,
    )
    return Lot(known, truth)
