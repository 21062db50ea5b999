"""Walk the chain and say what is wrong with it, and hold it against a head printed earlier.

Without an anchor the walk sees a changed byte, a deleted or a reordered entry.
It cannot see that the tail was cut off, that an older copy was put back, or
that the whole chain was written anew; an anchor (a head on paper, in a backup's
name, or sent elsewhere) shows these three.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, func, inspect, select

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.plant.answers import JournalHead
from saltloft.plant.entries import KINDS
from saltloft.store import journal
from saltloft.store.database import Database
from saltloft.store.journal import NO_HASH, Entry, entry_hash
from saltloft.store.live import digest_with_beside, strays
from saltloft.store.readings import Readings, batch_digest, rows_of_number
from saltloft.store.tables import batch_number, reading

_ANCHOR = re.compile(r"^(\d+)[-:/ ]([0-9a-fA-F]{12,64})$")


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong.

    Args:
        seq: int. Number of the first entry concerned; 0 when it is no entry.
        words: str. What was expected and what is there.
    """

    seq: int
    words: str


@dataclass(frozen=True)
class Verification:
    """What a walk over the chain found.

    Args:
        entries: int. How many were walked.
        head: JournalHead or None. The end of the chain as it is.
        faults: tuple of Fault. The first bad entry first; the walk ends there.
        readings_checked: int. Sealed batches whose rows were counted and hashed again.
        anchored: bool. Whether an anchor was held against it.
        cannot_see: str. What this walk cannot see; empty when anchored.
    """

    entries: int
    head: JournalHead | None
    faults: tuple[Fault, ...]
    readings_checked: int
    anchored: bool
    cannot_see: str

    @property
    def whole(self) -> bool:
        """True when nothing was found."""
        return not self.faults


def read_anchor(text: str) -> tuple[int, str]:
    """Seq and (the beginning of) the hash of a head as printed, such as '1842-9f3c0a…'.

    Raises:
        InputError: when it is not a number, a hyphen and at least 12 hexadecimal digits.
    """
    found = _ANCHOR.match(text.strip())
    if not found:
        raise InputError(
            "the anchor is not a head of the journal",
            got=f"'{text}'",
            allowed="number, hyphen and at least 12 digits of the hash, as printed: 1842-9f3c0a77b1d2",
            key="anchor",
        )
    return int(found[1]), found[2].lower()


def verify(
    database: Database, anchors: Sequence[tuple[int, str]] = (), *, readings: bool = True
) -> Verification:
    """Walk the whole journal, and count and hash every sealed batch of readings.

    Args:
        database: Database.
        anchors: sequence of (seq, beginning of hash). Heads printed, sent out or in a backup;
            with more of them a rewritten entry is named more closely.
        readings: bool. False walks the journal only.
    """
    wanted = sorted(anchors)
    with database.reading() as connection:
        entries, faults, hashes = _walk(connection, {seq for seq, _ in wanted})
        last = journal.head(connection)
        if not faults and last is None:
            faults = [Fault(0, say("The journal is empty: no house begins without its set-up."))]
        if not faults:
            faults = _anchor_faults(wanted, hashes, last)
        checked, bad = _check_readings(connection, database) if readings and not faults else (0, [])
    return Verification(
        entries=entries,
        head=last,
        faults=tuple(faults + bad),
        readings_checked=checked,
        anchored=bool(wanted),
        cannot_see=""
        if wanted
        else say(
            "Without a head printed or sent out earlier (--anchor) this cannot see three things: entries "
            "cut off at the end, an older copy put back, and a chain written anew as a whole."
        ),
    )


def _walk(connection: Connection, anchored: set[int]) -> tuple[int, list[Fault], dict[int, str]]:
    previous, seq = NO_HASH, 0
    hashes: dict[int, str] = {}
    for entry in journal.walk(connection):
        seq += 1
        fault = _fault(entry, seq, previous)
        if fault is not None:
            return seq - 1, [fault], hashes
        previous = entry.hash
        if seq in anchored:
            hashes[seq] = entry.hash
    return seq, [], hashes


