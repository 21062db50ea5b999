"""Trace both ways with mass balance through a million generated links, on SQLite and on PostgreSQL.

    scripts/bench trace [--json] [--links N] [--seed S] [--sqlite]

A house of years: bags of spice, salt and trim go into batches, batches into pack
lots, pack lots into shipments; one batch in ten takes ends of an earlier one. The
rows go straight into the reading tables; every trace is then what a page asks for.
"""

from __future__ import annotations

import argparse
import json
import statistics
import tempfile
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from tests.integration.databases import Server

from benchmarks._machine import machine
from saltloft.plant.recall import recall_of
from saltloft.plant.trace import DOWN, UP, Flow, carried_down, carried_up, out_of
from saltloft.store.moments import to_text
from saltloft.store.open import Store
from saltloft.store.tables import lot_link, node_now

START = datetime(2021, 1, 4, 6, 0, tzinfo=UTC)
BATCHES_A_DAY, KG, CHUNK = 12, 1_000_000, 20_000
# Material: how many batches in a row one lot of it lasts, and its share of the batch.
MATERIALS = {
    "trim": (4, 0.70),
    "fat": (6, 0.25),
    "salt": (60, 0.026),
    "cure": (120, 0.003),
    "fennel": (9, 0.004),
}
PACKS, LINES = 30, 12


@dataclass
class Rows:
    """Rows to insert, and the numbers one can ask for.

    Args:
        nodes, links: list of rows.
        asked: numbers by sort.
    """

    nodes: list[dict[str, Any]] = field(default_factory=list)
    links: list[dict[str, Any]] = field(default_factory=list)
    asked: dict[str, list[str]] = field(default_factory=dict)
    _counts: dict[str, int] = field(default_factory=dict)

    def node(
        self, name: str, sort: str, mg: int, at: str, product: str = "", *, party: str = "", state: str = ""
    ) -> None:
        """Add a node."""
        self.nodes.append(
            {
                "node": name,
                "sort": sort,
                "product": product,
                "booked_mg": mg,
                "made_at": at,
                "party": party,
                "state": state,
                "subject": name,
            }
        )
        self.asked.setdefault(sort, []).append(name)

    def link(self, source: str, lot: str, sort: str, mg: int, at: str) -> None:
        """Add a link."""
        number = self._counts.get(lot, 0)
        self._counts[lot] = number + 1
        self.links.append(
            {
                "lot": lot,
                "number": number,
                "source": source,
                "ingredient": "",
                "mg": mg,
                "entry_id": f"e{len(self.links)}",
                "sort": sort,
                "at": at,
            }
        )


def rows_of(count: int, seed: int) -> Rows:
    """A house with about `count` links."""
    random = np.random.Generator(np.random.Philox(seed))
    found, batch, packs, shipment = Rows(), 0, list[tuple[str, int]](), 0
    ends: list[str] = []
    while len(found.links) < count:
        moment = START + timedelta(hours=2 * batch)
        at, lot = to_text(moment), f"B-{batch:06d}"
        green = int(random.integers(500, 800)) * KG
        found.node(lot, "lot", green, at, "rowan", state="off_racks")
        for material, (lasts, share) in MATERIALS.items():
            source = f"{material}-{batch // lasts:05d}"
            if batch % lasts == 0:
                found.node(
                    source, "material", int(900 * KG * share * lasts), at, material, party=f"sup-{batch % 20}"
                )
            found.link(source, lot, "batch", int(green * share), at)
        again = batch % 10 == 9 and len(ends) > 20
        if again:
            # Ends of a batch that itself took ends are not worked in again.
            source = ends[-int(random.integers(5, 20))]
            found.link(source, lot, "batch", 5 * KG, at)
        packs += _out(found, lot, green, at, random)
        if not again:
            ends.append(f"{lot}/ends")
        while len(packs) > 400:
            shipment += 1
            _ship(found, packs, shipment, at, random)
        batch += 1
    return found


