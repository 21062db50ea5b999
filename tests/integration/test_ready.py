"""From records to a day to promise and the chain to the door, through the public jobs."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from unittest import mock

import jsonschema
import pytest
from tests.living_house import DAY, MADE_AT, TODAY, at_the_time, begin, lived, log_rooms, weigh

from saltloft.cases.kept_outlook import from_bytes, to_bytes
from saltloft.cli.main import main
from saltloft.foundation.errors import InputError
from saltloft.house import House
from saltloft.jobs import forecast, judge, queue, ready
from saltloft.plant.answers import LotOutlook
from saltloft.plant.readings import PressedAndCut
from saltloft.plant.ready import LotReady
from saltloft.plant.ready_plan import ReadyPlanned
from saltloft.plant.ready_words import dispatch_words, promise_words
from saltloft.process.result import DAY_CHANCES


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    return lived(tmp_path_factory.mktemp("ready") / "house")


@pytest.fixture(scope="module")
def outlook(house: House) -> LotOutlook:
    return forecast.forecast(house, "AL-0310")


def found(house: House, outlook: LotOutlook, sure: float | None = None) -> LotReady:
    return ready.ready(house, "AL-0310", outlook, judge.judge(house, "AL-0310"), sure=sure)


def test_the_kept_chances_are_the_forecasts_own_quantiles(outlook: LotOutlook) -> None:
    """The kept days rise, agree with the printed 5, 50 and 95 per cent, and survive being kept."""
    for target in outlook.result.targets.values():
        for name, band in (("mean", target.mean), ("0.9", target.share_of_pieces["0.9"])):
            days = target.chances[name]
            known = [day for day in days if day is not None]
            assert known == sorted(known)
            for chance, end in ((0.05, band.p05), (0.5, band.p50), (0.95, band.p95)):
                kept = days[DAY_CHANCES.index(chance)]
                if end is not None and kept is not None:
                    assert kept == pytest.approx(end, abs=0.02)
    again = from_bytes(to_bytes(outlook))
    assert again.result.targets["weight_loss_pct"] == outlook.result.targets["weight_loss_pct"]


def test_the_limit_of_a_name_and_a_planned_water_activity_are_targets(tmp_path: Path) -> None:
    """Genoa's 2.3 (facts row) stands beside the curer's loss; the house adds a core of 0.90 and 40 days."""
    made = begin(tmp_path / "house", now=MADE_AT + 9 * DAY)
    log_rooms(made, until=MADE_AT + 9 * DAY)
    before = forecast.forecast(made, "AL-0310")
    assert set(before.result.targets) == {"weight_loss_pct", "moisture_protein"}
    queue.notice(made, TODAY)
    plan = ReadyPlanned(
        "alder", Decimal("0.90"), "core", least_days=40, least_days_why="house plan", wash_days=Decimal(0)
    )
    at_the_time(made, plan, at=MADE_AT + 8 * DAY)
    queue.notice(made, TODAY)
    assert queue.open_for(made, queue.FORECAST, "AL-0310")
    after = forecast.forecast(made, "AL-0310")
    assert after.key != before.key
    assert set(after.result.targets) == {"weight_loss_pct", "moisture_protein", "water_activity_core"}
    assert after.target_name == "weight_loss_pct"
    core, loss = (after.result.targets[name].mean.p50 for name in ("water_activity_core", "weight_loss_pct"))
    assert core is not None
    assert loss is not None
    told = found(made, after)
    assert told.plan_stated
    assert told.dispatch is not None
    least = next(one for one in told.dispatch.conditions if one.name == "least_days")
    assert least.day == (MADE_AT + 40 * DAY).date()
    assert [step.name for step in told.dispatch.steps] == ["dry", "pack"]


def test_a_promise_is_later_the_surer_it_is(house: House, outlook: LotOutlook) -> None:
    even, usual, surer = (found(house, outlook, sure) for sure in (0.5, None, 0.95))
    days = [one.promises["weight_loss_pct"][0].day for one in (even, usual, surer)]
    assert all(day is not None for day in days)
    assert days == sorted(days)  # type: ignore[type-var]
    mean = outlook.result.targets["weight_loss_pct"].mean
    assert days[0] == pytest.approx(mean.p50, abs=0.02)
    assert days[2] == pytest.approx(mean.p95, abs=0.02)
    assert usual.sure == 0.9
    mean_day, most_day = (one.day for one in usual.promises["weight_loss_pct"])
    assert mean_day is not None
    assert most_day is not None
    assert most_day > mean_day
    assert promise_words(usual, outlook).startswith("9 in 10 sure: the lot's mean is at 35 % by ")
    with pytest.raises(InputError, match="so sure"):
        found(house, outlook, 1.0)


def test_a_day_is_priced_by_the_forecasts_own_rate(house: House, outlook: LotOutlook) -> None:
    """Nine times in ten the lot is over its target already: a day costs most of a day's loss.

    It is a mean over the lot's doubt, so it lies below the fast end of the computed rate.
    """
    told = found(house, outlook)
    day = told.promises["weight_loss_pct"][0].day
    assert day is not None
    assert told.day_late is not None
    rates, at = outlook.result.bands["loss_rate_pct_d"], abs(outlook.result.time_d - day).argmin()
    assert 0.6 * float(rates.mean_p50[at]) < told.day_late.points < float(rates.mean_p95[at])
    assert told.day_late.mg == round(told.day_late.points * 1280e6 / 100)
    assert told.day_late.money == round(told.day_late.mg * 1240 / 1e6)


def test_nothing_shows_these_hazards_so_no_dispatch_day_is_named(house: House, outlook: LotOutlook) -> None:
    """The small house has no document for what this version does not judge; the rest stands beside."""
    told = found(house, outlook)
    assert told.dispatch is not None
    assert (told.dispatch.day, told.dispatch.decides) == (None, ("shown",))
    assert isinstance(told.dispatch.without, date)
    assert dispatch_words(told).startswith("No dispatch day can be named: shown has none yet.")


def test_by_set_points_only_nothing_is_promised(tmp_path: Path) -> None:
    """Neither without any weighing nor with one: the room's log is missing."""
    made = begin(tmp_path / "house", now=MADE_AT + 9 * DAY)
    bare = found(made, forecast.forecast(made, "AL-0310"))
    weigh(made, 0.05)
    weigh(made, 7.0)
    weighed = found(made, forecast.forecast(made, "AL-0310"))
    for told in (bare, weighed):
        assert told.no_promise == "set_points_only"
        assert told.promises == {}
        assert told.dispatch is not None
        assert told.dispatch.day is None


