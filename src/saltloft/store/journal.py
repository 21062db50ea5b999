"""The journal: one row an entry, each with the hash of the one before, never changed.

An entry's own hash is SHA-256 over every other column and the body bytes, each
written as length, colon, bytes, comma (so that no two rows can read the same):
'saltloft-journal/1', seq, id, kind, subject, happened_at, recorded_at, person,
device, previous hash, body. The first entry's previous hash is 64 zeros.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, func, select

from saltloft.foundation.errors import StoreError
from saltloft.plant.answers import JournalHead
from saltloft.store.moments import from_text, to_text
from saltloft.store.tables import journal

CORRECTION = "entry.corrected/1"
NO_HASH = "0" * 64
_CHUNK = 500


@dataclass(frozen=True)
class NewEntry:
    """An entry ready to be written: checked, with its canonical bytes.

    Args:
        id: str.
        kind: str. With its version, such as 'lot.hung/1'.
        subject: str.
        body: bytes. Canonical JSON of the payload.
        happened_at: datetime, aware.
        recorded_at: datetime, aware.
        person: str.
        device: str.
        seen: int or None. Seq its author looked at; None when it depends on nothing.
    """

    id: str
    kind: str
    subject: str
    body: bytes
    happened_at: datetime
    recorded_at: datetime
    person: str
    device: str
    seen: int | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """A row of the journal, as stored.

    Args:
        seq: int. Counted from 1 without a gap.
        id, kind, subject: str.
        body: bytes. The hashed bytes.
        happened_at, recorded_at: str. UTC, to the millisecond.
        person, device: str.
        previous_hash, hash: str. SHA-256, 64 hexadecimal digits.
    """

    seq: int
    id: str
    kind: str
    subject: str
    body: bytes
    happened_at: str
    recorded_at: str
    person: str
    device: str
    previous_hash: str
    hash: str


def entry_hash(entry: Entry) -> str:
    """The SHA-256 an entry must bear, from everything else it holds (hexadecimal)."""
    return _hash(
        entry.seq,
        (
            entry.id,
            entry.kind,
            entry.subject,
            entry.happened_at,
            entry.recorded_at,
            entry.person,
            entry.device,
            entry.previous_hash,
        ),
        entry.body,
    )


def _hash(seq: int, texts: Sequence[str], body: bytes) -> str:
    digest = hashlib.sha256()
    for part in (b"saltloft-journal/1", str(seq).encode(), *(text.encode() for text in texts), body):
        digest.update(b"%d:%b," % (len(part), part))
    return digest.hexdigest()


def head(connection: Connection) -> JournalHead | None:
    """The last entry's seq, hash and moment; None for an empty journal."""
    row = connection.execute(
        select(journal.c.seq, journal.c.hash, journal.c.recorded_at).order_by(journal.c.seq.desc()).limit(1)
    ).first()
    return JournalHead(row.seq, row.hash, from_text(row.recorded_at)) if row else None


def append(
    connection: Connection, entries: Sequence[NewEntry], *, after: tuple[int, str] | None = None
) -> tuple[list[Entry], list[Entry]]:
    """Write entries at the end of the chain, in order, inside the caller's writing transaction.

    Args:
        after: (int, str) or None. Seq and hash of the journal's end, from a caller who read them in this
            transaction and found none of the entries' ids; None: they are looked up.

    Returns:
        (stored, written): lists of Entry. `stored` one each; for an id that is already there with
            the same bytes, the stored one. `written` those that came to the chain now.

    Raises:
        StoreError: the same id with other bytes, or something later was stated about the
            subject than the author had seen.
    """
    known: dict[str, Entry] = {}
    if after is None:
        known = {entry.id: entry for entry in by_ids(connection, [new.id for new in entries])}
        last = head(connection)
        after = (last.seq, last.hash) if last else (0, NO_HASH)
    seq, previous = after
    stored: list[Entry] = []
    added: list[Entry] = []
    written: list[NewEntry] = []
    for new in entries:
        if new.id in known:
            stored.append(same_or_refused(known[new.id], new))
            continue
        refuse_clash(connection, new, written)
        seq += 1
        entry = _written(new, seq, previous)
        previous = entry.hash
        known[new.id] = entry
        stored.append(entry)
        written.append(new)
        added.append(entry)
    if added:
        rows = [{name: getattr(entry, name) for name in Entry.__slots__} for entry in added]
        connection.execute(journal.insert(), rows)
    return stored, added


