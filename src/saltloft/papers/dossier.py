"""The lot's dossier: verdicts on the first page, then the curve, readings, recipe, checks and sources."""

from __future__ import annotations

import numpy as np

from saltloft.foundation.words import say, say_many
from saltloft.papers import dossier_tables
from saltloft.papers.chart_parts import svg
from saltloft.papers.chart_words import lot_curve_words, ready_days_words
from saltloft.papers.charts import lot_curve, ready_days
from saltloft.papers.page import Block, Grid, Lead, Mark, Marks, Notes, Picture, Sheet, Turn
from saltloft.papers.ready_tables import ready_blocks, ready_evidence
from saltloft.papers.section_picture import slices_picture
from saltloft.plant.answer_json import judge_json
from saltloft.plant.answers import HazardStand, LotJudgement
from saltloft.plant.checks.hazards import NOT_JUDGED
from saltloft.plant.checks.verdict import Verdict
from saltloft.plant.folder import LotFolder
from saltloft.plant.hand import HouseHand, hand_lines, learned_lines, skill_words
from saltloft.plant.ready import LotReady
from saltloft.plant.sentences import hazard_words, lot_sentence, number_words, outcome_word
from saltloft.plant.three_lines import good_words, pays_words, shown_words
from saltloft.plant.warning_trial import trial_words


def dossier(
    folder: LotFolder, *, ready: LotReady | None = None, hand: HouseHand | None = None, paper: str = "a4"
) -> Sheet:
    """Lay one lot out: what is shown first, then everything it rests on.

    Args:
        folder: LotFolder.
        ready: LotReady or None. When it could leave; None for what is no dry sausage.
        hand: HouseHand or None. What the house's presses and cuts taught; None before anything.
        paper: str. 'a4' or 'us-letter'.
    """
    blocks: tuple[Block, ...] = (
        Lead(lot_sentence(folder.record.lot, folder.outlook, folder.judgement, folder.next_step)),
        three_lines(folder),
        hazards(folder.judgement),
        _unconfirmed(folder),
        *_rules_of(folder.judgement),
        rules(say("What release needs besides"), list(folder.judgement.other)),
        Turn(),
        *_pictures(folder),
        *ready_blocks(ready, folder.outlook, folder.people),
        dossier_tables.documents(folder),
        dossier_tables.weighings(folder),
        dossier_tables.ph_sets(folder),
        dossier_tables.water_activities(folder),
        dossier_tables.analyses(folder),
        dossier_tables.diameters(folder),
        dossier_tables.pressed_and_cut(folder),
        *_hand(folder, hand),
        dossier_tables.rooms(folder),
        dossier_tables.holds(folder),
        dossier_tables.recipe(folder),
        dossier_tables.instruments(folder),
        dossier_tables.people(folder),
        dossier_tables.sources(folder),
        _forecast_rows(folder),
    )
    return Sheet(
        title=say("Lot dossier"),
        subject=folder.record.lot,
        house=folder.house,
        at=folder.at,
        blocks=blocks,
        evidence={
            **dossier_tables.evidence(folder, judge_json(folder.judgement)),
            "ready": ready_evidence(ready, folder.outlook),
        },
        evidence_name=f"{folder.record.lot}-evidence.json",
        paper=paper,
    )


def three_lines(folder: LotFolder) -> Marks:
    """Shown, good, pays: apart, in this order, on every paper of a lot."""
    return Marks(
        "",
        (
            Mark("", say("shown"), "", shown_words(folder.judgement, folder.outlook)),
            Mark("", say("good"), "", good_words(folder.record, folder.outlook)),
            Mark("", say("pays"), "", pays_words(folder.record, folder.product, folder.outlook)),
        ),
    )


def hazards(judgement: LotJudgement) -> Marks:
    """Every hazard of the product's plan with how it stands and why."""
    return Marks(
        say("Hazards of its plan"),
        tuple(_hazard_row(stand) for stand in judgement.hazards),
        say("This product has no safety plan yet: nothing can be shown."),
    )


def _hazard_row(stand: HazardStand) -> Mark:
    words = say("left out: {reason}", reason=stand.left_out_reason) if stand.left_out_reason else stand.words
    judged = [verdict for verdict in stand.verdicts if verdict.why != NOT_JUDGED]
    small = "; ".join(f"{verdict.rule}: {outcome_words(verdict)}" for verdict in judged)
    return Mark(stand.outcome.value, outcome_word(stand.outcome), hazard_words(stand.hazard), words, small)


def outcome_words(verdict: Verdict) -> str:
    """The outcome with its margin, or what is missing: never the bare word alone."""
    outcome = outcome_word(verdict.outcome)
    if verdict.margin is not None and verdict.limit is not None:
        decimals = 3 if abs(verdict.limit) < 10 else 0
        return say(
            "{outcome}, {used} of {limit} {unit}",
            outcome=outcome,
            used=number_words(verdict.limit - verdict.margin, decimals),
            limit=number_words(verdict.limit, decimals),
            unit=verdict.unit,
        ).rstrip()
    return f"{outcome} ({verdict.why})" if verdict.why else outcome


