"""A language 40 % longer than English, made from our own sentences at test time, to see what clips.

Every vowel gets an accent, so that a text without one was never translated.
"""

from __future__ import annotations

import re
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from scripts.words import sentences

LANGUAGE = "qps"
VOWELS = str.maketrans("aeiouAEIOU", "áéíóúÁÉÍÓÚ")
LONGER = 1.4


def lengthened(text: str) -> str:
    """The text with accents, at least 40 % longer, its {placeholders} untouched."""
    missing = round(len(text) * LONGER) - len(text)
    grown = []
    for part in re.split(r"(\{[^}]*\}|\s+)", text):
        if part.startswith("{") or not part.strip():
            grown.append(part)
            continue
        # Half again: as long as the words of other languages are.
        more = part[: len(part) // 2].lower() if len(part) > 3 and part.isalpha() and missing > 0 else ""
        missing -= len(more)
        grown.append((part + more).translate(VOWELS))
    return "".join(grown) + ("é" * max(missing, 0))


def write_catalogue(folder: Path) -> Path:
    """Write the lengthened catalogue under a folder that SALTLOFT_LOCALE may name."""
    catalogue = Catalog(locale="en", project="saltloft")
    for message in sentences():
        if not message.id:
            continue
        if isinstance(message.id, tuple):
            catalogue.add(message.id, tuple(lengthened(text) for text in message.id))
        else:
            catalogue.add(message.id, lengthened(message.id))
    target = folder / LANGUAGE / "LC_MESSAGES" / "saltloft.mo"
    target.parent.mkdir(parents=True)
    with target.open("wb") as file:
        write_mo(file, catalogue)
    return folder
