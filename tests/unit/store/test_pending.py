"""Live values that wait on disk."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from saltloft.foundation.errors import StoreError
from saltloft.store.pending import FILE, Pending


def test_values_come_back(tmp_path: Path) -> None:
    """After any end of the program; dropped ones do not; nobody else reads the file."""
    pending = Pending(tmp_path)
    pending.add("D2/rh_pct", 100, 80.1)
    pending.add("D2/rh_pct", 107, 80.2)
    pending.add("D2/temperature_c", 100, 13.0)
    again = Pending(tmp_path)
    assert again.values == {"D2/rh_pct": {100: 80.1, 107: 80.2}, "D2/temperature_c": {100: 13.0}}
    again.drop("D2/rh_pct", [100])
    again.save()
    assert Pending(tmp_path).values == {"D2/rh_pct": {107: 80.2}, "D2/temperature_c": {100: 13.0}}
    assert len(again) == 2
    assert (tmp_path / FILE).stat().st_mode & 0o077 == 0


def test_a_line_cut_off_is_left_out(tmp_path: Path) -> None:
    """At every byte: the values before it stay, and the next one gets a line of its own."""
    pending = Pending(tmp_path)
    pending.add("D2/rh_pct", 100, 80.1)
    whole = (tmp_path / FILE).read_bytes()
    pending.add("D2/rh_pct", 107, 80.25)
    both = (tmp_path / FILE).read_bytes()
    for length in range(len(whole), len(both)):
        (tmp_path / FILE).write_bytes(both[:length])
        torn = Pending(tmp_path)
        assert torn.values == {"D2/rh_pct": {100: 80.1}}
        torn.add("D2/rh_pct", 114, 80.3)
        assert Pending(tmp_path).values == {"D2/rh_pct": {100: 80.1, 114: 80.3}}


def test_a_disk_that_cannot_be_written(tmp_path: Path) -> None:
    """Refused in words, and not held in memory either."""
    pending = Pending(tmp_path / "house-is-not-here")
    with pytest.raises(StoreError, match="cannot be kept"):
        pending.add("D2/rh_pct", 100, 80.1)
    assert len(pending) == 0


def test_a_line_the_disk_took_half_of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Refused, taken back, and the next line stands alone."""
    pending, write = Pending(tmp_path), os.write
    pending.add("D2/rh_pct", 100, 80.1)
    with monkeypatch.context() as patched:
        patched.setattr(os, "write", lambda descriptor, data: write(descriptor, data[:9]))
        with pytest.raises(StoreError, match="cannot be kept"):
            pending.add("D2/rh_pct", 107, 80.2)
    pending.add("D2/rh_pct", 114, 80.3)
    assert Pending(tmp_path).values == {"D2/rh_pct": {100: 80.1, 114: 80.3}} == pending.values
