"""A sheet as plain text for a console: the same blocks, the same words, no pictures."""

from __future__ import annotations

import textwrap

from saltloft.papers.page import (
    Block,
    Grid,
    Lead,
    Marks,
    Notes,
    Picture,
    Sheet,
    cautions_of,
    full_moment,
    head_words,
)

SIGNS = {
    "due": "( )",
    "ready": "[#]",
    "waiting": " - ",
    "held": "| |",
    "look": "< >",
    "met": "[v]",
    "not met": "[x]",
    "not shown": "[ ]",
    "does not apply": "[/]",
    "": "   ",
}


def text(sheet: Sheet, width: int = 96) -> str:
    """The sheet as lines of at most `width` letters.

    Args:
        sheet: Sheet.
        width: int. Letters a line, at least 60.
    """
    lines = [
        f"{sheet.house.name} · {sheet.title} · {sheet.subject} · {full_moment(sheet)}",
        "=" * width,
    ]
    for block in sheet.blocks:
        lines += _block(block, width)
    lines += ["", "-" * width]
    for caution in cautions_of(sheet):
        lines += textwrap.wrap(caution, width)
    return "\n".join([*lines, head_words(sheet.house)]) + "\n"


def _block(block: Block, width: int) -> list[str]:
    if isinstance(block, Lead):
        return ["", *textwrap.wrap(block.text, width)]
    if isinstance(block, Picture):
        return ["", *textwrap.wrap(block.alt, width)]
    if isinstance(block, Marks):
        return _marks(block, width)
    if isinstance(block, Grid):
        return _grid(block, width)
    if isinstance(block, Notes):
        body = [line for note in block.lines for line in textwrap.wrap(note, width - 2)]
        return _titled(block.title, ["  " + line for line in body])
    return []


def _titled(title: str, body: list[str]) -> list[str]:
    return ["", title.upper(), *body] if title else ["", *body]


def _marks(block: Marks, width: int) -> list[str]:
    body = [] if block.rows or not block.empty else ["  " + block.empty]
    column = max([len(row.word) for row in block.rows], default=0)
    name = max([len(row.subject) for row in block.rows], default=0)
    for row in block.rows:
        front = f"{SIGNS[row.mark]} {row.word:<{column}}  {row.subject:<{name}}  "
        wrapped = textwrap.wrap(row.text, max(width - len(front), 30)) or [""]
        body += [front + wrapped[0], *(" " * len(front) + line for line in wrapped[1:])]
    return _titled(block.title, body)


def _grid(block: Grid, width: int) -> list[str]:
    if not block.rows:
        return _titled(block.title, ["  " + block.empty] if block.empty else [])
    table = [block.columns, *block.rows]
    widths = _widths(table, width)
    body = []
    for row in table:
        cells = [textwrap.wrap(cell, size) or [""] for cell, size in zip(row, widths, strict=True)]
        for line in range(max(len(cell) for cell in cells)):
            texts = [cell[line] if line < len(cell) else "" for cell in cells]
            padded = [
                text.rjust(size) if column in block.right else text.ljust(size)
                for column, (text, size) in enumerate(zip(texts, widths, strict=True))
            ]
            body.append("  ".join(padded).rstrip())
    if block.note:
        body += textwrap.wrap(block.note, width)
    return _titled(block.title, body)


def _widths(table: list[tuple[str, ...]], width: int) -> list[int]:
    """Column widths: what the words need, the widest cut down until the row fits."""
    widths = [max(len(row[column]) for row in table) for column in range(len(table[0]))]
    room = width - 2 * (len(widths) - 1)
    while sum(widths) > room and max(widths) > 8:
        widths[widths.index(max(widths))] -= 1
    return widths
