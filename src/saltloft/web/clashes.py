"""Two people at one thing: what the later one is told, in words, with both sides."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import lots, records
from saltloft.plant.canonical import read_canonical
from saltloft.plant.entries import decode, newest, subject_of
from saltloft.plant.readings import Corrected
from saltloft.plant.stated import Stated
from saltloft.web.payload_forms import read_payload
from saltloft.web.payload_words import payload_words
from saltloft.web.visitor import Visitor


def seen_of(form: Mapping[str, str]) -> int:
    """The journal's number that the form's author looked at; 0 for none, or what is no number."""
    text = form.get("seen", "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 19 else 0


def clash(house: House, visitor: Visitor, stated: Stated[Any], typed: Mapping[str, str]) -> InputError:
    """Why a correction met another's: what they stated since the page was opened, and what was typed.

    Args:
        house: House.
        visitor: Visitor. Who came later.
        stated: Stated. The entry both corrected, as it stands now.
        typed: mapping of str to str. The form.
    """
    seen, subject = seen_of(typed), subject_of(stated.original)
    since = [
        line
        for line in records.look(house, records.Wanted(subject)).lines
        if line.seq > seen and line.subject == subject and line.person != visitor.person
    ]
    names = lots.names(house)
    theirs = ""
    if since:
        first = since[-1]
        theirs = say(
            "{person} stated as no. {seq}: {words}",
            person=names.get(first.person, first.person),
            seq=first.seq,
            words=_stated_words(first.payload),
        )
    what = say("Something was stated about {subject} since you opened this page", subject=subject)
    return InputError(
        f"{what}. {theirs}" if theirs else what,
        got=_typed_words(stated, typed),
        do=say("Look at theirs; if yours still holds, send it again."),
        key="seen",
    )


def _typed_words(stated: Stated[Any], typed: Mapping[str, str]) -> str:
    if typed.get("act") == "strike":
        return say("struck out")
    try:
        return payload_words(read_payload(newest(stated.kind), typed))
    except SaltloftError:
        return ""


def _stated_words(payload: object) -> str:
    """What an entry states; of a correction what it puts in place, and why."""
    if not isinstance(payload, Corrected):
        return payload_words(payload)
    if not payload.payload:
        return say("struck out: {reason}", reason=payload.reason)
    now = decode(payload.kind, read_canonical(payload.payload.encode()))
    return say("{words}. Why: {reason}", words=payload_words(now), reason=payload.reason)
