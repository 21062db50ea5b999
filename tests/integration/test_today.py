"""The morning of a small house: every item computed, every number traced, the same on JSON, paper and CSV."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from pypdf import PdfReader
from tests.living_house import DAY, MADE_AT, TODAY, at_the_time, begin, lived, log_rooms, weigh
from typer.testing import CliRunner

from saltloft.cases.lot_folder import lot_folder
from saltloft.cli.main import app, register_all
from saltloft.foundation.errors import SaltloftError
from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import forecast, judge, rooms
from saltloft.jobs.today import day_sheet, moment_of, yield_csv
from saltloft.papers import day_sheet as paper
from saltloft.papers.dossier import dossier
from saltloft.papers.page import pdf
from saltloft.papers.text_sheet import text
from saltloft.plant import instruments, lots
from saltloft.plant.answer_json import judge_json, today_json
from saltloft.plant.answers import DayItem, DaySheet

SCHEMAS = Path(__file__).resolve().parents[2] / "docs" / "schemas"


def schema(name: str) -> Any:
    return json.loads((SCHEMAS / f"{name}.json").read_text(encoding="utf-8"))


def sheet_of(house: House) -> DaySheet:
    at = house.now()
    outlooks = forecast.morning(house, at)
    return day_sheet(house, at, outlooks, judge.judge_many(house, outlooks, at))


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    return lived(tmp_path_factory.mktemp("today") / "house", hole_h=20.0)


@pytest.fixture(scope="module")
def day(house: House) -> DaySheet:
    return sheet_of(house)


def items(day: DaySheet, kind: str, subject: str) -> Iterator[DayItem]:
    return (item for item in day.of_kind(kind) if item.subject == subject)


def test_every_number_is_traced_to_an_entry_a_batch_or_a_fact(house: House, day: DaySheet) -> None:
    keys = set(house.facts.keys())
    assert day.items
    for item in day.items:
        assert item.sources, item
        for source in item.sources:
            known = (
                source in keys
                or house.store.entry(source) is not None
                or house.store.readings.find(source) is not None
            )
            assert known, (item, source)
    for line in (*day.rooms, *day.yields, *day.hams, *day.fresh):
        assert line.sources or line.lot == "", line  # type: ignore[union-attr]


def test_the_ham_whose_days_in_salt_are_over_is_due(day: DaySheet) -> None:
    (ham,) = items(day, "due", "OK-0316")
    assert ham.number == 60.0
    assert "in since Mon 16 Mar, 13 d planned" in ham.because
    assert day.hams[0].state.startswith("in salt, out Sun 29 Mar")


def test_the_fresh_batch_shows_the_use_by_that_was_entered(day: DaySheet) -> None:
    (fresh,) = items(day, "due", "BR-0327")
    assert fresh.number == 2.0
    assert "58 kg packed, use by Wed 1 Apr." in fresh.because
    assert day.fresh[0].core_temperature_c == 1.5


def test_a_meter_past_its_days_is_due(day: DaySheet) -> None:
    # AW-1 was never checked; the others were on day 16.
    (never,) = items(day, "due", "AW-1")
    assert "never checked" in never.because
    assert not list(items(day, "due", "pH-A"))


def test_a_weighing_falls_due_by_age(house: House, day: DaySheet) -> None:
    assert not list(items(day, "due", "AL-0310"))
    later = House.open(house.folder, clock=lambda: MADE_AT + 27 * DAY)
    (due,) = items(sheet_of(later), "due", "AL-0310")
    assert due.number == 6.0
    assert due.because.startswith("Weigh 6 pieces in D2: last weighed Sun 29 Mar, day 27.")


def test_a_hold_a_failed_meter_and_a_silent_room_worry(tmp_path: Path) -> None:
    made = lived(tmp_path / "house")
    at_the_time(made, lots.LotHeld("AL-0310", "wet rack", "dry it"), at=TODAY - DAY, person="maren")
    failed = instruments.InstrumentChecked("pH-A", 0, "slope 148 mV", "150 to 177 mV")
    at_the_time(made, failed, at=TODAY - timedelta(hours=2))
    silent = House.open(made.folder, clock=lambda: TODAY + timedelta(hours=7))
    day = sheet_of(silent)
    (hold,) = items(day, "worry", "AL-0310")
    assert hold.number == 1.0
    assert "by maren: wet rack. Until: dry it." in hold.because
    (meter,) = items(day, "worry", "pH-A")
    assert "slope 148 mV, allowed 150 to 177 mV" in meter.because
    assert next(item.number for item in items(day, "worry", "D2")) == 7.0
    assert "D2: no reading since Mon 30 Mar 13:30" in next(items(day, "worry", "D2")).because
    assert not day.of_kind("ready")


def test_a_room_off_its_setting_worries_and_one_as_set_does_not(house: House, day: DaySheet) -> None:
    assert {room.room: room.state for room in day.rooms}["D2"] == ""
    now = {room.room: room for room in rooms.rooms(house)}
    assert now["D2"].temperature_c == pytest.approx(14.0)
    assert now["D2"].lots == ("AL-0310", "BR-0327") or now["D2"].lots == ("AL-0310",)
    loss = next(row for row in day.yields if row.lot == "AL-0310")
    assert loss.expected_pct is not None
    assert now["D2"].load_kg == pytest.approx(1280.0 * (1 - loss.expected_pct / 100.0), rel=0.02)


def test_a_lot_within_a_week_of_its_target_is_ready_and_said_not_to_be_shown(tmp_path: Path) -> None:
    made = begin(tmp_path / "house", now=MADE_AT + 45 * DAY)
    log_rooms(made, until=MADE_AT + 45 * DAY)
    weigh(made, 0.05)
    for number in (7.0, 21.0, 35.0, 44.0):
        weigh(made, number)
    day = sheet_of(made)
    (ready,) = items(day, "ready", "AL-0310")
    assert ready.unit == "% lost"
    assert ready.number is not None
    assert 30.0 < ready.number < 40.0
    assert "Not shown yet: S. aureus, Salmonella" in ready.because
    assert any(item.because.startswith("Press three places") for item in items(day, "due", "AL-0310"))


def test_the_answers_fit_their_schemas(house: House, day: DaySheet) -> None:
    jsonschema.validate(today_json(day), schema("today-1"))
    judgement = judge.judge(house, "AL-0310")
    jsonschema.validate(json.loads(json.dumps(judge_json(judgement))), schema("judge-1"))


def test_yields_are_kilograms_in_and_out_by_arithmetic(tmp_path: Path) -> None:
    made = lived(tmp_path / "house")
    for number, kilograms in enumerate(("400", "424.5")):
        at_the_time(
            made, lots.LotYielded("AL-0310", mass(kilograms, "kg"), "pack"), at=TODAY - (2 - number) * DAY
        )
    rows = list(csv.DictReader(io.StringIO(yield_csv(sheet_of(made).yields))))
    (row,) = [row for row in rows if row["lot"] == "AL-0310"]
    assert float(row["in_kg"]) == 1280.0
    assert float(row["out_kg"]) == 824.5
    if not made.store.lots.get("AL-0310").hanging:
        assert float(row["loss_pct"]) == pytest.approx(100 * (1 - 824.5 / 1280.0), abs=0.05)


def test_a_lot_named_like_a_formula_cannot_become_one() -> None:
    from saltloft.plant.answers import YieldRow

    row = YieldRow("=1+1", "@SUM", 1.0, None, None, None, None, None, "", ())
    assert "'=1+1,'@SUM" in yield_csv([row])


def test_yields_read_in_pounds_for_who_weighs_in_pounds() -> None:
    """NIST Handbook 44, appendix C: a pound is 0.453 592 37 kg, exactly."""
    from saltloft.plant.answers import YieldRow

    row = YieldRow("AL-0310", "Alder", 453.59237, None, None, None, None, None, "", ())
    (said,) = csv.DictReader(io.StringIO(yield_csv([row], "us")))
    assert (said["in_lb"], said["out_lb"]) == ("1000.000", "")


def test_paper_console_and_dossier_say_the_same(house: House, day: DaySheet) -> None:
    sheet = paper.day_sheet(day)
    console = " ".join(text(sheet).split())
    printed = " ".join(
        " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf(sheet))).pages).split()
    )
    for item in day.items:
        assert item.because in console
        assert item.because in printed
    judgement = judge.judge(house, "AL-0310")
    folder = lot_folder(house, "AL-0310", TODAY, day.lots[0], judgement)
    body = pdf(dossier(folder))
    reader = PdfReader(io.BytesIO(body))
    words = " ".join(reader.pages[0].extract_text().split())
    assert "Not shown yet: S. aureus, Salmonella" in words
    assert "weigh 6 pieces Sun 5 Apr" in words
    evidence = json.loads(reader.attachments["AL-0310-evidence.json"][0])
    jsonschema.validate(evidence["judgement"], schema("judge-1"))


def test_the_moment_of_a_named_day_is_six_in_the_houses_zone(house: House) -> None:
    from datetime import date

    assert moment_of(house, date(2026, 3, 28)).isoformat() == "2026-03-28T06:00:00+00:00"
    assert moment_of(house, date(2026, 3, 30)).isoformat() == "2026-03-30T06:00:00+01:00"
    assert moment_of(house, None) == TODAY


@pytest.fixture(scope="module")
def shell() -> Any:
    """The commands on a demo house whose now is fixed, as a person types them."""
    if not app.registered_commands:
        register_all()
    runner = CliRunner()

    def run(*words: str) -> Any:
        return runner.invoke(app, list(words))

    return run


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An invented house whose now is fixed, as the commands open it."""
    path = tmp_path_factory.mktemp("shell") / "house"
    made = lived(path, demo=True)
    made.close()
    text_ = (path / "house.toml").read_text(encoding="utf-8")
    (path / "house.toml").write_text(text_ + f'demo_now = "{TODAY.isoformat()}"\n', encoding="utf-8")
    return path


