"""The store of one house: every shelf, opened together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TypeVar

from sqlalchemy import Connection

from saltloft.foundation.errors import StoreError
from saltloft.plant.answers import JournalHead
from saltloft.plant.digital_link import ProductNumbered
from saltloft.plant.entries import versions
from saltloft.plant.flow import LotSliced, PackMade
from saltloft.plant.orders import OrderEnded, OrderPlaced, ShipmentSent
from saltloft.plant.parties import PartyAdded
from saltloft.plant.people import DeviceEnrolled, FactConfirmed, HouseSetUp
from saltloft.plant.readings import CheckDone, DocumentRecorded, PressedAndCut
from saltloft.plant.recall import RecallDrilled
from saltloft.plant.stated import Stated
from saltloft.plant.stock import MaterialReceived
from saltloft.store import journal, projection
from saltloft.store.attachments import Attachments
from saltloft.store.database import Database
from saltloft.store.flow import FlowTables
from saltloft.store.instruments import instruments_shelf
from saltloft.store.journal import Entry
from saltloft.store.kept import Kept
from saltloft.store.known import Known
from saltloft.store.listing import Listing
from saltloft.store.live import LiveReadings
from saltloft.store.lots import LotCourses, Lots
from saltloft.store.member_states import MemberStates
from saltloft.store.migrate import bring_up, drop_everything
from saltloft.store.people import People
from saltloft.store.readings import Readings
from saltloft.store.recipes import products_shelf, recipes_shelf
from saltloft.store.rooms import rooms_shelf
from saltloft.store.secrets import Secrets
from saltloft.store.stating import stated
from saltloft.store.stock import Stock
from saltloft.store.trace import Trace
from saltloft.store.upkeep import Upkeep
from saltloft.store.verify import Verification, verify
from saltloft.store.work import Work

T = TypeVar("T")


class Store:
    """Everything a house keeps.

    Args:
        database: Database. Migrated already.
        files: Path. Folder of the attached files.
    """

    def __init__(self, database: Database, files: Path) -> None:
        self.database = database
        self.known = Known()
        self.secrets = Secrets(database)
        self.attachments = Attachments(database, files)
        self.readings = Readings(database)
        self.live = LiveReadings(self.readings)
        self.kept = Kept(database)
        self.member_states = MemberStates(files.parent / "states")
        self.work = Work(database)
        self.upkeep = Upkeep(database)
        self.lots = Lots(database)
        self.lot_courses = LotCourses(database)
        self.rooms = rooms_shelf(database)
        self.instruments = instruments_shelf(database)
        self.products = products_shelf(database)
        self.recipes = recipes_shelf(database)
        self.stock = Stock(database)
        self.flow = FlowTables(database)
        self.parties = Listing(database, ("party.added/1",), PartyAdded)
        self.orders = Listing(database, ("order.placed/1",), OrderPlaced)
        self.order_ends = Listing(database, ("order.ended/1",), OrderEnded)
        self.slicings = Listing(database, ("lot.sliced/1",), LotSliced)
        self.packs = Listing(database, ("pack.made/1",), PackMade)
        self.shipments = Listing(database, ("shipment.sent/1",), ShipmentSent)
        self.trace = Trace(database)
        self.people = People(database, self.secrets)
        self.checks = Listing(database, ("check.done/1",), CheckDone)
        self.cuts = Listing(database, versions("lot.pressed_and_cut"), PressedAndCut)
        self.numbers = Listing(database, ("product.numbered/1",), ProductNumbered)
        self.drills = Listing(database, ("recall.drilled/1",), RecallDrilled)
        self.deliveries = Listing(database, versions("material.received"), MaterialReceived)
        self.documents = Listing(database, ("document.recorded/1",), DocumentRecorded)
        self.confirmations = Listing(database, ("fact.confirmed/1",), FactConfirmed)
        self.devices = Listing(database, ("device.enrolled/1",), DeviceEnrolled)
        self.set_up = Listing(database, ("house.set_up/1",), HouseSetUp)

    @classmethod
    def open(cls, where: Path | str, files: Path) -> Store:
        """Open a house's database, migrating it and building its reading tables where needed.

        Args:
            where: Path or str. A SQLite file, or 'postgresql://…'.
            files: Path. Folder of the attached files, inside the house folder.

        Raises:
            InputError: a URL that is none, or its driver is not installed.
            StoreError: damaged, of another program, or written by a newer or an older Saltloft.
        """
        database = Database(where)
        if bring_up(database):
            database.write(projection.rebuild)
        return cls(database, files)

    def house(self) -> Stated[HouseSetUp]:
        """How the house was set up, by its last statement.

        Raises:
            StoreError: when it was never set up.
        """
        said = self.set_up.all()
        if not said:
            raise StoreError("the house was never set up", do="make one with 'saltloft new DIR'")
        return said[-1]

    def head(self) -> JournalHead | None:
        """The end of the chain; None for an empty journal."""
        with self.database.reading() as connection:
            return journal.head(connection)

    def entry(self, entry_id: str) -> Stated[object] | None:
        """One entry, decoded, with its corrections; None when there is none of that id."""
        with self.database.reading() as connection:
            found = list(journal.by_ids(connection, [entry_id]))
            if not found:
                return None
            known = journal.of_subject(connection, found[0].subject)
        return next((item for item in stated(known) if item.entry_id == entry_id), None)

    def entries(self, before: int | None = None, limit: int = 50) -> list[Entry]:
        """The newest entries as stored, newest first; `before` a seq for the next page."""
        with self.database.reading() as connection:
            return journal.page(connection, before, limit)

    def kind_counts(self) -> dict[str, int]:
        """How many entries there are of each kind."""
        with self.database.reading() as connection:
            return journal.kind_counts(connection)

    def of_subject(self, subject: str, asof: datetime | None = None) -> list[Stated[object]]:
        """Everything stated about one lot, room, instrument and so on, by seq."""
        with self.database.reading() as connection:
            return list(stated(journal.of_subject(connection, subject), asof))

    def write(self, work: Callable[[Connection], T]) -> T:
        """Run a work in one writing transaction (see `Database.write`)."""
        return self.database.write(work)

    def rebuild(self) -> int:
        """Build the reading tables anew from the journal and forget kept results.

        Returns:
            int. How many subjects were projected.
        """
        done = self.database.write(projection.rebuild)
        self.kept.drop_all()
        self.member_states.keep_only(())
        return done

    def verify(self, anchors: Sequence[tuple[int, str]] = (), *, readings: bool = True) -> Verification:
        """Walk the chain (see `store.verify.verify`)."""
        return verify(self.database, anchors, readings=readings)

    def discard(self) -> None:
        """Close, and drop the tables of a house whose two first entries were not both taken.

        Raises:
            StoreError: there are more; a journal in use is never dropped.
        """
        head = self.head()
        if head is not None and head.seq > 2:
            raise StoreError("a house with entries is not dropped", got=self.database.name)
        self.database.write(drop_everything)
        self.close()

    def close(self) -> None:
        """Close every connection."""
        self.database.close()
