"""Catalogues for translators: every sentence is in the template, and a broken translation is named."""

from __future__ import annotations

import gettext
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po
from scripts import words

ONE = "Nothing is due today."
MANY = ("{count} row confirmed.", "{count} rows confirmed.")


def filled(folder: Path, *translations: tuple[str | tuple[str, str], str | tuple[str, str]]) -> Path:
    """Begin a German catalogue and translate some sentences in it."""
    words.write(folder, "de")
    path = folder / "de" / "LC_MESSAGES" / "saltloft.po"
    with path.open("rb") as file:
        catalogue: Catalog = read_po(file, locale="de")
    for sentence, translation in translations:
        catalogue[sentence].string = translation
    with path.open("wb") as file:
        write_po(file, catalogue)
    return path


def test_what_is_translated_is_what_gettext_says(tmp_path: Path) -> None:
    """Read back with Python's own gettext: a sentence of a template, one of the code, and a plural."""
    say_in_german = ("Heute ist nichts fällig.", ("{count} Zeile bestätigt.", "{count} Zeilen bestätigt."))
    filled(tmp_path, (ONE, say_in_german[0]), (MANY, say_in_german[1]), ("Fact rows", "Zeilen"))
    told = words.write(tmp_path)
    assert len(told) == 2
    german = gettext.translation("saltloft", str(tmp_path), languages=["de"])
    assert german.gettext(ONE) == say_in_german[0]
    assert german.gettext("Fact rows") == "Zeilen"
    assert [german.ngettext(*MANY, number) for number in (1, 4)] == list(say_in_german[1])
    assert german.gettext("What is due") == "What is due"


def test_a_translation_that_asks_for_an_unknown_value_is_refused(tmp_path: Path) -> None:
    """Shown, it would fail with a KeyError; here it is named, and no catalogue is compiled over it."""
    path = filled(tmp_path, ("{lot}: no forecast computed yet.", "{los}: noch nicht berechnet."))
    with pytest.raises(SystemExit, match="names los"):
        words.write(tmp_path)
    assert "{los}" in path.read_text(encoding="utf-8")
    with pytest.raises(SystemExit, match="no such language"):
        words.write(tmp_path, "xx_nowhere")
