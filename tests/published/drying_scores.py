"""How far the drying model lies from every published row it can be held against, study by study.

`python -m tests.published.drying_scores` writes the table of docs/models/drying-scores.md.
A *fit* is a row that the model's numbers were chosen on; a *prediction* was not used for any
choice. What a source does not say (calibre, RH, air) is guessed and named in the table.
"""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import jn_zeros
from tests.drying_cases import central_draws, engine_case, parameters, piece, stage, standard_forecast

from saltloft.process.drying.integrate import integrate
from saltloft.process.drying.nodes import radau_nodes
from saltloft.process.drying.outputs import states_of
from saltloft.process.piece import Piece
from saltloft.process.programme import DAY_S, Programme, Span, Stage
from saltloft.process.simulate import NODES
from saltloft.science.composition import Composition, close
from saltloft.science.water_activity import Halsey, equilibrium_water, of_mixture

Array = NDArray[np.float64]

TABLES = Path(__file__).parent / "tables"
RULE = radau_nodes(NODES)
FIT, PREDICTION = "fit", "prediction"


@dataclass(frozen=True)
class Score:
    """One row: what was published, what the model says under the conditions named."""

    study: str
    what: str
    conditions: str
    kind: str
    published: str
    computed: float
    digits: int
    unit: str
    error: str


@lru_cache(maxsize=4)
def rows(name: str) -> tuple[dict[str, str], ...]:
    """The rows of one of our copied tables."""
    with (TABLES / f"{name}.csv").open(encoding="utf-8") as file:
        return tuple(csv.DictReader(file))


def observed(study: str, quantity: str, day: str | None = None) -> float:
    """One printed number of drying_observations.csv."""
    found = [
        row["value"]
        for row in rows("drying_observations")
        if row["study"] == study and row["quantity"] == quantity and (day is None or row["time_d"] == day)
    ]
    return float(found[0])


def other(study: str, what: str) -> str:
    """One printed value of drying_other.csv."""
    return next(row["value"] for row in rows("drying_other") if (row["study"], row["what"]) == (study, what))


@dataclass(frozen=True)
class Course:
    """The central piece over time, arrays (days,); loss and moisture in %."""

    loss: Array
    moisture: Array
    ratio: Array
    mean: Array
    temperature_c: Array
    salt_rim: float
    salt_core: float


def course(what: Piece, stages: tuple[Stage, ...], days: Array) -> Course:
    """The piece with every parameter at its median, in air known at the piece."""
    members, blocks = engine_case(what, Programme(stages), central_draws(len(stages)), float(days[-1]))
    profiles = integrate(members, RULE, blocks, DAY_S * days)
    states = states_of(members, RULE, blocks, DAY_S * days, profiles)
    solids = 1.0 / members.green_mass[0]
    batter = _batter(what)
    loss, water = states.weight_loss[:, 0], states.water[:, 0]
    last = (profiles.water[-1, :, 0], profiles.salt[-1, :, 0])
    fat_free = last[1] / (1.0 + last[0] + last[1])
    return Course(
        loss=100.0 * loss,
        moisture=100.0 * water * solids / (1.0 - loss),
        ratio=water * solids / float(np.asarray(batter.protein).flat[0]),
        mean=states.water_activity_mean[:, 0],
        temperature_c=states.temperature_c[:, 0],
        salt_rim=100.0 * float(fat_free[-1]),
        salt_core=100.0 * float(RULE.axis @ fat_free),
    )


def _batter(what: Piece) -> Composition:
    from saltloft.process.build import batter_of

    return batter_of(what, parameters(), central_draws(1))


@dataclass(frozen=True)
class Study:
    """What the rows of one study share."""

    name: str
    where: str
    kind: str
    digits: int
    unit: str

    def row(self, what: str, printed: float | str, computed: float) -> Score:
        """A row whose error is a difference, or where it lies in a printed range 'low-high'."""
        if isinstance(printed, float):
            shown, error = f"{printed:g}", f"{computed - printed:+.{self.digits}f}"
        else:
            low, high = (float(end) for end in printed.split("-"))
            gap = computed - high if computed > high else min(computed - low, 0.0)
            shown = f"{low:g} to {high:g}"
            error = "within" if gap == 0.0 else f"{gap:+.{self.digits}f} outside"
        return Score(self.name, what, self.where, self.kind, shown, computed, self.digits, self.unit, error)


