"""Which house a command means: --house, SALTLOFT_HOUSE, or the current folder."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from saltloft.foundation.words import say

if TYPE_CHECKING:
    from saltloft.house import House

VARIABLE = "SALTLOFT_HOUSE"


def house_folder(given: Path | None) -> Path | None:
    """The folder a command means; None when none of the three ways names one."""
    if given is not None:
        return given
    named = os.environ.get(VARIABLE, "")
    if named:
        return Path(named)
    return Path() if Path("house.toml").is_file() else None


def open_house(given: Path | None) -> House:
    """Open the house a command means; ends with exit code 2 when none is named.

    Raises:
        InputError: the folder holds no house.
    """
    house = house_or_none(given)
    if house is None:
        print(
            say(
                "no house is named: give --house DIR, set SALTLOFT_HOUSE, or go to the folder with house.toml"
            ),
            file=sys.stderr,
        )
        raise typer.Exit(2)
    return house


def house_or_none(given: Path | None) -> House | None:
    """As `open_house`, for a command that can do without: None when none is named."""
    from saltloft.house import House

    folder = house_folder(given)
    return None if folder is None else House.open(folder)
