"""Walks the package's own source for the contract tests."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "saltloft"


def python_files(*folders: str) -> list[Path]:
    """Python files of the package, or of the named folders in it."""
    roots = [PACKAGE / folder for folder in folders] if folders else [PACKAGE]
    return sorted(file for root in roots for file in root.rglob("*.py") if "demo_files" not in file.parts)


@lru_cache(maxsize=512)
def tree(file: Path) -> ast.Module:
    """The parsed file."""
    return ast.parse(file.read_text(encoding="utf-8"), filename=str(file))


def functions(file: Path) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    """Every function and method of a file with its dotted name."""
    yield from _walk(tree(file), "")


def _walk(node: ast.AST, prefix: str) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef):
            yield f"{prefix}{child.name}", child
            yield from _walk(child, f"{prefix}{child.name}.")
        elif isinstance(child, ast.ClassDef):
            yield from _walk(child, f"{prefix}{child.name}.")
        else:
            yield from _walk(child, prefix)


def said_sentences(file: Path) -> Iterator[tuple[int, ast.expr | None]]:
    """Line and first argument of every `say(...)` and `say_many(...)` call."""
    for node in ast.walk(tree(file)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name | ast.Attribute):
            called = node.func.id if isinstance(node.func, ast.Name) else node.func.attr
            if called in ("say", "say_many"):
                yield node.lineno, node.args[0] if node.args else None