def apparent_diffusivity(fat: float) -> float:
    """D as the 1977 paper fitted it: the fixed-cylinder series, its ultimate loss given."""
    days = np.array([0.0, 3.0, 6.0, 10.0, 15.0, 20.0, 28.0])
    members, blocks = engine_case(
        piece(55, fat=fat), Programme((stage(60.0, 12.0, 0.60, 0.3),)), central_draws(1)
    )
    profiles = integrate(members, RULE, blocks, DAY_S * days)
    loss = (members.water - np.einsum("n,tnm->tm", RULE.weight, profiles.water))[:, 0]
    rest = equilibrium_water(0.60, members.salt, members.solutes, members.brine, members.halsey)
    ultimate = float((members.water - rest)[0])
    roots = jn_zeros(0, 60)

    def apart(log_d: Array) -> Array:
        fourier = np.exp(log_d[0]) * DAY_S * days / 0.0275**2
        left = (4.0 / roots**2 * np.exp(-(roots**2) * fourier[:, None])).sum(axis=1)
        return np.asarray(ultimate * (1.0 - left) - loss)[1:]

    return float(np.exp(least_squares(apart, [np.log(6e-11)]).x[0]))


def palumbo() -> list[Score]:
    """Apparent diffusivities against fat, and their ratio."""
    where = "guessed: 55 mm, 12 °C, 60 %RH, 0.3 m/s"
    ours = {fat: apparent_diffusivity(fat / 100.0) for fat in (13.3, 17.4, 25.1)}
    of = Study("Palumbo1977", where, FIT, 1, "1e-11 m²/s")
    found = [
        of.row(
            f"apparent D at {fat} % fat",
            1e11 * float(other("Palumbo1977", f"apparent D at {fat} % fat")),
            1e11 * d,
        )
        for fat, d in ours.items()
    ]
    ratio = Study("Palumbo1977", where, FIT, 2, "1")
    return [*found, ratio.row("D at 25.1 % over D at 13.3 % fat", 0.82, ours[25.1] / ours[13.3])]


def harbin() -> list[Score]:
    """The control's loss, from its moisture, and all recipes' water activity from composition."""
    first = observed("Harbin2021", "moisture", "0")
    control = replace(piece(30, salt=0.026), fat=None, water=Span.of(first / 100.0))
    stages = (stage(1.0, 25.0, 0.45, 0.15), stage(6.0, 25.0, 0.775, 0.15))
    ours = course(control, stages, np.array([0.0, 1.0, 4.0, 7.0])).loss
    where = "guessed: 30 mm, 25 °C, 45 then 77.5 %RH, 0.15 m/s; salt 2.6 %"
    of = Study("Harbin2021", where, FIT, 1, "% of green weight")
    found = []
    for i, day in ((1, "1"), (2, "4"), (3, "7")):
        moisture = observed("Harbin2021", "moisture", day)
        loss = round(100.0 * (first - moisture) / (100.0 - moisture), 1)
        found.append(of.row(f"loss on day {day} (from moisture)", loss, float(ours[i])))
    misses = harbin_activity_misses()
    of = Study("Harbin2021", "composition as printed, salt 2.6 %, prior medians", FIT, 3, "a_w")
    rms = float(np.sqrt(np.mean(np.square(misses))))
    found.append(of.row("a_w of 20 compositions: root mean square error", 0.0, rms))
    found.append(of.row("a_w of 20 compositions: mean error", 0.0, float(np.mean(misses))))
    return found


def harbin_activity_misses() -> Array:
    """Computed less printed water activity of the 20 pairs."""
    p, misses = parameters(), []
    halsey = Halsey(p.halsey_scale.median, p.halsey_power.median)
    study = [row for row in rows("drying_observations") if row["study"] == "Harbin2021"]
    for product in sorted({row["product"] for row in study}):
        own = {
            (row["quantity"], row["time_d"]): float(row["value"])
            for row in study
            if row["product"] == product
        }
        batter = close(p.lean, p.fat_trim, salt=0.026, other=0.01, water=own["moisture", "0"] / 100.0)
        solutes = (p.native_solutes * batter.protein + p.further_solutes) / batter.solids
        for day in ("0", "1", "4", "7"):
            part = own["moisture", day] / 100.0
            water = (batter.water - (batter.water - part) / (1.0 - part)) / batter.solids
            expected = of_mixture(water, batter.salt_per_solids, solutes, p.brine, halsey)
            misses.append(float(expected) - own["aw", day])
    return np.array(misses)


LOSS = "% of green weight"


