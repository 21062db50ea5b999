"""How mass goes through the house: split, merge, move, slice, pack, sample, waste.

A lot, a pack lot, a sliced lot and a return are told apart by how they came
about; each is named by its number, and every amount that leaves one for
another is weighed. '<lot>/ends' names the ends that came off a lot.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from saltloft.foundation.units import Mass
from saltloft.plant.lots import Consumed


@dataclass(frozen=True)
class MaterialCounted:
    """What is left of a material lot was weighed or counted; from then on that counts.

    Args:
        material_lot: str.
        left: Mass or None. None: nothing is left.
        reason: str. Why it differs from the book, as far as anybody knows.
    """

    material_lot: str
    left: Mass | None
    reason: str = ""


@dataclass(frozen=True)
class MaterialWasted:
    """An amount of a material lot was thrown away or sent back.

    Args:
        material_lot: str.
        mass: Mass.
        reason: str.
    """

    material_lot: str
    mass: Mass
    reason: str


@dataclass(frozen=True)
class SplitPart:
    """One part of a split lot.

    Args:
        lot: str. Its own number, such as 'RO-0703-A'.
        share: Decimal. Its share by pieces, kilograms or per cent; shares of one split are of one sort.
        room: str. Where it hangs from now on; empty: where the whole hung.
        racks: tuple of str.
        pieces: int. 0: by share.
    """

    lot: str
    share: Decimal
    room: str = ""
    racks: tuple[str, ...] = ()
    pieces: int = 0


@dataclass(frozen=True)
class LotSplit:
    """A lot was divided; from then on its parts are weighed, held, released and sent out.

    Args:
        lot: str. The whole.
        parts: tuple of SplitPart. Together all of it.
        reason: str.
    """

    lot: str
    parts: tuple[SplitPart, ...]
    reason: str = ""


@dataclass(frozen=True)
class LotsMerged:
    """Lots of one product, recipe and market became one; the youngest one's days count.

    Args:
        lot: str. The number of the whole.
        sources: tuple of str. At least two lots, all of each.
        room: str. Where it hangs from now on; empty: where each part hung.
        racks: tuple of str.
        reason: str.
    """

    lot: str
    sources: tuple[str, ...]
    room: str = ""
    racks: tuple[str, ...] = ()
    reason: str = ""


@dataclass(frozen=True)
class RackMoved:
    """One rack of a lot went to another room, or to another place in its room.

    Args:
        lot: str.
        rack: str.
        room: str. Where it stands from now on.
        place: str. Such as 'top', 'by the door'; may be empty.
    """

    lot: str
    rack: str
    room: str
    place: str = ""


@dataclass(frozen=True)
class PieceRehung:
    """Pieces were hung anew: they fell, were opened, or went to another rack.

    Args:
        lot: str.
        rack: str. Where they hang from now on.
        tag: str. The piece; empty for untagged ones.
        pieces: int.
        reason: str.
    """

    lot: str
    rack: str
    tag: str = ""
    pieces: int = 1
    reason: str = ""


@dataclass(frozen=True)
class LotSliced:
    """A lot ran over a slicer; what came off stands under a number of its own until it is packed.

    Args:
        sliced: str. The number of the slices, such as 'SL-0810-1'.
        lot: str. The lot, part or return that was sliced.
        line: str. The slicer.
        start, end: str. Moments with their zone, ISO 8601.
        mass_in: Mass. What went on.
        mass: Mass. Slices.
        ends: Mass or None. Ends kept for rework.
        waste: Mass or None.
        tags: tuple of str. Single hams or pieces by their tags.
    """

    sliced: str
    lot: str
    line: str
    start: str
    end: str
    mass_in: Mass
    mass: Mass
    ends: Mass | None = None
    waste: Mass | None = None
    tags: tuple[str, ...] = ()


@dataclass(frozen=True)
class PackMade:
    """A pack lot was packed.

    Args:
        pack: str. Its number, such as 'PK-0812-3'.
        product: str. What it is sold as: a product of the house.
        sources: tuple of Consumed. Lots, slices or returns by weighed amount; `ingredient` says what as.
        mass: Mass. Net, packed.
        packs: int.
        packaging_lot: str. Film, trays or bags by their material lot; may be empty.
        line: str. May be empty.
        start, end: str. Moments with their zone, ISO 8601; may be empty.
        use_by: str. ISO day; may be empty.
        tags: tuple of str. Single hams or pieces by their tags.
    """

    pack: str
    product: str
    sources: tuple[Consumed, ...]
    mass: Mass
    packs: int
    packaging_lot: str = ""
    line: str = ""
    start: str = ""
    end: str = ""
    use_by: str = ""
    tags: tuple[str, ...] = ()


@dataclass(frozen=True)
class LotSampled:
    """A sample was taken of a lot, pack lot or return.

    Args:
        lot: str. The lot, part, slices, pack lot or return.
        mass: Mass.
        purpose: str. Such as 'laboratory', 'kept back', 'tasted'.
        pieces: int. 0 when not counted.
        laboratory: str. Id or number; may be empty.
    """

    lot: str
    mass: Mass
    purpose: str
    pieces: int = 0
    laboratory: str = ""


@dataclass(frozen=True)
class LotWasted:
    """An amount of a lot, pack lot or return was thrown away.

    Args:
        lot: str. The lot, part, slices, pack lot or return.
        mass: Mass.
        reason: str.
        pieces: int. 0 when not counted.
    """

    lot: str
    mass: Mass
    reason: str
    pieces: int = 0


@dataclass(frozen=True)
class CounterOpened:
    """A piece lay open on a counter slicer from when to when; what ran there meanwhile touched it.

    Args:
        lot: str. The lot, part, pack lot or return it came from.
        line: str. The slicer.
        start: str. Moment with its zone, ISO 8601.
        end: str. Empty while it lies open.
        tag: str. The piece; may be empty.
    """

    lot: str
    line: str
    start: str
    end: str = ""
    tag: str = ""