def _written(new: NewEntry, seq: int, previous: str) -> Entry:
    texts = (
        new.id,
        new.kind,
        new.subject,
        to_text(new.happened_at),
        to_text(new.recorded_at),
        new.person,
        new.device,
        previous,
    )
    return Entry(seq, *texts[:3], new.body, *texts[3:], _hash(seq, texts, new.body))


def same_or_refused(old: Entry, new: NewEntry) -> Entry:
    """The stored entry when a resent one is the same; refused when the id was used for something else.

    Raises:
        StoreError: same id, other content.
    """
    same = (
        old.body == new.body
        and (old.kind, old.subject, old.person) == (new.kind, new.subject, new.person)
        and old.happened_at == to_text(new.happened_at)
    )
    if same:
        return old
    raise StoreError(
        "another entry already bears this id",
        got=f"{new.kind} {new.body.decode()[:120]}",
        allowed=f"stored as no. {old.seq}: {old.kind} {old.body.decode()[:120]}",
        do="enter it anew, or correct the stored one",
        key="id",
    )


def refuse_clash(connection: Connection, new: NewEntry, waiting: Iterable[NewEntry] = ()) -> None:
    """Refuse an entry that depends on what its author saw when something later was stated.

    Later entries of the same person on the same device are no clash: the author made them.

    Args:
        new: NewEntry.
        waiting: iterable of NewEntry. About to be written before it.

    Raises:
        StoreError: with both sides.
    """
    if new.seen is None:
        return
    later = connection.execute(
        select(journal)
        .where(journal.c.subject == new.subject, journal.c.seq > new.seen)
        .where((journal.c.person != new.person) | (journal.c.device != new.device))
        .order_by(journal.c.seq)
        .limit(1)
    ).first()
    theirs = f"no. {later.seq}: {_side(later)}" if later else ""
    for other in waiting:
        if not theirs and other.subject == new.subject:
            same = (other.person, other.device) == (new.person, new.device)
            theirs = "" if same else f"just now: {_side(other)}"
    if theirs:
        raise StoreError(
            f"something else was stated about {new.subject} in between",
            got=f"yours: {_side(new)}",
            allowed=f"theirs, {theirs}",
            do="look at it, and enter yours again if it still holds",
            key="seen",
        )


def _side(entry: Any) -> str:
    return f"{entry.kind} by {entry.person} {entry.body.decode()[:160]}"


def last_seq(connection: Connection, subject: str) -> int:
    """Seq of the last entry about a subject; 0 when there is none."""
    query = select(func.max(journal.c.seq)).where(journal.c.subject == subject)
    return connection.execute(query).scalar() or 0


def as_entry(row: Row[Any]) -> Entry:
    """A row of the journal table as an Entry."""
    return Entry(*tuple(row))


def by_ids(connection: Connection, ids: Sequence[str]) -> Iterator[Entry]:
    """The entries that bear one of these ids, in no order."""
    if len(ids) == 1:
        # The usual case, and a list costs three times as much to put into words.
        yield from map(as_entry, connection.execute(select(journal).where(journal.c.id == ids[0])))
        return
    for start in range(0, len(ids), _CHUNK):
        chunk = ids[start : start + _CHUNK]
        for row in connection.execute(select(journal).where(journal.c.id.in_(chunk))):
            yield as_entry(row)


