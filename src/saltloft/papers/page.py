"""A sheet of paper as blocks, and the one template that prints every sheet as PDF/A-3b.

A paper is built in Python as finished words and numbers; `sheet.typ` only lays
them out. They reach it as data, never as markup, so nothing that a person
typed can change the page. The evidence travels inside the file as JSON.
"""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache
from importlib.resources import files
from typing import Any
from zoneinfo import ZoneInfo

from saltloft.foundation.words import LANGUAGE, say
from saltloft.plant.answers import HouseFace
from saltloft.plant.sentences import caution, demo_caution, moment_words

MARKS = ("due", "ready", "waiting", "held", "look", "met", "not met", "not shown", "does not apply", "")


@dataclass(frozen=True)
class Lead:
    """The sentence that answers the paper's question.

    Args:
        text: str.
    """

    text: str
    block: str = "lead"


@dataclass(frozen=True)
class Picture:
    """A chart with its sentence for those who cannot see it.

    Args:
        svg: str. The drawing.
        alt: str. One computed sentence.
        caption: str. May be empty.
    """

    svg: str
    alt: str
    caption: str = ""
    block: str = "picture"


@dataclass(frozen=True)
class Mark:
    """One marked line: a shape, the word it stands for, what it is about and why.

    Args:
        mark: str. One of MARKS; the shape drawn.
        word: str. The same in the reader's language.
        subject: str.
        text: str.
        small: str. Sources or margins in small type; may be empty.
    """

    mark: str
    word: str
    subject: str
    text: str
    small: str = ""


@dataclass(frozen=True)
class Marks:
    """Marked lines under a heading.

    Args:
        title: str.
        rows: tuple of Mark.
        empty: str. What to say when there are none.
    """

    title: str
    rows: tuple[Mark, ...]
    empty: str = ""
    block: str = "marks"


@dataclass(frozen=True)
class Grid:
    """A table of words and numbers.

    Args:
        title: str.
        columns: tuple of str. Headings with their unit.
        rows: tuple of tuple of str.
        right: tuple of int. Columns set flush right (numbers).
        struck: tuple of int. Rows shown struck through.
        note: str. Small line under it.
        empty: str. What to say when there are no rows.
    """

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()
    struck: tuple[int, ...] = ()
    note: str = ""
    empty: str = ""
    block: str = "grid"


@dataclass(frozen=True)
class Notes:
    """Lines of plain text under a heading; boxed when they must be seen.

    Args:
        title: str.
        lines: tuple of str.
        boxed: bool.
    """

    title: str
    lines: tuple[str, ...]
    boxed: bool = False
    block: str = "notes"


@dataclass(frozen=True)
class Turn:
    """The next block begins a new page."""

    block: str = "turn"


Block = Lead | Picture | Marks | Grid | Notes | Turn


@dataclass(frozen=True)
class Sheet:
    """Everything one paper says.

    Args:
        title: str. Such as 'Lot dossier'.
        subject: str. The lot or the day; stands on every page.
        house: HouseFace.
        at: datetime, aware. The moment it speaks of; also the file's date.
        blocks: tuple of Block.
        evidence: mapping. Attached as JSON.
        evidence_name: str. File name of the attachment.
        paper: str. 'a4' or 'us-letter'.
        lot_paper: bool. True puts the caution of lots on it.
    """

    title: str
    subject: str
    house: HouseFace
    at: datetime
    blocks: tuple[Block, ...]
    evidence: dict[str, Any] = field(default_factory=dict)
    evidence_name: str = "evidence.json"
    paper: str = "a4"
    lot_paper: bool = True


def cautions_of(sheet: Sheet) -> list[str]:
    """The cautions that stand on every page of a sheet."""
    lines = [caution()] if sheet.lot_paper else []
    return [*lines, demo_caution()] if sheet.house.demo else lines


def head_words(house: HouseFace) -> str:
    """The journal head as printed: number, first half of the hash, moment."""
    return say(
        "journal head {seq} · {hash} · {moment}",
        seq=house.head.seq,
        hash=house.head.hash[:32],
        moment=house.head.recorded_at.strftime("%Y-%m-%d %H:%M:%SZ"),
    )


def full_moment(sheet: Sheet) -> str:
    """The sheet's moment with its year, in the house's zone."""
    # No reader's year is year 1, so the year is always said.
    return moment_words(sheet.at, sheet.house.zone, date.min)


def pdf(sheet: Sheet) -> bytes:
    """Print a sheet as PDF/A-3b with its evidence attached; the same sheet gives the same bytes."""
    import typst  # noqa: PLC0415 - only those who print pay for the typesetter

    local_day = sheet.at.astimezone(ZoneInfo(sheet.house.zone)).date()
    data = {
        "title": sheet.title,
        "subject": sheet.subject,
        "house": sheet.house.name,
        "moment": full_moment(sheet),
        "head": head_words(sheet.house),
        "page": say("page"),
        "of": say("of"),
        "cautions": cautions_of(sheet),
        "language": LANGUAGE.get(),
        "paper": sheet.paper,
        "date": [local_day.year, local_day.month, local_day.day],
        "blocks": [dataclasses.asdict(block) for block in sheet.blocks],
        "evidence": json.dumps(sheet.evidence, ensure_ascii=False, sort_keys=True, indent=1),
        "evidence_name": sheet.evidence_name,
        "evidence_words": say("The readings, verdicts and sources this paper rests on."),
    }
    made = typst.compile(
        _template(),
        format="pdf",
        pdf_standards=["a-3b"],
        sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
        ignore_system_fonts=True,
        timestamp=int(sheet.at.timestamp()),
    )
    if not isinstance(made, bytes):  # pragma: no cover - a PDF is always one file
        raise TypeError("the typesetter gave no PDF")
    return made


@lru_cache(maxsize=1)
def _template() -> bytes:
    return (files("saltloft.papers") / "sheet.typ").read_bytes()
