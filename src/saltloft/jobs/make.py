"""A batch sheet to weigh in: what the recipe asks for, from which lots on the shelf, under which number."""

from __future__ import annotations

from dataclasses import dataclass

from saltloft.cases.batter import MEAT_KINDS, dose_shares
from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import InputError
from saltloft.plant.recipes import ProductDefined, RecipeDefined

FAMILIES = ("dry_sausage", "fresh_sausage")
# Size of a batch before anybody asked for another. [kg]
USUAL_KG = 100.0


@dataclass(frozen=True)
class OnShelf:
    """A lot an ingredient may be taken from."""

    number: str
    left_mg: int
    best_before: str = ""


@dataclass(frozen=True)
class SheetLine:
    """One line of the batch sheet.

    Args:
        ingredient: str.
        kind: str.
        asked_mg: int. By the recipe, for a batch of this size. [mg]
        lots: tuple of OnShelf. First in, first out.
    """

    ingredient: str
    kind: str
    asked_mg: int
    lots: tuple[OnShelf, ...]


@dataclass(frozen=True)
class BatchSheet:
    """Everything the page needs to weigh a batch in.

    Args:
        product: ProductDefined.
        lot: str. What it may be called.
        batch_kg: float. [kg]
        lines: tuple of SheetLine.
        rework: tuple of OnShelf. Ends that may be worked in.
        casings, cultures: tuple of OnShelf.
        rooms: tuple of str. Fermenting rooms first.
        pieces: int. Expected.
    """

    product: ProductDefined
    lot: str
    batch_kg: float
    lines: tuple[SheetLine, ...]
    rework: tuple[OnShelf, ...]
    casings: tuple[OnShelf, ...]
    cultures: tuple[OnShelf, ...]
    rooms: tuple[str, ...]
    pieces: int


def makeable(house: OpenHouse) -> tuple[ProductDefined, ...]:
    """Products that are made by a recipe."""
    found = [record.defined.payload for record in house.store.products.all()]
    return tuple(product for product in found if product.family in FAMILIES and product.recipe)


def sheet(house: OpenHouse, product: str, batch_kg: float = 0.0) -> BatchSheet:
    """The batch sheet of one product.

    Args:
        house: OpenHouse.
        product: str.
        batch_kg: float. 0: as the last batch. [kg]

    Raises:
        UnknownName: no such product or recipe.
        InputError: it is not made by a recipe, or the size cannot be.
    """
    said = house.store.products.get(product).defined.payload
    if said.family not in FAMILIES or not said.recipe:
        raise InputError("it is not made by a recipe", got=product, key="product")
    recipe = house.store.recipes.get(said.recipe).defined.payload
    size, each_kg = _usual(house, product)
    kilograms = batch_kg or size
    if not 0.0 < kilograms <= 20_000.0:
        raise InputError(
            "a batch cannot be so large", got=f"{kilograms} kg", allowed="up to 20,000 kg", key="kg"
        )
    shelves = _shelves(house)
    rooms = sorted(house.store.rooms.all(), key=lambda room: room.defined.payload.role != "fermenting")
    return BatchSheet(
        product=said,
        lot=_name(house, said),
        batch_kg=kilograms,
        lines=_lines(recipe, kilograms, shelves),
        rework=_rework(house) if said.family == "dry_sausage" else (),
        casings=_matching(shelves, "casing", said.casing),
        cultures=_matching(shelves, "culture", "starter culture"),
        rooms=tuple(room.room for room in rooms),
        pieces=round(kilograms / each_kg) if each_kg else 0,
    )


def _lines(
    recipe: RecipeDefined, kilograms: float, shelves: dict[str, list[OnShelf]]
) -> tuple[SheetLine, ...]:
    shares = dose_shares(recipe)
    whole = sum(shares.values())
    return tuple(
        SheetLine(
            line.name,
            line.kind,
            round(1e6 * kilograms * shares[line.name] / whole),
            tuple(shelves.get(line.name, ())),
        )
        for line in sorted(recipe.ingredients, key=lambda line: line.kind not in MEAT_KINDS)
        if float(line.amount_g_kg) > 0.0
    )


def _shelves(house: OpenHouse) -> dict[str, list[OnShelf]]:
    """What is left of each material, the oldest first."""
    found: dict[str, list[OnShelf]] = {}
    for record in sorted(house.store.stock.all(), key=lambda record: record.received.at):
        said = record.received.payload
        if record.left_mg > 0 and said.decision != "refused":
            found.setdefault(said.material, []).append(
                OnShelf(record.material_lot, record.left_mg, said.best_before)
            )
    return found


def _matching(shelves: dict[str, list[OnShelf]], *materials: str) -> tuple[OnShelf, ...]:
    return tuple(one for material in dict.fromkeys(materials) for one in shelves.get(material, ()))


def _rework(house: OpenHouse) -> tuple[OnShelf, ...]:
    left = house.store.flow.left_mg(("sink",))
    return tuple(OnShelf(name, mg) for name, mg in sorted(left.items()) if name.endswith("/ends"))


def _usual(house: OpenHouse, product: str) -> tuple[float, float]:
    """Size of the last batch, and green weight of one of its pieces. [kg]"""
    for row in house.store.lots.summaries():
        if row.product == product and row.green_mg:
            return row.green_mg / 1e6, (row.green_mg / 1e6 / row.pieces if row.pieces else 0.0)
    return USUAL_KG, 0.0


def _name(house: OpenHouse, product: ProductDefined) -> str:
    """Line and day, such as 'AL-0310'; the year behind it where that stands already."""
    now = house.now().astimezone(house.zone)
    for name in (f"{product.line}-{now:%m%d}", f"{product.line}-{now:%m%d}-{now:%Y}"):
        if house.store.lots.find(name) is None:
            return name
    return f"{product.line}-{now:%m%d}-{now:%H%M}"
