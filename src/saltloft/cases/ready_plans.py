"""When a product counts as ready: what the house planned for it, else common practice."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from saltloft.cases.open_house import OpenHouse, known_at
from saltloft.cases.rules import name_limits
from saltloft.plant.ready_plan import ReadyPlanned
from saltloft.plant.recipes import ProductDefined
from saltloft.plant.stated import counting

# Loss at sale of a product that names none: common practice, no source.
USUAL_LOSS_PCT = 35.0


@dataclass(frozen=True)
class ReadyGround:
    """What a lot of a product has to reach, and where that stands.

    Args:
        plan: ReadyPlanned.
        stated: bool. False: nobody planned it, the plan holds common practice.
        entries: tuple of str. The entries it was stated by.
        facts: tuple of str. Keys of the limits a target rests on.
        targets: mapping of target name to its level; the curer's loss stands first.
    """

    plan: ReadyPlanned
    stated: bool
    entries: tuple[str, ...]
    facts: tuple[str, ...]
    targets: dict[str, float]


def ready_ground(house: OpenHouse, product: ProductDefined, asof: datetime) -> ReadyGround:
    """The plan in force for a product and the targets of its lots.

    Args:
        house: OpenHouse.
        product: ProductDefined.
        asof: datetime, aware. Only what was recorded by then counts.
    """
    known = house.store.products.find(product.product, known_at(house, asof))
    planned = counting(known.history, ReadyPlanned) if known else ()
    plan = planned[-1].payload if planned else ReadyPlanned(product.product)
    limits = [limit for limit in name_limits(house.facts, product.market_names) if limit.limit is not None]
    lowest = min(limits, key=lambda limit: limit.limit or 0.0, default=None)
    return ReadyGround(
        plan=plan,
        stated=bool(planned),
        entries=planned[-1].entry_ids if planned else (),
        facts=lowest.sources if lowest else (),
        targets=targets_of(product, plan, (limit.limit for limit in limits)),
    )


def targets_of(
    product: ProductDefined, plan: ReadyPlanned, ratios: Iterable[float | None] = ()
) -> dict[str, float]:
    """The curer's loss at sale, the lowest moisture:protein of its names, and the house's water activity.

    Args:
        product: ProductDefined. 35 % when it names no loss (common practice, no source).
        plan: ReadyPlanned.
        ratios: iterable of float. Limits of the names it is sold under. [1]
    """
    wanted = float(product.target_weight_loss_pct)
    targets = {"weight_loss_pct": wanted if wanted > 0.0 else USUAL_LOSS_PCT}
    known = [ratio for ratio in ratios if ratio is not None]
    if known:
        targets["moisture_protein"] = min(known)
    if plan.water_activity > 0:
        name = "water_activity_core" if plan.water_activity_of == "core" else "water_activity"
        targets[name] = float(plan.water_activity)
    return targets
