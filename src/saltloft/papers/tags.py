"""Tags and labels as a PDF, six on a sheet, each with its address as a QR code."""

from __future__ import annotations

import io
import json
from functools import lru_cache
from importlib.resources import files

import segno

from saltloft.foundation.words import LANGUAGE, say
from saltloft.plant.sentences import demo_caution
from saltloft.plant.tags import TagSheet


@lru_cache(maxsize=512)
def code_svg(link: str, border: int = 4) -> str:
    """A QR code as SVG with the quiet zone of four modules that ISO/IEC 18004 asks for.

    Args:
        link: str.
        border: int. Modules of white around it.
    """
    out = io.BytesIO()
    # Level M mends 15 per cent: tags get fat and brine on them.
    segno.make(link, error="m", micro=False).save(
        out, kind="svg", border=border, xmldecl=False, svgns=True, nl=False, scale=4, omitsize=False
    )
    return out.getvalue().decode()


def tags_pdf(sheet: TagSheet, *, paper: str = "a4") -> bytes:
    """Print tags; the same tags give the same bytes.

    Args:
        sheet: TagSheet.
        paper: str. 'a4' or 'us-letter'.
    """
    import typst  # noqa: PLC0415 - only those who print pay for the typesetter

    data = {
        "title": say("Tags"),
        "house": sheet.house.name,
        "caution": f" · {demo_caution()}" if sheet.house.demo else "",
        "language": LANGUAGE.get(),
        "paper": paper,
        "date": [sheet.day.year, sheet.day.month, sheet.day.day],
        "tags": [
            {
                "big": tag.big,
                "lines": list(tag.lines),
                "link": tag.link,
                "typed": tag.typed,
                "code": code_svg(tag.link),
            }
            for tag in sheet.tags
        ],
    }
    made = typst.compile(
        (files("saltloft.papers") / "tags.typ").read_bytes(),
        format="pdf",
        sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
        ignore_system_fonts=True,
        timestamp=0,
    )
    if not isinstance(made, bytes):  # pragma: no cover - a PDF is always one file
        raise TypeError("the typesetter gave no PDF")
    return made
