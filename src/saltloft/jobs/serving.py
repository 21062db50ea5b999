"""Where a house's pages are served, read from its settings alone: quick, and without opening the database."""

from __future__ import annotations

import socket
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from saltloft.store.settings import read_settings

# Nobody's address (RFC 5737): asking the way to it sends nothing and tells which of our own is used.
NOWHERE = "192.0.2.1"
ALWAYS = ("localhost", "127.0.0.1")


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


@dataclass(frozen=True)
class Secured:
    """What HTTPS is served with.

    Args:
        certificate, key: Path.
        names: tuple of str. Names and addresses the certificate is good for, those for phones first.
        fingerprint: str. Of the authority, as phones show it.
    """

    certificate: Path
    key: Path
    names: tuple[str, ...]
    fingerprint: str


def secure(folder: Path, environment: Mapping[str, str], now: datetime) -> Secured:
    """Certificates for every name and address of this computer on the house's network, made when needed.

    Args:
        folder: Path. Of the house.
        environment: mapping of str to str.
        now: datetime, aware.

    Raises:
        InputError: a name of `lan_names` that the house's authority may not vouch for.
        StoreError: a private key that others can read.
    """
    # Takes a tenth of a second to import, and most commands need nothing of it.
    from saltloft.store import certificates  # noqa: PLC0415

    settings = read_settings(folder, environment)
    wanted = settings.text("lan_names").lower().split()
    found = certificates.ready(folder, settings.text("name"), wanted, (*own_names(), *ALWAYS), now)
    authority = certificates.authority_of(folder)
    assert authority is not None  # made just now
    return Secured(found.certificate, found.key, found.names, certificates.fingerprint(authority))


@dataclass(frozen=True)
class Authority:
    """The house's authority as a phone takes it in.

    Args:
        der: bytes. The certificate.
        fingerprint: str. SHA-256, as phones show it.
        title: str. The name under which phones list it.
    """

    der: bytes
    fingerprint: str
    title: str


def authority(folder: Path) -> Authority | None:
    """The certificate phones trust; None while the house has none."""
    from cryptography.hazmat.primitives.serialization import Encoding  # noqa: PLC0415

    from saltloft.store import certificates  # noqa: PLC0415

    found = certificates.authority_of(folder)
    if found is None:
        return None
    title = str(found.subject.rfc4514_string()).partition("=")[2]
    return Authority(found.public_bytes(Encoding.DER), certificates.fingerprint(found), title)


def own_names() -> tuple[str, ...]:
    """This computer's address on its network, then its names."""
    name = socket.gethostname().lower()
    short = name.split(".", maxsplit=1)[0]
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect((NOWHERE, 9))
            found = [str(probe.getsockname()[0])]
    except OSError:
        found = []  # no network: the names alone
    return tuple(dict.fromkeys((*found, f"{short}.local", name, short)))
