"""Moisture:protein ratio: may the product bear its name? It says nothing about hazards."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from saltloft.foundation.words import say
from saltloft.plant.checks.verdict import Outcome, Verdict

HEADING = "name of the product"


@dataclass(frozen=True)
class NameLimit:
    """The limit for one product name.

    Args:
        name: str. Key of the table, such as 'genoa_salami'.
        limit: float or None. Highest moisture:protein ratio; None where the table has none. [1]
        highest_ph: float or None. Asked for beside the ratio. [pH]
        sources: tuple of str. Fact keys.
    """

    name: str
    limit: float | None
    highest_ph: float | None = None
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class Analysis:
    """What a laboratory found in the finished piece.

    Args:
        moisture_pct: float. [%]
        protein_pct: float. Above 0. [%]
        entry_id: str. The entry that holds it.
    """

    moisture_pct: float
    protein_pct: float
    entry_id: str = ""

    @property
    def ratio(self) -> float:
        """Moisture:protein ratio, rounded to the two decimals in which limits are stated. [1]"""
        return round(self.moisture_pct / self.protein_pct, 2)


def judge_name(
    limit: NameLimit,
    analysis: Analysis | None,
    *,
    ph: float | None = None,
    ph_entry: str = "",
    computed_ratio: float | None = None,
    confirmed: Collection[str] = (),
) -> Verdict:
    """Hold an analysis against the limit of a product name.

    Args:
        limit: NameLimit.
        analysis: Analysis or None. Measured; a computed composition is not one.
        ph: float or None. Highest measured pH by a meter in check. [pH]
        ph_entry: str. The entry that holds it.
        computed_ratio: float or None. Shown beside, never judged. [1]
        confirmed: collection of str. Confirmed fact keys.

    Returns:
        Verdict under 'name of the product'.
    """
    shown = limit.name.replace("_", " ")
    outcome, words, why = _outcome(limit, analysis, ph, shown)
    if analysis is None and computed_ratio is not None and limit.limit is not None:
        words += " " + say("(computed {ratio}, not measured)", ratio=f"{computed_ratio:.2f}")
    used = analysis.ratio if analysis is not None else None
    return Verdict(
        hazard=HEADING,
        rule=f"moisture_protein.us.{limit.name}",
        outcome=outcome,
        words=words,
        used=used,
        limit=limit.limit,
        unit="1",
        margin=None if used is None or limit.limit is None else round(limit.limit - used, 2),
        readings=tuple(entry for entry in (analysis.entry_id if analysis else "", ph_entry) if entry),
        sources=limit.sources,
        confidence="confirmed"
        if limit.sources and all(key in confirmed for key in limit.sources)
        else "unconfirmed",
        why=why,
        next=say("send a sample for moisture and protein") if outcome is Outcome.NOT_SHOWN else "",
    )


def _outcome(
    limit: NameLimit, analysis: Analysis | None, ph: float | None, shown: str
) -> tuple[Outcome, str, str]:
    if limit.limit is None:
        why = say("the table has no ratio for this name")
        return Outcome.DOES_NOT_APPLY, say("{name}: {why}", name=shown, why=why), why
    if analysis is None:
        why = say("moisture and protein were not measured")
        return Outcome.NOT_SHOWN, say("{name}: {why}", name=shown, why=why), why
    words = say(
        "{name}: moisture:protein {ratio}, at most {limit}",
        name=shown, ratio=f"{analysis.ratio:.2f}", limit=f"{limit.limit:.2f}",
    )  # fmt: skip
    if analysis.ratio > limit.limit:
        return Outcome.NOT_MET, words, say("the ratio is above the limit")
    if limit.highest_ph is not None:
        asked = say("pH at most {ph}", ph=f"{limit.highest_ph:.1f}")
        if ph is None:
            return Outcome.NOT_SHOWN, f"{words}; {asked}", say("pH was not measured")
        if ph > limit.highest_ph:
            return Outcome.NOT_MET, f"{words}; {asked}", say("pH {ph} is above it", ph=f"{ph:.2f}")
    return Outcome.MET, words, ""
