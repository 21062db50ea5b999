"""Files and functions stay small enough to read in one sitting."""

from __future__ import annotations

import subprocess

import pytest
from tests.contracts.source_tree import ROOT, functions, python_files

LONGEST_FILE = 450
LONGEST_FUNCTION = 45
LONGEST_KERNEL = 120


def _kept_files(*suffixes: str) -> list[str]:
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    return [name for name in listed if name.endswith(suffixes) and (ROOT / name).is_file()]


def test_no_file_is_longer_than_450_lines() -> None:
    """A file beyond 450 lines has grown by kindness and wants a second room."""
    lengths = {
        name: len((ROOT / name).read_text(encoding="utf-8").splitlines())
        for name in _kept_files(".py", ".js", ".css", ".html", ".typ")
    }
    assert lengths, "no files were found to measure"
    too_long = {name: count for name, count in lengths.items() if count > LONGEST_FILE}
    assert not too_long, too_long


@pytest.mark.parametrize("file", python_files(), ids=lambda file: file.name)
def test_no_function_is_longer_than_it_may_be(file) -> None:  # type: ignore[no-untyped-def]
    """A function reads as a paragraph: 45 lines of code; the kernels may take 120."""
    allowed = LONGEST_KERNEL if file.name.startswith("kernel") else LONGEST_FUNCTION
    too_long = []
    for name, node in functions(file):
        first = node.body[1] if len(node.body) > 1 and _is_text(node.body[0]) else node.body[0]
        length = (node.end_lineno or 0) - first.lineno + 1
        if length > allowed:
            too_long.append(f"{name}: {length}")
    assert not too_long, f"{file}: {too_long}"


def _is_text(node: object) -> bool:
    import ast

    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