def _rules_of(judgement: LotJudgement) -> tuple[Block, ...]:
    """The judged rules, then what stands under other headings: name of the product, keeping without cold."""
    judged = [v for stand in judgement.hazards for v in stand.verdicts if v.why != NOT_JUDGED or v.used]
    headings = dict.fromkeys(verdict.hazard for verdict in judgement.names)
    under = [[verdict for verdict in judgement.names if verdict.hazard == name] for name in headings]
    return (
        rules(say("Every rule and its numbers"), judged),
        *(
            rules(name[0].upper() + name[1:], found, by_rule=True)
            for name, found in zip(headings, under, strict=True)
        ),
    )


def rules(title: str, verdicts: list[Verdict], *, by_rule: bool = False) -> Block:
    """Every rule with its numbers, gaps, confidence and what to do next."""
    rows = []
    for verdict in verdicts:
        gaps = say_many("{count} gap", "{count} gaps", len(verdict.gaps)) if verdict.gaps else ""
        small = [verdict.rule, verdict.confidence, gaps, ", ".join(verdict.sources), verdict.next]
        rows.append(
            Mark(
                verdict.outcome.value,
                outcome_word(verdict.outcome),
                rule_words(verdict.rule) if by_rule else hazard_words(verdict.hazard),
                verdict.words or verdict.why,
                " · ".join(part for part in small if part),
            )
        )
    return Marks(title, tuple(rows), say("No rule of this kind applies."))


def rule_words(rule: str) -> str:
    """A rule's key without its topic, with blanks: 'us dry' for 'shelf_stability.us_dry'."""
    return rule.partition(".")[2].replace("_", " ").replace(".", " ") or rule


def _unconfirmed(folder: LotFolder) -> Notes:
    """Rows no named person confirmed, in plain sight on the first page."""
    rows = [line for line in folder.sources if not line.confirmed]
    if not rows:
        return Notes("", (say("Every fact row a verdict used is confirmed; see Sources."),), boxed=True)
    count = say_many(
        "{count} fact row is unconfirmed: it gives an outcome and never a release.",
        "{count} fact rows are unconfirmed: they give outcomes and never a release.",
        len(rows),
    )
    return Notes("", (count, ", ".join(f"{line.key} ({line.confidence})" for line in rows)), boxed=True)


def _forecast_rows(folder: LotFolder) -> Notes:
    """The fact rows the forecast rested on, by key; the forecast judges nothing."""
    keys = folder.outlook.result.facts if folder.outlook is not None else ()
    words = ", ".join(keys) if keys else say("No forecast.")
    return Notes(say("Fact rows of the forecast"), (words,))


def _pictures(folder: LotFolder) -> tuple[Block, ...]:
    outlook = folder.outlook
    if outlook is None:
        return (Notes(say("Forecast"), (say("Not computed yet."),)),)
    basis = say(
        "Forecast of {asof}: prior {prior}, model {model}, {members} members, seed {seed}. {flags}",
        asof=outlook.asof.isoformat(timespec="minutes"),
        prior=outlook.prior,
        model=outlook.model,
        members=outlook.result.members,
        seed=outlook.result.seed,
        flags="; ".join(flag.words.rstrip(".") for flag in outlook.result.flags),
    )
    return (
        Picture(svg(lot_curve(outlook)), lot_curve_words(outlook), lot_curve_words(outlook)),
        Picture(svg(ready_days(outlook)), ready_days_words(outlook), ready_days_words(outlook)),
        *([inside] if (inside := slices_picture(outlook, folder.product)) else []),
        Notes("", (basis.rstrip(),)),
        measured_against(folder),
    )


def _hand(folder: LotFolder, hand: HouseHand | None) -> tuple[Block, ...]:
    """The curer's hand beside the numbers, with what is claimed and what is not."""
    if hand is None or not folder.record.pressed_and_cut:
        return ()
    words = {"look": say("look"), "ready": say("fits"), "waiting": say("information")}
    rows = tuple(Mark(mark, words[mark], "", line) for mark, line in hand_lines(hand, folder.record.lot))
    claims = (*learned_lines(hand), skill_words(hand.skill), trial_words())
    return (Marks(say("Hand against number"), rows, say("Nothing learned yet.")), Notes("", claims))


def measured_against(folder: LotFolder) -> Grid:
    """The chart as a table: each weighing beside what was computed for that day."""
    outlook = folder.outlook
    if outlook is None:
        return Grid(say("Measured and computed"), (), ())
    times, band = outlook.result.time_d, outlook.result.bands["weight_loss_pct"]
    rows = []
    for point in outlook.weighings:
        low, middle, high = (
            float(np.interp(point.day, times, curve)) for curve in (band.p05, band.mean_p50, band.p95)
        )
        day = f"{point.day - outlook.hang_offset_d:.0f}"
        rows.append((day, str(point.pieces), f"{point.value:.1f}", f"{middle:.0f} ({low:.0f} – {high:.0f})"))
    columns = (say("day"), say("pieces"), say("loss %, measured"), say("computed, pieces"))
    return Grid(
        say("Measured and computed"), columns, tuple(rows), right=(0, 1, 2, 3), empty=say("No weighing yet.")
    )
