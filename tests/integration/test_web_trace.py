"""The pages of trace and recall through the real application: search, clock, record, papers, tags."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient
from pypdf import PdfReader
from tests.fennel_house import GTINS, fennel_house
from tests.trace_cases import AGAIN, KG
from tests.web_client import client_of

from saltloft.house import House


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with fennel_house(tmp_path_factory.mktemp("fennel") / "house") as found:
        yield found


@pytest.fixture(scope="module")
def quality(house: House) -> TestClient:
    return client_of(house, "ilo")


def words_of(pdf: bytes) -> str:
    """All words of a PDF, blanks and line ends made one blank."""
    import io

    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages))


def test_any_number_leads_to_one_screen(quality: TestClient) -> None:
    """The supplier's number opens the trace of our bag: sentence, picture, table with amounts."""
    answer = quality.get("/trace", params={"q": "K-4471"})
    assert answer.headers["location"] == "/trace?node=FEN-118"
    page = quality.get("/trace?node=FEN-118").text
    assert "FEN-118 (25.0 kg) went into 10 lots, 9 pack lots, 31 customers." in page
    assert "Found again: 25.0 kg of 25.0 kg." in page
    assert 'class="flow"' in page
    assert "612 kg" in page
    assert page.count("<tr>") > 60


def test_several_meanings_are_offered_and_none_is_said(quality: TestClient) -> None:
    """A beginning lists what begins so; nonsense says what to type."""
    assert quality.get("/trace", params={"q": "SHIP-000"}).text.count('href="/trace?node=SHIP-000') == 9
    assert "nothing has this number" in quality.get("/trace", params={"q": "XYZ-9"}).text
    assert quality.get("/trace", params={"node": "FEN-181"}).status_code == 404


def test_the_recall_page_calls_31_customers(quality: TestClient) -> None:
    """Balance, telephone links, pack lots to count; a clock only once it was started."""
    page = quality.get("/trace/recall?of=FEN-118").text
    assert "31 customers to call" in page
    assert page.count('href="tel:') == 31
    assert "Finished 3,482 kg against 3,581 kg expected" in page
    assert "data-clock" not in page
    assert "Saltloft does not decide" in page
    running = quality.get("/trace/recall?of=FEN-118&began=2026-11-03T05:55:50%2B00:00").text
    assert 'data-clock="250"' in running
    assert "4:10" in running


def form_of(page: str) -> dict[str, str]:
    """The hidden fields of the drill's form."""
    return dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page))


def test_a_drill_is_counted_recorded_and_printed(house: House, quality: TestClient) -> None:
    """Four minutes ten; one pack lot ten kilograms short: the record and its sheet say so."""
    url = "/trace/recall?of=FEN-118&began=2026-11-03T05:55:50%2B00:00"
    form = form_of(quality.get(url).text)
    said = {
        "drill": "RCL-2026-1",
        "reason": "audit",
        "told.cus-01": "1",
        "missed": "no fax\n",
        "count.PK-RO-0601": "145.759163",
    }
    refused = quality.post("/trace/recall?of=FEN-118", data={**form, **said, "count.PK-RO-0601": "1o"})
    assert refused.status_code == 422
    assert 'value="1o"' in refused.text
    done = quality.post("/trace/recall?of=FEN-118", data={**form, **said})
    assert done.headers["location"] == "/trace/drills/RCL-2026-1", done.text
    record = house.store.drills.all()[-1].payload
    assert (record.customers, record.lots, record.told) == (31, 10, ("cus-01",))
    assert record.finished_mg == 3_482 * KG
    assert record.accounted_mg < record.finished_mg
    page = quality.get("/trace/drills/RCL-2026-1").text
    assert "in 4 min 10 s; 1 of 31 customers told; 1 thing was missed" in page
    sheet = words_of(quality.get("/trace/drills/RCL-2026-1/record.pdf").content)
    assert "Shop 1" in sheet
    assert "no fax" in sheet
    assert quality.get("/trace/drills/RCL-1").status_code == 404


