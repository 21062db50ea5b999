"""People on the shelf: id and role from the journal, the shown name from outside the chain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from saltloft.plant.house_record import PersonRecord
from saltloft.plant.people import PersonAdded
from saltloft.plant.stated import Stated, counting
from saltloft.store.database import Database
from saltloft.store.secrets import Secrets
from saltloft.store.shelf import Shelf


def _person(person: str, statements: Sequence[Stated[Any]]) -> PersonRecord | None:
    added = counting(statements, PersonAdded)
    return PersonRecord(person, added[-1], person) if added else None


class People(Shelf[PersonRecord]):
    """Everyone who may record, or once could."""

    def __init__(self, database: Database, secrets: Secrets) -> None:
        super().__init__(database, "person", ("person.added/1",), _person)
        self._secrets = secrets

    def _read(
        self, connection: Connection, names: Sequence[str], asof: datetime | None
    ) -> dict[str, PersonRecord | None]:
        shown = self._secrets.names()
        found = super()._read(connection, names, asof)
        return {
            person: record and replace(record, name=shown.get(person, person))
            for person, record in found.items()
        }
