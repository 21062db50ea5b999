"""Names, PIN hashes, links, sessions and device tokens: outside the chain, so that they can be erased.

Only hashes of tokens and PINs are kept. Hashing a PIN, and the key it needs,
is the business of `jobs/people`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, Table, delete, select, update

from saltloft.store.database import Database
from saltloft.store.moments import from_text, to_text
from saltloft.store.tables import contact, device_token, person_secret, session, sign_in_link


@dataclass(frozen=True)
class PinState:
    """What is kept of a person's PIN.

    Args:
        pin_hash: str. Empty when no PIN was set.
        tries: int. Wrong tries since the last right one.
        locked_until: datetime or None.
    """

    pin_hash: str
    tries: int
    locked_until: datetime | None


@dataclass(frozen=True)
class SessionRow:
    """A server-side session.

    Args:
        person, device: str.
        csrf: str. Token every form of the session must carry.
        expires_at: datetime, aware.
    """

    person: str
    device: str
    csrf: str
    expires_at: datetime


class Secrets:
    """The secret tables; every token comes in as its SHA-256."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def set_name(self, person: str, name: str) -> None:
        """Give a person's shown name; an empty one erases it."""
        self.database.write(lambda connection: _upsert(connection, person, name=name))

    def names(self) -> dict[str, str]:
        """Shown names by person; people without one are left out."""
        with self.database.reading() as connection:
            rows = connection.execute(select(person_secret.c.person, person_secret.c.name))
            return {row.person: row.name for row in rows if row.name}

    def set_pin(self, person: str, pin_hash: str) -> None:
        """Keep a new PIN hash; wrong tries are forgotten."""
        self.database.write(
            lambda connection: _upsert(connection, person, pin_hash=pin_hash, tries=0, locked_until="")
        )

    def pin_state(self, person: str) -> PinState:
        """What is kept of a person's PIN; empty when there is none."""
        with self.database.reading() as connection:
            row = connection.execute(select(person_secret).where(person_secret.c.person == person)).first()
        if row is None:
            return PinState("", 0, None)
        return PinState(row.pin_hash, row.tries, from_text(row.locked_until) if row.locked_until else None)

    def count_try(self, person: str, tries: int, locked_until: datetime | None) -> None:
        """Keep the number of wrong tries, and until when no more are taken."""
        until = to_text(locked_until) if locked_until else ""
        self.database.write(lambda connection: _upsert(connection, person, tries=tries, locked_until=until))

    def add_link(self, token_hash: str, person: str, now: datetime, expires_at: datetime) -> None:
        """Keep a one-time sign-in link."""
        values = {"person": person, "made_at": to_text(now), "expires_at": to_text(expires_at)}
        self._insert(sign_in_link, token_hash, values)

    def use_link(self, token_hash: str, now: datetime) -> str | None:
        """The person a link signs in, once; None when it is unknown, used or expired."""

        def work(connection: Connection) -> str | None:
            row = connection.execute(
                select(sign_in_link).where(sign_in_link.c.token_hash == token_hash)
            ).first()
            if row is None or row.used_at or row.expires_at <= to_text(now):
                return None
            connection.execute(
                update(sign_in_link)
                .where(sign_in_link.c.token_hash == token_hash)
                .values(used_at=to_text(now))
            )
            return str(row.person)

        return self.database.write(work)

    def add_session(self, token_hash: str, row: SessionRow, now: datetime) -> None:
        """Open a session."""
        values = {
            "person": row.person,
            "device": row.device,
            "csrf": row.csrf,
            "made_at": to_text(now),
            "expires_at": to_text(row.expires_at),
        }
        self._insert(session, token_hash, values)

    def session(self, token_hash: str, now: datetime) -> SessionRow | None:
        """The open session of a token; None when it ended, expired or never was."""
        with self.database.reading() as connection:
            row = connection.execute(select(session).where(session.c.token_hash == token_hash)).first()
        if row is None or row.ended_at or row.expires_at <= to_text(now):
            return None
        return SessionRow(row.person, row.device, row.csrf, from_text(row.expires_at))

    def end_session(self, token_hash: str, now: datetime) -> None:
        """End one session."""
        self.database.write(
            lambda connection: connection.execute(
                update(session).where(session.c.token_hash == token_hash).values(ended_at=to_text(now))
            )
        )

    def add_device(self, token_hash: str, device: str, scope: str, now: datetime) -> None:
        """Keep a device's token."""
        self._insert(device_token, token_hash, {"device": device, "scope": scope, "made_at": to_text(now)})

    def device(self, token_hash: str) -> tuple[str, str] | None:
        """(device, scope) of a token that was not revoked; None otherwise."""
        with self.database.reading() as connection:
            row = connection.execute(
                select(device_token).where(device_token.c.token_hash == token_hash)
            ).first()
        return None if row is None or row.revoked_at else (row.device, row.scope)

    def revoke_device(self, device: str, now: datetime) -> None:
        """Take no more entries on any token of a device."""
        self.database.write(
            lambda connection: connection.execute(
                update(device_token)
                .where(device_token.c.device == device, device_token.c.revoked_at == "")
                .values(revoked_at=to_text(now))
            )
        )

    def set_contact(self, name_id: str, role: str, name: str, address: str = "") -> None:
        """Keep the name and address behind a customer's or supplier's id."""

        def work(connection: Connection) -> None:
            connection.execute(delete(contact).where(contact.c.contact == name_id))
            connection.execute(
                contact.insert().values(contact=name_id, role=role, name=name, address=address)
            )

        self.database.write(work)

    def contacts(self) -> dict[str, str]:
        """Names by id of every customer and supplier."""
        with self.database.reading() as connection:
            rows = connection.execute(select(contact.c.contact, contact.c.name))
            return {row.contact: row.name for row in rows}

    def _insert(self, table: Table, token_hash: str, values: dict[str, str]) -> None:
        self.database.write(
            lambda connection: connection.execute(table.insert().values(token_hash=token_hash, **values))
        )


def forget_contact(connection: Connection, name_id: str) -> None:
    """Erase the name and address behind a customer's or supplier's id, inside the caller's transaction."""
    connection.execute(delete(contact).where(contact.c.contact == name_id))


def _upsert(connection: Connection, person: str, **values: str | int) -> None:
    done = connection.execute(update(person_secret).where(person_secret.c.person == person).values(**values))
    if not done.rowcount:
        connection.execute(person_secret.insert().values(person=person, **values))
