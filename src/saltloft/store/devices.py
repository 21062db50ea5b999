"""What is kept of devices outside the chain: enrolment codes, tokens, clocks, wrong PINs, sessions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from saltloft.plant.canonical import read_canonical
from saltloft.plant.entries import decode
from saltloft.plant.people import EnteredOffline
from saltloft.store import journal
from saltloft.store.database import Database
from saltloft.store.moments import from_text, to_text
from saltloft.store.tables import device_state, device_token, enrol_code, session
from saltloft.store.tables import journal as journal_table

MARK = "offline.entered/1"
# More than one commit ever takes: what waiting writers share.
MOST_IN_A_COMMIT = 5000


@dataclass(frozen=True)
class CodeRow:
    """A device's enrolment code, as kept.

    Args:
        device, label, scope: str.
        made_by: str. Person who made it.
        expires_at: datetime, aware.
    """

    device: str
    label: str
    scope: str
    made_by: str
    expires_at: datetime


@dataclass(frozen=True)
class DeviceState:
    """What is known of one device.

    Args:
        seen_at: datetime or None. When it last sent or measured its clock.
        offset_ms: int. The house's clock less the device's. [ms]
        offset_at: datetime or None. When that was measured; None: never.
        tries: int. Wrong PINs since `tries_since`.
        tries_since: datetime or None.
    """

    seen_at: datetime | None = None
    offset_ms: int = 0
    offset_at: datetime | None = None
    tries: int = 0
    tries_since: datetime | None = None


@dataclass(frozen=True)
class TokenRow:
    """One token of a device, without the token.

    Args:
        device, scope: str.
        made_at: datetime, aware.
        revoked_at: datetime or None.
    """

    device: str
    scope: str
    made_at: datetime
    revoked_at: datetime | None


class Devices:
    """Reads and writes the devices' tables; every token comes in as its SHA-256."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def add_code(self, token_hash: str, row: CodeRow, now: datetime) -> None:
        """Keep a code."""
        values = {
            "token_hash": token_hash,
            "device": row.device,
            "label": row.label,
            "scope": row.scope,
            "made_by": row.made_by,
            "made_at": to_text(now),
            "expires_at": to_text(row.expires_at),
        }
        self.database.write(lambda connection: connection.execute(insert(enrol_code).values(values)))

    def code(self, token_hash: str, now: datetime) -> CodeRow | None:
        """A code that may still be used; None otherwise."""
        with self.database.reading() as connection:
            return _open_code(connection, token_hash, now)

    def use_code(self, token_hash: str, now: datetime) -> CodeRow | None:
        """Use a code up, once; None when it is unknown, used or expired."""

        def work(connection: Connection) -> CodeRow | None:
            found = _open_code(connection, token_hash, now)
            if found is not None:
                connection.execute(
                    update(enrol_code)
                    .where(enrol_code.c.token_hash == token_hash)
                    .values(used_at=to_text(now))
                )
            return found

        return self.database.write(work)

    def tokens(self) -> list[TokenRow]:
        """Every token ever given out, oldest first."""
        with self.database.reading() as connection:
            rows = connection.execute(select(device_token).order_by(device_token.c.made_at))
            return [
                TokenRow(row.device, row.scope, from_text(row.made_at), _moment(row.revoked_at))
                for row in rows
            ]

    def state(self, device: str) -> DeviceState:
        """What is known of one device; nothing of one that was never seen."""
        return self.states().get(device, DeviceState())

    def states(self) -> dict[str, DeviceState]:
        """What is known of every device."""
        with self.database.reading() as connection:
            rows = connection.execute(select(device_state))
            return {
                row.device: DeviceState(
                    _moment(row.seen_at),
                    row.offset_ms,
                    _moment(row.offset_at),
                    row.tries,
                    _moment(row.tries_since),
                )
                for row in rows
            }

    def keep_clock(self, device: str, offset_ms: int, now: datetime) -> None:
        """Keep how far a device's clock was from the house's."""
        self._keep(device, offset_ms=offset_ms, offset_at=to_text(now), seen_at=to_text(now))

    def keep_tries(self, device: str, tries: int, since: datetime) -> None:
        """Keep the number of wrong PINs and since when they are counted."""
        self._keep(device, tries=tries, tries_since=to_text(since))

    def in_journal(self, entries: Sequence[str]) -> set[str]:
        """Which of these ids the journal holds already."""
        with self.database.reading() as connection:
            return {entry.id for entry in journal.by_ids(connection, entries)}

    def marks_beside(self, entries: Sequence[str]) -> list[EnteredOffline]:
        """The marks of entries made without a network that stand where these entries stand.

        Notes:
            A mark is written in the commit of the entries it names, right behind them.
        """
        with self.database.reading() as connection:
            seqs = [entry.seq for entry in journal.by_ids(connection, entries)]
            if not seqs:
                return []
            rows = connection.execute(
                select(journal_table.c.kind, journal_table.c.body).where(
                    journal_table.c.kind == MARK,
                    journal_table.c.seq > min(seqs),
                    journal_table.c.seq <= max(seqs) + MOST_IN_A_COMMIT,
                )
            )
            return [decode(row.kind, read_canonical(row.body)) for row in rows]

    def end_sessions(self, device: str, now: datetime) -> None:
        """End every session on a device."""
        self.database.write(
            lambda connection: connection.execute(
                update(session)
                .where(session.c.device == device, session.c.ended_at == "")
                .values(ended_at=to_text(now))
            )
        )

    def _keep(self, device: str, **values: str | int) -> None:
        def work(connection: Connection) -> None:
            where = device_state.c.device == device
            if not connection.execute(update(device_state).where(where).values(**values)).rowcount:
                connection.execute(insert(device_state).values(device=device, **values))

        self.database.write(work)


def _open_code(connection: Connection, token_hash: str, now: datetime) -> CodeRow | None:
    row = connection.execute(select(enrol_code).where(enrol_code.c.token_hash == token_hash)).first()
    if row is None or row.used_at or row.expires_at <= to_text(now):
        return None
    return CodeRow(row.device, row.label, row.scope, row.made_by, from_text(row.expires_at))


def _moment(text: str) -> datetime | None:
    return from_text(text) if text else None
