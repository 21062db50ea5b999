"""What a trace is answered with: everything reached, how much of the start is in it, how the books close."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from saltloft.plant.answers import HouseFace
from saltloft.plant.balance import COUNT, PACK_LOSS, SCALES
from saltloft.plant.contact import Contact
from saltloft.plant.recall import Recall, Yielding
from saltloft.plant.trace import DOWN, ENDED_STATES, SLICED, Flow, Node

CLOSES, WITHIN, OUTSIDE, OPEN, TOO_MUCH, SHORT = "closes", "within", "outside", "open", "too_much", "short"


@dataclass(frozen=True)
class Balance:
    """How the books of one node close.

    Args:
        node: str.
        in_mg: int. Booked into it; of a material lot what was received. [mg]
        out_mg: int. Booked out of it; of a lot what was weighed off it, where somebody did. [mg]
        left_mg: int. What is there by the books, or was counted; of a lot that ended, what dried away. [mg]
        yielding: Yielding or None. What a lot should give in all.
        stand: str. CLOSES; WITHIN or OUTSIDE the band of its yield; OPEN (more may still come off it);
            TOO_MUCH (more went out than in); SHORT (less is booked or was counted on it than went in).
            What a packing line or a count may differ is `plant.balance`'s.
    """

    node: str
    in_mg: int
    out_mg: int
    left_mg: int
    yielding: Yielding | None
    stand: str

    @property
    def closes(self) -> bool:
        """Nothing is wrong with it as far as it goes."""
        return self.stand not in (OUTSIDE, TOO_MUCH, SHORT)


@dataclass(frozen=True)
class TracedRow:
    """One thing that was reached.

    Args:
        node: Node.
        title: str. Product or material as people call it.
        party: str. Name of the supplier or customer, else the id; may be empty.
        at: datetime or None.
        steps: int. Links between it and the start, the shortest way.
        likely_mg: int. How much of the start is in it (DOWN), or of it in the start (UP). [mg]
        worst_mg: int. The most it can be. [mg]
        here_mg: int or None. Of likely_mg, what did not go on; None going up. [mg]
        unweighed: bool. A link on the way bears no weight: the amounts are at least these.
        again: bool. Reached through rework only.
        balance: Balance or None. None for samples, waste and ends.
        entries: tuple of str. Ids of the entries that link it.
    """

    node: Node
    title: str
    party: str
    at: datetime | None
    steps: int
    likely_mg: int
    worst_mg: int
    here_mg: int | None
    unweighed: bool
    again: bool
    balance: Balance | None
    entries: tuple[str, ...]


@dataclass(frozen=True)
class Traced:
    """The answer to 'where did it go' or 'what went in'.

    Args:
        house: HouseFace.
        at: datetime, aware. What had happened by then.
        flow: Flow.
        rows: tuple of TracedRow, the starts first, then by steps and time.
        link_mg: tuple of int, one for each link of the flow. [mg]
        start_mg: int. All that is traced. [mg]
        found_mg: int. Sum of what is in every place; equals start_mg (DOWN only). [mg]
    """

    house: HouseFace
    at: datetime
    flow: Flow
    rows: tuple[TracedRow, ...]
    link_mg: tuple[int, ...]
    start_mg: int
    found_mg: int

    @property
    def down(self) -> bool:
        """Where it went, not what went in."""
        return self.flow.direction == DOWN

    def of_sort(self, *sorts: str) -> tuple[TracedRow, ...]:
        """The rows of some sorts of node."""
        return tuple(row for row in self.rows if row.node.sort in sorts)

    @property
    def open_balances(self) -> tuple[Balance, ...]:
        """Where the books do not close."""
        return tuple(row.balance for row in self.rows if row.balance and not row.balance.closes)


@dataclass(frozen=True)
class Caller:
    """A customer to call.

    Args:
        party: str. Id.
        name, address, phone: str. From outside the chain; empty when erased or never given.
    """

    party: str
    name: str = ""
    address: str = ""
    phone: str = ""

    @property
    def shown(self) -> str:
        """The name, else the id."""
        return self.name or self.party


@dataclass(frozen=True)
class RecallAnswer:
    """A recall as pages and papers lay it out.

    Args:
        house: HouseFace.
        at: datetime, aware.
        recall: Recall.
        callers: mapping of party to Caller, as pairs.
        titles: pairs of product and what people call it.
        contacts: tuple of Contact. What else was in contact.
        reason: str.
    """

    house: HouseFace
    at: datetime
    recall: Recall
    callers: tuple[tuple[str, Caller], ...]
    titles: tuple[tuple[str, str], ...]
    contacts: tuple[Contact, ...] = ()
    reason: str = ""

    def caller(self, party: str) -> Caller:
        """How to reach a customer."""
        return dict(self.callers).get(party, Caller(party))

    def title(self, product: str) -> str:
        """What people call a product."""
        return dict(self.titles).get(product, product)


def balance_of(
    node: Node, in_mg: int, out_mg: int, yielding: Yielding | None, off_mg: int | None = None
) -> Balance | None:
    """How the books of a node close; None for samples, waste and ends, which only take.

    Args:
        node: Node.
        in_mg: int. All links into it. [mg]
        out_mg: int. All links out of it. [mg]
        yielding: Yielding or None. Of lots.
        off_mg: int or None. What was weighed off a lot; None when nobody weighed it. [mg]
    """
    if node.sort == "sink":
        return None
    if node.sort == "lot" and node.state != SLICED:
        return _lot_balance(node, in_mg, out_mg, yielding, off_mg)
    came = node.booked_mg
    left = came - out_mg if node.counted_mg is None else node.counted_mg
    if node.sort == "material":
        in_mg, gone, band = came, came - out_mg - left, COUNT
    else:
        gone, band = (in_mg or came) - came, PACK_LOSS if node.sort == "pack" else (0.0, 0.0)
    if out_mg > came or gone < band[0] * in_mg:
        stand = TOO_MUCH
    else:
        stand = SHORT if gone > band[1] * in_mg else CLOSES
    return Balance(node.node, in_mg, out_mg, left, None, stand)


def _lot_balance(
    node: Node, in_mg: int, out_mg: int, yielding: Yielding | None, off_mg: int | None
) -> Balance:
    gave = out_mg if off_mg is None else off_mg
    left = max(node.booked_mg, in_mg) - gave
    # What is booked on was weighed again: two scales may differ.
    if left < 0 or out_mg - gave > SCALES[1] * gave:
        stand = TOO_MUCH
    elif node.state not in ENDED_STATES:
        stand = OPEN
    elif yielding is None or node.state == "ended":
        stand = CLOSES
    else:
        stand = WITHIN if yielding.low_mg <= gave <= yielding.high_mg else OUTSIDE
    return Balance(node.node, in_mg, gave, left, yielding, stand)
