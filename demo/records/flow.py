"""Who delivers and buys, ends worked in again, a lot split and merged, packs, orders and shipments."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime, timedelta
from decimal import Decimal

from demo.clock import FIRST_DAY, TODAY, local
from demo.draws import stream
from demo.house import CUSTOMERS, SUPPLIERS
from demo.plan import next_working_moment
from demo.records.book import Book, Note, Plain, kilograms

SPLIT_LOT, SPLIT_DAY, MERGED_DAY = "RO-0520", 12, 20
"""Split 60 to 40 over D1 and D2 on the twelfth day from stuffing, merged again on the twentieth."""
REWORKED_LOT = "RO-0408"
"""Its ends go into the next Hazel, the ends of that one into a later one."""
PACKED_FROM = date(2026, 6, 15)
"""What is left of lots signed out from this day on is packed, ordered and sent."""
SLICED = 3
"""Every so many lots of Alder that are packed go over the slicer first."""
LEAST_KG = 25.0
BAG = "FEN-114"
"""A bag of fennel that somebody looks into when it is empty."""
TRIM = Decimal("1.004")
"""Legs as they come over legs as they are salted."""
_PLACES = (
    "Harrowmouth",
    "Sallow Ferry",
    "Ost Thwaite",
    "Brackenholt",
    "Little Marl",
    "Venn Cross",
    "Aldercombe",
)
_SHOPS = ("Larder", "Provisions", "Deli", "Food Hall", "Counter", "Stores", "Kitchen")


def contacts() -> dict[str, Plain]:
    """Invented names and addresses behind the ids of suppliers and customers."""
    found: dict[str, Plain] = {}
    for number, party in enumerate((*SUPPLIERS, *CUSTOMERS)):
        place = _PLACES[number % len(_PLACES)]
        sort = "Farm and Trading" if party in SUPPLIERS else _SHOPS[(number * 3) % len(_SHOPS)]
        found[party] = {
            "role": "supplier" if party in SUPPLIERS else "customer",
            "name": f"{place} {sort} (invented)",
            "address": f"{number + 3} Market Row, {place}, Sarnvale\n+00 555 {1000 + 37 * number}",
        }
    return found


def parties(book: Book) -> None:
    """Suppliers and customers by their ids."""
    at = local(FIRST_DAY, "05:56")
    for party in SUPPLIERS:
        _party(book, party, "supplier", at)
    for party in CUSTOMERS:
        _party(book, party, "customer", at)


def _party(book: Book, party: str, role: str, at: datetime) -> None:
    said: Plain = {"party": party, "role": role, "market": "", "approved": 1, "note": ""}
    book.write("party.added", party, said, at, "tamsin")


def flow(book: Book, attempts: list[Plain]) -> None:
    """Everything of this module; written after all else, so that no earlier record changes its id."""
    parties(book)
    _rework(book)
    _exact_deliveries(book)
    _small_things(book)
    _split_and_merged(book, attempts)
    _packed_and_sent(book, attempts)


def _notes(book: Book, kind: str, subject: str = "") -> list[Note]:
    chosen = [note for note in book.notes if note.kind.partition("/")[0] == kind]
    return [note for note in chosen if not subject or note.subject == subject]


def _rework(book: Book) -> None:
    """Ends of one lot in the next Hazel, of that one in a later Hazel: a chain of two."""
    source = REWORKED_LOT
    for _ in range(2):
        ends = next(note for note in _notes(book, "lot.yielded", source) if note.payload["into"] == "ends")
        batch = next(
            note
            for note in sorted(_notes(book, "lot.made"), key=lambda note: note.at)
            if note.subject.startswith("HA") and note.at > ends.at + timedelta(days=1)
        )
        trim = max(
            (line for line in batch.payload["consumed"] if line["ingredient"] == "lean trim"),
            key=lambda line: int(line["mass"]["mg"]),
        )
        kg = Decimal(ends.payload["mass"]["number"])
        trim["mass"] = kilograms(float(Decimal(trim["mass"]["number"]) - kg), 1)
        rework = {"material_lot": f"{source}/ends", "ingredient": "rework", "mass": kilograms(float(kg), 1)}
        batch.payload["consumed"].append(rework)
        source = batch.subject


def _exact_deliveries(book: Book) -> None:
    """Trim, backfat and legs are weighed in to the last of what was ordered for the day."""
    for note in _notes(book, "ham.salted"):
        kg = (Decimal(note.payload["green_mass"]["number"]) * TRIM).quantize(Decimal("0.1"))
        (legs,) = note.payload["material_lots"]
        note.payload["tags"] = []
        note.payload["consumed"] = [
            {"material_lot": legs, "ingredient": "leg", "mass": kilograms(float(kg), 1)}
        ]
    used: Counter[str] = Counter()
    for note in book.notes:
        for line in note.payload.get("consumed", ()):
            used[line["material_lot"]] += line["mass"]["mg"]
    for note in _notes(book, "material.received"):
        said = note.payload
        if said["material"] in ("lean trim", "backfat", "leg") and used[note.subject]:
            said["mass"] = kilograms(used[note.subject] / 1e6, 1)
        elif said["decision"] == "downgraded":
            waste = {"material_lot": note.subject, "mass": said["mass"], "reason": "to the cooker"}
            book.write("material.wasted", note.subject, waste, note.at + timedelta(hours=3), "tamsin")


def _small_things(book: Book) -> None:
    """A rack turned end for end, a piece that fell, an empty bag counted as empty."""
    hung = next(note for note in _notes(book, "lot.moved", REWORKED_LOT))
    rack, room, at = hung.payload["racks"][0], hung.payload["room"], hung.at + timedelta(days=6)
    said: Plain = {"lot": REWORKED_LOT, "rack": rack, "room": room, "place": "by the door"}
    book.write("rack.moved", REWORKED_LOT, said, next_working_moment(at, "10:40"), "besnik@phone-besnik")
    said = {"lot": REWORKED_LOT, "rack": rack, "tag": "", "pieces": 1, "reason": "fell"}
    book.write("piece.rehung", REWORKED_LOT, said, next_working_moment(at, "10:45"), "besnik@phone-besnik")
    uses = [
        note
        for note in book.notes
        for line in note.payload.get("consumed", ())
        if line["material_lot"] == BAG
    ]
    if uses:
        last = max(note.at for note in uses)
        said = {"material_lot": BAG, "reason": "bag empty"}
        book.write("material.counted", BAG, said, last + timedelta(hours=3), "maren@tablet-make")


def _split_and_merged(book: Book, attempts: list[Plain]) -> None:
    made = _notes(book, "lot.made", SPLIT_LOT)[0]
    hung = next(note for note in _notes(book, "lot.moved", SPLIT_LOT) if note.at > made.at)
    racks: list[str] = hung.payload["racks"]
    larger, smaller, whole = (f"{SPLIT_LOT}-{letter}" for letter in "ABC")
    split_at = next_working_moment(made.at + timedelta(days=SPLIT_DAY), "10:05")
    merged_at = next_working_moment(made.at + timedelta(days=MERGED_DAY), "10:05")
    cut = round(len(racks) * 0.6)
    for note in [note for note in book.notes if note.subject == SPLIT_LOT and note.at >= split_at]:
        name = whole
        if note.at < merged_at:
            name = smaller if note.payload.get("rack") in racks[cut:] else larger
        note.subject = note.payload["lot"] = name
    parts = [
        {"lot": larger, "share": "60", "room": "D1", "racks": racks[:cut], "pieces": 0},
        {"lot": smaller, "share": "40", "room": "D2", "racks": racks[cut:], "pieces": 0},
    ]
    said: Plain = {"lot": SPLIT_LOT, "parts": parts, "reason": "room for the Thursday lot"}
    book.write("lot.split", SPLIT_LOT, said, split_at, "maren@tablet-rooms")
    said = {"lot": whole, "sources": [larger, smaller], "room": "D1", "racks": racks, "reason": ""}
    book.write("lots.merged", whole, said, merged_at, "maren@tablet-rooms")
    for attempt in attempts:
        if attempt["lot"] == SPLIT_LOT:
            attempt["lot"] = whole


def _packed_and_sent(book: Book, attempts: list[Plain]) -> None:
    left: Counter[str] = Counter()
    for note in _notes(book, "lot.yielded"):
        left[note.subject] += note.payload["mass"]["mg"] if note.payload["into"] == "pack" else 0
    for note in _notes(book, "lot.dispatched"):
        left[note.subject] -= note.payload["mass"]["mg"]
    number = alders = 0
    for attempt in attempts:
        lot, at = attempt["lot"], datetime.fromisoformat(attempt["at"])
        kg = round(left[lot] / 1e6 * 0.94, 1)
        packing = next_working_moment(at + timedelta(days=1), "09:10")
        if at.date() < PACKED_FROM or kg < LEAST_KG or packing >= TODAY:
            continue
        number += 1
        alders += lot.startswith("AL")
        if lot.startswith("AL") and alders % SLICED == 1:
            _pack_and_send(book, number, _slice(book, lot, kg, packing), "slices", packing)
        else:
            _pack_and_send(book, number, (lot, kg), "whole", packing)


def _slice(book: Book, lot: str, kg: float, at: datetime) -> tuple[str, float]:
    """Over the slicer on the day before packing; what came off, and how much."""
    name, slices = f"SL-{lot[3:]}", round(kg * 0.955, 1)
    start = at - timedelta(hours=2)
    log: Plain = {
        "sliced": name,
        "lot": lot,
        "line": "slicer 1",
        "start": start.isoformat(),
        "end": (at - timedelta(minutes=20)).isoformat(),
        "mass_in": kilograms(kg, 1, 100_000),
        "mass": kilograms(slices, 1, 100_000),
        "ends": kilograms(round(kg * 0.03, 1), 1, 100_000),
        "waste": kilograms(round(kg * 0.006, 1), 1, 100_000),
        "tags": [],
    }
    book.write("lot.sliced", name, log, at - timedelta(minutes=10), "besnik@phone-besnik")
    counter: Plain = {
        "lot": lot,
        "line": "counter 1",
        "start": at.isoformat(),
        "end": (at + timedelta(hours=6)).isoformat(),
        "tag": "",
    }
    book.write("counter.opened", lot, counter, at + timedelta(hours=6, minutes=5), "tamsin")
    return name, slices


def _pack_and_send(book: Book, number: int, source: tuple[str, float], what: str, at: datetime) -> None:
    rng = stream(book.seed, "pack", source[0])
    lot, kg = source
    pack, net = f"PK-{at:%m%d}-{number}", round(kg * 0.993, 1)
    product = {"RO": "rowan", "HA": "hazel", "AL": "alder", "YE": "yew", "SL": "alder"}[lot[:2]]
    said: Plain = {
        "pack": pack,
        "product": product,
        "sources": [{"material_lot": lot, "ingredient": what, "mass": kilograms(kg, 1, 100_000)}],
        "mass": kilograms(net, 1, 100_000),
        "packs": max(int(net / 0.25), 1),
        "line": f"line {1 + number % 2}",
        "start": (at - timedelta(minutes=5)).isoformat(),
        "end": (at + timedelta(hours=1, minutes=20)).isoformat(),
        "use_by": (at + timedelta(days=120)).date().isoformat(),
        "packaging_lot": "",
        "tags": [],
    }
    book.write("pack.made", pack, said, at + timedelta(hours=1, minutes=25), "tamsin")
    customer = str(CUSTOMERS[int(rng.integers(0, len(CUSTOMERS)))])
    share = round(net * float(rng.uniform(0.5, 0.9)), 1)
    order, shipment = f"ORD-{number:04d}", f"SHIP-{number:04d}"
    ordered: Plain = {
        "order": order,
        "customer": customer,
        "lines": [{"product": product, "mass": kilograms(share, 1), "packs": 0}],
        "note": "",
        "due": (at + timedelta(days=4)).date().isoformat(),
    }
    book.write("order.placed", order, ordered, at + timedelta(hours=3), "tamsin")
    leaves = next_working_moment(at + timedelta(days=3), "06:40")
    line = {"node": pack, "mass": kilograms(share, 1, 100_000), "packs": int(share / 0.25), "tags": []}
    sent: Plain = {
        "shipment": shipment,
        "customer": customer,
        "lines": [line],
        "order": order,
        "temperature_c": f"{2.0 + 2.0 * float(rng.random()):.1f}",
        "carrier": "van 2",
        "documents": [],
    }
    book.write("shipment.sent", shipment, sent, leaves, "tamsin")
    book.write(
        "order.ended",
        order,
        {"order": order, "how": "shipped", "reason": ""},
        leaves + timedelta(minutes=5),
        "tamsin",
    )
    if number % 9 == 0:
        back: Plain = {
            "returned": f"RET-{number:04d}",
            "shipment": shipment,
            "node": pack,
            "mass": kilograms(2.5, 1, 100_000),
            "reason": "torn film",
            "decision": "waste" if number % 2 else "stock",
            "packs": 10,
        }
        came = next_working_moment(leaves + timedelta(days=5), "11:00")
        book.write("goods.returned", back["returned"], back, came, "tamsin")
    if number % 5 == 0:
        kept = {
            "lot": pack,
            "mass": kilograms(0.25, 2, 1_000),
            "purpose": "kept back",
            "pieces": 1,
            "laboratory": "",
        }
        book.write("lot.sampled", pack, kept, at + timedelta(hours=2), "ilo@office")
    if number % 7 == 0:
        torn = {"lot": pack, "mass": kilograms(0.5, 1, 1_000), "reason": "torn film", "pieces": 2}
        book.write("lot.wasted", pack, torn, at + timedelta(hours=2, minutes=10), "besnik@phone-besnik")
