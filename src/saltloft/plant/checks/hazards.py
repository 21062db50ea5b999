"""Every hazard of a product, and how each stands for one lot.

A hazard is met only by a route that applies, is met and rests on confirmed
facts. An outside document may stand in where nothing was judged; it never
outweighs a measured 'not met'.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from saltloft.foundation.words import say
from saltloft.plant.answers import HazardStand
from saltloft.plant.checks.verdict import Outcome, Verdict
from saltloft.plant.readings import DocumentRecorded
from saltloft.plant.recipes import Hazard, ProductDefined
from saltloft.plant.stated import Stated

NOT_JUDGED = "not judged by this version"

_CURED = (
    "staphylococcus_aureus",
    "salmonella",
    "escherichia_coli",
    "listeria_monocytogenes",
    "clostridium_botulinum",
    "trichinella",
    "nitrite",
    "foreign_body",
    "allergen",
)
HAZARDS: Mapping[str, tuple[str, ...]] = {
    "dry_sausage": _CURED,
    "ham": _CURED,
    # Raw and to be cooked: nothing ferments or is cured, yet nitrite may get in with ends.
    "fresh_sausage": (
        "salmonella",
        "escherichia_coli",
        "listeria_monocytogenes",
        "trichinella",
        "nitrite",
        "foreign_body",
        "allergen",
    ),
}


def hazards_of(product: ProductDefined) -> tuple[Hazard, ...]:
    """All hazards of a product: its family's list and what its plan adds, from day one.

    Args:
        product: ProductDefined.

    Returns:
        One Hazard each. A reason to leave one out counts only when the plan is signed.
    """
    stated = {hazard.name: hazard for hazard in product.hazards}
    names = dict.fromkeys((*HAZARDS.get(product.family, _CURED), *stated))
    signed = bool(product.plan.signed_by)
    return tuple(
        stated[name] if name in stated and signed else Hazard(name, left_out_reason="") for name in names
    )


def not_judged(hazard: str) -> Verdict:
    """The verdict of a hazard that no rule of this version speaks to."""
    return Verdict(
        hazard=hazard,
        rule="none",
        outcome=Outcome.NOT_SHOWN,
        words=say("not judged by this version"),
        why=NOT_JUDGED,
        next=say("record a document that covers this lot"),
    )


def ingoing_nitrite(
    mg_kg_meat: float | None, mg_kg_batter: float | None, readings: tuple[str, ...]
) -> Verdict:
    """Ingoing nitrite as arithmetic on weighed amounts: shown, but no rule of this version judges it.

    Args:
        mg_kg_meat: float or None. Sodium nitrite per kilogram of meat; None when not all was weighed. [mg/kg]
        mg_kg_batter: float or None. Per kilogram of batter. [mg/kg]
        readings: tuple of str. Entry ids of the weighed amounts.
    """
    if mg_kg_meat is None or mg_kg_batter is None:
        words = say("ingoing nitrite not known: not all amounts were weighed; not judged by this version")
    else:
        words = say(
            "ingoing nitrite {meat} mg per kg of meat, {batter} mg per kg of batter, by weighed amounts; "
            "not judged by this version",
            meat=f"{mg_kg_meat:.0f}",
            batter=f"{mg_kg_batter:.0f}",
        )
    return Verdict(
        hazard="nitrite",
        rule="curing.ingoing_nitrite",
        outcome=Outcome.NOT_SHOWN,
        words=words,
        used=mg_kg_meat,
        unit="mg/kg",
        readings=readings,
        why=NOT_JUDGED,
        next=say("record a document that covers this lot"),
    )


def document_covers(
    document: DocumentRecorded, hazard: str, *, lot: str, product: str, made_on: date, demo_house: bool
) -> bool:
    """Whether an outside document speaks to this hazard of this lot.

    Args:
        document: DocumentRecorded.
        hazard: str.
        lot: str.
        product: str.
        made_on: date. Production date, in the house's zone.
        demo_house: bool. Only there does a demo document count.

    Returns:
        True when the hazard is the same, number, date, issuer and limits are stated, the lot or the
        product is named, and the production date lies in its period (both ends included).
    """
    stated = all((document.number, document.date, document.issuer, document.limits))
    if document.hazard != hazard or not stated or (document.demo and not demo_house):
        return False
    named = lot in document.covers_lots or (not document.covers_lots and product in document.covers_products)
    begins = not document.covers_from or date.fromisoformat(document.covers_from) <= made_on
    ends = not document.covers_to or made_on <= date.fromisoformat(document.covers_to)
    return named and begins and ends


def stand_of(hazard: Hazard, verdicts: Sequence[Verdict], covering: Sequence[str]) -> HazardStand:
    """How one hazard stands, from the verdicts that speak to it and the documents that cover it.

    Args:
        hazard: Hazard.
        verdicts: sequence of Verdict of this hazard, for the market asked about.
        covering: sequence of str. Entry ids of documents that cover this lot.

    Returns:
        HazardStand. One 'not met' is enough for NOT_MET, and no document changes it.
    """
    own = tuple(verdicts) or (not_judged(hazard.name),)
    outcomes = [verdict.outcome for verdict in own]
    shown = [verdict for verdict in own if verdict.outcome is Outcome.MET]
    documents: tuple[str, ...] = ()
    if Outcome.NOT_MET in outcomes:
        broken = next(verdict for verdict in own if verdict.outcome is Outcome.NOT_MET)
        outcome, words = Outcome.NOT_MET, broken.words
    elif any(verdict.confidence == "confirmed" for verdict in shown):
        met = next(verdict for verdict in shown if verdict.confidence == "confirmed")
        outcome, words = Outcome.MET, met.words
    else:
        outcome, documents = Outcome.NOT_SHOWN, tuple(covering)
        words = _not_shown_words(own, shown, bool(covering))
    return HazardStand(hazard.name, outcome, own, documents, hazard.left_out_reason, words)


def _not_shown_words(own: Sequence[Verdict], shown: Sequence[Verdict], by_document: bool) -> str:
    if by_document:
        return say("by document, not judged")
    if shown:
        return say("met on facts that nobody here has confirmed: counts as not shown")
    if all(verdict.outcome is Outcome.DOES_NOT_APPLY for verdict in own):
        return say("no route applies: {why}", why=own[0].why)
    speaking = next(verdict for verdict in own if verdict.outcome is Outcome.NOT_SHOWN)
    return speaking.words


def hazard_stands(
    product: ProductDefined,
    verdicts: Sequence[Verdict],
    documents: Sequence[Stated[DocumentRecorded]],
    *,
    lot: str,
    made_on: date,
    demo_house: bool,
) -> tuple[HazardStand, ...]:
    """Every hazard of a lot's product with how it stands.

    Args:
        product: ProductDefined. The version in force when the lot was made.
        verdicts: sequence of Verdict, of the market asked about.
        documents: sequence of Stated of DocumentRecorded; struck ones change nothing.
        lot: str.
        made_on: date. Production date, in the house's zone.
        demo_house: bool.
    """
    stands = []
    for hazard in hazards_of(product):
        covering = [
            stated.entry_id
            for stated in documents
            if not stated.struck
            and stated.person
            and document_covers(
                stated.payload, hazard.name,
                lot=lot, product=product.product, made_on=made_on, demo_house=demo_house,
            )
        ]  # fmt: skip
        own = [verdict for verdict in verdicts if verdict.hazard == hazard.name]
        stands.append(stand_of(hazard, own, covering))
    return tuple(stands)
