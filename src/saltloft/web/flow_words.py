"""Words for what comes in: sorts of material, and what was decided at the door."""

from __future__ import annotations

from saltloft.foundation.words import say


def sort_word(sort: str) -> str:
    """A sort of material in the reader's language."""
    words = {
        "meat": say("meat"),
        "casing": say("casing"),
        "spice": say("spice"),
        "cure": say("cure"),
        "culture": say("culture"),
        "packaging": say("packaging"),
        "other": say("other"),
    }
    return words.get(sort, sort)


def decision_word(decision: str) -> str:
    """What was decided at the door."""
    words = {"accepted": say("accepted"), "downgraded": say("downgraded"), "refused": say("refused")}
    return words.get(decision, decision)


def flow_kinds() -> dict[str, str]:
    """Kinds of entries of the material flow, as people say them."""
    return {
        "material.counted": say("counted what is left"),
        "material.wasted": say("material thrown away"),
        "party.added": say("a supplier or customer"),
        "party.name_erased": say("a name erased"),
        "lot.split": say("split"),
        "lots.merged": say("merged"),
        "rack.moved": say("rack moved"),
        "piece.rehung": say("hung anew"),
        "lot.sliced": say("sliced"),
        "lot.sampled": say("sample taken"),
        "lot.wasted": say("thrown away"),
        "counter.opened": say("open on the counter"),
        "pack.made": say("packed"),
        "order.placed": say("ordered"),
        "order.ended": say("order ended"),
        "shipment.sent": say("sent"),
        "goods.returned": say("came back"),
    }


def flow_fields() -> dict[str, str]:
    """Fields of those entries, with the unit they are typed in."""
    return {
        "left": say("what is left, with its unit; empty for nothing"),
        "party": say("short name of the supplier or customer"),
        "market": say("where it is sold"),
        "approved": say("approved to deliver: 1 yes, 0 no"),
        "sort": say("sort"),
        "best_before": say("best-before day, such as 2027-01-31"),
        "truck_temperature_c": say("truck, °C"),
        "documents": say("papers by their numbers, with ; between"),
        "parts": say("parts, one a line: lot; share; room; rack; pieces"),
        "sources": say(
            "out of what: lots with ; between, or one a line: number; what as; weight with its unit"
        ),
        "place": say("place in the room"),
        "sliced": say("number of the slices"),
        "start": say("from"),
        "end": say("to"),
        "mass_in": say("what went on, with its unit"),
        "ends": say("ends kept, with their unit"),
        "waste": say("thrown away, with its unit"),
        "tags": say("tags, with ; between"),
        "pack": say("number of the pack lot"),
        "packaging_lot": say("packaging lot"),
        "purpose": say("what for"),
        "laboratory": say("laboratory"),
        "order": say("order"),
        "lines": say("one a line: product or number; weight with its unit; packs"),
        "due": say("leaves on"),
        "how": say("how it ended"),
        "shipment": say("shipment"),
        "carrier": say("who drove"),
        "returned": say("number of what came back"),
        "node": say("pack lot or lot"),
    }
