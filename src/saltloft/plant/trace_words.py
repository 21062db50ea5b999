"""What a trace and a recall say: the sentence a page begins with, how books close, what a contact is."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from saltloft.foundation.words import say, say_many
from saltloft.plant.contact import AFTER, BEFORE, OPEN_PIECE, TOUCHED_IT, Contact
from saltloft.plant.recall import RecallDrilled, score_pct, stuffed_mg, yielding_of
from saltloft.plant.recall_account import PLACES, Account
from saltloft.plant.sentences import list_words, moment_words, number_words
from saltloft.plant.traced import (
    CLOSES,
    OPEN,
    OUTSIDE,
    SHORT,
    TOO_MUCH,
    WITHIN,
    Balance,
    RecallAnswer,
    Traced,
)

Mass = Callable[[float], str]
KG = 1_000_000


def kilograms(mg: float) -> str:
    """A weight in kilograms, or grams below one, with no more digits than it is read with."""
    if 0 < abs(mg) < KG:
        return say("{number} g", number=number_words(mg / 1000, 0))
    decimals = 0 if abs(mg) >= 100 * KG or not mg else 1
    return say("{number} kg", number=f"{mg / KG:,.{decimals}f}".replace("-", "\N{MINUS SIGN}"))


def trace_sentence(traced: Traced, mass: Mass = kilograms) -> str:
    """Where it went, or what went in, in one sentence."""
    start = list_words(traced.flow.starts, most=3)
    if len(traced.rows) == len(traced.flow.starts):
        if traced.down:
            return say("{start}: nothing of it went anywhere yet.", start=start)
        return say("{start}: the records name nothing that went into it.", start=start)
    if not traced.down:
        return say(
            "Into {start} went {count}, through {lots}.",
            start=start,
            count=say_many("{count} delivery", "{count} deliveries", len(traced.of_sort("material"))),
            lots=say_many("{count} lot", "{count} lots", len(traced.of_sort("lot"))),
        )
    sent = {row.node.party for row in traced.of_sort("shipment")}
    lots, packs = len(traced.of_sort("lot")), len(traced.of_sort("pack"))
    parts = [
        say_many("{count} lot", "{count} lots", lots) if lots else "",
        say_many("{count} pack lot", "{count} pack lots", packs) if packs else "",
        say_many("{count} customer", "{count} customers", len(sent)) if sent else "",
    ]
    begin = say(
        "{start} ({mass}) went into {parts}.",
        start=start,
        mass=mass(traced.start_mg),
        parts=", ".join(part for part in parts if part) or say("nothing but ends, samples and waste"),
    )
    again = sum(row.again and row.node.sort == "lot" for row in traced.rows)
    if not again:
        return begin
    more = say_many("{count} lot only through rework", "{count} lots only through rework", again)
    return say("{begin} Of these {more}.", begin=begin, more=more)


def kept_words(traced: Traced, mass: Mass = kilograms) -> str:
    """Whether what is traced is found again, to the milligram."""
    if not traced.down:
        return ""
    wrong = traced.open_balances
    found = say("Found again: {found} of {start}.", found=mass(traced.found_mg), start=mass(traced.start_mg))
    if not wrong:
        return say("{found} The books of every thing on the way close as far as they go.", found=found)
    names = list_words([balance.node for balance in wrong], most=5)
    return say("{found} The books do not close at {names}.", found=found, names=names)


def balance_words(balance: Balance, mass: Mass = kilograms) -> str:
    """How the books of one thing close."""
    if balance.stand == CLOSES:
        return say("closes")
    if balance.stand == OPEN:
        return say("open: more may come off it")
    if balance.stand == TOO_MUCH:
        return say("{mass} more went out than is booked on it", mass=mass(abs(balance.left_mg)))
    if balance.stand == SHORT:
        return say("less is there than the books say")
    band = balance.yielding
    if band is None:
        return ""
    words = {WITHIN: say("inside its yield"), OUTSIDE: say("outside its yield")}[balance.stand]
    low, high = mass(band.low_mg), mass(band.high_mg)
    return say("{words}: {out}, {low} to {high}", words=words, out=mass(balance.out_mg), low=low, high=high)


def recall_sentence(answer: RecallAnswer, mass: Mass = kilograms) -> str:
    """What a recall comes to, in one sentence."""
    recall = answer.recall
    start = list_words(recall.starts, most=3)
    if not recall.lots and not recall.packs and not recall.customers:
        return say("{start}: nothing that was made or sent holds any of it.", start=start)
    sentence = say(
        "{start} is in {lots}, {stuffed} stuffed: {customers} to call, {stock} in stock, "
        "{share} accounted for.",
        start=start,
        lots=say_many("{count} lot", "{count} lots", len(recall.direct)),
        stuffed=mass(stuffed_mg(recall.direct)),
        customers=say_many("{count} customer", "{count} customers", len(recall.customers)),
        stock=mass(recall.account.places["stock"] + recall.again.places["stock"]),
        share=share_words(recall.account),
    )
    if not recall.reworked:
        return sentence
    names = list_words([lot.node.node for lot in recall.reworked], most=4)
    more = mass(stuffed_mg(recall.reworked))
    return say("{sentence} Through rework {more} more: {names}.", sentence=sentence, more=more, names=names)


def share_words(account: Account) -> str:
    """How much of a finished weight has a place: '100.0 %'."""
    share = account.accounted_pct
    return say("no finished weight yet") if share is None else f"{share:.1f} %"


def finished_words(answer: RecallAnswer, mass: Mass = kilograms) -> str:
    """The finished weight against what the lots should have given."""
    lots = answer.recall.direct
    finished = mass(answer.recall.account.finished_mg)
    band = yielding_of(lots)
    if band is None:
        hanging = [lot.node.node for lot in lots if not lot.ended]
        if hanging:
            return say(
                "Finished so far {mass}; still to come off: {names}.",
                mass=finished,
                names=list_words(hanging, 5),
            )
        return say("Finished {mass}; no yield is known for its product.", mass=finished)
    off = 100.0 * (answer.recall.account.finished_mg / band.expected_mg - 1.0)
    inside = band.low_mg <= answer.recall.account.finished_mg <= band.high_mg
    where = say("inside its band") if inside else say("outside its band")
    return say(
        "Finished {mass} against {expected} expected ({off} %, {where}: {low} to {high}).",
        mass=finished,
        expected=mass(band.expected_mg),
        off=number_words(off, 1),
        where=where,
        low=mass(band.low_mg),
        high=mass(band.high_mg),
    )


def stock_words(answer: RecallAnswer) -> str:
    """That a stock is by the books as long as nobody counted it."""
    count = len(answer.recall.account.booked_only | answer.recall.again.booked_only)
    if not count:
        return ""
    return say_many(
        "The stock of {count} pack lot or lot is by the books. Count it.",
        "The stock of {count} pack lots and lots is by the books. Count it.",
        count,
    )


def lost_words(account: Account, mass: Mass = kilograms) -> list[str]:
    """Where weight has no place, or more came out than went in; one line each."""
    lines = []
    for node, mg in sorted(account.lost_mg.items()):
        if mg > 0:
            lines.append(say("{node}: {mass} has no place.", node=node, mass=mass(mg)))
        else:
            lines.append(say("{node}: {mass} more came out than went in.", node=node, mass=mass(-mg)))
    return lines


def places_rows(account: Account, mass: Mass = kilograms) -> list[tuple[str, str]]:
    """Where the finished weight is: place and weight, empty places left out."""
    words = {
        "shipped": say("sent to customers"),
        "stock": say("in stock"),
        "rework": say("worked in again"),
        "ends": say("ends not used yet"),
        "sample": say("samples"),
        "waste": say("thrown away"),
    }
    return [(words[place], mass(account.places[place])) for place in PLACES if account.places[place]]


def contact_words(contact: Contact, answer: RecallAnswer) -> str:
    """Why something is a contact, and when."""
    today = answer.at.date()
    when = moment_words(contact.run.start, answer.house.zone, today)
    line, through = contact.run.line, contact.through.node
    if contact.why == OPEN_PIECE:
        piece = say("tag {tag}", tag=contact.through.tag) if contact.through.tag else through
        return say(
            "ran over {line} at {when} while {piece} of {through} lay open",
            line=line,
            when=when,
            piece=piece,
            through=through,
        )
    if contact.why == TOUCHED_IT:
        return say(
            "lay open on {line} from {when} while {through} ran there", line=line, when=when, through=through
        )
    if contact.why == AFTER:
        return say("ran over {line} on the same day, after {through}", line=line, through=through)
    if contact.why == BEFORE:
        return say("ran over {line} on the same day, before {through}", line=line, through=through)
    return say("made on the same day as {through}", through=through)


def clock_words(took: timedelta) -> str:
    """A stretch of time as a drill's clock shows it: '4 min 10 s', '3 h 40 min'."""
    seconds = int(took.total_seconds())
    hours, minutes = seconds // 3600, seconds // 60 % 60
    if hours:
        return say("{hours} h {minutes} min", hours=hours, minutes=minutes)
    return say("{minutes} min {seconds} s", minutes=minutes, seconds=seconds % 60)


def took(done: RecallDrilled) -> timedelta:
    """How long a drill took."""
    return datetime.fromisoformat(done.ended) - datetime.fromisoformat(done.started)


def drill_sentence(done: RecallDrilled, took: timedelta) -> str:
    """How a drill went."""
    share = score_pct(done)
    accounted = say("no finished weight") if share is None else say("{share} % accounted for", share=share)
    missed = say_many("{count} thing was missed", "{count} things were missed", len(done.missed))
    return say(
        "{drill}: {accounted} in {clock}; {told} of {customers} customers told; {missed}.",
        drill=done.drill,
        accounted=accounted,
        clock=clock_words(took),
        told=len(done.told),
        customers=done.customers,
        missed=missed if done.missed else say("nothing was missed"),
    )
