"""The commands trace, recall, epcis and tags, as a person types them; their JSON fits its schema."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from pypdf import PdfReader
from tests.fennel_house import fennel_house
from tests.small_house import NOW
from tests.trace_cases import AGAIN, KG
from typer.testing import CliRunner, Result

from saltloft.cli.main import app, register_all
from saltloft.house import House
from saltloft.store.settings import write_settings

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The fennel house on disk, with an address for its tags."""
    found = tmp_path_factory.mktemp("fennel") / "house"
    with fennel_house(found) as house:
        name, zone = house.name, house.settings.text("zone")
    write_settings(found, {"name": name, "zone": zone, "tag_address": "https://house.example"})
    return found


@pytest.fixture
def run(folder: Path, monkeypatch: pytest.MonkeyPatch):  # type: ignore[no-untyped-def]
    """Runs a command in that house, at the house's own moment."""
    monkeypatch.setattr(House, "now", lambda _: NOW)
    register_all()

    def call(*words: str) -> Result:
        return CliRunner().invoke(app, [*words, "--house", str(folder)])

    return call


def schema(name: str) -> object:
    """A documented schema."""
    return json.loads((ROOT / "docs" / "schemas" / f"{name}.json").read_text(encoding="utf-8"))


def test_trace_both_ways_as_words_and_as_json(run) -> None:  # type: ignore[no-untyped-def]
    """Up, then down; either alone; the JSON is the documented one."""
    said = run("trace", "RO-0601").output
    assert said.startswith("Into RO-0601 went 3 deliveries")
    assert "Found again:" in said
    both = json.loads(run("trace", "RO-0601", "--json").output)
    assert [one["direction"] for one in both] == ["up", "down"]
    for one in both:
        jsonschema.validate(one, schema("trace-1"))
    down = json.loads(run("trace", "FEN-118", "--down", "--json").output)
    jsonschema.validate(down, schema("trace-1"))
    assert down["start_mg"] == down["found_mg"] == 25 * KG
    then = json.loads(run("trace", "FEN-118", "--down", "--json", "--at", "2026-06-03T00:00+00:00").output)
    assert {node["node"] for node in then["nodes"]} == {"FEN-118", "RO-0601", "AL-0602"}


def test_a_picture_is_written(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """An SVG of its own, without links."""
    run("trace", "FEN-118", "--down", "--picture", str(tmp_path / "flow.svg"))
    drawn = (tmp_path / "flow.svg").read_text(encoding="utf-8")
    assert drawn.startswith("<svg xmlns=")
    assert "<a " not in drawn


def test_recall_says_it_all_and_writes_report_and_letters(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Exit code 0 when every milligram has a place; 31 letters."""
    report, letters = tmp_path / "report.pdf", tmp_path / "letters.pdf"
    done = run("recall", "FEN-118", "--reason", "glass", "--report", str(report), "--letters", str(letters))
    assert done.exit_code == 0
    assert "31 customers to call" in done.output
    assert "Saltloft does not decide" in done.output
    assert len(PdfReader(letters).pages) == 31
    assert "recall.json" in PdfReader(report).attachments
    answer = json.loads(run("recall", "FEN-118", "--json").output)
    jsonschema.validate(answer, schema("recall-1"))
    assert answer["account"]["accounted_pct"] == 100.0


def test_events_and_tags_are_written(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """All events, those since a day, and the tags of two racks."""
    run("epcis", "-o", str(tmp_path / "all.jsonld"))
    whole = json.loads((tmp_path / "all.jsonld").read_text(encoding="utf-8"))["epcisBody"]["eventList"]
    late = json.loads(run("epcis", "--from", "2026-07-18").output)["epcisBody"]["eventList"]
    assert 0 < len(late) < len(whole)
    assert all(event["eventTime"] >= "2026-07-18" for event in late)
    assert run("tags", AGAIN, "-o", str(tmp_path / "tags.pdf")).exit_code == 0
    assert "rack R-8" in PdfReader(tmp_path / "tags.pdf").pages[0].extract_text()


def test_a_wrong_number_is_refused_with_the_nearest(run) -> None:  # type: ignore[no-untyped-def]
    """The error names what it may have been."""
    refused = run("trace", "FEN-181")
    assert refused.exit_code != 0
    assert "FEN-118" in str(refused.exception)
