"""What is seen in a cut against the computed numbers: skill where there is some, none where there is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from saltloft.process.hand import Cut
from saltloft.process.hand_grades import GRADES, GradeLaw, grade_laws, grade_of


def house(lots: int, seed: int, *, law: float, cuts: int = 3, rare: float = -1.0) -> list[Cut]:
    """Cuts whose ring follows the case-hardening index by a known law; the rest is chance."""
    rng = np.random.default_rng(seed)
    found = []
    for lot in range(lots):
        index, rate = rng.uniform(0.1, 0.9), rng.uniform(0.8, 2.4)
        for number in range(cuts):
            odds = law * (index - 0.5) / 0.2 + rare + rng.logistic()
            found.append(
                Cut(
                    lot=f"AL-{lot:04d}",
                    product=("alder", "rowan")[lot % 2],
                    at_s=86400.0 * (3 * lot + number),
                    press=None,
                    rim_mm=None,
                    loss=0.30,
                    water_activity=0.92,
                    index=index,
                    entry=f"{lot}/{number}",
                    rim_activity=0.9 - 0.1 * rng.random(),
                    early_rate=rate,
                    hollow_share=rng.random(),
                    hollow=int(rng.random() < 0.15),
                    ring=int(odds > 0.0) + int(odds > 1.5),
                    smear=0,
                    colour="even" if rng.random() < 0.8 else "grey_rim",
                )
            )
    return found


def of(laws: tuple[GradeLaw, ...], name: str) -> GradeLaw:
    return next(law for law in laws if law.name == name)


def test_a_ring_that_follows_the_index_is_learned_and_has_skill() -> None:
    ring = of(grade_laws(house(60, 1, law=1.2)), "ring")
    assert (ring.cuts, ring.lots) == (180, 60)
    assert ring.skill.shown
    assert ring.skill.gain == pytest.approx(ring.skill.score - ring.skill.base)  # type: ignore[operator]
    assert 0.7 < ring.slopes[0] < 1.5
    assert all(abs(slope) < 0.5 for slope in ring.slopes[1:])


@pytest.mark.parametrize("seed", [2, 3, 4, 5, 6, 7])
def test_a_ring_that_follows_nothing_has_none(seed: int) -> None:
    """Numbers that know nothing lose a little against the share: what learning them costs."""
    skill = of(grade_laws(house(40, seed, law=0.0)), "ring").skill
    assert skill.enough
    assert not skill.shown
    assert skill.gain is not None
    assert -0.2 < skill.gain < 0.03


def test_what_was_never_found_claims_nothing() -> None:
    smear = of(grade_laws(house(40, 1, law=1.0)), "smear")
    assert smear.shares == (1.0, 0.0, 0.0)
    assert not smear.skill.enough
    assert not smear.skill.shown


def test_a_look_is_held_against_earlier_ones_only() -> None:
    cuts = house(30, 8, law=1.0)
    before = of(grade_laws(cuts), "ring").held
    changed = [replace(cut, ring=2 - cut.ring) if cut.at_s > cuts[59].at_s else cut for cut in cuts]
    after = of(grade_laws(changed), "ring").held
    assert [one.given for one in before[:60]] == [one.given for one in after[:60]]
    assert [one.given for one in before[70:]] != [one.given for one in after[70:]]


def test_the_order_in_which_cuts_are_handed_over_does_not_matter() -> None:
    cuts = house(12, 9, law=1.0)
    assert grade_laws(cuts) == grade_laws(cuts[::-1])


def test_its_chances_hold_what_they_say() -> None:
    """Of looks given 20 to 40 in 100, 20 to 40 in 100 were finds, within the noise of the count."""
    held = [one for one in of(grade_laws(house(120, 11, law=1.2)), "ring").held if one.learned]
    for low, high in ((0.1, 0.3), (0.3, 0.6), (0.6, 0.9)):
        some = [one for one in held if low <= one.find < high]
        share = float(np.mean([one.grade > 0 for one in some]))
        assert len(some) > 30
        assert low - 0.08 <= share <= high + 0.08


def test_a_find_that_was_hardly_to_be_expected_is_named() -> None:
    cuts = house(60, 1, law=2.5)
    last = cuts[-1]
    calm = replace(last, lot="AL-9999", index=0.05, at_s=last.at_s + 86400.0, ring=2, entry="x")
    held = of(grade_laws([*cuts, calm]), "ring").last_of("AL-9999")
    assert held is not None
    assert held.too_much
    assert not held.too_little
    shut = replace(calm, index=0.98, ring=0)
    held = of(grade_laws([*cuts, shut]), "ring").last_of("AL-9999")
    assert held is not None
    assert held.too_little


def test_what_nobody_looked_at_is_left_out() -> None:
    cut = house(1, 1, law=1.0)[0]
    assert grade_of(replace(cut, hollow=-1), "hollow") is None
    assert grade_of(replace(cut, colour=""), "colour") is None
    assert grade_of(replace(cut, colour="pale"), "colour") == 1
    laws = grade_laws([replace(cut, rim_activity=None)])
    assert [law.cuts for law in laws] == [0] * len(GRADES)
    assert laws[0].skill.gain is None
