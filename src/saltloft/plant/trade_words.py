"""Words of the trade for what entries hold as keys: places, samples, instruments, rooms, confidence."""

from __future__ import annotations

from saltloft.foundation.words import say


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
