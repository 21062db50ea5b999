"""Public functions of the sciences say shape, unit and range of every number."""

from __future__ import annotations

import ast
import re

import pytest
from tests.contracts.source_tree import functions, python_files

NUMERIC = re.compile(r"\b(float|NDArray|ArrayLike|Array|FloatArray|Floats|Numbers)\b")
UNIT = re.compile(r"\[[^\]]+\]|\b0\.\.1\b|dimensionless|\bshare\b|\bfraction\b", re.IGNORECASE)
FILES = python_files("science", "process")


def described_arguments(docstring: str) -> dict[str, str]:
    """Name and text of each entry of the Args section."""
    match = re.search(
        r"Args:\n(.*?)(?:\n\s*\n|\n\s*(?:Returns|Raises|Notes|Example)|\Z)", docstring, re.DOTALL
    )
    if not match:
        return {}
    found: dict[str, str] = {}
    names: list[str] = []
    for line in match.group(1).splitlines():
        start = re.match(r"\s*([\w, ]+):\s(.*)", line)
        if start and re.fullmatch(r"[a-z_0-9, ]+", start.group(1)):
            names = [name.strip() for name in start.group(1).split(",")]
            found.update(dict.fromkeys(names, start.group(2)))
        else:
            for name in names:
                found[name] += " " + line.strip()
    return found


@pytest.mark.parametrize("file", FILES, ids=lambda file: f"{file.parent.name}/{file.name}")
def test_every_number_has_a_unit(file) -> None:  # type: ignore[no-untyped-def]
    """An argument that is a number and has no unit in the docstring fails."""
    missing = []
    for name, node in functions(file):
        if any(part.startswith("_") for part in name.split(".")) or name.count("."):
            continue
        docstring = ast.get_docstring(node) or ""
        if not docstring:
            missing.append(f"{name}: no docstring")
            continue
        described = described_arguments(docstring)
        for argument in [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]:
            annotation = ast.unparse(argument.annotation) if argument.annotation else ""
            if not NUMERIC.search(annotation):
                continue
            if argument.arg not in described:
                missing.append(f"{name}({argument.arg}): not described")
            elif not UNIT.search(described[argument.arg]):
                missing.append(f"{name}({argument.arg}): no unit")
    assert not missing, f"{file}: {missing}"