def test_the_command_says_it_in_words_and_in_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The answer of `forecast --json` gains promise, dispatch and hand, and keeps what it had."""
    made = lived(tmp_path / "house", demo=True)
    cut = PressedAndCut("AL-0310", (3, 3, 4), Decimal("1.5"), 0, 0, 0, ring=1, colour="even")
    at_the_time(made, cut, at=TODAY - timedelta(hours=2), person="maren")
    made.close()
    text = (tmp_path / "house" / "house.toml").read_text()
    (tmp_path / "house" / "house.toml").write_text(f'{text}demo_now = "{TODAY.isoformat()}"\n')

    def run(*more: str) -> str:
        words = ["saltloft", "forecast", "AL-0310", "--house", str(tmp_path / "house"), *more]
        with mock.patch("sys.argv", words), pytest.raises(SystemExit) as left:
            main()
        assert left.value.code in (0, None)
        return capsys.readouterr().out

    said = run("--sure", "0.8")
    assert "8 in 10 sure: the lot's mean is at 35 % by" in said
    assert "Pressed 3.3. Too few cuts came before it" in said
    answer = json.loads(run("--json"))
    schema = json.loads((Path(__file__).parents[2] / "docs" / "schemas" / "forecast-1.json").read_text())
    jsonschema.validate(answer, schema)
    assert answer["schema"] == "forecast/1"
    assert answer["promise"]["sure"] == 0.9
    assert len(answer["promise"]["chances_at"]) == 39
    mean = answer["promise"]["targets"]["weight_loss_pct"]["mean"]
    assert date.fromisoformat(mean["date"]) >= (MADE_AT + timedelta(days=mean["day"] - 1)).date()
    assert answer["promise"]["day_late"]["money"].count(".") == 1
    assert answer["dispatch"]["decides"] == ["shown"]
    assert answer["hand"]["press"]["last"]["said"] == pytest.approx(10 / 3)
    assert answer["hand"]["press"]["learned_words"] == "Not learned yet: 1 of 15 cuts, 1 of 4 lots."
    assert answer["hand"]["case_hardening"]["skill_shown"] is False


def test_the_house_sets_how_sure_it_promises(tmp_path: Path) -> None:
    """promise_sure_pct in house.toml; the risk is never hidden."""
    made = begin(tmp_path / "house", now=MADE_AT + 9 * DAY)
    made.close()
    path = tmp_path / "house" / "house.toml"
    path.write_text(path.read_text() + "promise_sure_pct = 95\n")
    with House.open(tmp_path / "house", clock=lambda: MADE_AT + 9 * DAY, environment={}) as again:
        assert again.promise_sure == 0.95
    path.write_text(path.read_text().replace("= 95", "= 100"))
    with (
        House.open(tmp_path / "house", clock=lambda: MADE_AT + 9 * DAY, environment={}) as again,
        pytest.raises(InputError, match="promise_sure_pct"),
    ):
        _ = again.promise_sure


def test_a_later_press_takes_a_good_back(tmp_path: Path) -> None:
    made = begin(tmp_path / "house", now=MADE_AT + 9 * DAY)
    good = PressedAndCut("AL-0310", (4, 4, 4), good=1)
    at_the_time(made, good, at=MADE_AT + 8 * DAY, person="maren")
    at_the_time(made, replace(good, good=0), at=MADE_AT + 8 * DAY + timedelta(hours=5), person="maren")
    told = found(made, forecast.forecast(made, "AL-0310"))
    assert told.dispatch is not None
    condition = next(one for one in told.dispatch.conditions if one.name == "good")
    assert (condition.state, condition.reason) == ("open", "not_yet")
