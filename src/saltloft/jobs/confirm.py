"""Confirming fact rows: a named person reads a row's source in an edition and says so, signed.

A row that no source confirms lets a rule give its outcome, but no release
(`cases.judgement.confirmed_keys`). What is confirmed is the row as it stands:
the entry names its digest, and a changed row needs a new confirmation.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from saltloft.cases.judgement import judge_lot
from saltloft.cases.open_house import OpenHouse
from saltloft.cases.rule_keys import rule_keys
from saltloft.foundation.errors import InputError, RuleBroken
from saltloft.foundation.sources import Fact, Source
from saltloft.foundation.words import say
from saltloft.plant.people import FactConfirmed
from saltloft.plant.stated import Stated

LONGEST_EDITION = 120


@dataclass(frozen=True)
class FactRow:
    """One row a verdict rests on, as a person reads it before confirming.

    Args:
        fact: Fact.
        source: Source. The work it was taken from.
        digest: str. SHA-256 of the row as it stands.
        by_source: bool. True when the row was read, or computed from rows that were.
        confirmed: Stated of FactConfirmed or None. The house's own confirmation of the row as it stands.
        outdated: bool. True when the house confirmed an earlier form of the row only.
    """

    fact: Fact
    source: Source
    digest: str
    by_source: bool
    confirmed: Stated[FactConfirmed] | None
    outdated: bool

    @property
    def open(self) -> bool:
        """True while neither its source nor a person of the house confirms it."""
        return not self.by_source and self.confirmed is None


def rows(house: OpenHouse, lot: str = "") -> tuple[FactRow, ...]:
    """The fact rows that verdicts rest on, in the order of their rules.

    Args:
        house: OpenHouse.
        lot: str. One lot's verdicts; empty: every rule of the house's markets and product names.

    Raises:
        UnknownName: no such lot.
    """
    keys = _of_lot(house, lot) if lot else rule_keys(house)
    said: dict[str, list[Stated[FactConfirmed]]] = {}
    for item in house.store.confirmations.all():
        if house.demo or not item.payload.demo:
            said.setdefault(item.payload.fact, []).append(item)
    return tuple(_row(house, key, said.get(key, [])) for key in dict.fromkeys(keys))


def confirmation(house: OpenHouse, fact: str, edition: str, digest: str) -> FactConfirmed:
    """The entry a person signs for one row, refused when the row is another than the one they read.

    The caller has verified the person's PIN and enters it through `jobs.record`.

    Args:
        house: OpenHouse.
        fact: str. Key of the row.
        edition: str. The edition that was read, in the person's words.
        digest: str. Of the row as it was shown.

    Raises:
        UnknownName: no such row.
        InputError: no edition, or one that is too long.
        RuleBroken: the row changed since it was shown.
    """
    now = house.facts.digest(fact)
    named = " ".join(edition.split())
    if not 0 < len(named) <= LONGEST_EDITION:
        raise InputError(
            say("the edition that was read is missing or too long"),
            got=edition[:40],
            allowed=say("1 to {most} characters, such as 'revision of 3 March 2024'", most=LONGEST_EDITION),
            key="edition",
        )
    if digest != now:
        raise RuleBroken(
            say("the row {fact} is not the one that was shown", fact=fact),
            do=say("open the page again and read it as it stands now"),
            key="digest",
        )
    return FactConfirmed(fact, named, now, demo=int(house.demo))


def _of_lot(house: OpenHouse, lot: str) -> Iterator[str]:
    judgement = judge_lot(house, lot, house.now())
    stands = (verdict for stand in judgement.hazards for verdict in stand.verdicts)
    for verdict in (*stands, *judgement.names, *judgement.other):
        yield from verdict.sources


def _row(house: OpenHouse, key: str, said: list[Stated[FactConfirmed]]) -> FactRow:
    digest = house.facts.digest(key)
    fits = [item for item in said if item.payload.digest == digest]
    return FactRow(
        fact=house.facts.get(key),
        source=house.facts.source(key),
        digest=digest,
        by_source=house.facts.confirmed_by_source(key),
        confirmed=fits[-1] if fits else None,
        outdated=bool(said) and not fits,
    )
