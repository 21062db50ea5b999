"""The keys that the cases of a hanging piece share: `[piece]` and `[[stage]]`."""

from __future__ import annotations

from saltloft.cases.case_file import Table
from saltloft.cases.keys import Flag, Number, Range, Section, Span, Text
from saltloft.foundation.words import say
from saltloft.process.pulses import Pulse

# Starch, milk powder, sugar and ash in an extended sausage stay well below the rest (memory).
LEAST_SUM_PCT = 75.0
MOST_STAGES = 500


def _percent() -> str:
    return say("per cent: write 92 for 92 %, not 0.92")


def _celsius() -> str:
    return say("degrees Celsius: 72 degF is 22.2")


PIECE = Section(
    {
        "diameter_mm": Span(10, 200, required=True),
        "length_mm": Span(30, 2000),
        "fat_pct": Span(0, 90, fraction_below=0.6),
        "salt_pct": Span(0, 15, fraction_below=0.1),
        "water_pct": Span(5, 90, hint=_percent),
        "protein_pct": Span(0, 90, fraction_below=0.6),
        "other_solutes_mol_kg": Span(0, 5),
        "sugar_g_kg": Span(0, 60),
        "start_water_activity": Span(0.5, 1.0),
        "casing": Text(("natural", "collagen", "fibrous")),
        "mould": Flag(),
        "pressed_to_mm": Span(5, 200),
        "oval": Flag(),
        "sorption_heat_kj_mol": Number(0, 20),
        "rim_remembers": Flag(),
    },
    required=True,
)

STAGE = Section(
    {
        "name": Text(),
        "duration_h": Span(0.01, 26_280),
        "duration_d": Span(0.001, 1_095),
        "until_ph": Number(3.5, 7.5),
        "until_weight_loss_pct": Number(0, 80, fraction_below=0.81),
        "until_moisture_protein": Number(0.1, 6),
        "temperature_c": Span(-5, 60, required=True, hint=_celsius),
        "rh_pct": Span(20, 100, hint=_percent),
        "air_m_s": Span(0, 5),
        "ph_end": Span(3.5, 7.5),
        "packed": Flag(),
        "fans_on_h": Number(0.02, 240),
        "fans_off_h": Number(0.02, 240),
        "rest_rh_pct": Number(20, 100, hint=_percent),
    },
    many=True,
    required=True,
)


def hours_of(stage: Table) -> Range:
    """The duration of a stage. [h]

    Raises:
        InputError: neither or both of duration_h and duration_d.
    """
    hours, days = stage.span("duration_h"), stage.span("duration_d")
    if hours is not None and days is not None:
        raise stage.refusal(
            "duration_d",
            say("a stage has one duration"),
            got="duration_h, duration_d",
            allowed=say("one of them"),
        )
    if hours is not None:
        return hours
    if days is not None:
        return Range(days.low * 24.0, days.high * 24.0)
    raise stage.refusal("duration_h", say("the stage lacks its duration"), allowed="duration_h, duration_d")


def pulse_of(stage: Table) -> Pulse | None:
    """Fans that run and rest in turn, from fans_on_h, fans_off_h and rest_rh_pct.

    Raises:
        InputError: one of the two without the other, or a resting humidity without both.
    """
    names = ("fans_on_h", "fans_off_h")
    on, off = (stage.number(name) for name in names)
    rest = stage.number("rest_rh_pct")
    if on is not None and off is not None:
        return Pulse(on, off, None if rest is None else 0.01 * rest)
    for name, given in zip((*names, "rest_rh_pct"), (on, off, rest), strict=True):
        if given is not None:
            raise stage.refusal(
                name, say("fans that rest need both lengths"), allowed="fans_on_h, fans_off_h"
            )
    return None


def check_parts(piece: Table) -> None:
    """Refuse a composition whose given parts are more than the whole.

    Raises:
        InputError: the lower ends of fat, salt, water and protein sum above 100 %, or all
            four together leave more unnamed than any sausage holds.
    """
    names = ("fat_pct", "salt_pct", "water_pct", "protein_pct")
    given: dict[str, Range] = {name: span for name in names if (span := piece.span(name)) is not None}
    total = sum(span.low for span in given.values())
    if total > 100.0:
        last = list(given)[-1]
        raise piece.refusal(
            last,
            say("the parts of the batter are more than 100 %"),
            got=" + ".join(f"{name} {span.low:g}" for name, span in given.items()) + f" = {total:g}",
            allowed=say("a sum of at most 100"),
        )
    top = sum(span.high for span in given.values())
    if len(given) == len(names) and top < LEAST_SUM_PCT:
        raise piece.refusal(
            list(given)[-1],
            say("the parts of the batter leave too much unnamed"),
            got=" + ".join(f"{name} {span.high:g}" for name, span in given.items()) + f" = {top:g}",
            allowed=say("all four together at least {least:g}, or leave one out", least=LEAST_SUM_PCT),
        )


def check_shape(piece: Table) -> None:
    """Refuse a piece shorter than it is thick, or pressed to something it cannot be.

    Raises:
        InputError: length under the diameter; thickness outside 0.4 to 1 of the diameter;
            `oval` without a thickness.
    """
    diameter, length, thickness = (piece.span(key) for key in ("diameter_mm", "length_mm", "pressed_to_mm"))
    if diameter is None:
        return
    if length is not None and length.low < diameter.high:
        raise piece.refusal(
            "length_mm",
            say("the piece is shorter than it is thick"),
            got=f"{length.low:g}",
            allowed=say("at least its diameter, {least:g} mm", least=diameter.high),
        )
    if thickness is not None and not 0.4 * diameter.high <= thickness.low <= thickness.high <= diameter.low:
        raise piece.refusal(
            "pressed_to_mm",
            say("a piece cannot be pressed to this thickness"),
            got=f"{thickness.low:g} to {thickness.high:g}",
            allowed=say("0.4 to 1 times diameter_mm, {diameter:g} mm", diameter=diameter.mean),
        )
    if thickness is None and piece.flag("oval"):
        raise piece.refusal("oval", say("an oval piece lacks its thickness"), allowed="pressed_to_mm")


def check_count(stages: tuple[Table, ...]) -> None:
    """Refuse more stages than a programme can have.

    Raises:
        InputError: more than MOST_STAGES.
    """
    if len(stages) > MOST_STAGES:
        raise stages[MOST_STAGES].refusal(
            "",
            say("too many stages in one case"),
            got=str(len(stages)),
            allowed=say("at most {count}", count=MOST_STAGES),
        )
