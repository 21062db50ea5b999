"""Words of the trade for what entries hold as keys: places, samples, instruments, rooms, confidence."""

from __future__ import annotations

from saltloft.foundation.words import say
from saltloft.plant.readings import PressedAndCut


def ph_place_word(place: str) -> str:
    """Where a pH was taken, as people say it."""
    words = {
        "core": say("core"),
        "rim": say("rim"),
        "test_mince": say("test mince"),
        "offcut": say("offcut"),
        "strip": say("strip"),
    }
    return words.get(place, place)


def sample_word(sample: str) -> str:
    """How a water activity sample was taken."""
    words = {"ground": say("ground"), "core": say("core"), "rim": say("rim"), "slice": say("slice")}
    return words.get(sample, sample)


def cut_colour_word(colour: str) -> str:
    """The colour of a cut piece as people say it; nothing for one not said."""
    words = {
        "even": say("even colour"),
        "pale": say("pale"),
        "grey_core": say("grey core"),
        "grey_rim": say("grey rim"),
        "brown": say("brown"),
        "uneven": say("patchy colour"),
    }
    return words.get(colour, colour)


def cut_words(cut: PressedAndCut) -> str:
    """What was seen in the cut besides the rim; what nobody looked at is left out."""
    ring = {0: say("no ring"), 1: say("faint ring"), 2: say("clear ring")}
    hollow = {0: say("no hollow"), 1: say("small hollow"), 2: say("large hollow")}
    smear = {0: say("no smear"), 1: say("some smear"), 2: say("much smear")}
    seen = (ring.get(cut.ring), hollow.get(cut.hollow), smear.get(cut.smear), cut_colour_word(cut.colour))
    return ", ".join(word for word in seen if word)


def analyst_word(analyst: str) -> str:
    """Who made an analysis."""
    return {"laboratory": say("laboratory"), "in_house": say("in the house")}.get(analyst, analyst)


def step_word(step: str) -> str:
    """A step between the racks and the door."""
    words = {
        "wash": say("wash or brush"),
        "dry": say("dry the surface"),
        "equalise": say("equalise, packed"),
        "slice": say("slice"),
        "pack": say("pack"),
    }
    return words.get(step, step)


def instrument_word(kind: str) -> str:
    """An instrument's type."""
    words = {
        "scale": say("scale"),
        "ph_meter": say("pH meter"),
        "water_activity_meter": say("water activity meter"),
        "thermometer": say("thermometer"),
        "logger": say("logger"),
    }
    return words.get(kind, kind)


def room_word(role: str) -> str:
    """What a room is for."""
    words = {
        "fermenting": say("fermenting"),
        "drying": say("drying"),
        "ageing": say("ageing"),
        "salting": say("salting"),
        "resting": say("resting"),
        "ham_drying": say("ham drying"),
        "cellar": say("cellar"),
        "packing": say("packing"),
        "store": say("cold store"),
    }
    return words.get(role, role)


def confidence_word(confidence: str) -> str:
    """How a fact row is known, as in foundation.sources."""
    words = {
        "read": say("read"),
        "second-hand": say("second-hand"),
        "memory": say("from memory"),
        "computed": say("computed"),
        "practice": say("common practice"),
        "own": say("our own"),
    }
    return words.get(confidence, confidence)


def unit_sign(unit: str) -> str:
    """A fact row's unit as people write it; nothing for a pure number."""
    return {"degC": "°C", "degF": "°F", "F.h": "°F·h", "C.h": "°C·h", "1": ""}.get(unit, unit)
