"""Where a house's pages are served, read from its settings alone: quick, and without opening the database."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from saltloft.store.settings import read_settings


@dataclass(frozen=True)
class Serving:
    """Where to listen.

    Args:
        address: str.
        port: int.
        allow_plain_http: bool. Others on the network may connect without HTTPS.
    """

    address: str
    port: int
    allow_plain_http: bool


def where(folder: Path, environment: Mapping[str, str]) -> Serving:
    """Address and port of a house folder.

    Args:
        folder: Path.
        environment: mapping of str to str. Goes before house.toml.

    Raises:
        InputError: no house there, or a setting that cannot be taken.
    """
    settings = read_settings(folder, environment)
    return Serving(settings.text("address"), settings.number("port"), settings.flag("allow_plain_http"))
