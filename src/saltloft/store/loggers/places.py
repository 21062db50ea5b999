"""Which room a channel belongs to: by what a person said, else by names the house knows."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from saltloft.foundation.errors import UnknownName
from saltloft.foundation.words import say
from saltloft.store.loggers.headers import Heading, plain, words_set
from saltloft.store.loggers.model import ReadOptions

SKIP = "skip"
_PLACE_NOTES = words_set(
    "location room place raum ort messort standort cella luogo sala lugar ubicacion camara "
    "device logger name title description geraet gerat dispositivo"
)


def room_of(heading: Heading, notes: Sequence[tuple[str, str]], options: ReadOptions, lone: bool) -> str:
    """The room of one channel.

    Args:
        heading: Heading. Of the column or the channel.
        notes: sequence of (str, str). Notes before the table.
        options: ReadOptions. What a person said and which names the house knows.
        lone: bool. True when the file holds one place only, so that notes and file name speak for it.

    Returns:
        str. A room, or ROOM/LOGGER for a second logger of it; 'skip' when a person left the channel
        out; empty when nothing names one.

    Raises:
        UnknownName: a name was given that the house does not know; carries the nearest ones.
    """
    for key in (f"room.{heading.label}", f"room.{heading.place}"):
        answered = options.answers.get(key, "")
        if answered:
            return SKIP if answered.casefold() == SKIP else _checked(answered, options, key)
    if options.room and lone:
        return _checked(options.room, options, "room")
    known = _known_in(heading.place, options)
    if known:
        return known
    if heading.place and not (lone and _is_channel_number(heading.place)):
        return _checked(heading.place, options, f"room.{heading.place}")
    if lone:
        return _from_notes(notes, options)
    return ""


def _is_channel_number(place: str) -> bool:
    return bool(re.fullmatch(r"(?i)(ch|t|temp|rh|hum|kanal|canale?|channel)?\s*\d{1,2}", place))


def _checked(name: str, options: ReadOptions, key: str) -> str:
    room, slash, logger = name.partition("/")
    known = _known_in(room, options)
    if known or not options.rooms:
        return f"{known or room.strip()}{slash}{logger.strip()}"
    error = UnknownName("room", name, options.rooms, key=key)
    error.do = say(
        "say which room it is with --answer 'room.{name}=ROOM', or =skip to leave it out", name=name
    )
    raise error


def _known_in(text: str, options: ReadOptions) -> str:
    """A room, or the room of a logger, that is named by the text or by one of its words."""
    names = {plain(room): room for room in options.rooms}
    names |= {plain(logger): room for logger, room in options.loggers.items() if room}
    whole = plain(text).strip()
    if whole in names:
        return names[whole]
    words = [word for word in re.split(r"[\s_/,;:()\[\]-]+", whole) if word]
    found = {names[word] for word in words if word in names}
    return found.pop() if len(found) == 1 else ""


def _from_notes(notes: Iterable[tuple[str, str]], options: ReadOptions) -> str:
    for key, value in notes:
        if set(re.split(r"\W+", plain(key))) & _PLACE_NOTES:
            found = _known_in(value, options)
            if found or (
                not options.rooms and re.search(r"(?i)location|room|raum|cella|sala|ort|lugar|luogo", key)
            ):
                return found or value.strip()
    return _known_in(re.sub(r"\.\w+$", "", options.file_name).replace(".", "_"), options)


def zone_in_notes(texts: Iterable[str]) -> str:
    """A fixed offset or zone that the notes or a heading name, as an IANA name; empty when none.

    Args:
        texts: iterable of str. Notes and headings.
    """
    for text in texts:
        named = re.search(r"\b(?:Europe|America|Atlantic|Asia|Africa|Australia|Pacific)/\w+(?:/\w+)?", text)
        if named:
            return named[0]
        fixed = re.search(r"\b(?:GMT|UTC)\s*([+-])\s*(\d{1,2})(?::?([0-5]\d))?\b", text, re.IGNORECASE)
        if fixed:
            return _fixed_zone(fixed[1], int(fixed[2]), int(fixed[3] or 0))
        if re.search(r"\b(?:UTC|GMT)\b", text):
            return "UTC"
    return ""


def _fixed_zone(sign: str, hours: int, minutes: int) -> str:
    if not hours and not minutes:
        return "UTC"
    if minutes:
        return f"UTC{sign}{hours:02d}:{minutes:02d}"
    # The Etc zones count westwards: 'GMT+1' of a logger is 'Etc/GMT-1'.
    return f"Etc/GMT{'-' if sign == '+' else '+'}{hours}"