def test_today_on_the_console_as_json_pdf_and_csv(shell: Any, folder: Path, tmp_path: Path) -> None:
    house = ("--house", str(folder))
    said = shell("today", *house)
    assert said.exit_code == 0, said.output
    assert "WHAT IS DUE" in said.stdout
    assert "Invented house, edition not read" in said.stdout
    out, table = tmp_path / "t.pdf", tmp_path / "y.csv"
    answer = shell("today", *house, "--json", "-o", str(out), "--yields", str(table))
    jsonschema.validate(json.loads(answer.stdout), schema("today-1"))
    assert out.read_bytes().startswith(b"%PDF")
    assert table.read_text(encoding="utf-8").startswith("lot,product,in_kg")


def test_forecast_on_the_console_and_as_json(shell: Any, folder: Path) -> None:
    said = shell("forecast", "AL-0310", "--house", str(folder))
    assert said.exit_code == 0, said.output
    assert "AL-0310 is at 35 % around" in said.stdout
    answer = json.loads(shell("forecast", "AL-0310", "--house", str(folder), "--json").stdout)
    jsonschema.validate(answer, schema("forecast-1"))
    assert answer["lot"] == "AL-0310"
    assert answer["targets"]["weight_loss_pct"]["mean_p50"] is not None


def test_judge_ends_with_1_while_something_is_not_shown(shell: Any, folder: Path) -> None:
    said = shell("judge", "AL-0310", "--house", str(folder))
    assert said.exit_code == 1
    assert "degree_hours.us: met" in said.stdout
    assert "Saltloft does not decide whether this may be eaten or sold" in said.stdout
    answer = json.loads(shell("judge", "AL-0310", "--house", str(folder), "--json").stdout)
    assert answer["releasable"] is False
    assert answer["open"]


