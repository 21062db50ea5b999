"""A lot as its entries tell it: dry sausage, ham group or fresh batch.

Every list holds what counts, oldest first; struck entries are only in
`history`, which the lot's page shows whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from saltloft.foundation.units import Mass
from saltloft.plant.analyses import LotAnalysed, PieceMeasured
from saltloft.plant.flow import LotsMerged, LotSplit
from saltloft.plant.hams import HamGroupSalted, HamGroupSaltedOut, HamGroupWeighed
from saltloft.plant.lots import (
    FreshChilled,
    FreshMade,
    FreshPacked,
    HoldLifted,
    LotDispatched,
    LotHeld,
    LotMade,
    LotReleased,
    LotYielded,
)
from saltloft.plant.readings import PhRead, PieceWeighed, PressedAndCut, WaterActivityRead
from saltloft.plant.stated import Stated


@dataclass(frozen=True)
class RoomStay:
    """A stretch of time in which a lot, or some racks of it, hung in one room.

    Args:
        room: str.
        start: datetime, aware.
        end: datetime or None. None while it still hangs there.
        racks: tuple of str. Empty when the racks were not named.
        share: float. Share of the lot's racks, 0..1.
        entry_id: str. The entry that put it there.
    """

    room: str
    start: datetime
    end: datetime | None
    racks: tuple[str, ...]
    share: float
    entry_id: str


@dataclass(frozen=True)
class Hold:
    """A hold and, once a person lifted it, the lifting.

    Args:
        held: Stated of LotHeld.
        lifted: Stated of HoldLifted, or None while it is open.
    """

    held: Stated[LotHeld]
    lifted: Stated[HoldLifted] | None = None

    @property
    def open(self) -> bool:
        """True until it is lifted."""
        return self.lifted is None


@dataclass(frozen=True)
class LotRecord:
    """A lot of any family: what was stated about it.

    Args:
        lot: str.
        family: str. 'dry_sausage', 'ham' or 'fresh_sausage', by the entry that made it.
        product: str.
        recipe: str. Empty for ham.
        made: Stated. Of LotMade, HamGroupSalted or FreshMade.
        green_mass: Mass. Stuffed mass hung, legs' green mass, or the fresh batch's mass.
        pieces: int. Pieces or legs; 0 for fresh.
        rooms: tuple of RoomStay, by start.
        weighings: tuple of Stated of PieceWeighed.
        group_weighings: tuple of Stated of HamGroupWeighed.
        salted_out: tuple of Stated of HamGroupSaltedOut.
        ph_sets: tuple of Stated of PhRead.
        water_activities: tuple of Stated of WaterActivityRead.
        pressed_and_cut: tuple of Stated of PressedAndCut.
        analyses: tuple of Stated of LotAnalysed.
        diameters: tuple of Stated of PieceMeasured.
        chilled: tuple of Stated of FreshChilled.
        packed: tuple of Stated of FreshPacked.
        holds: tuple of Hold.
        releases: tuple of Stated of LotReleased.
        dispatches: tuple of Stated of LotDispatched.
        yields: tuple of Stated of LotYielded.
        history: tuple of Stated. Everything ever stated about it, struck or not, by seq.
        last_seq: int. Seq of the last entry about it, corrections included (for `Draft.seen`).
        line: tuple of str. Lots it came from by splitting and merging, nearest first; empty when it was made.
        ended: Stated of LotSplit or LotsMerged, or None. After it the lot goes on under other numbers.
        stuffings: tuple of LotRecord. Of a merged lot of several stuffings: the lots that were stuffed, each
            with what was measured on it until then; every one of them has to stand on its own.
    """

    lot: str
    family: str
    product: str
    recipe: str
    made: Stated[LotMade | HamGroupSalted | FreshMade]
    green_mass: Mass
    pieces: int
    rooms: tuple[RoomStay, ...]
    weighings: tuple[Stated[PieceWeighed], ...]
    group_weighings: tuple[Stated[HamGroupWeighed], ...]
    salted_out: tuple[Stated[HamGroupSaltedOut], ...]
    ph_sets: tuple[Stated[PhRead], ...]
    water_activities: tuple[Stated[WaterActivityRead], ...]
    pressed_and_cut: tuple[Stated[PressedAndCut], ...]
    chilled: tuple[Stated[FreshChilled], ...]
    packed: tuple[Stated[FreshPacked], ...]
    holds: tuple[Hold, ...]
    releases: tuple[Stated[LotReleased], ...]
    dispatches: tuple[Stated[LotDispatched], ...]
    yields: tuple[Stated[LotYielded], ...]
    history: tuple[Stated[Any], ...]
    last_seq: int
    analyses: tuple[Stated[LotAnalysed], ...] = ()
    diameters: tuple[Stated[PieceMeasured], ...] = ()
    line: tuple[str, ...] = ()
    ended: Stated[LotSplit] | Stated[LotsMerged] | None = None
    stuffings: tuple[LotRecord, ...] = ()

    @property
    def made_at(self) -> datetime:
        """When it was stuffed, salted or made."""
        return self.made.at

    @property
    def hung_at(self) -> datetime | None:
        """When it was first hung; None before."""
        return self.rooms[0].start if self.rooms else None

    @property
    def room(self) -> str:
        """The room that holds the largest share of it now; empty when it hangs nowhere."""
        now = [stay for stay in self.rooms if stay.end is None]
        return max(now, key=lambda stay: (stay.share, stay.start)).room if now else ""

    @property
    def racks(self) -> tuple[str, ...]:
        """The racks it hangs on now, in every room."""
        return tuple(rack for stay in self.rooms if stay.end is None for rack in stay.racks)

    @property
    def open_holds(self) -> tuple[Hold, ...]:
        """Holds nobody has lifted."""
        return tuple(hold for hold in self.holds if hold.open)

    @property
    def release(self) -> Stated[LotReleased] | None:
        """The release that counts, the last one; None before."""
        return self.releases[-1] if self.releases else None

    @property
    def batter_ph(self) -> float | None:
        """pH of the mince at stuffing (dry sausage only); None when not read."""
        value = getattr(self.made.payload, "batter_ph", None)
        return None if value is None else float(value)

    @property
    def out_mg(self) -> int:
        """Mass that came off the racks so far. [mg]"""
        return sum(item.payload.mass.mg for item in self.yields)

    @property
    def dispatched_mg(self) -> int:
        """Mass that left the house so far. [mg]"""
        return sum(item.payload.mass.mg for item in self.dispatches)

    @property
    def state(self) -> str:
        """Where it stands: 'made', 'hanging', 'held', 'off_racks', 'released', 'gone' or 'ended' (split)."""
        if self.ended is not None:
            return "ended"
        if self.dispatches and self.out_mg and self.dispatched_mg >= self.out_mg:
            return "gone"
        if self.open_holds:
            return "held"
        if self.releases:
            return "released"
        if self.rooms and all(stay.end is not None for stay in self.rooms):
            return "off_racks"
        return "hanging" if self.rooms else "made"

    @property
    def hanging(self) -> bool:
        """True while a part of it hangs in a room."""
        return any(stay.end is None for stay in self.rooms)


@dataclass(frozen=True)
class LotSummary:
    """One line of a list of lots, read from the reading tables without opening every entry.

    Args:
        lot: str.
        family: str.
        product: str.
        state: str. As LotRecord.state.
        room: str. Empty when it hangs nowhere.
        made_at: datetime, aware.
        hung_at: datetime or None.
        green_mg: int. [mg]
        pieces: int.
        open_holds: int.
        last_seq: int.
    """

    lot: str
    family: str
    product: str
    state: str
    room: str
    made_at: datetime
    hung_at: datetime | None
    green_mg: int
    pieces: int
    open_holds: int
    last_seq: int


@dataclass(frozen=True)
class LotLink:
    """A weighed amount of one thing that went into another.

    Args:
        source: str. Material lot, lot, pack lot, shipment or its ends.
        lot: str. What it went into.
        ingredient: str.
        mg: int. [mg]
        entry_id: str.
        sort: str. As `flow_story.FlowLink.sort`.
        at: datetime, aware.
    """

    source: str
    lot: str
    ingredient: str
    mg: int
    entry_id: str
    sort: str
    at: datetime
