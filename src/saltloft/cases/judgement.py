"""What was measured on one lot held against every rule that speaks to it: the judgement of a moment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache

from saltloft.cases.batter import Batter, batter_of
from saltloft.cases.lot_air import Stay, stays_of
from saltloft.cases.open_house import OpenHouse, known_at
from saltloft.cases.room_history import joined, nothing_read, temperature_traces
from saltloft.cases.rules import degree_hours_rules, name_limits, shelf_ways
from saltloft.facts.loader import Facts
from saltloft.foundation.words import say
from saltloft.plant.answers import LotJudgement
from saltloft.plant.checks.degree_hours import judge_degree_hours
from saltloft.plant.checks.degree_hours_count import EndingPlan, ending_set
from saltloft.plant.checks.hazards import hazard_stands, ingoing_nitrite
from saltloft.plant.checks.moisture_protein import Analysis, judge_name
from saltloft.plant.checks.release import InstrumentState, OpenHold, judge_release
from saltloft.plant.checks.shelf_stability import SAMPLES_THAT_SHOW, Finished, judge_shelf
from saltloft.plant.checks.trace import PhSet, TemperatureTrace
from saltloft.plant.checks.verdict import Outcome, Verdict
from saltloft.plant.checks.worst import worst_of
from saltloft.plant.house_record import InstrumentRecord
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.readings import DocumentRecorded
from saltloft.plant.recipes import ProductDefined
from saltloft.plant.sentences import moment_words
from saltloft.plant.stated import Stated

# Markets with a degree-hours rule of their own; elsewhere both are held against the lot as routes.
COUNTING_MARKETS = ("us", "ca")
# Samples that stand for the composition of the whole piece.
ACROSS_THE_PIECE = ("ground", "slice")


@dataclass(frozen=True)
class Ground:
    """What all judgements of one moment share.

    Args:
        at: datetime, aware.
        known: datetime or None. What the store is asked for, from `known_at`.
        markets: tuple of str. Those the house sells in.
        confirmed: frozenset of str. Fact keys that count as confirmed.
        documents: tuple of Stated of DocumentRecorded.
        instruments: mapping of instrument to InstrumentRecord.
    """

    at: datetime
    known: datetime | None
    markets: tuple[str, ...]
    confirmed: frozenset[str]
    documents: tuple[Stated[DocumentRecorded], ...]
    instruments: Mapping[str, InstrumentRecord]


def ground_of(house: OpenHouse, at: datetime) -> Ground:
    """Gather what every judgement of a moment needs once.

    Args:
        house: OpenHouse.
        at: datetime, aware. Only what was recorded by then counts.
    """
    known = known_at(house, at)
    return Ground(
        at=at,
        known=known,
        markets=house.store.house().payload.markets,
        confirmed=confirmed_keys(house, at),
        documents=tuple(house.store.documents.all(known)),
        instruments={record.instrument: record for record in house.store.instruments.all(known)},
    )


def confirmed_keys(house: OpenHouse, at: datetime) -> frozenset[str]:
    """Fact keys confirmed by their source, or by a person of the house for the row as it stands.

    A demo confirmation counts in the invented house only; a row that changed since needs a new one.

    Args:
        house: OpenHouse.
        at: datetime, aware.
    """
    found = set(_by_source(house.facts))
    for item in house.store.confirmations.all(known_at(house, at)):
        said = item.payload
        counts = house.demo or not said.demo
        if counts and said.digest == _digest(house.facts, said.fact):
            found.add(said.fact)
    return frozenset(found)


@lru_cache(maxsize=4)
def _by_source(facts: Facts) -> frozenset[str]:
    return frozenset(key for key in facts.keys("") if facts.confirmed_by_source(key))


@lru_cache(maxsize=4096)
def _digest(facts: Facts, key: str) -> str:
    """Digest of a row as it stands; '' when this version has no such row."""
    return facts.digest(key) if key in facts.keys(key) else ""


def judge_lot(
    house: OpenHouse, lot: str, at: datetime, *, market: str = "", ground: Ground | None = None
) -> LotJudgement:
    """Hold one lot against every rule that speaks to it.

    Args:
        house: OpenHouse.
        lot: str.
        at: datetime, aware. Only what was recorded by then counts.
        market: str. 'us', 'ca', 'eu' or 'home'; empty: every market of the house.
        ground: Ground or None. Shared by several judgements of the same moment.

    Raises:
        UnknownName: no such lot or product.
    """
    base = ground or ground_of(house, at)
    record = house.store.lots.get(lot, base.known)
    product = product_of(house, record, at)
    recipe = house.store.recipes.find(record.recipe, base.known) if record.recipe else None
    batters = [
        batter_of(one, recipe.defined.payload, house.facts) if recipe else None
        for one in record.stuffings or (record,)
    ]
    asked = _Asked(house, record, product, base, market, _ph_sets(record, base), batters[0])
    counts, ended = _counted(asked)
    made_on = record.made_at.astimezone(house.zone).date()
    stands = hazard_stands(
        product,
        [*counts, *worst_of([(record.lot, _nitrite(batter)) for batter in batters])],
        base.documents,
        lot=lot,
        made_on=made_on,
        demo_house=house.demo,
    )
    holds = [(hold.held.entry_id, hold.held.payload) for hold in record.open_holds]
    return judge_release(
        lot,
        at,
        stands,
        names=_names(asked, _finished(asked, counts, ended)),
        holds=[OpenHold(entry, held.reason, held.until) for entry, held in holds],
        instruments=_instrument_states(asked),
    )


@dataclass(frozen=True)
class _Asked:
    """One lot at one moment with what was measured on it."""

    house: OpenHouse
    record: LotRecord
    product: ProductDefined
    ground: Ground
    market: str
    sets: tuple[PhSet, ...]
    batter: Batter | None

    @property
    def plan(self) -> EndingPlan:
        plan = self.product.plan
        return EndingPlan(plan.core_readings, float(plan.ph_guard), plan.longest_gap_minutes * 60.0)


def product_of(house: OpenHouse, record: LotRecord, at: datetime) -> ProductDefined:
    """The product's definition in force when the lot was made.

    Raises:
        UnknownName: no such product.
    """
    known = house.store.products.get(record.product, known_at(house, at))
    before = [
        item
        for item in known.history
        if isinstance(item.payload, ProductDefined) and not item.struck and item.at <= record.made_at
    ]
    payload = before[-1].payload if before else known.defined.payload
    assert isinstance(payload, ProductDefined)
    return payload


def _ph_sets(record: LotRecord, ground: Ground) -> tuple[PhSet, ...]:
    return tuple(
        PhSet(
            at_s=item.at.timestamp(),
            values=tuple(float(value) for value in item.payload.values),
            where=item.payload.where,
            instrument=item.payload.instrument,
            in_check=in_check(ground, item.payload.instrument, item.at),
            entry_id=item.entry_id,
        )
        for item in record.ph_sets
    )


def in_check(ground: Ground, instrument: str, at: datetime) -> bool:
    """Whether a reading with an instrument at a moment may count; an unknown one never does."""
    known = ground.instruments.get(instrument)
    return known is not None and known.in_check_at(at)


def _counted(asked: _Asked) -> tuple[tuple[Verdict, ...], PhSet | None]:
    """The degree-hours of a lot; of one merged of several stuffings, the worst of them by each rule."""
    stuffings = asked.record.stuffings
    if not stuffings:
        return _degree_hours(asked)
    each = [
        (one.lot, _degree_hours(replace(asked, record=one, sets=_ph_sets(one, asked.ground))))
        for one in stuffings
    ]
    ends = [ended for _, (_, ended) in each]
    known = [one for one in ends if one is not None]
    last = max(known, key=lambda one: one.at_s) if known and len(known) == len(ends) else None
    return tuple(worst_of([(lot, verdicts) for lot, (verdicts, _) in each])), last


def _degree_hours(asked: _Asked) -> tuple[tuple[Verdict, ...], PhSet | None]:
    """The degree-hours verdicts, and the core set that ended the last count."""
    record, ground = asked.record, asked.ground
    if record.family != "dry_sausage" or record.hung_at is None:
        return (), None
    markets = (asked.market,) if asked.market in COUNTING_MARKETS else COUNTING_MARKETS
    rules = degree_hours_rules(asked.house.facts, markets)
    start_s, at_s = record.hung_at.timestamp(), ground.at.timestamp()
    known = [one for one in asked.sets if one.at_s <= at_s]
    # Nothing after the end of every count is asked for, so nothing after it is read.
    ends = [ending_set(known, rule, asked.plan, start_s) for rule in rules]
    ended = [one for one in ends if one is not None]
    until_s = max(one.at_s for one in ended) if ended and len(ended) == len(ends) else at_s
    first, second = _traces(asked.house, record, ground.at, until_s)
    zone = asked.house.zone
    today = ground.at.astimezone(zone).date()

    def shown_time(seconds: float) -> str:
        return moment_words(datetime.fromtimestamp(seconds, UTC), str(zone), today)

    verdicts = tuple(
        judge_degree_hours(
            rule,
            first,
            asked.sets,
            start_s=start_s,
            at_s=at_s,
            plan=asked.plan,
            second=second,
            confirmed=ground.confirmed,
            shown_time=shown_time,
        )
        for rule in rules
    )
    return verdicts, max(ended, key=lambda one: one.at_s, default=None)


def _traces(
    house: OpenHouse, record: LotRecord, at: datetime, until_s: float
) -> tuple[TemperatureTrace, TemperatureTrace | None]:
    """The air the lot stood in until the end of its count: first logger of each room, then the second."""
    stays = [stay for stay in stays_of(record, at) if stay.start_s < until_s]
    by_stay = [_of_stay(house, stay, at, until_s, last=stay is stays[-1]) for stay in stays]
    firsts = tuple(traces[0] for traces in by_stay if traces)
    seconds = tuple(traces[1] for traces in by_stay if len(traces) > 1)
    if not firsts:
        rooms = [house.store.rooms.find(stay.room, known_at(house, at)) for stay in stays]
        highest = max(
            (float(r.defined.payload.highest_temperature_c) for r in rooms if r), default=float("inf")
        )
        return nothing_read(highest), None
    return joined(firsts), joined(seconds) if seconds else None


def _of_stay(
    house: OpenHouse, stay: Stay, at: datetime, until_s: float, *, last: bool
) -> tuple[TemperatureTrace, ...]:
    # One reading beyond each end lets the check see the value at the border itself.
    margin = 3600.0
    start = datetime.fromtimestamp(stay.start_s - (margin if stay.start_s else 0.0), UTC)
    end = datetime.fromtimestamp(min(until_s + margin if last else stay.end_s, at.timestamp()), UTC)
    return temperature_traces(house, stay.room, start, end, known_at(house, at))


def _finished(asked: _Asked, counts: tuple[Verdict, ...], ended: PhSet | None) -> Finished:
    """What was measured by instruments in check: the last water activity set, the last core pH."""
    ground, batter = asked.ground, asked.batter
    activities = [
        item
        for item in asked.record.water_activities
        if in_check(ground, item.payload.instrument, item.at) and item.payload.sample in SAMPLES_THAT_SHOW
    ]
    same = [item for item in activities if item.at.date() == activities[-1].at.date()]
    highest = max(same, key=lambda item: item.payload.value, default=None)
    core = [one for one in asked.sets if one.where == "core" and one.in_check and one.values]
    analysis = analysis_of(asked.record)
    outcomes = [verdict.outcome for verdict in counts]
    met = Outcome.MET if outcomes and all(outcome is Outcome.MET for outcome in outcomes) else None
    return Finished(
        water_activity=float(highest.payload.value) if highest else None,
        water_activity_sample=highest.payload.sample if highest else "",
        ph=max(core[-1].values) if core else None,
        fermented_ph=max(ended.values) if ended else None,
        moisture_protein=analysis.ratio if analysis else None,
        nitrite_mg_kg=batter.nitrite.per_meat_mg_kg if batter and batter.nitrite else None,
        salt_pct=100.0 * batter.salt if batter and batter.weighed else None,
        degree_hours=met or next((o for o in outcomes if o is not Outcome.MET), None),
        readings=tuple(
            [entry for item in same for entry in item.entry_ids]
            + [one.entry_id for one in core[-1:]]
            + ([analysis.entry_id] if analysis else [])
        ),
    )


def analysis_of(record: LotRecord) -> Analysis | None:
    """The analysis that speaks for the lot: water and protein of one sample, taken across the piece.

    Of several samples of the last day the one with the highest ratio counts; a core or a rim is no
    sample of the piece.

    Args:
        record: LotRecord.
    """
    whole = [
        (item, Analysis(float(item.payload.moisture_pct), float(item.payload.protein_pct), item.entry_id))
        for item in record.analyses
        if item.payload.protein_pct is not None and item.payload.sample in ACROSS_THE_PIECE
    ]
    last = [analysis for item, analysis in whole if item.at.date() == whole[-1][0].at.date()]
    return max(last, key=lambda analysis: analysis.moisture_pct / analysis.protein_pct, default=None)


def _nitrite(batter: Batter | None) -> list[Verdict]:
    if batter is None:
        return []
    found = batter.nitrite
    return [
        ingoing_nitrite(
            found.per_meat_mg_kg if found else None,
            found.per_batter_mg_kg if found else None,
            batter.entries,
        )
    ]


def _names(asked: _Asked, finished: Finished) -> list[Verdict]:
    """Under 'name of the product' and 'keeping without cold'; neither closes a hazard."""
    ground, facts = asked.ground, asked.house.facts
    if asked.product.family != "dry_sausage":
        return []
    markets = (asked.market,) if asked.market else ground.markets
    found: list[Verdict] = []
    if "us" in markets:
        limits = name_limits(facts, asked.product.market_names)
        analysis = analysis_of(asked.record)
        found += [judge_name(limit, analysis, ph=finished.ph, confirmed=ground.confirmed) for limit in limits]
    for name in markets:
        found += [judge_shelf(way, finished, ground.confirmed) for way in shelf_ways(facts, name)]
    return found


def _instrument_states(asked: _Asked) -> list[InstrumentState]:
    """Every meter the lot was read with. A reading that does not count holds nothing up, as long as
    another meter in check read the same thing."""
    record, ground = asked.record, asked.ground
    states = []
    for readings in (record.ph_sets, record.water_activities):
        names = dict.fromkeys(item.payload.instrument for item in readings)
        good = {
            item.payload.instrument for item in readings if in_check(ground, item.payload.instrument, item.at)
        }
        for name in names:
            if name in good:
                states.append(InstrumentState(name, True))
            elif not good:
                own = next(item for item in readings if item.payload.instrument == name)
                when = moment_words(own.at, str(asked.house.zone), ground.at.date())
                why = say("its readings of {when} and later do not count", when=when)
                states.append(InstrumentState(name, False, why))
    return states
