"""Live values from a real broker: taken, refused, kept through restarts of either side, sealed."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address
from pathlib import Path

import numpy as np
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from tests.broker import PASSWORD, USER, TestBroker, until
from tests.small_house import NOW, with_lot

from saltloft.cases.live_intake import Intake
from saltloft.foundation.errors import StoreError
from saltloft.house import House
from saltloft.jobs import doctor
from saltloft.jobs.live import Listener, Pace
from saltloft.store.pending import Pending

TOPICS = "\nhouse/d2/temp D2/temperature_c\nhouse/d2/rh  D2/rh_pct\n"
QUICK = Pace(tick_s=0.02, settle_s=0.0, note_s=0.0, first_wait_s=0.05, most_wait_s=0.2, timeout_s=5.0)


class Clock:
    """The house's clock, moved by the test."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock() -> Clock:
    """A clock at NOW."""
    return Clock()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[TestBroker]:
    """A running broker."""
    found = TestBroker(tmp_path / "broker")
    yield found
    found.stop()


@pytest.fixture
def opened(tmp_path: Path, broker: TestBroker, clock: Clock) -> Iterator[Callable[..., House]]:
    """Opens a house that listens to the broker in the clear, with settings said differently."""
    with_lot(tmp_path / "house").close()
    houses = []

    def open_house(**said: str) -> House:
        settings = {
            "HOST": "127.0.0.1",
            "PORT": str(broker.port),
            "TLS": "false",
            "USER": USER,
            "TOPICS": TOPICS,
            **said,
        }
        environment = {f"SALTLOFT_MQTT_{name}": value for name, value in settings.items()}
        houses.append(House.open(tmp_path / "house", clock=clock, environment=environment))
        return houses[-1]

    yield open_house
    for house in houses:
        house.close()


def listening(house: House, pace: Pace = QUICK, password: str = PASSWORD) -> Listener:
    """A started listener."""
    listener = Listener(house, {"SALTLOFT_MQTT_PASSWORD": password}, pace)
    assert listener.start()
    return listener


def state(house: House) -> dict[str, object]:
    """What /health says of live values."""
    found: dict[str, object] = doctor.health(house)["live"]
    return found


def finding(house: House) -> doctor.Finding:
    """What doctor says of live values."""
    return next(one for one in doctor.doctor(house) if one.name == "live values")


def connected(house: House) -> bool:
    """True when /health says so."""
    return bool(state(house)["connected"])


def timed(value: float, at: datetime) -> str:
    """A payload with its time."""
    return json.dumps({"value": value, "time": at.isoformat()})


def raw(house: House, quantity: str = "temperature_c") -> dict[int, float]:
    """Sealed live values of D2."""
    times, values = house.store.live.raw("D2", quantity, NOW - timedelta(days=2), NOW + timedelta(days=2))
    return dict(zip(times.tolist(), values.tolist(), strict=True))


def test_values_are_taken_and_sealed(opened: Callable[..., House], broker: TestBroker, clock: Clock) -> None:
    """A plain number bears the house's moment, JSON its own; a value sent twice is one; the seal holds."""
    house = opened()
    listener = listening(house)
    until(lambda: connected(house))
    broker.send("house/d2/temp", "13.25")
    broker.send("house/d2/rh", timed(78.5, NOW - timedelta(seconds=30)))
    broker.send("house/d2/rh", timed(78.5, NOW - timedelta(seconds=30)))
    broker.send("house/d2/rh", timed(79.5, NOW - timedelta(hours=3)))
    until(lambda: state(house)["taken"] == 3)
    clock.now += timedelta(minutes=17)
    until(lambda: state(house)["waiting"] == 0)
    listener.stop()
    now = int(NOW.timestamp())
    assert raw(house) == {now: 13.25}
    assert raw(house, "rh_pct") == {now - 30: 78.5, now - 3 * 3600: 79.5}
    assert house.store.verify().whole
    batch = house.store.readings.newest(1)[0].sealed
    assert (batch.person, batch.device) == ("administrator", "mqtt")


