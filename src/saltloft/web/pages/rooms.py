"""*Rooms*: each room's air now against what it was set to, its load, its lots, the gaps in its log."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup, escape

from saltloft.foundation.words import say, say_many
from saltloft.house import House
from saltloft.plant.answers import RoomNow
from saltloft.plant.sentences import list_words, moment_words
from saltloft.plant.trade_words import room_word
from saltloft.web.morning import morning_of
from saltloft.web.quantities import Units, plain
from saltloft.web.visitor import SignedInVisitor

routes = APIRouter()
BAR_PX, ROW_PX, NAME_PX = 330, 26, 52


@dataclass(frozen=True)
class RoomCard:
    """One room as the page shows it; numbers are words in the person's units."""

    room: str
    role_word: str
    state: str
    expected: str
    temperature: str
    rh: str
    set_temperature: str
    set_rh: str
    load: str
    capacity: str
    read_words: str
    day_words: str
    lots: tuple[str, ...]
    sources: tuple[str, ...]
    air: str


@routes.get("/rooms")
def rooms_page(request: Request, visitor: SignedInVisitor) -> HTMLResponse:
    """Every room, with the ones worth a look named first."""
    house: House = request.app.state.house
    morning = morning_of(request)
    rooms = morning.day.rooms if morning else ()
    return request.app.state.pages.render(  # type: ignore[no-any-return]
        request,
        "rooms.html",
        sentence=visitor.units.words(rooms_sentence(rooms))
        if morning
        else say("The rooms are being gathered."),
        freshness=morning.freshness if morning else "",
        rooms=[card(room, house, visitor.units) for room in rooms],
        loads=load_bars(rooms),
        mass_unit=visitor.units.mass,
        temperature_unit=visitor.units.temperature,
        may_enter=visitor.may_enter,
    )


def rooms_sentence(rooms: tuple[RoomNow, ...]) -> str:
    """How many rooms are as they were set, and which are worth a look."""
    look = [room for room in rooms if room.state]
    full = [room.room for room in rooms if room.capacity_kg and room.load_kg > room.capacity_kg]
    as_set = say_many(
        "{count} room is as it was set.", "{count} rooms are as they were set.", len(rooms) - len(look)
    )
    if full:
        as_set += " " + say_many(
            "{names} carries more than it was made for.",
            "{names} carry more than they were made for.",
            len(full),
            names=list_words(full),
        )
    if not look:
        return as_set
    first = look[0]
    worth = say_many(
        "{names} is worth a look: {why}.",
        "{names} are worth a look; first {first}: {why}.",
        len(look),
        names=list_words([room.room for room in look]),
        first=first.room,
        why=first.expected,
    )
    return f"{worth} {as_set}"


def card(room: RoomNow, house: House, units: Units) -> RoomCard:
    """One room in words and the person's units."""
    zone = str(house.zone)
    read = (
        say("No reading yet.")
        if room.read_at is None
        else say("Read {when}.", when=moment_words(room.read_at, zone, house.today()))
    )
    span = ""
    if room.lowest_rh_pct is not None and room.highest_rh_pct is not None:
        span = say(
            "Last 24 h: {low} to {high} % RH; up to {warm} {unit}.",
            low=plain(room.lowest_rh_pct, 0),
            high=plain(room.highest_rh_pct, 0),
            warm=units.temperature_of(room.highest_temperature_c),
            unit=units.temperature,
        )
    gap = gap_words(room.longest_gap_min)
    return RoomCard(
        room=room.room,
        role_word=room_word(room.role),
        state=room.state,
        expected=units.words(room.expected),
        temperature=units.temperature_of(room.temperature_c),
        rh=plain(room.rh_pct, 0),
        set_temperature=units.temperature_of(room.set_temperature_c),
        set_rh=plain(room.set_rh_pct, 0),
        load=units.mass_of(room.load_kg * 1e6),
        capacity=units.mass_of(room.capacity_kg * 1e6) if room.capacity_kg else "",
        read_words=read,
        day_words=" ".join(part for part in (span, gap) if part),
        lots=room.lots,
        sources=room.sources,
        air=air_words(room, units),
    )


def gap_words(minutes: float) -> str:
    """The longest stretch without a reading in the last day, when it is worth a word."""
    if minutes < 16:
        return ""
    if minutes < 120:
        return say("Longest gap in the log: {minutes} min.", minutes=round(minutes))
    return say("Longest gap in the log: {hours} h.", hours=plain(minutes / 60.0, 1))


def air_words(room: RoomNow, units: Units) -> str:
    """'14.0 °C 78 %', empty without a reading."""
    if room.temperature_c is None and room.rh_pct is None:
        return ""
    return f"{units.temperature_of(room.temperature_c)} {units.temperature} · {plain(room.rh_pct, 0)} %"


def load_bars(rooms: tuple[RoomNow, ...]) -> Markup:
    """Load against capacity, one bar a room, as SVG; empty when no room has a capacity."""
    carried = [room for room in rooms if room.capacity_kg]
    if not carried:
        return Markup("")
    words = say(
        "Load against capacity: {rooms}.",
        rooms="; ".join(f"{room.room} {100 * room.load_kg / room.capacity_kg:.0f} %" for room in carried),
    )
    width, height = NAME_PX + BAR_PX + 60, ROW_PX * len(carried)
    rows = "".join(_load_bar(room, row * ROW_PX) for row, room in enumerate(carried))
    return Markup(
        '<figure class="picture"><svg class="loads" viewBox="0 0 {width} {height}" width="{width}" '
        'height="{height}" role="img" aria-label="{words}">{rows}</svg>'
        "<figcaption>{caption}</figcaption></figure>"
    ).format(
        width=width,
        height=height,
        words=words,
        rows=Markup(rows),
        caption=say("Load against capacity, by last weights"),
    )


def _load_bar(room: RoomNow, top: int) -> str:
    share = room.load_kg / room.capacity_kg
    sort, width = "over" if share > 1 else "carried", min(share, 1.0) * BAR_PX
    return (
        f'<text class="name" x="0" y="{top + 18}">{escape(room.room)}</text>'
        f'<rect class="room-for" x="{NAME_PX}" y="{top + 6}" width="{BAR_PX}" height="14"/>'
        f'<rect class="{sort}" x="{NAME_PX}" y="{top + 6}" width="{width:.1f}" height="14"/>'
        f'<text x="{NAME_PX + BAR_PX + 8}" y="{top + 18}">{100 * share:.0f} %</text>'
    )
