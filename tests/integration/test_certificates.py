"""The house's authority and certificate against two independent verifiers: OpenSSL's and the library's."""

from __future__ import annotations

import ipaddress
import os
import socket
import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from saltloft.foundation.errors import InputError, StoreError
from saltloft.store import certificates

NOW = datetime.now(UTC)
NAMES = ("192.168.7.20", "linnet.local", "localhost", "127.0.0.1")


def made(folder: Path, now: datetime = NOW, *names: str) -> certificates.Certificates:
    return certificates.ready(folder, "Linnet Yard", names, NAMES, now)


def served_as(found: certificates.Certificates, name: str) -> None:
    """A handshake between OpenSSL on both sides; raises when the client does not trust the name."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(found.certificate, found.key)
    client = ssl.create_default_context(cafile=str(found.authority))
    here, there = socket.socketpair()

    def answer() -> None:
        try:
            server.wrap_socket(there, server_side=True).close()
        except (ssl.SSLError, OSError):
            there.close()

    thread = threading.Thread(target=answer)
    thread.start()
    try:
        client.wrap_socket(here, server_hostname=name).close()
    finally:
        here.close()
        thread.join()


def test_the_chain_is_trusted_under_every_name_and_no_other(tmp_path: Path) -> None:
    found = made(tmp_path)
    assert set(found.names) == set(NAMES)
    for name in NAMES:
        served_as(found, name)
    with pytest.raises(ssl.SSLCertVerificationError, match=r"mismatch|not valid for"):
        served_as(found, "elsewhere.local")


def test_private_keys_are_for_their_owner_only(tmp_path: Path) -> None:
    """Mode 0600 from their first byte, also with a loose umask; a key that others can read is refused."""
    before = os.umask(0)
    try:
        found = made(tmp_path)
    finally:
        os.umask(before)
    own = tmp_path / certificates.FOLDER
    assert stat.S_IMODE(own.stat().st_mode) == 0o700
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in own.iterdir()}
    assert (modes["authority.key"], modes["server.key"]) == (0o600, 0o600)
    found.key.chmod(0o640)
    with pytest.raises(StoreError, match="can be read by others"):
        made(tmp_path)


def test_the_authority_cannot_vouch_for_another_site(tmp_path: Path) -> None:
    """Signed with the stolen key for a public name, a certificate is refused (RFC 5280, 4.2.1.10)."""
    made(tmp_path)
    authority = certificates.authority_of(tmp_path)
    assert authority is not None
    key = certificates._read_key(tmp_path / certificates.FOLDER / "authority.key")
    verifier = PolicyBuilder().store(Store([authority])).time(NOW)
    for name, trusted in (("linnet.local", True), ("bank.example", False)):
        leaf_key = ec.generate_private_key(ec.SECP256R1())
        leaf = (
            certificates._begun(x509.Name([]), authority.subject, leaf_key.public_key(), NOW, 90)
            .add_extension(x509.SubjectAlternativeName([x509.DNSName(name)]), critical=True)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key()), critical=False
            )
            .add_extension(x509.ExtendedKeyUsage([x509.ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .sign(key, hashes.SHA256())
        )
        checked = verifier.build_server_verifier(x509.DNSName(name))
        if trusted:
            assert checked.verify(leaf, [])
        else:
            with pytest.raises(VerificationError):
                checked.verify(leaf, [])


def test_a_certificate_is_kept_while_it_fits_and_renewed_in_time(tmp_path: Path) -> None:
    """The authority stays, so that phones need not trust anew; the computer's is made again when it must."""
    first = made(tmp_path)
    kept, authority = first.certificate.read_bytes(), first.authority.read_bytes()
    made(tmp_path, NOW + timedelta(days=certificates.SERVER_DAYS - certificates.RENEW_DAYS - 2))
    assert first.certificate.read_bytes() == kept
    made(tmp_path, NOW + timedelta(days=certificates.SERVER_DAYS - certificates.RENEW_DAYS))
    renewed = first.certificate.read_bytes()
    assert renewed != kept
    made(tmp_path, NOW, "saltloft.home.arpa")
    assert first.certificate.read_bytes() != renewed
    assert first.authority.read_bytes() == authority
    held = x509.load_pem_x509_certificate(first.certificate.read_bytes())
    assert held.not_valid_after_utc - held.not_valid_before_utc <= timedelta(days=398)


def test_public_names_are_refused_when_asked_for_and_left_out_when_found(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="private addresses and local names"):
        made(tmp_path, NOW, "shop.example")
    found = certificates.ready(tmp_path, "Linnet Yard", (), ("203.0.113.9", "10.1.2.3"), NOW)
    assert found.names == ("10.1.2.3",)
    assert ipaddress.ip_address(found.names[0]).is_private