def _out(found: Rows, lot: str, green: int, at: str, random: np.random.Generator) -> list[tuple[str, int]]:
    finished = green * 63 // 100
    packs = [(f"P-{lot[2:]}-{number:02d}", finished * 97 // 100 // PACKS) for number in range(PACKS)]
    for name, mg in packs:
        found.node(name, "pack", mg, at, "rowan", state="packed")
        found.link(lot, name, "pack", mg, at)
    for what, share in (("ends", 20), ("sample", 3), ("waste", 7)):
        mg = finished * share // 1000
        found.node(f"{lot}/{what}", "sink", mg, at, what, state=what)
        found.link(lot, f"{lot}/{what}", what, mg, at)
    return packs


def _ship(
    found: Rows, packs: list[tuple[str, int]], shipment: int, at: str, random: np.random.Generator
) -> None:
    """Twelve pack lots, or parts of them, to one of 200 customers; what is left waits for the next."""
    name, total = f"SHIP-{shipment:06d}", 0
    for place in sorted(random.choice(200, LINES, replace=False).tolist(), reverse=True):
        pack, mg = packs.pop(place)
        part = mg if mg < 6 * KG or random.random() < 0.6 else mg // 2
        if part < mg:
            packs.append((pack, mg - part))
        found.link(pack, name, "ship", part, at)
        total += part
    found.node(name, "shipment", total, at, party=f"cus-{int(random.integers(0, 200)):03d}", state="sent")


def fill(store: Store, rows: Rows) -> None:
    """Put the rows into the reading tables."""
    for table, every in ((node_now, rows.nodes), (lot_link, rows.links)):
        if store.database.dialect == "postgresql":
            _copy(store, table.name, every)
            continue
        for first in range(0, len(every), CHUNK):
            some = every[first : first + CHUNK]
            store.write(lambda connection, table=table, some=some: connection.execute(table.insert(), some))
    if store.database.dialect == "postgresql":
        store.write(lambda connection: connection.exec_driver_sql("ANALYZE"))


def _copy(store: Store, table: str, every: list[dict[str, Any]]) -> None:
    """Rows into a PostgreSQL table as a stream, which is much faster than statements."""
    connection = store.database.engine.raw_connection()
    try:
        names = list(every[0])
        with (
            connection.cursor() as cursor,
            cursor.copy(f"COPY {table} ({', '.join(names)}) FROM STDIN") as out,
        ):
            for row in every:
                out.write_row([row[name] for name in names])
        connection.commit()
    finally:
        connection.close()


def both_ways(store: Store, name: str) -> tuple[float, int]:
    """Up and down from one thing, amounts and the balance of what is in scope: seconds, and links walked."""
    begun = time.perf_counter()
    links = 0
    for direction in (DOWN, UP):
        flow = store.trace.flow([name], direction)
        base = {node.node: out_of(node, flow.out_mg.get(node.node, 0)) for node in flow.nodes.values()}
        carried = carried_down(flow, base) if direction == DOWN else carried_up(flow, base)
        if direction == DOWN:
            _balanced(flow, base[name], sum(carried.here_mg.values()))
        links += len(flow.links)
    return time.perf_counter() - begun, links


def _balanced(flow: Flow, start_mg: int, kept_mg: int) -> None:
    if start_mg != kept_mg:
        raise SystemExit(f"{flow.starts}: {start_mg} mg went in, {kept_mg} mg are found")
    recall_of(flow, {})


def asked_of(rows: Rows, seed: int) -> dict[str, list[str]]:
    """What is asked: bags of fennel and of cure (which goes into 120 batches), lots, packs, shipments."""
    random = np.random.Generator(np.random.Philox(seed + 1))
    by_sort = {
        "fennel": [name for name in rows.asked["material"] if name.startswith("fennel")],
        "cure": [name for name in rows.asked["material"] if name.startswith("cure")],
        "lot": rows.asked["lot"],
        "pack": rows.asked["pack"],
        "shipment": rows.asked["shipment"],
    }
    return {
        sort: random.choice(names, min(15, len(names)), replace=False).tolist()
        for sort, names in by_sort.items()
    }


def measure(store: Store, rows: Rows, seed: int) -> dict[str, float]:
    """Fill a store and ask."""
    begun = time.perf_counter()
    fill(store, rows)
    figures: dict[str, float] = {"fill_s": time.perf_counter() - begun}
    both_ways(store, rows.asked["lot"][0])
    for sort, names in asked_of(rows, seed).items():
        worked = time.process_time()
        found = [both_ways(store, name) for name in names]
        # On a machine with other work, the seconds that this program itself was given.
        figures[f"{sort}_own_cpu_s"] = (time.process_time() - worked) / len(names)
        figures[f"{sort}_median_s"] = statistics.median(seconds for seconds, _ in found)
        figures[f"{sort}_worst_s"] = max(seconds for seconds, _ in found)
        figures[f"{sort}_links"] = max(links for _, links in found)
    return figures


def main() -> None:
    """Print the figures of both databases."""
    parser = argparse.ArgumentParser(prog="scripts/bench trace", description=__doc__)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--links", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sqlite", action="store_true", help="leave PostgreSQL out")
    given = parser.parse_args()
    rows = rows_of(given.links, given.seed)
    figures: dict[str, Any] = {"links": len(rows.links), "nodes": len(rows.nodes), "seed": given.seed}
    with tempfile.TemporaryDirectory(prefix="saltloft-trace-") as folder:
        store = Store.open(Path(folder) / "house.db", Path(folder) / "files")
        figures["sqlite"] = measure(store, rows, given.seed)
        store.close()
        if not given.sqlite:
            server = Server()
            try:
                store = Store.open(server.migrated(), Path(folder) / "files")
                figures["postgresql"] = measure(store, rows, given.seed)
                store.close()
            finally:
                server.stop()
    figures.update(machine())
    if given.json:
        print(json.dumps(figures))
        return
    for name, value in figures.items():
        if isinstance(value, dict):
            for key, inner in value.items():
                print(f"{name} {key:20} {inner:.3f}")
        else:
            print(f"{name:16} {value}")


if __name__ == "__main__":
    main()