def _fault(entry: Entry, seq: int, previous: str) -> Fault | None:
    if entry.seq != seq:
        return Fault(
            seq,
            say("Entry {seq} is missing: after it comes {found}.", seq=seq, found=entry.seq),
        )
    if entry.previous_hash != previous:
        return Fault(
            seq,
            say("Entry {seq} does not follow the one before it: its previous hash differs.", seq=seq),
        )
    if entry_hash(entry) != entry.hash:
        return Fault(
            seq,
            say(
                "Entry {seq} ({kind} about {subject}, id {id}) was changed: "
                "its content does not give its hash.",
                seq=seq,
                kind=entry.kind,
                subject=entry.subject,
                id=entry.id,
            ),
        )
    if entry.kind not in KINDS:
        return Fault(
            seq, say("Entry {seq} is of the kind {kind}, which is not known here.", seq=seq, kind=entry.kind)
        )
    return None


def _anchor_faults(
    wanted: Sequence[tuple[int, str]], hashes: dict[int, str], last: JournalHead | None
) -> list[Fault]:
    end = last.seq if last else 0
    fits = 0
    for seq, digits in wanted:
        if seq > end:
            return [_cut(seq, end)]
        if not hashes[seq].startswith(digits):
            return [_rewritten(seq, fits, hashes[seq], digits)]
        fits = seq
    return []


def _cut(seq: int, end: int) -> Fault:
    words = say(
        "The anchor is entry {seq}, but the journal ends at {end}: the tail was cut off or an older copy was "
        "put back. The first entry that differs is {first}: it is missing.",
        seq=seq,
        end=end,
        first=end + 1,
    )
    return Fault(end + 1, words)


def _rewritten(seq: int, fits: int, found: str, digits: str) -> Fault:
    values = {"seq": seq, "found": found[:12], "digits": digits[:12], "first": fits + 1}
    if fits + 1 == seq:
        words = say(
            "The first entry that differs is {seq}: its hash begins {found}, the anchor's {digits}. "
            "The chain was written anew from there.",
            **values,
        )
    else:
        words = say(
            "Entry {seq} is not the one the anchor names: its hash begins {found}, the anchor's {digits}. "
            "The chain was written anew; the first entry that differs lies between {first} and {seq}. Give a "
            "backup file or more heads as anchors to name it.",
            **values,
        )
    return Fault(fits + 1, words)


def _check_readings(connection: Connection, database: Database) -> tuple[int, list[Fault]]:
    faults: list[Fault] = []
    rows = connection.execute(select(batch_number.c.batch, batch_number.c.number))
    numbers = {row.batch: row.number for row in rows}
    batches = Readings(database).all()
    # A house of an older revision has no live values.
    live = inspect(connection).has_table("reading_minute")
    for record in batches:
        sealed = record.sealed
        number = numbers.pop(record.batch, None)
        columns = rows_of_number(connection, number, record) if number is not None else {}
        count = sum(len(times) for times, _ in columns.values())
        digest = digest_with_beside(connection, number, columns) if live and number is not None else None
        if digest is None:
            digest = batch_digest(columns)
        if count != sealed.payload.rows or digest != sealed.payload.digest:
            faults.append(
                Fault(
                    sealed.seq,
                    say(
                        "The readings of batch {batch}, sealed by entry {seq} with {rows} rows, are not "
                        "what was sealed: {count} rows are there.",
                        batch=record.batch,
                        seq=sealed.seq,
                        rows=sealed.payload.rows,
                        count=count,
                    ),
                )
            )
    sealed_rows = sum(record.sealed.payload.rows for record in batches)
    rows_there = connection.execute(select(func.count()).select_from(reading)).scalar() or 0
    if not faults and (rows_there != sealed_rows or (live and strays(connection))):
        words = say(
            "{there} readings are there, {sealed} were sealed: some belong to no sealed batch.",
            there=rows_there,
            sealed=sealed_rows,
        )
        faults.append(Fault(0, words))
    for batch in numbers:
        faults.append(Fault(0, say("The readings of batch {batch} were never sealed.", batch=batch)))
    return len(batches), faults
