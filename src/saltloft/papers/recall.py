"""A recall on paper: the report with its balance, the calls, a letter to each customer, a drill's record."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from saltloft.foundation.words import say, say_many
from saltloft.papers.page import Block, Grid, Lead, Mark, Marks, Notes, Picture, Sheet, Turn
from saltloft.plant.answers import HouseFace
from saltloft.plant.recall import LotInScope, RecallDrilled, ToTell
from saltloft.plant.sentences import day_words, list_words, moment_words
from saltloft.plant.trace import Node
from saltloft.plant.trace_json import drill_json, recall_json
from saltloft.plant.trace_words import (
    Mass,
    clock_words,
    contact_words,
    drill_sentence,
    finished_words,
    kilograms,
    lost_words,
    places_rows,
    recall_sentence,
    share_words,
    stock_words,
)
from saltloft.plant.traced import RecallAnswer

MOST_CONTACTS = 60


def recall_report(
    answer: RecallAnswer, *, picture: Picture | None = None, paper: str = "a4", mass: Mass = kilograms
) -> Sheet:
    """The whole recall on paper, its figures attached.

    Args:
        answer: RecallAnswer.
        picture: Picture or None. The flow.
        paper: str. 'a4' or 'us-letter'.
        mass: callable(mg) -> str. A weight in the reader's unit.
    """
    balance = [finished_words(answer, mass), *lost_words(answer.recall.account, mass)]
    stock = stock_words(answer)
    blocks: tuple[Block, ...] = (
        Lead(recall_sentence(answer, mass)),
        *((picture,) if picture else ()),
        _places(answer, mass),
        Notes(say("Balance"), tuple(line for line in (*balance, stock) if line)),
        _lots(answer, mass),
        calls_grid(answer, mass),
        _packs(answer, mass),
        contacts_marks(answer),
    )
    return Sheet(
        title=say("Recall"),
        subject=list_words(answer.recall.starts, most=4),
        house=answer.house,
        at=answer.at,
        blocks=blocks,
        evidence=recall_json(answer),
        evidence_name="recall.json",
        paper=paper,
    )


def _places(answer: RecallAnswer, mass: Mass) -> Grid:
    account = answer.recall.account
    rows = (*places_rows(account, mass), (say("accounted for"), share_words(account)))
    return Grid(say("Where the finished weight is"), (say("place"), say("weight")), rows, right=(1,))


def _title(answer: RecallAnswer, node: Node) -> str:
    return answer.title(node.product)


def _day(answer: RecallAnswer, node: Node) -> str:
    return day_of(node.at, answer.house, answer.at)


def day_of(moment: datetime | None, house: HouseFace, at: datetime) -> str:
    """A day in the house's zone, as people write it."""
    zone = ZoneInfo(house.zone)
    return day_words(moment.astimezone(zone).date(), at.astimezone(zone).date()) if moment else ""


def _lots(answer: RecallAnswer, mass: Mass) -> Grid:
    def row(lot: LotInScope) -> tuple[str, ...]:
        band = lot.yielding
        expected = mass(band.expected_mg) if band else "–"
        how = say("rework") if lot.again else say("part of another") if lot.part else say("took it")
        finished = mass(lot.finished_mg) if lot.finished_mg else "–"
        stand = say("nothing hangs") if lot.ended else say("still hangs")
        return (
            lot.node.node,
            _title(answer, lot.node),
            _day(answer, lot.node),
            how,
            mass(lot.node.booked_mg),
            finished,
            expected,
            stand,
        )

    columns = (
        say("lot"),
        say("product"),
        say("made"),
        say("how"),
        say("stuffed"),
        say("finished"),
        say("expected"),
        say("state"),
    )
    return Grid(say("Lots in scope"), columns, tuple(map(row, answer.recall.lots)), right=(4, 5, 6))


def calls_grid(answer: RecallAnswer, mass: Mass = kilograms) -> Grid:
    """Whom to call, with telephone, what they have, and a place to write when they were reached."""

    def row(one: ToTell) -> tuple[str, ...]:
        caller = answer.caller(one.party)
        return (
            caller.shown,
            caller.phone or say("no number"),
            list_words(one.packs, most=4),
            mass(one.mg) + (" " + say("(rework)") if one.again else ""),
            "______",
        )

    columns = (say("customer"), say("telephone"), say("numbers on the packs"), say("weight"), say("told at"))
    rows = tuple(map(row, answer.recall.customers))
    empty = say("Nothing of it left the house.")
    return Grid(say("Customers to call"), columns, rows, right=(3,), empty=empty)


def _packs(answer: RecallAnswer, mass: Mass) -> Grid:
    account, again = answer.recall.account, answer.recall.again
    here = {**again.here_mg, **account.here_mg}
    counted = account.booked_only | again.booked_only
    # Finished and not packed yet: it lies under the lot's own number.
    lying = [lot.node for lot in answer.recall.lots if here.get(lot.node.node, 0) > 0]
    rows = tuple(
        (
            node.node,
            _title(answer, node),
            _day(answer, node),
            mass(node.booked_mg),
            mass(here.get(node.node, 0)),
            say("by the books") if node.node in counted else "",
            "______",
        )
        for node in (*answer.recall.packs, *lying)
    )
    columns = (
        say("number"),
        say("product"),
        say("packed"),
        say("weight"),
        say("here"),
        "",
        say("counted"),
    )
    return Grid(
        say("Pack lots and lots to block"), columns, rows, right=(3, 4), empty=say("No pack lot is in scope.")
    )