def test_a_late_value_joins_its_sealed_minute(
    opened: Callable[..., House], broker: TestBroker, clock: Clock
) -> None:
    """The minute is sealed anew with all its values; another value for a sealed moment is refused."""
    house = opened(SEAL_MINUTES="1")
    listener = listening(house)
    until(lambda: connected(house))
    broker.send("house/d2/temp", timed(12.0, NOW))
    until(lambda: state(house)["taken"] == 1)
    clock.now += timedelta(minutes=5)
    until(lambda: state(house)["waiting"] == 0)
    broker.send("house/d2/temp", timed(14.0, NOW + timedelta(seconds=20)))
    broker.send("house/d2/temp", timed(99.0, NOW + timedelta(seconds=25)))
    broker.send("house/d2/temp", timed(12.5, NOW))
    until(lambda: state(house)["refused"] == {"beyond_bounds": 1, "other_value": 1})
    until(lambda: state(house)["waiting"] == 0)
    listener.stop()
    now = int(NOW.timestamp())
    assert raw(house) == {now: 12.0, now + 20: 14.0}
    minutes = house.store.live.minutes("D2", "temperature_c", NOW, NOW + timedelta(minutes=1))
    np.testing.assert_array_equal(minutes.mean, [13.0])
    np.testing.assert_array_equal(minutes.count, [2])


def test_the_broker_restarts(opened: Callable[..., House], broker: TestBroker, clock: Clock) -> None:
    """Not connected since when is said; what comes afterwards is taken."""
    house = opened()
    listener = listening(house)
    until(lambda: connected(house))
    broker.send("house/d2/temp", timed(13.0, NOW))
    until(lambda: state(house)["taken"] == 1)
    clock.now += timedelta(minutes=1)
    broker.stop()
    until(lambda: not connected(house))
    assert not finding(house).good
    assert "not connected since 2026-11-03 06:01" in finding(house).words
    clock.now += timedelta(minutes=1)
    broker.start()
    until(lambda: connected(house))
    assert "connected since 2026-11-03 06:02" in finding(house).words
    broker.send("house/d2/temp", timed(13.5, NOW + timedelta(seconds=90)))
    until(lambda: state(house)["taken"] == 2)
    assert finding(house).good
    listener.stop()


def test_nothing_is_lost_while_nobody_listens(
    opened: Callable[..., House], broker: TestBroker, clock: Clock
) -> None:
    """The broker keeps the session, through its own restart too; what waits unsealed is on disk."""
    house = opened()
    listener = listening(house)
    until(lambda: connected(house))
    broker.send("house/d2/temp", timed(11.0, NOW))
    until(lambda: state(house)["taken"] == 1)
    listener.stop()
    for number in range(1, 40):
        broker.send("house/d2/temp", timed(11.0 + number / 100, NOW + timedelta(seconds=number)))
    broker.send("house/d2/temp", "15.0")
    broker.stop()
    broker.start()
    clock.now += timedelta(hours=1)
    listener = listening(house, replace(QUICK, settle_s=2.0))
    until(lambda: state(house)["refused"] == {"no_moment": 1})
    until(lambda: state(house)["waiting"] == 0)
    listener.stop()
    now = int(NOW.timestamp())
    assert raw(house) == {now + number: 11.0 + number / 100 for number in range(40)}


def test_sealing_again_after_a_crash_changes_nothing(opened: Callable[..., House], clock: Clock) -> None:
    """The program died between the seal and the file: the same values are known, and let go of."""
    house = opened()
    intake = Intake(house, {"house/d2/temp": "D2/temperature_c"})
    for number in range(25):
        payload = timed(13.0, NOW - timedelta(hours=number)).encode()
        assert intake.take("house/d2/temp", payload, fresh=False)
    before = intake.pending.path.read_bytes()
    clock.now += timedelta(hours=1)
    assert (intake.seal_due(), intake.seal_due(), intake.seal_due()) == (20, 5, 0)
    intake.pending.path.write_bytes(before)
    again = Intake(house, {"house/d2/temp": "D2/temperature_c"})
    assert len(again.pending) == 25
    assert (again.seal_due(), again.seal_due(), len(again.pending)) == (0, 0, 0)
    assert not again.refused
    assert len(raw(house)) == 25


