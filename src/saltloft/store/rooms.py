"""Rooms on the shelf."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from saltloft.plant.house_record import RoomRecord
from saltloft.plant.rooms import RoomDefined, RoomSet
from saltloft.plant.stated import Stated, counting
from saltloft.store.database import Database
from saltloft.store.shelf import Shelf


def _room(room: str, statements: Sequence[Stated[Any]]) -> RoomRecord | None:
    defined = counting(statements, RoomDefined)
    if not defined:
        return None
    return RoomRecord(room, defined[-1], counting(statements, RoomSet), tuple(statements))


def rooms_shelf(database: Database) -> Shelf[RoomRecord]:
    """Every room with its settings."""
    return Shelf(database, "room", ("room.defined/1",), _room)
