"""The form of the curer's hand as its template needs it: three places, the cut, good or not yet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from saltloft.foundation.errors import SaltloftError
from saltloft.foundation.words import say
from saltloft.jobs.floor import Hanging
from saltloft.plant.readings import CUT_COLOURS
from saltloft.plant.trade_words import cut_colour_word
from saltloft.web.entry_jobs import Choice, place_words

KIND = "lot.pressed_and_cut/2"
PLACES = ("top", "middle", "bottom")
# What a ruler on a cut tells apart; anything finer goes through the general form. [mm]
RIMS = ("0", "1", "2", "3", "4", "5")
GRADES = ("0", "1", "2")


@dataclass(frozen=True)
class Row:
    """One row of taps.

    Args:
        name, word: str. What the form sends it as, and how it is called.
        choices: tuple of Choice.
        chosen: str. Empty when nothing was tapped.
        numbers: bool. Single digits, as wide as a thumb.
    """

    name: str
    word: str
    choices: tuple[Choice, ...]
    chosen: str = ""
    numbers: bool = False


@dataclass(frozen=True)
class PressJob:
    """One lot's form.

    Args:
        lot, place: str.
        entry_id: str. Used when the form is sent without script.
        press, cut: tuple of Row.
        rim, colour, good: Row.
        last: str. What was said last time; may be empty.
        problem: SaltloftError or None. Why it was refused.
        stored: str. What was said when it was stored.
    """

    lot: str
    place: str
    entry_id: str
    press: tuple[Row, ...]
    rim: Row
    cut: tuple[Row, ...]
    colour: Row
    good: Row
    last: str
    problem: SaltloftError | None = None
    stored: str = ""

    @property
    def key(self) -> str:
        """Names the job on the device."""
        return f"press:{self.lot}"

    @property
    def kind(self) -> str:
        """The kind it makes."""
        return KIND

    @property
    def page(self) -> str:
        """The address of this form."""
        return f"/enter/press?{urlencode({'lot': self.lot})}"


def press_job(
    lot: Hanging,
    entry_id: str,
    typed: Mapping[str, str] | None = None,
    *,
    problem: SaltloftError | None = None,
    stored: str = "",
) -> PressJob:
    """The form of one hanging lot.

    Args:
        lot: Hanging.
        entry_id: str.
        typed: mapping of row name to what was tapped, when it comes back.
        problem: SaltloftError or None.
        stored: str.
    """
    said = typed or {}

    def numbers(name: str, word: str, values: tuple[str, ...]) -> Row:
        return Row(name, word, tuple(Choice(one, one) for one in values), said.get(name, ""), True)

    places = dict(zip(PLACES, (say("Top"), say("Middle"), say("Bottom")), strict=True))
    seen = {"ring": say("Ring"), "hollow": say("Hollow"), "smear": say("Smear")}
    good = (Choice("1", say("Good")), Choice("0", say("Not yet")))
    colours = tuple(Choice(one, cut_colour_word(one)) for one in CUT_COLOURS)
    return PressJob(
        lot=lot.lot,
        place=place_words(lot),
        entry_id=entry_id,
        press=tuple(numbers(name, word, ("1", "2", "3", "4", "5")) for name, word in places.items()),
        rim=numbers("rim", say("Rim, mm"), RIMS),
        cut=tuple(numbers(name, word, GRADES) for name, word in seen.items()),
        colour=Row("colour", say("Colour"), colours, said.get("colour", "")),
        good=Row("good", say("It is"), good, said.get("good", "")),
        last=lot.last_press,
        problem=problem,
        stored=stored,
    )
