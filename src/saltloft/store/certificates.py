"""The house's own certificate authority, and the certificate it gives the house's computer.

The authority may vouch for private addresses and local names only (RFC 5280,
4.2.1.10, critical), so that a phone which trusts it cannot be fooled about any
other site. Private keys lie in files that only their owner may read; they are
in no backup.
"""

from __future__ import annotations

import ipaddress
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from saltloft.foundation.errors import InputError, StoreError

FOLDER = "certificates"
AUTHORITY_DAYS = 3650
# Browsers take no certificate of more than 398 days from public authorities; the house keeps to that.
SERVER_DAYS = 397
RENEW_DAYS = 60
# A clock that is a little behind still finds the certificate begun.
BEGUN = timedelta(days=1)
# What the authority may vouch for. Names: RFC 6761, 6762, 8375 and what routers give out (practice).
LOCAL_NAMES = ("localhost", "local", "home.arpa", "internal", "lan", "home")
# RFC 1918, 6598, 3927, 5735; RFC 4193, 4291.
LOCAL_NETWORKS = (
    "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "100.64.0.0/10", "169.254.0.0/16", "127.0.0.0/8",
    "fc00::/7", "fe80::/10", "::1/128",
)  # fmt: skip
Key = ec.EllipticCurvePrivateKey


@dataclass(frozen=True)
class Certificates:
    """Where the files are.

    Args:
        authority: Path. The certificate that phones trust (PEM).
        certificate: Path. The computer's, with the authority's behind it (PEM).
        key: Path. The computer's private key (PEM, mode 0600).
        names: tuple of str. What the computer's certificate is good for.
    """

    authority: Path
    certificate: Path
    key: Path
    names: tuple[str, ...]


def ready(
    folder: Path, house: str, names: Sequence[str], found_names: Sequence[str], now: datetime
) -> Certificates:
    """Certificates for these names: made where there are none, renewed where they don't fit (any more).

    Args:
        folder: Path. Of the house.
        house: str. Its name, as phones show it.
        names: sequence of str. Names and addresses under which it must answer.
        found_names: sequence of str. The computer's own; those the authority can't vouch for are left out.
        now: datetime, aware.

    Raises:
        InputError: a name the authority may not vouch for.
        StoreError: a private key that others can read, or that is none.
    """
    own = folder / FOLDER
    own.mkdir(mode=0o700, exist_ok=True)
    key, authority = _authority(own, house, (*names, *found_names), now)
    for name in names:
        _refuse_foreign(name, authority)
    fitting = [name for name in found_names if may_vouch(authority, name)]
    found = Certificates(
        own / "authority.crt",
        own / "server.crt",
        own / "server.key",
        tuple(dict.fromkeys((*names, *fitting))),
    )
    if not _fits(found, authority, now):
        _issue(found, key, authority, now)
    return found


def authority_of(folder: Path) -> x509.Certificate | None:
    """The house's authority; None while it has none."""
    path = folder / FOLDER / "authority.crt"
    return x509.load_pem_x509_certificate(path.read_bytes()) if path.is_file() else None


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 of a certificate as phones show it: pairs of hexadecimal digits."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def _authority(own: Path, house: str, names: Sequence[str], now: datetime) -> tuple[Key, x509.Certificate]:
    path, key_path = own / "authority.crt", own / "authority.key"
    if path.is_file() and key_path.is_file():
        return _read_key(key_path), x509.load_pem_x509_certificate(path.read_bytes())
    machine = [name for name in names if "." not in name and _address(name) is None]
    key = ec.generate_private_key(ec.SECP256R1())
    title = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"{house} (Saltloft)"[:64])])
    permitted: list[x509.GeneralName] = [
        x509.DNSName(name) for name in dict.fromkeys((*LOCAL_NAMES, *machine))
    ]
    permitted += [x509.IPAddress(ipaddress.ip_network(network)) for network in LOCAL_NETWORKS]
    made = (
        _begun(title, title, key.public_key(), now, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write(key_path, _pem(key))
    _write(path, made.public_bytes(Encoding.PEM), 0o644)
    return key, made


def _issue(where: Certificates, key: Key, authority: x509.Certificate, now: datetime) -> None:
    own = ec.generate_private_key(ec.SECP256R1())
    title = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Saltloft")])
    made = (
        _begun(title, authority.subject, own.public_key(), now, SERVER_DAYS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in where.names]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(own.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write(where.key, _pem(own))
    chain = made.public_bytes(Encoding.PEM) + authority.public_bytes(Encoding.PEM)
    _write(where.certificate, chain, 0o644)


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, days: int
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now.astimezone(UTC) - BEGUN)
        .not_valid_after(now.astimezone(UTC) + timedelta(days=days) - BEGUN)
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _fits(found: Certificates, authority: x509.Certificate, now: datetime) -> bool:
    if not (found.certificate.is_file() and found.key.is_file()):
        return False
    _read_key(found.key)
    held = x509.load_pem_x509_certificate(found.certificate.read_bytes())
    alternatives = held.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    if set(alternatives) != {_general(name) for name in found.names} or held.issuer != authority.subject:
        return False
    aki = held.extensions.get_extension_for_class(x509.AuthorityKeyIdentifier).value.key_identifier
    ski = authority.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value.digest
    left = held.not_valid_after_utc - now
    return aki == ski and timedelta(days=RENEW_DAYS) < left and held.not_valid_before_utc <= now


def may_vouch(authority: x509.Certificate, name: str) -> bool:
    """Whether the authority's constraints take a name or address in."""
    address = _address(name)
    constraints = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    for subtree in constraints.permitted_subtrees or ():
        inside = subtree.value
        if isinstance(inside, ipaddress.IPv4Network | ipaddress.IPv6Network):
            if address is not None and address.version == inside.version and address in inside:
                return True
        elif address is None and (name == inside or name.endswith(f".{inside}")):
            return True
    return False


def _refuse_foreign(name: str, authority: x509.Certificate) -> None:
    """A name outside of what the authority may vouch for would be refused by every browser."""
    if may_vouch(authority, name):
        return
    raise InputError(
        "the house's authority vouches for private addresses and local names only",
        got=name,
        allowed="names ending in ." + ", .".join(LOCAL_NAMES) + "; private addresses",
        do="take it out of lan_names in house.toml",
        key="lan_names",
    )


def _address(name: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(name.strip("[]"))
    except ValueError:
        return None


def _general(name: str) -> x509.GeneralName:
    address = _address(name)
    return x509.DNSName(name) if address is None else x509.IPAddress(address)


def _pem(key: Key) -> bytes:
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())


def _write(path: Path, content: bytes, mode: int = 0o600) -> None:
    """Write a file whole or not at all, with its mode from its first byte."""
    aside = path.with_name(f".{path.name}.{os.getpid()}")
    aside.unlink(missing_ok=True)
    descriptor = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    try:
        os.write(descriptor, content)
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    aside.replace(path)


def _read_key(path: Path) -> Key:
    mode = path.stat().st_mode & 0o777
    if mode & 0o077:
        raise StoreError(
            f"{path.name} can be read by others",
            got=f"mode {mode:o}",
            allowed="mode 600",
            do=f"move the folder {FOLDER} away, start again, and have every phone trust the house anew",
        )
    try:
        key = load_pem_private_key(path.read_bytes(), None)
    except ValueError as error:
        raise StoreError(f"{path.name} is not a private key", got=str(error)) from error
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise StoreError(f"{path.name} is not a key of this house", got=type(key).__name__)
    return key
