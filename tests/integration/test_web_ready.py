"""'Ready and dispatch' and 'Hand against number' on the lot page, from a house that lived."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from tests.living_house import TODAY, at_the_time, lived
from tests.web_client import client_of

from saltloft.house import House
from saltloft.jobs import forecast, hand, judge
from saltloft.jobs.today import day_sheet
from saltloft.plant.readings import PressedAndCut
from saltloft.process import hand as hand_process


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    made = lived(tmp_path_factory.mktemp("web_ready") / "house")
    cut = PressedAndCut("AL-0310", (3, 3, 2), Decimal("1.5"), 0, 0, 0, ring=1, colour="even")
    at_the_time(made, cut, at=TODAY - timedelta(hours=3), person="maren")
    forecast.forecast(made, "AL-0310")
    hand.learn(made)
    return made


def text_of(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def test_the_page_says_the_promise_the_chain_and_what_decides(house: House) -> None:
    page = client_of(house, "maren").get("/lots/AL-0310").text
    words = text_of(page)
    assert "9 in 10 sure: the lot's mean is at 35 % by" in words.replace("&#39;", "'")
    assert "No dispatch day can be named: shown has none yet." in words
    assert "A day later takes" in words
    assert "Days by common practice, no source" in words
    for title in ("shown", "curer", "the target", "wash or brush", "dry the surface", "pack"):
        assert title in words
    assert page.count('class="decides"') == 1
    assert page.count("<rect") > 5
    assert "moisture:protein 2.3" in words


def test_another_risk_is_one_tap_away_and_moves_the_day(house: House) -> None:
    client = client_of(house, "maren")
    usual, even = (text_of(client.get(f"/lots/AL-0310{query}").text) for query in ("", "?sure=0.5"))
    found = [
        re.search(r"mean is at 35 % by (\w+ \d+ \w+)", words.replace("&#39;", "'")) for words in (usual, even)
    ]
    assert found[0] is not None
    assert found[1] is not None
    assert found[0].group(1) != found[1].group(1)
    assert "5 in 10 sure" in even
    refused = client.get("/lots/AL-0310?sure=1")
    assert refused.status_code in (400, 422)
    assert "no promise can be made so sure" in refused.text


def test_the_api_says_the_same(house: House) -> None:
    answer = client_of(house, "maren").get("/api/v1/lots/AL-0310").json()
    assert answer["ready"]["promise"]["sure"] == 0.9
    assert answer["ready"]["dispatch"]["decides"] == ["shown"]
    assert answer["hand"]["press"]["learned"] is False


def test_nothing_in_it_claims_more_than_was_measured(house: House) -> None:
    """The three lines stay apart, the words nobody may print are not there, the caution is."""
    page = client_of(house, "maren").get("/lots/AL-0310").text
    words = text_of(page)
    assert not re.search(r"\b(safe|pass|passed|passes)\b", words, re.IGNORECASE)
    assert "Saltloft does not decide whether this may be eaten or sold" in words
    section = page.split('id="ready"')[1].split("</section>")[0]
    assert 'class="state met"' not in section


def test_a_room_hand_sees_none_of_it_and_an_auditor_no_forms(house: House) -> None:
    assert client_of(house, "besnik").get("/lots/AL-0310").status_code == 403
    page = client_of(house, "aude").get("/lots/AL-0310").text
    assert 'id="hand"' in page
    assert "/enter/press" not in page
    assert "product.ready" not in page


def test_the_hand_is_not_learned_yet_and_says_how_much_is_missing(house: House) -> None:
    words = text_of(client_of(house, "maren").get("/lots/AL-0310").text)
    assert "Not learned yet: 1 of 15 cuts, 1 of 4 lots." in words
    assert "The case-hardening index is information only" in words
    assert "Pressed 2.7. Too few cuts came before it to say whether it fits: 0 of 15." in words


def test_a_hand_that_disagrees_is_a_worry_of_the_morning(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the least numbers set down, a rim of 9 mm is held against what came before and named."""
    monkeypatch.setattr(hand_process, "LEAST_CUTS", 1)
    monkeypatch.setattr(hand_process, "LEAST_LOTS", 1)
    wild = PressedAndCut("AL-0310", (3, 3, 3), Decimal("25"), 0, 0, 0)
    at_the_time(house, wild, at=TODAY - timedelta(hours=1), person="maren")
    hand.learn(house)
    outlooks = {"AL-0310": forecast.forecast(house, "AL-0310")}
    sheet = day_sheet(house, TODAY, outlooks, judge.judge_many(house, outlooks))
    (item,) = [item for item in sheet.of_kind("worry") if "Knife and number disagree" in item.because]
    assert (item.subject, item.number, item.unit) == ("AL-0310", 25.0, "mm rim")
    assert all(house.store.entry(source) is not None for source in item.sources)
    words = text_of(client_of(house, "maren").get("/lots/AL-0310").text)
    assert words.count("Knife and number disagree") == 2, "in the line 'good' and under 'hand against number'"