def test_the_dossier_is_written_and_wrong_names_are_refused(shell: Any, folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "AL-0310.pdf"
    said = shell("dossier", "AL-0310", "-o", str(out), "--house", str(folder))
    assert said.exit_code == 0, said.output
    assert len(PdfReader(out).pages) >= 3
    ham = shell("dossier", "OK-0316", "-o", str(tmp_path / "ham.pdf"), "--house", str(folder))
    assert ham.exit_code == 0, ham.output
    wrong = shell("forecast", "AL-0311", "--house", str(folder))
    assert "AL-0310" in str(wrong.exception)
    day = shell("today", "--date", "31.3.2026", "--house", str(folder))
    assert "such as 2026-11-03" in day.stderr


@pytest.mark.parametrize("day", ["nonsense", "2026-13-45", "1800-01-01", "0001-01-01", "9999-12-31"])
def test_a_day_that_cannot_be_is_wrong_use(shell: Any, folder: Path, day: str) -> None:
    """A day far ahead is refused too: nothing of its sheet would rest on a reading."""
    said = shell("today", "--date", day, "--house", str(folder))
    assert said.exit_code == 2
    assert day in said.stderr
    at = shell("judge", "AL-0310", "--at", day, "--house", str(folder))
    assert at.exit_code == 2
    assert "allowed" in at.stderr


def test_an_unknown_market_is_refused(shell: Any, folder: Path) -> None:
    said = shell("judge", "AL-0310", "--market", "mars", "--house", str(folder))
    assert said.exit_code == 1
    assert isinstance(said.exception, SaltloftError)
    assert "us" in said.exception.allowed


@pytest.mark.parametrize("command", [("today",), ("dossier", "AL-0310")])
def test_a_paper_that_cannot_be_written_is_refused(
    shell: Any, folder: Path, tmp_path: Path, command: tuple[str, ...]
) -> None:
    for place in (tmp_path, tmp_path / "no" / "such" / "x.pdf"):
        said = shell(*command, "-o", str(place), "--house", str(folder))
        assert said.exit_code == 1
        assert isinstance(said.exception, SaltloftError)
        assert str(place) in said.exception.message
