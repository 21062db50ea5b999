"""Every sentence of the program as gettext catalogues: template, translations brought up to date, compiled.

`scripts/words [LANGUAGE]` runs it; the browser tests take the sentences from here too.
"""

from __future__ import annotations

import sys
from pathlib import Path

from babel import Locale, UnknownLocaleError
from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

PACKAGE = Path(__file__).resolve().parents[1] / "src" / "saltloft"
# Python with say("...") and say_many("...", "...", n); templates the same.
KEYWORDS: dict[str, tuple[int, ...] | None] = {"say": None, "say_many": (1, 2)}
METHODS = [("**/templates/**.html", "jinja2"), ("**.py", "python")]


def sentences() -> Catalog:
    """Every sentence that can be translated, with the file and line it stands in."""
    catalogue = Catalog(project="Saltloft", charset="utf-8")
    for file, line, message, comments, context in extract_from_dir(
        str(PACKAGE), METHODS, {"**/templates/**.html": {"silent": "false"}}, KEYWORDS
    ):
        catalogue.add(message, None, [(file, line)], auto_comments=comments, context=context)
    return catalogue


def write(folder: Path, begin: str = "") -> list[str]:
    """Write the template, then merge and compile every catalogue of a folder.

    Args:
        folder: Path. Made when missing.
        begin: str. A language to begin a catalogue in; empty for none.

    Returns:
        list of str. One line a file: what was written and how many sentences lack a translation.

    Raises:
        SystemExit: no such language, or a catalogue with an error that gettext would trip over.
    """
    folder.mkdir(parents=True, exist_ok=True)
    template = sentences()
    with (folder / "saltloft.pot").open("wb") as file:
        write_po(file, template, sort_output=True, width=100)
    told = [f"{folder / 'saltloft.pot'}: {len(template)} sentences"]
    if begin:
        _begin(folder, begin)
    for path in sorted(folder.glob("*/LC_MESSAGES/saltloft.po")):
        told.append(_compile(path, template))
    return told


def _begin(folder: Path, language: str) -> None:
    try:
        locale = Locale.parse(language)
    except (UnknownLocaleError, ValueError):
        raise SystemExit(f"no such language: {language}; give a code such as de or pt_BR") from None
    path = folder / language / "LC_MESSAGES" / "saltloft.po"
    if path.exists():
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        write_po(file, Catalog(locale=locale, project="Saltloft"))


def _compile(path: Path, template: Catalog) -> str:
    language = path.parents[1].name
    with path.open("rb") as file:
        catalogue = read_po(file, locale=language)
    # No guessing from similar sentences: a wrong number in a translation is worse than none.
    catalogue.update(template, no_fuzzy_matching=True)
    for message in catalogue:
        # A sentence new in the template comes without any text; gettext wants an empty one.
        message.string = message.string or (("",) * catalogue.num_plurals if message.pluralizable else "")
    faults = lost_values(catalogue)
    if faults:
        raise SystemExit(f"{path}: " + "; ".join(faults))
    with path.open("wb") as file:
        write_po(file, catalogue, sort_output=True, width=100)
    with path.with_suffix(".mo").open("wb") as file:
        write_mo(file, catalogue)
    missing = sum(1 for message in catalogue if message.id and not _texts(message.string))
    return f"{path}: {missing} of {len(catalogue)} sentences not translated yet"


def lost_values(catalogue: Catalog) -> list[str]:
    """Translations that name a {value} their sentence does not have: they would fail when shown."""
    faults = []
    for message in catalogue:
        if not message.id:
            continue
        known = {name for text in _texts(message.id) for name in _values(text)} | {"count"}
        for text in _texts(message.string):
            extra = _values(text) - known
            if extra:
                faults.append(f"'{text}' names {', '.join(sorted(extra))}, which its sentence does not give")
    return faults


def _texts(text: str | tuple[str, ...] | list[str] | None) -> list[str]:
    return [part for part in ([text] if isinstance(text, str) else text or ()) if part]


def _values(text: str) -> set[str]:
    return {part.split("}")[0].split(":")[0] for part in text.split("{")[1:] if "}" in part}


if __name__ == "__main__":
    for line in write(Path(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else ""):
        print(line)
