"""A forecast that goes on from kept states says the same, byte for byte, as one from nothing."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from typing import Any

import numpy as np
import pytest
from tests.drying_cases import noisy_log, parameters, piece, stage

from saltloft.process.ensemble import forecast
from saltloft.process.kept_learned import Kept, KeptLearned
from saltloft.process.kept_states import KeptStates
from saltloft.process.learning import Weighing
from saltloft.process.packed import pack, unpack
from saltloft.process.programme import AirTrace, Programme
from saltloft.process.result import DryingForecast

WEIGHED = (Weighing(4.0, 0.08, pieces=6), Weighing(9.0, 0.16, pieces=6))


def _until(days: float, log: AirTrace | None = None) -> Programme:
    """The same room's log up to a day, then a stage."""
    whole = log or noisy_log(30.0)
    seen = whole.time_d <= days
    trace = AirTrace(
        whole.time_d[seen], whole.temperature_c[seen], whole.relative_humidity[seen], whole.air_m_s
    )
    return Programme((stage(30.0, 14.0, 0.78, 0.15),), trace)


def _answer(programme: Programme, **more: Any) -> DryingForecast:
    given: dict[str, Any] = {"targets": {"weight_loss_pct": 35.0}, "members": 40, "weighings": WEIGHED} | more
    return forecast(piece(50), programme, parameters(), **given)


def _text(answer: DryingForecast) -> str:
    return json.dumps(asdict(answer), default=lambda value: np.asarray(value).tolist(), sort_keys=True)


@pytest.fixture(scope="module")
def kept() -> Kept:
    """What the forecast of day 20 left, written down and read back."""
    left: list[Kept] = []
    _answer(_until(20.0), keep=left.append)
    found = Kept.from_bytes(left[0].to_bytes())
    assert found.to_bytes() == left[0].to_bytes()
    return found


@pytest.fixture
def fitted(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Whether each kept state that was offered did fit."""
    seen: list[bool] = []
    fits = KeptStates.fits

    def watched(*args: Any) -> bool:
        seen.append(fits(*args))
        return seen[-1]

    monkeypatch.setattr(KeptStates, "fits", watched)
    return seen


def test_the_next_days_go_on_and_say_the_same(kept: Kept, fitted: list[bool]) -> None:
    """Two days on, from what was kept and from what that left: the answers from nothing."""
    assert kept.states is not None
    assert kept.states.until_d == 19.0
    left: list[Kept] = []
    assert _text(_answer(_until(21.0), kept=kept, keep=left.append)) == _text(_answer(_until(21.0)))
    assert left[0].states is not None
    assert left[0].states.until_d == 20.0
    assert left[0].learned is kept.learned
    assert _text(_answer(_until(22.0), kept=left[0])) == _text(_answer(_until(22.0)))
    assert fitted == [True, True]


@pytest.mark.parametrize(
    "changed",
    [
        {"weighings": (*WEIGHED, Weighing(15.0, 0.3, pieces=6))},
        {"seed": 2},
        {"lot": "another"},
        {"members": 42},
    ],
    ids=["a new weighing", "another seed", "another lot", "more members"],
)
def test_what_rests_on_something_else_is_not_used(
    kept: Kept, fitted: list[bool], changed: dict[str, Any]
) -> None:
    """Whatever moves the draws: everything is carried from stuffing again."""
    assert _text(_answer(_until(21.0), kept=kept, **changed)) == _text(_answer(_until(21.0), **changed))
    assert fitted == [False]


def test_a_reading_that_came_late_is_not_missed(kept: Kept) -> None:
    """An hour of the past that now reads otherwise: the kept states no longer fit."""
    log = noisy_log(30.0)
    wetter = log.relative_humidity.copy()
    wetter[(log.time_d > 10.0) & (log.time_d < 11.0)] = 0.95
    other = _until(21.0, replace(log, relative_humidity=wetter))
    assert _text(_answer(other, kept=kept)) == _text(_answer(other))
    assert _text(_answer(other)) != _text(_answer(_until(21.0)))


def test_damaged_or_foreign_bytes_are_nothing() -> None:
    """A torn file is as good as none."""
    assert Kept.from_bytes(b"") == Kept()
    assert KeptLearned.from_bytes(b"") is None
    assert KeptStates.from_bytes(b"{} torn") is None


def test_packed_arrays_come_back_and_a_changed_byte_is_seen() -> None:
    """Values, kinds and shapes; one bit of the body turned over is refused."""
    arrays = {"a": np.arange(6.0).reshape(2, 3), "b": np.array([1, 2], np.int64), "c": np.zeros((0, 4))}
    packed = pack({"name": "é", "n": 3}, arrays)
    told, back = unpack(packed)
    assert told == {"name": "é", "n": 3}
    for name, value in arrays.items():
        assert back[name].dtype == value.dtype
        np.testing.assert_array_equal(back[name], value)
    torn = packed[:-1] + bytes([packed[-1] ^ 1])
    for broken in (torn, packed[:-3], b"", b"no JSON\n"):
        with pytest.raises((ValueError, KeyError)):
            unpack(broken)
