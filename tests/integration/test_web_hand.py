"""The curer's hand on its page: one screen of taps, the same with and without script."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from tests import small_house
from tests.web_client import NUMBERS, client_of, entry, send

from saltloft.house import House
from saltloft.plant.analyses import LotAnalysed, PieceMeasured
from saltloft.plant.readings import PressedAndCut


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = small_house.with_lot(tmp_path / "house")
    yield made
    made.close()


def csrf_of(text: str) -> str:
    return text.split('name="csrf" value="')[1].split('"', maxsplit=1)[0]


def new_id() -> str:
    return f"01990000-0000-7000-8000-{next(NUMBERS):012d}"


def test_a_look_is_tapped_and_recorded(house: House) -> None:
    """Three places, the rim, the cut and 'not yet'; what nobody tapped is not said."""
    client = client_of(house, "maren")
    page = client.get("/enter/press?lot=AL-0310").text
    assert page.count('name="top"') == page.count('name="bottom"') == 5
    assert page.index('name="top"') < page.index('name="rim"') < page.index('name="colour"')
    form = {
        "csrf": csrf_of(page), "entry_id": new_id(), "lot": "AL-0310", "top": "3", "middle": "2",
        "bottom": "3", "rim": "1.5", "ring": "1", "hollow": "0", "colour": "grey_rim", "good": "0",
    }  # fmt: skip
    answer = client.post("/enter/press", data=form)
    assert answer.status_code == 200, answer.text
    assert "Recorded." in answer.text
    (cut,) = house.store.lots.get("AL-0310").pressed_and_cut
    assert cut.kind == "lot.pressed_and_cut/2"
    assert cut.payload == PressedAndCut(
        "AL-0310", (3, 2, 3), Decimal("1.5"), 0, -1, 0, ring=1, colour="grey_rim"
    )
    again = client.post("/enter/press", data=form)
    assert again.status_code == 200
    assert len(house.store.lots.get("AL-0310").pressed_and_cut) == 1
    assert "3 2 3, faint ring, no hollow, grey rim" in client.get("/enter/press?lot=AL-0310").text


def test_nothing_tapped_is_refused_and_what_was_tapped_comes_back(house: House) -> None:
    client = client_of(house, "besnik")
    page = client.get("/enter/press?lot=AL-0310").text
    form = {"csrf": csrf_of(page), "entry_id": new_id(), "lot": "AL-0310"}
    empty = client.post("/enter/press", data=form)
    assert empty.status_code == 422
    assert "a press, a cut or a word" in empty.text
    wrong = client.post("/enter/press", data={**form, "top": "7", "ring": "2"})
    assert wrong.status_code == 422
    assert '<input type="radio" name="ring" value="2" checked>' in wrong.text
    assert house.store.lots.get("AL-0310").pressed_and_cut == ()
    assert client.post("/enter/press", data={**form, "csrf": "x"}).status_code == 409


def test_the_outbox_sends_the_same_look(house: House) -> None:
    """As entry.js writes it, and as an older phone still does: both are one kind of look."""
    client = client_of(house, "besnik")
    payload = {
        "lot": "AL-0310", "press": [4, 4, 3], "ring": -1, "hollow": 0, "smear": -1, "colour": "",
        "good": 1, "rim_mm": "2",
    }  # fmt: skip
    old = {"lot": "AL-0310", "press": [4, 4, 4], "good": 1}
    answers = send(
        client,
        entry(kind="lot.pressed_and_cut/2", payload=payload),
        entry(kind="lot.pressed_and_cut/1", payload=old),
    )
    assert [answer["status"] for answer in answers] == ["stored", "stored"]
    cuts = house.store.lots.get("AL-0310").pressed_and_cut
    assert [cut.kind for cut in cuts] == ["lot.pressed_and_cut/2"] * 2
    assert cuts[0].payload.rim_mm == Decimal(2)


def test_an_auditor_taps_nothing(house: House) -> None:
    assert client_of(house, "aude").get("/enter/press?lot=AL-0310").status_code == 403


def test_analyses_and_diameters_have_forms_of_their_own(house: House) -> None:
    """Choices for sample and analyst; an odd number is asked about and kept only when said so."""
    client = client_of(house, "maren")
    page = client.get("/record?kind=lot.analysed/1&lot=AL-0310").text
    assert "protein of the same sample, %" in page
    assert "<select" in page
    form = {
        "csrf": csrf_of(page), "entry_id": new_id(), "lot": "AL-0310", "moisture_pct": "36,4",
        "protein_pct": "21.5", "sample": "ground", "analyst": "laboratory", "document": "LAB-12",
        "pieces": "3",
    }  # fmt: skip
    assert client.post("/record?kind=lot.analysed/1", data=form).status_code == 303
    (analysis,) = house.store.lots.get("AL-0310").analyses
    assert analysis.payload == LotAnalysed(
        "AL-0310", Decimal("36.4"), Decimal("21.5"), document="LAB-12", pieces=3
    )
    wetter = {**form, "entry_id": new_id(), "moisture_pct": "44"}
    asked = client.post("/record?kind=lot.analysed/1", data=wetter)
    assert asked.status_code == 200
    assert "44 % water? The last was 36.4 %." in asked.text
    assert client.post("/record?kind=lot.analysed/1", data={**wetter, "kept": "1"}).status_code == 303
    piece = {**form, "entry_id": new_id(), "diameter_mm": "61.5", "tag": "14"}
    assert client.post("/record?kind=piece.measured/1", data=piece).status_code == 303
    (diameter,) = house.store.lots.get("AL-0310").diameters
    assert diameter.payload == PieceMeasured("AL-0310", Decimal("61.5"), "14")
    shown = client.get("/lots/AL-0310").text
    assert "LAB-12" in shown
    assert "61.5" in shown


def test_a_cut_of_version_1_is_corrected_in_todays_form(house: House) -> None:
    """The form of a correction asks for what is known today; the old entry stays as it was written."""
    from saltloft.plant.canonical import canonical_bytes
    from saltloft.store import writing
    from saltloft.store.journal import NewEntry

    body = canonical_bytes({"lot": "AL-0310", "press": [2, 2, 2], "rim_mm": "1.0", "good": 0})
    at = small_house.MADE_AT
    old = NewEntry("e-of-version-1", "lot.pressed_and_cut/1", "AL-0310", body, at, at, "maren", "tablet")
    house.store.write(lambda connection: writing.append(connection, [old]))
    client = client_of(house, "maren")
    page = client.get("/entries/e-of-version-1/correct").text
    assert "ring under the rim" in page
    seen = page.split('name="seen" value="')[1].split('"', maxsplit=1)[0]
    form = {
        "csrf": csrf_of(page), "entry_id": new_id(), "seen": seen, "reason": "the ring was forgotten",
        "lot": "AL-0310", "press": "2; 2; 2", "rim_mm": "1.0", "ring": "2", "good": "0",
    }  # fmt: skip
    assert client.post("/entries/e-of-version-1/correct", data=form).status_code == 303
    (cut,) = house.store.lots.get("AL-0310").pressed_and_cut
    assert (cut.payload.ring, cut.original.ring, cut.kind) == (2, -1, "lot.pressed_and_cut/1")
    assert house.store.verify().whole


def test_a_product_is_planned_to_be_ready_on_the_general_form(house: House) -> None:
    client = client_of(house, "maren")
    page = client.get("/record?kind=product.ready/1").text
    form = {
        "csrf": csrf_of(page), "entry_id": new_id(), "product": "alder", "water_activity": "0.89",
        "water_activity_of": "core", "least_days": "30", "least_days_why": "house plan", "lab_days": "5",
        "wash_days": "1", "dry_days": "1", "equalise_days": "0", "slice_days": "0", "pack_days": "1",
    }  # fmt: skip
    assert client.post("/record?kind=product.ready/1", data=form).status_code == 200
    history = house.store.products.get("alder").history
    assert history[-1].payload.water_activity == Decimal("0.89")
    assert house.store.products.get("alder").defined.payload.product == "alder"
