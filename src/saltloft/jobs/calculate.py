"""Answers a drying case: the forecast, and the JSON object that `saltloft dry` prints."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from saltloft import __version__
from saltloft.cases.answer_numbers import Json, fact_rows, number, series
from saltloft.cases.dry import DryCase, read_dry
from saltloft.cases.drying_parameters import KILL_KEYS, drying_parameters, kill_models
from saltloft.facts.loader import Facts, load_facts
from saltloft.foundation.bands import Band
from saltloft.process.ensemble import forecast
from saltloft.process.result import QUANTITIES, DryingForecast, Outlook, SeriesBand, TargetDay, Window
from saltloft.science.growth import ORGANISMS

BAND_NAMES = ("p05", "p50", "p95", "mean_p05", "mean_p50", "mean_p95")


@dataclass(frozen=True)
class Answered:
    """One drying case with its forecast.

    Args:
        case: DryCase.
        forecast: DryingForecast.
        wall_s: float. Seconds it took. [s]
    """

    case: DryCase
    forecast: DryingForecast
    wall_s: float


class DryingDesk:
    """Answers drying cases one after another; facts and code are loaded once.

    Args:
        facts: Facts.
        clock: function returning seconds, for `wall_s`. [s]
    """

    def __init__(self, facts: Facts, clock: Callable[[], float]) -> None:
        self.facts, self.clock = facts, clock
        self.parameters = drying_parameters(facts)
        self.kill = kill_models(facts)

    @classmethod
    def open(cls, clock: Callable[[], float]) -> DryingDesk:
        """A desk on the facts that ship with the program."""
        return cls(load_facts(), clock)

    def answer(self, path: Path) -> Answered:
        """Read and forecast one case file.

        Raises:
            SaltloftError: the file cannot be taken, or the case cannot be computed.
        """
        start = self.clock()
        case = read_dry(path, self.parameters)
        result = self.forecast(case)
        return Answered(case, result, self.clock() - start)

    def forecast(self, case: DryCase) -> DryingForecast:
        """The forecast of one case."""
        return forecast(
            case.piece,
            case.programme,
            self.parameters,
            targets=case.targets,
            weighings=case.weighings,
            measured=case.measured,
            members=case.members,
            seed=case.seed,
            kill=self.kill,
        )

    def as_json(self, answered: Answered) -> Json:
        """The answer `dry/1` as a dict ready for json.dumps."""
        return dry_answer(answered.case, answered.forecast, self.facts, answered.wall_s)


def _bands(band: SeriesBand | None, count: int) -> Json:
    if band is None:
        return {name: [None] * count for name in BAND_NAMES}
    return {name: series(getattr(band, name)) for name in BAND_NAMES}


def _days(band: Band) -> Json:
    return {name: number(day) for name, day in asdict(band).items()}


def _target(day: TargetDay) -> Json:
    mean = {f"mean_{name}": value for name, value in _days(day.mean).items()}
    kill = {}
    for organism in ORGANISMS:
        found = day.kill_log10.get(organism)
        kill[organism] = {
            "mean": number(found[0]) if found else None,
            "conservative": number(found[1]) if found else None,
        }
    return {
        **_days(day.piece),
        **mean,
        "share_reached": number(day.share_reached),
        "share_of_pieces": {share: _days(band) for share, band in day.share_of_pieces.items()},
        "composition": {name: number(part) for name, part in day.composition.items()},
        "kill_log10": kill,
    }


def _kill(result: DryingForecast) -> Json:
    nothing = [None] * len(result.time_d)
    answer: Json = {}
    for organism in ORGANISMS:
        found = result.kill_log10.get(organism)
        answer[organism] = {
            "mean": series(found[0]) if found else nothing,
            "conservative": series(found[1]) if found else nothing,
        }
    return answer


def _outlook(outlook: Outlook | None) -> Json | None:
    if outlook is None:
        return None
    count = len(outlook.time_d)

    def window(found: Window) -> Json:
        return {"hours": _days(found.hours), "share": number(found.share)}

    return {
        "time_d": series(outlook.time_d),
        "pace_pct_d": _bands(outlook.pace_pct_d, count),
        "core_minus_rim": _bands(outlook.core_minus_rim, count),
        "faster_than_core": series(outlook.faster_than_core),
        "shut_days": _days(outlook.shut_days),
        "mould_wanted": window(outlook.mould_wanted),
        "mould_unwanted": window(outlook.mould_unwanted),
    }


def dry_answer(case: DryCase, result: DryingForecast, facts: Facts, wall_s: float) -> Json:
    """The answer `dry/1`, field by field as its JSON Schema says.

    Args:
        case: DryCase.
        result: DryingForecast.
        facts: Facts.
        wall_s: float. Seconds the forecast took. [s]

    Returns:
        dict ready for json.dumps; per cent, millimetres and days from stuffing.
    """
    count = len(result.time_d)
    bands: Json = {name: _bands(result.bands.get(name), count) for name in QUANTITIES}
    return {
        "schema": "dry/1",
        "title": case.title,
        "time_d": series(result.time_d),
        "horizon_d": number(result.horizon_d),
        **bands,
        "targets": {name: _target(day) for name, day in result.targets.items()},
        "kill_log10": _kill(result),
        "outlook": _outlook(result.outlook),
        "flags": [
            {"code": flag.code, "at_d": number(flag.at_d), "share": number(flag.share), "words": flag.words}
            for flag in result.flags
        ],
        "facts": fact_rows((*result.facts, *KILL_KEYS), facts),
        "run": {
            "members": result.members,
            "seed": result.seed,
            "version": __version__,
            "wall_s": number(wall_s),
        },
    }