def of_subject(connection: Connection, subject: str, kinds: Sequence[str] = ()) -> list[Entry]:
    """Everything stated about one subject, by seq; with `kinds` only these and the corrections."""
    query = select(journal).where(journal.c.subject == subject).order_by(journal.c.seq)
    if kinds:
        query = query.where(journal.c.kind.in_((*kinds, CORRECTION)))
    rows = connection.execute(query)
    return [as_entry(row) for row in rows]


def of_subjects(
    connection: Connection, subjects: Sequence[str], kinds: Sequence[str] = ()
) -> dict[str, list[Entry]]:
    """As `of_subject` for many subjects at once; a subject without entries has an empty list."""
    found: dict[str, list[Entry]] = {subject: [] for subject in subjects}
    names = list(found)
    for start in range(0, len(names), _CHUNK):
        query = (
            select(journal)
            .where(journal.c.subject.in_(names[start : start + _CHUNK]))
            .order_by(journal.c.seq)
        )
        if kinds:
            query = query.where(journal.c.kind.in_((*kinds, CORRECTION)))
        for row in connection.execute(query):
            found[row.subject].append(as_entry(row))
    return found


def last_seqs(connection: Connection, subjects: Sequence[str]) -> dict[str, int]:
    """Seq of the last entry about each of some subjects; those without any are left out."""
    if len(subjects) == 1:
        last = last_seq(connection, subjects[0])
        return {subjects[0]: last} if last else {}
    found: dict[str, int] = {}
    for start in range(0, len(subjects), _CHUNK):
        rows = connection.execute(
            select(journal.c.subject, func.max(journal.c.seq))
            .where(journal.c.subject.in_(subjects[start : start + _CHUNK]))
            .group_by(journal.c.subject)
        )
        found.update({row[0]: row[1] for row in rows})
    return found


def of_kinds(
    connection: Connection, kinds: Sequence[str], start: str = "", end: str = "9999"
) -> dict[str, list[Entry]]:
    """Entries of these kinds that happened from start to before end, by subject, with all corrections
    about the same subjects.

    Args:
        kinds: sequence of str.
        start, end: str. As `moments.to_text` writes them.
    """
    rows = connection.execute(
        select(journal)
        .where(journal.c.kind.in_(kinds))
        .where(journal.c.happened_at >= start, journal.c.happened_at < end)
        .order_by(journal.c.seq)
    )
    found: dict[str, list[Entry]] = {}
    for row in rows:
        found.setdefault(row.subject, []).append(as_entry(row))
    corrections = connection.execute(
        select(journal).where(journal.c.kind == CORRECTION).order_by(journal.c.seq)
    )
    for row in corrections:
        if row.subject in found:
            found[row.subject].append(as_entry(row))
    return found


def subjects_of(connection: Connection, kinds: Sequence[str]) -> list[str]:
    """Subjects about which one of these kinds was ever stated, by first mention."""
    rows = connection.execute(
        select(journal.c.subject)
        .where(journal.c.kind.in_(kinds))
        .group_by(journal.c.subject)
        .order_by(func.min(journal.c.seq))
    )
    return list(rows.scalars())


def kind_counts(connection: Connection) -> dict[str, int]:
    """How many entries there are of each kind."""
    counts = select(journal.c.kind, func.count()).group_by(journal.c.kind)
    return {row[0]: row[1] for row in connection.execute(counts)}


def walk(connection: Connection, after: int = 0) -> Iterator[Entry]:
    """Every entry after a seq, in order, without holding them all in memory."""
    rows = connection.execute(
        select(journal).where(journal.c.seq > after).order_by(journal.c.seq),
        # On the statement: set on the connection it would stay, and PostgreSQL take every later
        # statement for one with a cursor.
        execution_options={"yield_per": 2000},
    )
    for row in rows:
        yield as_entry(row)


def page(connection: Connection, before: int | None, limit: int) -> list[Entry]:
    """The newest entries before a seq, newest first."""
    query = select(journal).order_by(journal.c.seq.desc()).limit(limit)
    if before is not None:
        query = query.where(journal.c.seq < before)
    return [as_entry(row) for row in connection.execute(query)]
