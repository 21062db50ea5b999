"""Writes docs/reference.md from the code: commands, settings, pages, entries and errors.

`scripts/docs` runs it; a contract test fails when the file and the code differ.
"""

from __future__ import annotations

import inspect
import pkgutil
import sys
from importlib import import_module
from pathlib import Path

import typer.main
from fastapi.routing import APIRoute
from typer.core import TyperGroup, TyperOption

from saltloft.cli.main import app, register_all
from saltloft.foundation import errors
from saltloft.plant.entries import KINDS
from saltloft.store.settings import SETTINGS
from saltloft.web import api
from saltloft.web import pages as package

ROOT = Path(__file__).resolve().parents[1]
TARGET = ROOT / "docs" / "reference.md"


def commands() -> list[str]:
    """One section a command: what it does, its arguments and options."""
    register_all()
    group = typer.main.get_command(app)
    assert isinstance(group, TyperGroup)
    lines = ["## Commands", ""]
    for name, command in sorted(group.commands.items()):
        lines += [f"### saltloft {name}", "", (command.help or "").strip(), ""]
        for parameter in command.params:
            if parameter.name == "help":
                continue
            shown = ", ".join(parameter.opts) if isinstance(parameter, TyperOption) else parameter.name
            lines.append(f"- `{shown}`: {getattr(parameter, 'help', '')}")
        lines.append("")
    return lines


def settings() -> list[str]:
    """The settings of house.toml with variable, default and meaning."""
    lines = ["## Settings", "", "In `house.toml`, or as a variable of the environment.", ""]
    lines += ["| setting | variable | default | meaning |", "|---|---|---|---|"]
    lines += [f"| `{s.name}` | `{s.variable}` | `{s.default}` | {s.help} |" for s in SETTINGS]
    return [*lines, ""]


def pages() -> list[str]:
    """Every address of the web door with the question it answers."""
    modules = [
        import_module(f"{package.__name__}.{found.name}") for found in pkgutil.iter_modules(package.__path__)
    ]
    routers = [api.routes, *(module.routes for module in modules if hasattr(module, "routes"))]
    found = [route for router in routers for route in router.routes if isinstance(route, APIRoute)]
    lines = ["## Pages and addresses", "", "| address | method | what it answers |", "|---|---|---|"]
    for route in sorted(found, key=lambda route: (route.path, sorted(route.methods))):
        what = (inspect.getdoc(route.endpoint) or "").splitlines()
        lines.append(f"| `{route.path}` | {', '.join(sorted(route.methods))} | {what[0] if what else ''} |")
    return [*lines, ""]


def entries() -> list[str]:
    """Every kind of journal entry with the first line of its payload."""
    lines = ["## Journal entries", "", "| kind | what it states |", "|---|---|"]
    for kind, payload in sorted(KINDS.items()):
        lines.append(f"| `{kind}` | {(inspect.getdoc(payload) or '').splitlines()[0]} |")
    return [*lines, ""]


def error_words() -> list[str]:
    """The exception tree."""
    lines = ["## Errors", "", "Each says what, what came, what is allowed and what to do.", ""]
    for name, found in sorted(vars(errors).items()):
        if inspect.isclass(found) and issubclass(found, errors.SaltloftError):
            lines.append(f"- `{name}`: {(inspect.getdoc(found) or '').splitlines()[0]}")
    return [*lines, ""]


def page() -> str:
    """The whole page."""
    head = [
        "# Commands, settings, pages, entries and errors",
        "",
        "Written by `scripts/docs` from the code.",
        "",
    ]
    return "\n".join([*head, *commands(), *settings(), *pages(), *entries(), *error_words()]).rstrip() + "\n"


if __name__ == "__main__":
    TARGET.write_text(page(), encoding="utf-8")
    print(f"wrote {TARGET.relative_to(ROOT)}", file=sys.stderr)