def contacts_marks(answer: RecallAnswer) -> Marks:
    """What else was in contact; nothing was weighed over, so no amount stands there."""
    rows = tuple(
        Mark("look", say("contact"), contact.run.made or contact.run.node, contact_words(contact, answer))
        for contact in answer.contacts[:MOST_CONTACTS]
    )
    title = say("What else was in contact")
    if len(answer.contacts) > MOST_CONTACTS:
        title = say(
            "What else was in contact: the closest {count} of {all}",
            count=MOST_CONTACTS,
            all=len(answer.contacts),
        )
    return Marks(title, rows, say("Nothing else ran on the same lines by the records."))


def letters(answer: RecallAnswer, *, paper: str = "a4", mass: Mass = kilograms) -> Sheet:
    """One page for each customer: what they have, which numbers, what to do, and a slip to send back."""
    blocks: list[Block] = []
    for number, one in enumerate(answer.recall.customers):
        blocks += [*([Turn()] if number else []), *_letter(answer, one, mass)]
    if not blocks:
        blocks = [Lead(say("Nothing of it left the house: there is nobody to write to."))]
    return Sheet(
        title=say("Recall: letters"),
        subject=list_words(answer.recall.starts, most=4),
        house=answer.house,
        at=answer.at,
        blocks=tuple(blocks),
        evidence=recall_json(answer),
        evidence_name="recall.json",
        paper=paper,
    )


def _letter(answer: RecallAnswer, one: ToTell, mass: Mass) -> list[Block]:
    caller = answer.caller(one.party)
    to = [caller.shown, *caller.address.splitlines()]
    days = [_day(answer, node) for node in one.shipments]
    sent = say_many(
        "We sent you {mass} of the goods below in {count} delivery ({days}).",
        "We sent you {mass} of the goods below in {count} deliveries ({days}).",
        len(days),
        mass=mass(one.mg),
        days=list_words(list(dict.fromkeys(days)), most=6),
    )
    ask = (
        say(
            "Please block every pack with one of these numbers at once, also at those to whom you sold it on."
        ),
        say("Please tell us how much is still there and what was sold, and send the slip back today."),
        say("We fetch the goods. Do not throw anything away before we have counted it."),
    )
    why = (say("Why: {reason}", reason=answer.reason),) if answer.reason else ()
    rows = tuple((pack, *_of_pack(answer, pack), "______", "______") for pack in one.packs)
    columns = (say("number on the pack"), say("product"), say("packed"), say("still there"), say("sold"))
    slip = (
        say("Name and signature: ______________________   Day and hour: ______________"),
        say("From {house}: told by ______________________", house=answer.house.name),
    )
    return [
        Notes("", tuple(to)),
        Lead(say("We call back goods that we sent you. {sent}", sent=sent)),
        Notes(say("What to do"), (*ask, *why), boxed=True),
        Grid(say("Numbers"), columns, rows),
        Notes(say("Slip to send back"), slip),
    ]


def _of_pack(answer: RecallAnswer, pack: str) -> tuple[str, str]:
    known = {node.node: node for node in answer.recall.packs}
    known.update({lot.node.node: lot.node for lot in answer.recall.lots})
    node = known.get(pack)
    return (_title(answer, node), _day(answer, node)) if node else ("", "")


def drill_sheet(
    house: HouseFace, at: datetime, done: RecallDrilled, *, names: Sequence[str] = (), paper: str = "a4"
) -> Sheet:
    """The record of a drill on one sheet, to be signed.

    Args:
        house: HouseFace.
        at: datetime, aware.
        done: RecallDrilled.
        names: sequence of str. Names of the customers who were told.
        paper: str. 'a4' or 'us-letter'.
    """
    started, ended = (datetime.fromisoformat(text) for text in (done.started, done.ended))
    rows = (
        (say("what was called back"), list_words(done.starts)),
        (say("why"), done.reason or "–"),
        (say("drill or real"), say("real") if done.real else say("drill")),
        (say("started"), moment_words(started, house.zone, date.min)),
        (say("ended"), moment_words(ended, house.zone, date.min)),
        (say("time"), clock_words(ended - started)),
        (say("lots in scope"), str(done.lots)),
        (say("stuffed"), kilograms(done.stuffed_mg)),
        (say("finished"), kilograms(done.finished_mg)),
        (say("accounted for"), kilograms(done.accounted_mg)),
        (say("customers"), str(done.customers)),
        (say("told"), list_words(names) if names else str(len(done.told))),
        (say("pack lots counted"), list_words([one.node for one in done.counted]) or say("none")),
    )
    blocks: tuple[Block, ...] = (
        Lead(drill_sentence(done, ended - started)),
        Grid(say("The drill"), ("", ""), rows),
        Notes(say("What was missed"), done.missed or (say("Nothing was written down as missed."),)),
        *((Notes(say("Note"), (done.note,)),) if done.note else ()),
        Notes("", (say("Signed: ______________________   ______________________"),)),
    )
    return Sheet(
        title=say("Recall drill"),
        subject=done.drill,
        house=house,
        at=at,
        blocks=blocks,
        evidence=drill_json(done),
        evidence_name=f"{done.drill}.json",
        paper=paper,
    )