def chosen_on() -> list[Score]:
    """The home piece, étuvage and the salt layers: rows that numbers were chosen on."""
    home = course(piece(45), (stage(14.0, 15.0, 0.575, 0.15),), np.array([0.0, 7.0, 14.0])).loss
    of = Study("HomeMaker2009", "guessed: 45 mm, 15 °C, 57.5 %RH, 0.15 m/s", FIT, 1, LOSS)
    found = [
        of.row(f"loss on day {day}", observed("HomeMaker2009", "weight loss", day), float(home[i]))
        for i, day in ((1, "7"), (2, "14"))
    ]
    warm = course(piece(50), (stage(2.0, 23.5, 0.715, 0.25),), np.array([0.0, 2.0])).loss
    of = Study("FrenchTeaching", "23.5 °C, 71.5 %RH; guessed 50 mm, 0.25 m/s", FIT, 1, LOSS)
    found.append(
        of.row("loss after 48 h of étuvage", observed("FrenchTeaching", "weight loss"), float(warm[1]))
    )
    air = (stage(2.5, 22.0, 0.92, 0.3), stage(48.0, 14.0, 0.78, 0.15))
    layers = course(piece(60), air, np.array([0.0, 50.0]))
    of = Study("HMP2010-11", "guessed: 60 mm, standard programme, day 50", FIT, 1, "% of fat-free mass")
    printed = other("HMP2010-11", "salt of the driest and the wettest layer over 50 d")
    return [
        *found,
        of.row("salt of the rim", printed, layers.salt_rim),
        of.row("salt of the core", printed, layers.salt_core),
    ]


def not_chosen_on() -> list[Score]:
    """Cooling, the guide's air, mould, half a year: nothing was chosen on these."""
    cold = course(piece(90, fat=0.15), (stage(5.0, 16.08, 0.75, 0.3),), np.array([0.0, 2.0])).temperature_c
    of = Study("HFBFT2004", "90 mm, 85/15, room 16.08 °C; RH guessed 75 %", PREDICTION, 2, "K")
    found = [
        of.row(
            "core less room on day 2",
            observed("HFBFT2004", "core minus room temperature"),
            float(cold[1]) - 16.08,
        )
    ]
    guide = (stage(5.0, 20.0, 0.92, 0.3), stage(10.0, 16.0, 0.90, 0.15), stage(45.0, 14.0, 0.85, 0.15))
    loss = course(piece(50), guide, np.array([0.0, 35.0])).loss
    of = Study("DE-ORG", "92 falling to 85 %RH, 20 to 14 °C; guessed 50 mm, day 35", PREDICTION, 1, LOSS)
    found.append(of.row("loss in the guide's air", "20-35", float(loss[1])))
    falling = (stage(10.0, 18.0, 0.78, 0.15), stage(10.0, 18.0, 0.70, 0.15), stage(10.0, 18.0, 0.62, 0.15))
    moisture = [
        course(replace(piece(55), mould=mould), falling, np.array([0.0, 30.0])).moisture[1]
        for mould in (True, False)
    ]
    of = Study("BrazilPN2000", "18 °C, 78 to 62 %RH; guessed 55 mm, day 30", PREDICTION, 1, "% points")
    found.append(of.row("moisture with mould less without", 0.0, float(moisture[0] - moisture[1])))
    kulen = course(piece(90, fat=0.18), (stage(180.0, 13.0, 0.76, 0.15),), np.array([0.0, 180.0])).loss
    of = Study("KulenBrochure2014", "guessed: 90 mm, 18 % fat, 13 °C, 76 %RH", PREDICTION, 0, LOSS)
    found.append(
        of.row("loss in half a year, about", observed("KulenBrochure2014", "weight loss"), float(kulen[1]))
    )
    return found


