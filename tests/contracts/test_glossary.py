"""One name per quantity: the glossary knows every number the sciences ask for, with its unit."""

from __future__ import annotations

import ast
import re

from tests.contracts.source_tree import ROOT, functions, python_files
from tests.contracts.test_docstrings import NUMERIC, described_arguments

ROW = re.compile(r"^\| (\w+) \| ([^|]+) \| ([^|]+) \|$", re.MULTILINE)
UNITS = {"degC", "K", "1/K", "Pa", "kg", "kg/kg", "m", "m/s", "mol/kg", "J/kg", "W/m2.K", "s"}


def _glossary() -> dict[str, str]:
    text = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8").split("## Quantities")[1]
    return {name: unit.strip() for name, unit, _ in ROW.findall(text) if name != "name"}


def _asked_for() -> dict[str, list[str]]:
    """Names of the numeric arguments of public functions, with what their docstrings say."""
    found: dict[str, list[str]] = {}
    for file in python_files("science"):
        for name, node in functions(file):
            if name.startswith("_") or "." in name:
                continue
            described = described_arguments(ast.get_docstring(node) or "")
            for argument in [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]:
                if argument.annotation and NUMERIC.search(ast.unparse(argument.annotation)):
                    found.setdefault(argument.arg, []).append(described.get(argument.arg, ""))
    return found


def test_every_quantity_of_the_sciences_is_in_the_glossary() -> None:
    """A second name for a known quantity, or a name nobody explained, fails here."""
    asked = _asked_for()
    assert len(asked) > 30, "the sciences' arguments were not found"
    assert sorted(set(asked) - set(_glossary())) == []


def test_a_quantity_has_the_same_unit_wherever_it_is_asked_for() -> None:
    """The unit in brackets in a docstring is the glossary's."""
    glossary = _glossary()
    wrong = {}
    for name, texts in _asked_for().items():
        for text in texts:
            units = set(re.findall(r"\[([^\]]+)\]", text)) & UNITS
            if units and glossary[name] in UNITS and units != {glossary[name]}:
                wrong[name] = (glossary[name], units)
    assert not wrong, wrong


def test_the_glossary_explains_nothing_that_is_gone() -> None:
    """A row for a quantity that no function asks for is dead."""
    assert sorted(set(_glossary()) - set(_asked_for())) == []
