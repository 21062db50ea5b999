"""Who may state what: kinds of entries by role."""

from __future__ import annotations

FLOOR = frozenset(
    {
        "lot.made",
        "lot.hung",
        "lot.moved",
        "lot.held",
        "lot.yielded",
        "lot.dispatched",
        "lot.split",
        "lots.merged",
        "lot.sliced",
        "lot.sampled",
        "lot.wasted",
        "rack.moved",
        "piece.rehung",
        "counter.opened",
        "pack.made",
        "shipment.sent",
        "goods.returned",
        "fresh.made",
        "fresh.chilled",
        "fresh.packed",
        "ham.salted",
        "ham.salted_out",
        "ham.weighed",
        "piece.weighed",
        "piece.measured",
        "ph.read",
        "water_activity.read",
        "lot.pressed_and_cut",
        "lot.analysed",
        "check.done",
        "material.received",
        "material.counted",
        "material.wasted",
        "instrument.checked",
        "room.set",
        "readings.sealed",
        "entry.corrected",
        "tare.weighed",
        # Stated by the page itself beside what a device kept while it had no network.
        "offline.entered",
        # Stated by the page when a person first signs in on a device of their own.
        "device.enrolled",
    }
)
SETTING_UP = frozenset(
    {
        "room.defined",
        "instrument.defined",
        "recipe.defined",
        "product.defined",
        "product.ready",
        "product.numbered",
        "recall.drilled",
        "readings.voided",
    }
)
SIGNING = frozenset({"hold.lifted", "lot.released", "fact.confirmed", "document.recorded"})
OFFICE = frozenset(
    {
        "house.set_up",
        "person.added",
        "device.revoked",
        "token.issued",
        "party.added",
        "party.name_erased",
        "order.placed",
        "order.ended",
    }
)

RIGHTS: dict[str, frozenset[str]] = {
    "room_hand": FLOOR,
    "curer": FLOOR | SETTING_UP,
    "quality": FLOOR | SETTING_UP | OFFICE | SIGNING,
    "manager": FLOOR | SETTING_UP | OFFICE | {"document.recorded"},
    "administrator": FLOOR | SETTING_UP | OFFICE,
    "auditor": frozenset(),
}


def may(role: str, kind: str) -> bool:
    """Whether a person of a role may make an entry of a kind (with or without its version)."""
    return kind.partition("/")[0] in RIGHTS.get(role, frozenset())


def roles_for(kind: str) -> tuple[str, ...]:
    """The roles that may make an entry of a kind."""
    return tuple(role for role in RIGHTS if may(role, kind))
