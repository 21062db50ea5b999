"""Every word a person sees goes through here.

`say` translates one sentence and fills in its values; the language is a
context variable that the two doors set for each request or command.
"""

from __future__ import annotations

import gettext
import os
from contextvars import ContextVar
from functools import lru_cache
from importlib.resources import as_file, files

# A folder of further catalogues, LANGUAGE/LC_MESSAGES/saltloft.mo in it, read before our own.
FOLDER_VARIABLE = "SALTLOFT_LOCALE"
LANGUAGE: ContextVar[str] = ContextVar("saltloft_language", default="en")


@lru_cache(maxsize=16)
def _catalogue(language: str) -> gettext.NullTranslations:
    further = os.environ.get(FOLDER_VARIABLE, "")
    if further and gettext.find("saltloft", further, [language]):
        return gettext.translation("saltloft", further, languages=[language])
    with as_file(files("saltloft") / "locale") as folder:
        return gettext.translation("saltloft", str(folder), languages=[language], fallback=True)


def say(text: str, **values: object) -> str:
    """One sentence in the reader's language, with {named} values filled in."""
    translated = _catalogue(LANGUAGE.get()).gettext(text) if text else ""
    return translated.format(**values) if values else translated


def say_many(one: str, many: str, count: int, **values: object) -> str:
    """Singular or plural by `count`, which is also available as {count}."""
    translated = _catalogue(LANGUAGE.get()).ngettext(one, many, count)
    return translated.format(count=count, **values)
