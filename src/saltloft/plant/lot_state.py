"""What has to be known of a lot to take the next entry about it; kept up entry by entry."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any

from saltloft.plant import analyses, flow, hams, lots, readings

_MAKES = (lots.LotMade, lots.FreshMade, hams.HamGroupSalted)


@dataclass
class LastWeight:
    """The last net weight of one tag, or of an untagged set per piece.

    Args:
        mg: float. Net weight of one piece. [mg]
        at: datetime, aware.
    """

    mg: float
    at: datetime


@dataclass
class LotState:
    """The running state of one lot.

    Args:
        lot: str.
        family: str. Empty until something made it.
        made_at: datetime or None.
        product: str.
        green_mg: int. [mg]
        pieces: int.
        weights: mapping of tag ('' for untagged sets) to LastWeight.
        green_weights: mapping of tag to net green weight. [mg]
        ph: mapping of place to (mean, datetime).
        water_activity: (value, datetime) or None.
        moisture: Decimal or None. Of the last analysis but a rim. [%]
        diameters: mapping of tag ('' for none) to its last diameter. [mm]
        open_holds: mapping of entry id to LotHeld.
        hung: bool.
        released: bool.
        yielded_mg: int. [mg]
        dispatched_mg: int. [mg]
        entries: int. Entries about it that count, the making one included.
        last_at: datetime or None. The latest moment of any of them.
        recipe: str. Empty for ham.
        ended: bool. It was split or merged and goes on under other numbers.
        finished_mg: int. Came off the racks for packing or the stock. [mg]
        markets: frozenset of str. Markets it was signed out for.
    """

    lot: str
    family: str = ""
    made_at: datetime | None = None
    product: str = ""
    green_mg: int = 0
    pieces: int = 0
    weights: dict[str, LastWeight] = field(default_factory=dict)
    green_weights: dict[str, float] = field(default_factory=dict)
    ph: dict[str, tuple[Decimal, datetime]] = field(default_factory=dict)
    water_activity: tuple[Decimal, datetime] | None = None
    moisture: Decimal | None = None
    diameters: dict[str, float] = field(default_factory=dict)
    open_holds: dict[str, lots.LotHeld] = field(default_factory=dict)
    hung: bool = False
    released: bool = False
    yielded_mg: int = 0
    dispatched_mg: int = 0
    entries: int = 0
    last_at: datetime | None = None
    recipe: str = ""
    ended: bool = False
    finished_mg: int = 0
    markets: frozenset[str] = frozenset()

    @property
    def exists(self) -> bool:
        """True once an entry that counts made it."""
        return self.made_at is not None

    def take(self, entry_id: str, payload: Any, at: datetime) -> None:
        """Take in one entry that counts, in the order they happened."""
        self.entries += 1
        self.last_at = at if self.last_at is None else max(self.last_at, at)
        if isinstance(payload, _MAKES):
            self._made(payload, at)
        elif isinstance(payload, readings.PieceWeighed):
            self._weighed(payload, at)
        elif isinstance(payload, readings.PhRead):
            self.ph[payload.where] = (sum(payload.values, Decimal(0)) / len(payload.values), at)
        elif isinstance(payload, readings.WaterActivityRead):
            self.water_activity = (payload.value, at)
        elif isinstance(payload, analyses.LotAnalysed):
            # A rim says nothing of how wet the piece is.
            self.moisture = self.moisture if payload.sample == "rim" else payload.moisture_pct
        elif isinstance(payload, analyses.PieceMeasured):
            self.diameters[payload.tag] = payload.mean_mm
        else:
            self._dealt_with(entry_id, payload)

    def _dealt_with(self, entry_id: str, payload: Any) -> None:
        if isinstance(payload, lots.LotHung | lots.LotMoved):
            self.hung = True
        elif isinstance(payload, lots.LotHeld):
            self.open_holds[entry_id] = payload
        elif isinstance(payload, lots.HoldLifted):
            self.open_holds.pop(payload.hold, None)
        elif isinstance(payload, lots.LotReleased):
            self.released = True
            self.markets |= {payload.market}
        elif isinstance(payload, lots.LotYielded):
            self.yielded_mg += payload.mass.mg
            self.finished_mg += payload.mass.mg if payload.into in ("pack", "stock") else 0
        elif isinstance(payload, flow.LotSplit):
            self.ended = True
        elif isinstance(payload, flow.RackMoved):
            self.hung = True
        elif isinstance(payload, lots.LotDispatched):
            self.dispatched_mg += payload.mass.mg

    def _made(self, payload: lots.LotMade | lots.FreshMade | hams.HamGroupSalted, at: datetime) -> None:
        self.made_at, self.product = at, payload.product
        self.recipe = getattr(payload, "recipe", "")
        if isinstance(payload, lots.LotMade):
            self.family, self.green_mg, self.pieces = "dry_sausage", payload.green_mass.mg, payload.pieces
        elif isinstance(payload, hams.HamGroupSalted):
            self.family, self.green_mg, self.pieces = "ham", payload.green_mass.mg, payload.legs
            self.hung = True
        else:
            self.family, self.green_mg = "fresh_sausage", payload.mass.mg

    def _weighed(self, payload: readings.PieceWeighed, at: datetime) -> None:
        net = net_mg(payload)
        last = self.weights.get(payload.tag)
        if last is None or last.at <= at:
            self.weights[payload.tag] = LastWeight(net, at)
        if payload.green:
            self.green_weights[payload.tag] = net


def carried_on(lot: str, sources: Sequence[tuple[LotState, int]]) -> LotState:
    """What is known of a part or a merged lot from the lots it came of: holds of all, days of the youngest.

    Args:
        lot: str.
        sources: sequence of (LotState, int). With what went over of each. [mg]
    """
    youngest = max(
        (state for state, _ in sources), key=lambda state: (state.made_at is not None, state.made_at)
    )
    found = deepcopy(youngest)
    whole = sum(mg for _, mg in sources)
    share = whole / youngest.green_mg if youngest.green_mg and len(sources) == 1 else 1.0
    found.lot, found.green_mg, found.ended = lot, whole, False
    found.pieces = round(youngest.pieces * share)
    if len(sources) > 1:
        found.pieces = sum(state.pieces for state, _ in sources)
        found.released = all(state.released for state, _ in sources)
    for state, _ in sources:
        found.open_holds |= state.open_holds
        found.hung = found.hung or state.hung
        found.weights |= {tag: last for tag, last in state.weights.items() if tag not in found.weights}
        found.green_weights |= {
            tag: mg for tag, mg in state.green_weights.items() if tag not in found.green_weights
        }
    found.yielded_mg = found.finished_mg = found.dispatched_mg = found.entries = 0
    return found


def net_mg(payload: readings.PieceWeighed) -> float:
    """Net weight of one piece in a weighing: the reading less the tare, shared by the pieces. [mg]"""
    return (payload.mass.mg - (payload.tare.mg if payload.tare else 0)) / payload.pieces
