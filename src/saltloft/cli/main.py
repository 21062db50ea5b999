"""The list of commands and the three exit codes: 0 done, 1 refused, 2 wrong use."""

from __future__ import annotations

import sys
from io import TextIOWrapper

import typer

from saltloft.foundation.errors import SaltloftError

app = typer.Typer(
    name="saltloft",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Runs a dry-curing house from delivery to dispatch.",
)

COMMAND_MODULES: tuple[str, ...] = (
    "house_commands",
    "demo",
    "today",
    "import_command",
    "forecast",
    "judge",
    "dossier",
    "balance",
    "trace",
    "exchange",
    "parties",
    "dry",
    "ferment",
    "serve",
    "scale_command",
)


def register_all() -> None:
    """Put every command on the app; done once, when it is needed."""
    from importlib import import_module

    for name in COMMAND_MODULES:
        import_module(f"saltloft.cli.{name}").register(app)


def main() -> None:
    """Run one command; a refusal prints what, got, allowed and what to do."""
    for stream in (sys.stdout, sys.stderr):
        # A file name or a narrow terminal must not turn a printed line into a crash.
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    register_all()
    try:
        app()
    except SaltloftError as error:
        print(error.message, file=sys.stderr)
        raise SystemExit(1) from None
    except OSError as error:
        print(f"{error.filename}: {error.strerror}" if error.filename else error, file=sys.stderr)
        raise SystemExit(1) from None