def ranges() -> list[Score]:
    """Published ranges of products on the standard programme; where it is silent, guessed."""
    days = np.arange(0.0, 61.0)
    air = (stage(2.5, 22.0, 0.92, 0.3), stage(60.0, 14.0, 0.78, 0.15))
    by = {mm: course(piece(mm), air, days) for mm in (50, 65)}
    table: list[tuple[str, str, int, int, str, float | str, int, str]] = [
        ("HMP2010-T22.2", "a_w, Italian, 28 to 119 d", 65, 60, "mean", "0.82-0.92", 3, "a_w"),
        ("HMP2010-T22.2", "moisture, Italian, 28 to 119 d", 65, 45, "moisture", "35-47", 1, "%"),
        ("HMP2010-T22.2", "a_w, French, 42 to 84 d", 50, 42, "mean", "0.83-0.93", 3, "a_w"),
        ("HMP2010-T22.2", "a_w, Spanish, 21 to 112 d", 50, 45, "mean", "0.77-0.94", 3, "a_w"),
        ("HMP2010-T22.2", "moisture, Greek, 21 to 35 d", 50, 28, "moisture", "28-34", 1, "%"),
        ("Jung2015", "a_w on day 45", 50, 45, "mean", observed("Jung2015", "aw"), 3, "a_w"),
    ]
    found = []
    for study, what, mm, day, name, printed, digits, unit in table:
        of = Study(study, f"guessed: {mm} mm, standard programme, day {day}", PREDICTION, digits, unit)
        found.append(of.row(what, printed, float(getattr(by[mm], name)[day])))
    dry = float(np.interp(-29.0, -by[50].moisture, by[50].mean))
    of = Study("Fontana2005", "by composition: 28 % fat, 2.7 % salt of the batter", PREDICTION, 3, "a_w")
    return [*found, of.row("a_w at 28 to 30 % moisture", observed("Fontana2005", "aw"), dry)]


def finished() -> list[Score]:
    """Finished compositions, and legal days as a bound on the day of a legal ratio."""
    of = Study("USDA_SR", "by printed composition; bracket of HMP2010-T22.2", PREDICTION, 3, "a_w")
    names = {"07071": "hard salami, pork", "07072": "hard salami, pork and beef", "07057": "pepperoni"}
    found = [
        of.row(f"a_w of {name}", "0.77-0.94", finished_activity(code))
        for code, name in (*names.items(), ("07019", "chorizo"))
    ]
    days = np.arange(0.0, 61.0)
    for grams, words, mm in (("0.5-0.7", "0.5 to 0.7 kg", 55), ("1-2 kg single", "1 to 2 kg", 75)):
        legal = next(
            row["value"]
            for row in rows("drying_observations")
            if row["study"] == "VarziPDO" and grams in row["product"]
        )
        long = course(piece(mm), (stage(3.0, 20.0, 0.88, 0.2), stage(60.0, 13.0, 0.82, 0.15)), days)
        of = Study(
            "VarziPDO", f"guessed: {mm} mm, 13 °C, 82 %RH; the legal days are a bound", PREDICTION, 0, "d"
        )
        found.append(
            of.row(
                f"day of water:protein 1.9, {words}", f"0-{legal}", float(np.interp(-1.9, -long.ratio, days))
            )
        )
    return found


def finished_activity(code: str) -> float:
    """a_w computed from a printed finished composition; the printed sodium is taken as salt."""
    p = parameters()
    own = [row for row in rows("drying_observations") if row["study"] == "USDA_SR" and code in row["product"]]
    value = {row["quantity"]: float(row["value"]) / 100.0 for row in own}
    fat, salt = float(own[0]["fat_pct"]) / 100.0, value["NaCl from sodium"]
    solids = 1.0 - value["moisture"] - fat - salt
    # Solutes as of the batter: native ones by protein, the rest by the batter's own weight.
    solutes = (p.native_solutes * value["protein"] + p.further_solutes * value["protein"] / 0.145) / solids
    halsey = Halsey(p.halsey_scale.median, p.halsey_power.median)
    return float(of_mixture(value["moisture"] / solids, salt / solids, solutes, p.brine, halsey))


def practice() -> list[Score]:
    """Usual days by calibre: the medians of 400 pieces."""
    of = Study("Practice", "standard programme, 28 % fat; common practice, no source", FIT, 0, "d")
    found = []
    for mm in (32, 50, 65, 80, 95):
        day = standard_forecast(mm).targets["weight_loss_pct"].piece.p50
        printed = other("Practice", f"usual days to 35 % loss {mm} mm")
        found.append(of.row(f"days to 35 % loss, {mm} mm", printed, np.nan if day is None else day))
    return found


@lru_cache(maxsize=1)
def scores() -> tuple[Score, ...]:
    """All rows of the table."""
    fits = (*palumbo(), *harbin(), *chosen_on(), *practice())
    return (*fits, *not_chosen_on(), *ranges(), *finished())


def table() -> str:
    """The rows as the docs page prints them."""
    names = ("study", "what", "conditions", "kind", "published", "computed", "error", "unit")
    head = f"| {' | '.join(names)} |\n|{'---|' * len(names)}\n"
    lines = [
        f"| {s.study} | {s.what} | {s.conditions} | *{s.kind}* | {s.published} | {s.computed:.{s.digits}f} "
        f"| {s.error} | {s.unit} |"
        for s in scores()
    ]
    return head + "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.stdout.write(table())
