"""Which topic writes which series, what a payload says, and how the listening is told."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltloft.foundation.errors import InputError
from saltloft.plant.live_status import LiveStatus
from saltloft.plant.live_values import Refused, Said, moment_of, read_payload, read_topics

NOW = datetime(2026, 11, 3, 6, 0, tzinfo=UTC)
SERIES = "D2/temperature_c"


def test_topics_by_line() -> None:
    """Blanks around, blanks inside a topic, a second logger."""
    text = "\n  house/d2/t   D2/temperature_c \n\nhouse/cold room/rh D2/rh_pct/D2-b\n"
    assert read_topics(text, {"D2"}) == {
        "house/d2/t": "D2/temperature_c",
        "house/cold room/rh": "D2/rh_pct/D2-b",
    }


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("D2/temperature_c", "no topic and series"),
        ("house/t D2", "no topic and series"),
        ("house/t D2/temperature_c/", "no topic and series"),
        ("house/# D2/temperature_c", "wildcard"),
        ("house/+/t D2/temperature_c", "wildcard"),
        ("house/t D2/pressure_pa", "quantity"),
        ("house/t D9/temperature_c", "no such room"),
        ("a D2/temperature_c", "topic comes twice"),
        ("b D2/rh_pct", "another topic"),
    ],
)
def test_lines_that_are_refused(line: str, words: str) -> None:
    """The third line is named."""
    with pytest.raises(InputError, match=words) as caught:
        read_topics(f"\na D2/rh_pct\n{line}", {"D2"})
    assert caught.value.line == 3


@pytest.mark.parametrize(
    ("payload", "said"),
    [
        (b"13", Said(13.0, None)),
        (b" -0.5\n", Said(-0.5, None)),
        (b'{"value": 13.25, "time": 1793685600}', Said(13.25, 1793685600)),
        (b'{"time": "2026-11-03T07:00:00+01:00", "value": 13}', Said(13.0, int(NOW.timestamp()))),
        (b'{"time": "2026-11-03T06:00:00Z", "value": 13}', Said(13.0, int(NOW.timestamp()))),
    ],
)
def test_payloads_that_are_taken(payload: bytes, said: Said) -> None:
    """A number, or JSON with value and time."""
    assert read_payload(SERIES, payload) == said


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"13.",
        b".5",
        b"+13",
        b"0x10",
        b"1_3",
        "１３".encode(),
        b"inf",
        b"null",
        b"[13]",
        b'{"value": 13}',
        b'{"value": "13", "time": 5}',
        b'{"value": NaN, "time": 5}',
        b'{"value": 1e999, "time": 5}',
        b'{"value": 13, "time": true}',
        b'{"value": 13, "time": -1}',
        b'{"value": 13, "time": 1793685600000}',
        b'{"value": 13, "time": 5.5}',
        b'{"value": 13, "time": null}',
        b'{"value": 13, "time": "2026-11-03T06:00:00"}',
        b'{"value": 13, "time": "yesterday"}',
        b'{"value": 13, "value": 14, "time": 5}',
        b'{"value": 13, "time": 5, "unit": "F"}',
        b" " * 300 + b"13",
    ],
)
def test_payloads_that_are_nonsense(payload: bytes) -> None:
    """Refused, with the reason."""
    with pytest.raises(Refused, match="nonsense"):
        read_payload(SERIES, payload)


@given(st.binary(max_size=300))
def test_any_bytes_are_a_value_or_refused(payload: bytes) -> None:
    """Nothing else comes out, whatever a broker brings."""
    try:
        said = read_payload(SERIES, payload)
    except Refused:
        return
    assert -40.0 <= said.value <= 90.0


def test_moments() -> None:
    """The house's clock for a fresh number; bounds of two minutes ahead and 31 days back, both included."""
    clock = int(NOW.timestamp())
    assert moment_of(Said(1.0, None), NOW, fresh=True) == clock
    assert moment_of(Said(1.0, clock + 120), NOW, fresh=False) == clock + 120
    assert moment_of(Said(1.0, clock - 31 * 86_400), NOW, fresh=False) == clock - 31 * 86_400
    for said, reason in (
        (Said(1.0, None), "no_moment"),
        (Said(1.0, clock + 121), "ahead"),
        (Said(1.0, clock - 31 * 86_400 - 1), "too_old"),
    ):
        with pytest.raises(Refused, match=reason):
            moment_of(said, NOW, fresh=False)


def test_how_the_listening_is_told() -> None:
    """As kept and read again; connected, silent and not connected."""
    zone = ZoneInfo("Europe/Dublin")
    status = LiveStatus(NOW, NOW, True, "", 2, 1, {"nonsense": 1}, "a b'x'")
    assert LiveStatus.from_text(status.to_text()) == status
    assert status.words(NOW, zone) == (
        "connected since 2026-11-03 06:00+00:00; 2 values taken; "
        "1 refused, neither a number nor JSON with value and time; the last refused: a b'x'"
    )
    later = NOW + timedelta(minutes=6)
    assert not status.live(later)
    assert "nothing heard" in status.words(later, zone)
    lost = LiveStatus(NOW, NOW, False, "the broker said: no")
    assert lost.words(NOW, zone).startswith("not connected since 2026-11-03 06:00+00:00: the broker said: no")
