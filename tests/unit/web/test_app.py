"""The web process as a whole."""

from __future__ import annotations

import gc

from saltloft.web.app import SEARCHES, settle_memory


def test_what_is_there_at_the_start_is_not_searched_for_garbage_again() -> None:
    """After settling the objects made before are in no age any more, and new garbage is still found."""
    before = gc.get_threshold()
    try:
        settle_memory()
        assert gc.get_freeze_count() > 10_000
        assert sum(map(len, map(gc.get_objects, range(3)))) < gc.get_freeze_count() / 10
        assert gc.get_threshold() == SEARCHES
        ring: list[object] = []
        ring.append(ring)
        del ring
        assert gc.collect() >= 1
    finally:
        gc.unfreeze()
        gc.set_threshold(*before)