def test_who_only_weighs_records_no_drill(house: House) -> None:
    """A room hand is not shown the page, an auditor sees it and records nothing."""
    hand, auditor = client_of(house, "besnik"), client_of(house, "aude")
    assert hand.get("/trace?node=FEN-118").status_code == 403
    page = auditor.get("/trace/recall?of=FEN-118&began=2026-11-03T05:55:50%2B00:00")
    assert page.status_code == 200
    assert "Stop the clock" not in page.text
    assert auditor.post("/trace/recall?of=FEN-118", data=form_of(page.text)).status_code == 403


def test_papers_of_a_recall(quality: TestClient) -> None:
    """The report holds the balance, the letters one page for each of 31 customers."""
    report = words_of(quality.get("/trace/recall.pdf?of=FEN-118&reason=glass").content)
    assert "5,730 kg stuffed" in report
    assert "Saltloft does not decide" in report
    import io

    letters = PdfReader(io.BytesIO(quality.get("/trace/letters.pdf?of=FEN-118&reason=glass").content))
    assert len(letters.pages) == 31
    first = letters.pages[0].extract_text()
    assert "Quay Street" in first
    assert "Why: glass" in first


def test_a_tag_opens_its_thing_for_each_role(house: House, quality: TestClient) -> None:
    """The same code opens the lot's page for the curer and the scale's form for the room hand."""
    path = f"/01/0{GTINS['hazel']}/10/{AGAIN}"
    assert quality.get(path).headers["location"] == f"/lots/{AGAIN}"
    assert client_of(house, "besnik").get(path).headers["location"] == f"/enter/weigh?lot={AGAIN}"
    assert quality.get("/8004/9521234R-7").headers["location"] == f"/lots/{AGAIN}"
    assert quality.get("/g/PK-RO-0601").headers["location"] == "/trace?node=PK-RO-0601"
    assert client_of(house).get(path).status_code in (302, 303, 401)


def test_tags_print_with_the_address_of_the_page(quality: TestClient) -> None:
    """Two racks, two tags; the number stands unbroken."""
    words = words_of(quality.get("/tags.pdf", params={"of": AGAIN}).content)
    assert words.count(f"(10){AGAIN}") == 2
    assert "rack R-7, room D2" in words


def test_events_and_suspects_have_their_doors(quality: TestClient) -> None:
    """EPCIS as a file; a suspect room leads to a recall of its lots."""
    events = quality.get("/trace/events.json?of=FEN-118")
    assert events.headers["content-type"].startswith("application/ld+json")
    assert json.loads(events.text)["type"] == "EPCISDocument"
    asked = {"suspect": "room", "name": "D2", "since": "2026-06-01T00:00", "until": "2026-06-06T00:00"}
    page = quality.get("/trace/suspect", params=asked).text
    assert "3 things: AL-0602, RO-0601, RO-0605." in page
    assert "/trace/recall?of=AL-0602&amp;of=RO-0601&amp;of=RO-0605" in page
    wrong = quality.get("/trace/suspect", params={**asked, "until": "soon"})
    assert wrong.status_code == 422


def test_programs_get_the_same_answers(quality: TestClient) -> None:
    """Search, trace and recall under /api/v1; a wrong direction is refused, an unknown number not found."""
    assert quality.get("/api/v1/find", params={"q": "K-4471"}).json()[0]["number"] == "FEN-118"
    down = quality.get("/api/v1/trace/FEN-118").json()
    assert down["schema"] == "trace/1"
    assert down["found_mg"] == 25 * KG
    assert quality.get("/api/v1/trace/SHIP-0001?direction=up").json()["direction"] == "up"
    assert quality.get("/api/v1/recall?of=FEN-118").json()["account"]["accounted_pct"] == 100.0
    assert quality.get("/api/v1/trace/FEN-118?direction=sideways").status_code == 422
    assert quality.get("/api/v1/trace/FEN-181").status_code == 404
    assert quality.get("/api/v1/recall").status_code == 422
