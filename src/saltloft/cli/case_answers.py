"""The loop of the stand-alone calculations: several case files, one answer each, in order."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Protocol, TypeVar

import typer

from saltloft.foundation.errors import SaltloftError
from saltloft.foundation.words import say

Answered = TypeVar("Answered")


class Desk(Protocol[Answered]):
    """A job that answers one case file at a time and keeps warm between them."""

    def answer(self, path: Path) -> Answered:
        """Read and compute one file; raises SaltloftError when it is refused."""
        ...

    def as_json(self, answered: Answered) -> dict[str, Any]:
        """The answer as the schema says."""
        ...


def answer_files(
    paths: Sequence[Path], desk: Desk[Answered], words: Callable[[str, Answered], str], as_json: bool
) -> None:
    """Print every answer; a refused file says why and the rest go on.

    Args:
        paths: sequence of Path.
        desk: Desk.
        words: callable of file name and answer. The answer for people.
        as_json: bool. One JSON object a line in place of words.

    Raises:
        typer.Exit: 1 when a file was refused.
    """
    from saltloft.cases.case_file import error_answer

    refused = False
    for path in paths:
        try:
            answered = desk.answer(path)
        except SaltloftError as error:
            refused = True
            text = say("{file}: {message}", file=path, message=error.message)
            print(json.dumps(error_answer(error)) if as_json else text, flush=True)
            continue
        print(json.dumps(desk.as_json(answered)) if as_json else words(path.name, answered), flush=True)
    if refused:
        raise typer.Exit(1)
