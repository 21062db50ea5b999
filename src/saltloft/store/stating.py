"""Entries of one subject, decoded, with their corrections applied: what counts now or counted then."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache
from typing import Any

from saltloft.foundation.errors import SaltloftError, StoreError
from saltloft.plant import entries as kinds
from saltloft.plant.readings import Corrected
from saltloft.plant.stated import Correction, Stated
from saltloft.store.journal import CORRECTION, Entry
from saltloft.store.moments import from_text, to_text


def payload_of(entry: Entry) -> Any:
    """The decoded payload of one entry, as first stated."""
    return decoded(entry.kind, entry.body)


# Payloads are frozen, so the same bytes may give the same object; a lot's entries are read again
# with every new one, and decoding them is most of the cost.
@lru_cache(maxsize=16384)
def decoded(kind: str, body: bytes) -> Any:
    """The payload behind the bytes of a stored entry.

    Whether they are in canonical form was seen when they were written, and
    their hash vouches for them since.

    Raises:
        StoreError: the bytes are none of that kind; somebody changed them.
    """
    try:
        return kinds.decode(kind, json.loads(body))
    except SaltloftError:
        raise
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        raise StoreError(
            "an entry of the journal cannot be read",
            got=f"{kind} {bytes(body[:40])!r}" if isinstance(body, bytes) else kind,
            do="run 'saltloft verify', which names it, and restore the last backup",
        ) from error


def stated(entries: Sequence[Entry], asof: datetime | None = None) -> list[Stated[Any]]:
    """Every entry of a subject with what counts of it, by seq; corrections are folded in.

    Args:
        entries: sequence of Entry. All of one subject, by seq.
        asof: datetime or None. Leave out what was recorded later.
    """
    until = None if asof is None else to_text(asof)
    known = [entry for entry in entries if until is None or entry.recorded_at <= until]
    corrections: dict[str, list[tuple[Entry, Corrected]]] = {}
    for entry in known:
        if entry.kind == CORRECTION:
            correction = payload_of(entry)
            corrections.setdefault(correction.entry, []).append((entry, correction))
    return [_one(entry, corrections.get(entry.id, [])) for entry in known if entry.kind != CORRECTION]


def _one(entry: Entry, corrections: list[tuple[Entry, Corrected]]) -> Stated[Any]:
    original = payload_of(entry)
    counts = original
    if corrections and corrections[-1][1].payload:
        counts = decoded(corrections[-1][1].kind, corrections[-1][1].payload.encode())
    return Stated(
        entry_id=entry.id,
        seq=entry.seq,
        kind=entry.kind,
        at=from_text(entry.happened_at),
        recorded_at=from_text(entry.recorded_at),
        person=entry.person,
        device=entry.device,
        payload=counts,
        original=original,
        corrections=tuple(_correction(by, said) for by, said in corrections),
    )


def _correction(by: Entry, said: Corrected) -> Correction:
    return Correction(by.id, by.seq, from_text(by.recorded_at), by.person, said.reason, not said.payload)
