"""Templates with what every page needs: the house's name, the moment, the person, words and units."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from importlib.resources import files
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from saltloft.foundation.words import LANGUAGE, say, say_many
from saltloft.house import House
from saltloft.plant.answers import HouseFace
from saltloft.plant.sentences import demo_caution, moment_words
from saltloft.web.files import StaticFile
from saltloft.web.visitor import Visitor

KEPT_PAGES = ("/next", "/enter/weigh", "/enter/ph", "/enter/press", "/receive", "/switch")


@dataclass(frozen=True)
class NavItem:
    """One link of the page head.

    Args:
        href: str.
        word: str. In the reader's language.
        here: bool. True on the page it points to.
    """

    href: str
    word: str
    here: bool


def navigation(visitor: Visitor | None, path: str) -> tuple[NavItem, ...]:
    """The pages a role sees (trade of the four people): a room hand sees Next and nothing else."""
    if visitor is None or visitor.role == "room_hand":
        return ()
    doors = [("/today", say("Today")), ("/rooms", say("Rooms")), ("/lots", say("Lots"))]
    doors.append(("/trace", say("Trace")))
    if visitor.may_enter:
        doors.append(("/next", say("Next")))
    return tuple(NavItem(href, word, path == href or path.startswith(f"{href}/")) for href, word in doors)


class Pages:
    """Renders templates for one house.

    Args:
        house: House.
        static: mapping of str to StaticFile.
    """

    def __init__(self, house: House, static: Mapping[str, StaticFile]) -> None:
        self.house = house
        self.environment = Environment(
            loader=PackageLoader("saltloft.web", "templates"),
            autoescape=select_autoescape(default=True, default_for_string=True),
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self.environment.globals.update(say=say, say_many=say_many, static=lambda name: static[name].address)

    def render(
        self, request: Request, template: str, status: int = 200, *, keep: bool = False, **values: Any
    ) -> HTMLResponse:
        """One page.

        Args:
            request: Request.
            template: str. File name under web/templates.
            status: int. HTTP status.
            keep: bool. True: the service worker may keep it for use without a network.
            values: what the template needs besides the common values.
        """
        visitor: Visitor | None = getattr(request.state, "visitor", None)
        printing = request.query_params.get("print") == "1"
        face = self.house.face()
        common: dict[str, Any] = {
            "house": face,
            "language": LANGUAGE.get(),
            "person": visitor,
            "nav": () if printing else navigation(visitor, request.url.path),
            "printing": printing,
            "moment": self.moment(face),
            "demo_banner": demo_banner(),
            "other_units": other_units(request, visitor),
            "csrf": visitor.csrf if visitor else "",
        }
        body = self.environment.get_template(template).render({**common, **values})
        headers = {"X-Saltloft-Keep": "1"} if keep else {}
        return HTMLResponse(body, status, headers=headers)

    def moment(self, face: HouseFace) -> str:
        """The moment the page takes as now; in the demo house it says that it is the demo's."""
        now = self.house.now()
        words = moment_words(now, face.zone, now.astimezone(ZoneInfo(face.zone)).date())
        return say("{moment}, the demo’s now", moment=words) if face.demo else words


def other_units(request: Request, visitor: Visitor | None) -> NavItem | None:
    """The link that shows the same page in the other units."""
    if visitor is None:
        return None
    word = say("In kg and °C") if visitor.units.system == "us" else say("In lb and °F")
    query = request.url.include_query_params(units=visitor.units.other).query
    return NavItem(f"?{query}", word, here=False)


def demo_banner() -> str:
    """What stands over every page of the invented house."""
    return demo_caution()


def shell_version() -> str:
    """Changes when a template changes, so that kept pages are taken anew."""
    digest = hashlib.sha256()
    folder = files("saltloft.web") / "templates"
    for entry in sorted(folder.iterdir(), key=lambda item: item.name):
        digest.update(entry.read_bytes())
    return digest.hexdigest()[:8]


def today_in(zone: str, now: datetime) -> date:
    """The house's calendar day of a moment."""
    return now.astimezone(ZoneInfo(zone)).date()