def test_plain_numbers_are_taken_once_the_broker_has_settled(
    opened: Callable[..., House], broker: TestBroker
) -> None:
    """Values that trickle in do not put it off."""
    house = opened()
    listener = listening(house, replace(QUICK, settle_s=1.0))
    until(lambda: connected(house))
    broker.send("house/d2/rh", "81.0")
    for number in range(16):
        broker.send("house/d2/temp", timed(13.0, NOW - timedelta(seconds=number)))
        time.sleep(0.1)
    broker.send("house/d2/rh", "80.0")
    until(lambda: state(house)["taken"] == 17)
    listener.stop()
    assert state(house)["refused"] == {"no_moment": 1}


def test_the_broker_forgets_nothing_that_is_not_on_disk(
    opened: Callable[..., House], broker: TestBroker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk: the value is not acknowledged, and comes again."""
    house, add, failed = opened(), Pending.add, []

    def full_once(self: Pending, series: str, at: int, value: float) -> None:
        if not failed:
            failed.append(value)
            raise StoreError("a live value cannot be kept", got="No space left on device")
        add(self, series, at, value)

    monkeypatch.setattr(Pending, "add", full_once)
    listener = listening(house)
    until(lambda: connected(house))
    broker.send("house/d2/temp", timed(13.0, NOW))
    until(lambda: state(house)["taken"] == 1)
    listener.stop()
    assert failed == [13.0]
    assert Pending(house.folder).values == {"D2/temperature_c": {int(NOW.timestamp()): 13.0}}


def test_foreign_topics_and_nonsense_are_refused_and_counted(
    opened: Callable[..., House], broker: TestBroker
) -> None:
    """A topic writes its own series only; doctor says what was refused and why; nothing of it is stored."""
    house = opened(FILTER="house/#")
    broker.send("house/d2/temp", "9.0", retain=True)
    listener = listening(house)
    until(lambda: connected(house))
    broker.send("house/d3/temp", "13.0")
    for payload in ("warm", "NaN", "1e3", "", '{"value": true, "time": 5}', "13,2", b"\xff\xfe", "[" * 200):
        broker.send("house/d2/temp", payload)
    broker.send("house/d2/temp", timed(13.0, NOW + timedelta(minutes=3)))
    broker.send("house/d2/temp", timed(13.0, NOW - timedelta(days=32)))
    broker.send("house/d2/rh", "100.5")
    broker.send("house/d2/rh", "80")
    expected = {
        "foreign_topic": 1,
        "nonsense": 8,
        "ahead": 1,
        "too_old": 1,
        "beyond_bounds": 1,
        "no_moment": 1,
    }
    until(lambda: state(house)["refused"] == expected and state(house)["taken"] == 1)
    listener.stop()
    found = finding(house)
    assert not found.good
    assert "1 refused, from a topic that mqtt_topics does not name" in found.words
    assert "8 refused, neither a number nor JSON with value and time" in found.words
    assert "the last refused: 'house/d2/rh' b'100.5'" in found.words
    assert Pending(house.folder).values == {"D2/rh_pct": {int(NOW.timestamp()): 80.0}}


def test_a_wrong_password(
    opened: Callable[..., House], broker: TestBroker, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Said by doctor; no password in its words, the log, the settings or the file for whoever helps."""
    house = opened()
    wrong = "wrong-and-secret-3X"
    listener = listening(house, password=wrong)
    until(lambda: "the broker said" in str(house.store.upkeep.last("live")))
    listener.stop()
    assert "uthori" in finding(house).words
    printed = capsys.readouterr()
    texts = printed.out + printed.err + finding(house).words
    texts += repr([row.shown for row in house.settings.rows()])
    texts += doctor.bundle(house, tmp_path / "help").read_bytes().decode("latin-1")
    assert wrong not in texts
    right = listening(house)
    until(lambda: connected(house))
    right.stop()


def test_a_password_file_others_can_read_is_refused(opened: Callable[..., House]) -> None:
    """Mode 0600, or nobody connects."""
    house = opened(PASSWORD_FILE="broker.password")
    file = house.folder / "broker.password"
    file.write_text(PASSWORD + "\n")
    file.chmod(0o644)
    listener = listening(house, password="")
    until(lambda: "can be read by others" in str(house.store.upkeep.last("live")))
    file.chmod(0o600)
    until(lambda: connected(house))
    listener.stop()


def test_a_topic_of_an_unknown_room(opened: Callable[..., House]) -> None:
    """Nobody connects; doctor names the line."""
    house = opened(TOPICS="house/x D9/temperature_c")
    listener = listening(house)
    until(lambda: "no such room" in str(house.store.upkeep.last("live")))
    listener.stop()
    assert "line 1" in finding(house).words


def test_tls_is_spoken_and_checked(opened: Callable[..., House], tmp_path: Path) -> None:
    """By default: a certificate of nobody we trust is refused, one of the named authority is taken."""
    certificate, key = self_signed(tmp_path)
    secured = TestBroker(tmp_path / "secured", (certificate, key))
    try:
        said = {"PORT": str(secured.port), "TLS": "true"}
        house = opened(**said)
        listener = listening(house)
        until(lambda: "CERTIFICATE_VERIFY_FAILED" in str(house.store.upkeep.last("live")))
        listener.stop()
        house.close()
        house = opened(**said, CA_FILE=str(certificate))
        listener = listening(house)
        until(lambda: connected(house))
        listener.stop()
    finally:
        secured.stop()


def self_signed(folder: Path) -> tuple[Path, Path]:
    """A certificate for 127.0.0.1 and its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "broker")])
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder(name, name, key.public_key(), x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(IPv4Address("127.0.0.1"))]), critical=False
        )
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .sign(key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    (folder / "broker.pem").write_bytes(certificate.public_bytes(pem))
    (folder / "broker.key").write_bytes(
        key.private_bytes(pem, serialization.PrivateFormat.TraditionalOpenSSL, serialization.NoEncryption())
    )
    return folder / "broker.pem", folder / "broker.key"


def test_the_worker_listens(broker: TestBroker, tmp_path: Path) -> None:
    """The process itself: a value is taken, a stop is obeyed, and the listening is told in /health."""
    with_lot(tmp_path / "house").close()
    said = {"HOST": "127.0.0.1", "PORT": str(broker.port), "TLS": "false", "USER": USER, "TOPICS": TOPICS}
    environment = {f"SALTLOFT_MQTT_{name}": value for name, value in said.items()}
    process = subprocess.Popen(
        [sys.executable, "-m", "saltloft.cli.worker"],
        env={
            **os.environ,
            **environment,
            "SALTLOFT_MQTT_PASSWORD": PASSWORD,
            "SALTLOFT_HOUSE": str(tmp_path / "house"),
            "SALTLOFT_BACKUP_HOURS": "0",
        },
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    try:
        with House.open(tmp_path / "house", environment=environment) as house:
            until(lambda: connected(house), 60.0)
            now = datetime.now(UTC).replace(microsecond=0)
            broker.send("house/d2/temp", timed(13.0, now))
            file = house.folder / "live-values.pending"
            until(lambda: file.is_file() and str(int(now.timestamp())) in file.read_text())
    finally:
        process.send_signal(signal.SIGTERM)
        printed, _ = process.communicate(timeout=30)
    assert process.returncode == 0
    assert PASSWORD.encode() not in printed
