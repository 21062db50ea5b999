"""Papers: PDF/A-3b with text, evidence and page numbers; data stays data; corrections stay visible."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import examples
import numpy as np
import pytest
from pypdf import PdfReader

from saltloft.papers import day_sheet, dossier, page, text_sheet
from saltloft.papers.page import Lead, Sheet
from saltloft.papers.section_picture import slices_picture
from saltloft.plant.answer_json import judge_json, today_json
from saltloft.plant.ready import lot_ready
from saltloft.plant.ready_plan import ReadyPlanned
from saltloft.plant.ready_words import promise_words
from saltloft.process.result import CrossSection

FORBIDDEN = re.compile(r"\bsafe\b|\bpass(ed|es)?\b|ok to eat", re.IGNORECASE)


def text_of(body: bytes) -> str:
    return "\n".join(found.extract_text() for found in PdfReader(io.BytesIO(body)).pages)


@pytest.fixture(scope="module")
def printed() -> bytes:
    return page.pdf(dossier.dossier(examples.folder()))


def test_the_dossier_begins_with_the_computed_sentence_and_says_page_x_of_y(printed: bytes) -> None:
    pages = PdfReader(io.BytesIO(printed)).pages
    first = " ".join(pages[0].extract_text().split())
    assert "AL-0310 is at 35 % around Mon 27 Apr (22 Apr to 2 May). Not shown yet: Listeria." in first
    for number, found in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in found.extract_text()
        assert "journal head 4711" in found.extract_text()


def test_verdicts_stand_on_the_first_page_and_the_three_lines_are_apart(printed: bytes) -> None:
    first = PdfReader(io.BytesIO(printed)).pages[0].extract_text()
    for word in ("shown", "good", "pays", "S. aureus", "Listeria", "unconfirmed", "Name of the product"):
        assert word in first
    assert "weight loss" not in first


def test_cautions_are_printed_and_the_forbidden_words_are_not(printed: bytes) -> None:
    words = " ".join(text_of(printed).split())
    assert "Saltloft does not decide whether this may be eaten or sold" in words
    assert "Invented house, edition not read" in words
    assert not FORBIDDEN.search(words)
    assert not FORBIDDEN.search(text_of(page.pdf(day_sheet.day_sheet(examples.day()))))


def test_it_declares_pdf_a_3b_and_carries_its_evidence(printed: bytes) -> None:
    reader = PdfReader(io.BytesIO(printed))
    # XMP identification of ISO 19005-3: part 3, conformance B.
    metadata = reader.trailer["/Root"]["/Metadata"].get_data().decode()
    assert re.search(r"pdfaid:part>3<", metadata)
    assert re.search(r"pdfaid:conformance>B<", metadata)
    evidence = json.loads(reader.attachments["AL-0310-evidence.json"][0])
    assert evidence["judgement"] == judge_json(examples.judgement())
    assert {entry["id"] for entry in evidence["entries"]} >= {"e1", "e9"}
    assert evidence["head"]["seq"] == 4711


def test_the_same_sheet_gives_the_same_bytes(printed: bytes) -> None:
    assert page.pdf(dossier.dossier(examples.folder())) == printed


def test_what_a_person_typed_is_never_markup() -> None:
    nasty = '#panic("x") *bold* $x$ @ref <label> \\ // " \' [ ] 100% & <b>'
    sheet = Sheet("T", "S", examples.FACE, examples.STUFFED, (Lead(nasty),))
    assert nasty.split(maxsplit=1)[0] in " ".join(text_of(page.pdf(sheet)).split())


def test_a_correction_is_struck_through_and_followed_by_what_counts() -> None:
    sheet = dossier.dossier(examples.folder())
    grid = next(block for block in sheet.blocks if getattr(block, "title", "") == "Weighings, measured")
    assert grid.struck == (1,)
    assert grid.rows[1][2] == "8.57 kg"
    assert grid.rows[2][0] == "decimal slip"
    assert grid.rows[2][2:4] == ("0.857 kg", "13.0")


def test_every_ph_row_says_what_was_measured() -> None:
    sheet = dossier.dossier(examples.folder())
    grid = next(block for block in sheet.blocks if getattr(block, "title", "") == "pH, measured")
    assert [row[1] for row in grid.rows] == ["test mince", "core"]


def test_without_a_forecast_the_dossier_says_so_and_draws_nothing() -> None:
    sheet = dossier.dossier(examples.folder(outlook=None))
    assert "no forecast computed yet" in sheet.blocks[0].text
    assert not [block for block in sheet.blocks if block.block == "picture"]
    page.pdf(sheet)


def test_letter_paper_is_letter() -> None:
    body = page.pdf(dossier.dossier(examples.folder(outlook=None), paper="us-letter"))
    box = PdfReader(io.BytesIO(body)).pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == (612, 792)


def test_the_day_sheet_on_paper_and_console_hold_every_item_in_the_same_words() -> None:
    day = examples.day()
    sheet = day_sheet.day_sheet(day)
    console = text_sheet.text(sheet)
    paper = " ".join(text_of(page.pdf(sheet)).split())
    for item in day.items:
        assert item.because in " ".join(console.split())
        assert item.because in paper
    assert "97 %RH" in console
    assert "Saltloft does not decide" in console


def test_today_json_is_the_contract_and_travels_with_the_sheet() -> None:
    day = examples.day()
    answer = today_json(day)
    assert set(answer["items"][0]) == {"kind", "subject", "number", "unit", "because", "sources"}
    body = page.pdf(day_sheet.day_sheet(day))
    attached = PdfReader(io.BytesIO(body)).attachments["today-2026-03-30.json"][0]
    assert json.loads(attached) == answer


def test_an_empty_day_says_what_is_not_there() -> None:
    day = replace(examples.day(), items=(), rooms=(), lots=(), yields=())
    console = text_sheet.text(day_sheet.day_sheet(day))
    assert "Nothing stands out from what was recorded." in console
    assert "0 worries, 0 are due" in console


def test_the_template_holds_no_words_of_its_own() -> None:
    """Every word a person sees goes through `say`; the template has none to translate."""
    source = (Path(page.__file__).parent / "sheet.typ").read_text()
    outside_code = re.findall(r'"([A-Za-z][a-z]+(?: [a-z]+)+)"', re.sub(r"//.*", "", source))
    assert set(outside_code) <= {"not met", "not shown", "does not apply", "Libertinus Serif", "Libertinus"}


def test_the_day_sheet_in_pounds_and_fahrenheit_is_the_same_day() -> None:
    """Every mass and temperature of the grids is converted with its heading; per cents are not."""
    day = examples.day()
    metric, us = (day_sheet.day_sheet(day, system=system) for system in ("metric", "us"))
    kilograms, pounds = (day_sheet.yield_grid(day.yields, system).rows for system in ("metric", "us"))
    for one, other in zip(kilograms, pounds, strict=True):
        assert float(other[1].replace(",", "")) == pytest.approx(
            float(one[1].replace(",", "")) / 0.45359237, abs=1.7
        )
        assert one[3:] == other[3:]
    heads = [text_sheet.text(sheet) for sheet in (metric, us)]
    assert "air °C / %RH" in heads[0]
    assert "air °F / %RH" in heads[1]
    assert "load kg" not in heads[1]


def test_the_dossier_says_the_promised_day_the_way_to_the_door_and_the_hand() -> None:
    """What the lot page says of them, in the same words; without them nothing is said in their place."""
    folder = examples.folder()
    assert folder.outlook is not None
    found = lot_ready(
        folder.record,
        folder.product,
        ReadyPlanned(folder.product.product),
        folder.outlook,
        folder.judgement,
        plan_stated=False,
        sure=0.9,
        zone=ZoneInfo(folder.house.zone),
    )
    assert found.dispatch is not None
    sheet = dossier.dossier(folder, ready=found)
    titles = [getattr(block, "title", "") for block in sheet.blocks]
    for title in ("Ready and dispatch, computed", "Targets, computed", "The way to the door"):
        assert title in titles
    words = text_sheet.text(sheet)
    assert promise_words(found, folder.outlook) in " ".join(words.split())
    assert "Days by common practice, no source" in words
    kept = json.loads(json.dumps(sheet.evidence["ready"]))
    assert kept["sure"] == 0.9
    assert [one["name"] for one in kept["conditions"]] == [one.name for one in found.dispatch.conditions]
    assert "The way to the door" not in text_sheet.text(dossier.dossier(folder))
    assert dossier.dossier(folder).evidence["ready"] == {}


def test_the_slices_are_drawn_for_paper_in_their_outline() -> None:
    outlook = examples.outlook()
    time_d = np.array([0.0, 10.0, 40.0])
    radius = np.array([[0.0, 16.0, 32.5], [0.0, 15.0, 30.0], [0.0, 13.0, 27.0]])
    activity = np.array([[0.965, 0.965, 0.965], [0.96, 0.94, 0.86], [0.93, 0.90, 0.82]])
    section = CrossSection(time_d, radius, activity, 0.6 * activity)
    cut = replace(outlook, result=replace(outlook.result, section=section))
    flat = replace(examples.folder().product, shape="pressed", width_mm=Decimal(76), thickness_mm=Decimal(50))
    drawn = slices_picture(cut, flat)
    assert drawn is not None
    root = ElementTree.fromstring(drawn.svg)
    assert len([one for one in root.iter() if one.tag.endswith("}rect") and one.get("rx")]) >= 4
    assert "hung" in drawn.svg
    assert slices_picture(replace(outlook, result=replace(outlook.result, section=None)), flat) is None
