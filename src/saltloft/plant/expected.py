"""Numbers that are possible but not expected: the question before a slip is stored.

A person who is asked and keeps the number sends it again with kept=1. The
bounds are common practice, no source: a hung piece gains no more than 2 % and
loses no more than 4 % a day after the first 3 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from saltloft.foundation.words import say
from saltloft.plant.analyses import LotAnalysed, PieceMeasured
from saltloft.plant.lot_state import LotState, net_mg
from saltloft.plant.readings import PhRead, PieceWeighed, WaterActivityRead

_DAY = 86400.0


@dataclass(frozen=True)
class Fit:
    """How a number compares with what is known.

    Args:
        words: str. What was expected; empty when there is nothing to compare with.
        fits: bool. False: ask before storing.
    """

    words: str = ""
    fits: bool = True


def fit_of(payload: object, state: LotState, at: datetime) -> Fit:
    """Compare a weighing, pH set, water activity, analysis or diameter with the lot's last ones."""
    if isinstance(payload, PieceWeighed):
        return _weighing(payload, state, at)
    if isinstance(payload, PhRead):
        return _ph(payload, state, at)
    if isinstance(payload, WaterActivityRead):
        return _water_activity(payload, state)
    if isinstance(payload, LotAnalysed):
        return _analysis(payload, state)
    if isinstance(payload, PieceMeasured):
        return _diameter(payload, state)
    return Fit()


def _weighing(said: PieceWeighed, state: LotState, at: datetime) -> Fit:
    net = net_mg(said)
    last = state.weights.get(said.tag) if said.tag or said.tag in state.weights else None
    if last is not None and last.at <= at and not said.green:
        return _against_last(net, last.mg, (at - last.at).total_seconds() / _DAY)
    return _against_green(net, state, (at - state.made_at).total_seconds() / _DAY if state.made_at else 0.0)


def _against_last(net: float, last: float, days: float) -> Fit:
    lowest = last * max(0.35, 0.97 - 0.04 * days)
    fits = lowest <= net <= last * 1.02
    values = {"now": _kg(net), "last": _kg(last), "change": f"{100 * (net / last - 1):+.1f}"}
    if fits:
        return Fit(say("The last was {last} kg: {change} %, which fits.", **values))
    return Fit(say("{now} kg? The last was {last} kg. Keep it, or mend it.", **values), fits=False)


def _against_green(net: float, state: LotState, days: float) -> Fit:
    if not state.pieces or not state.green_mg:
        return Fit()
    mean = state.green_mg / state.pieces
    # Pieces differ among themselves: half to one and a half of the mean is common practice, no source.
    fits = mean * max(0.25, 0.55 - 0.04 * days) <= net <= mean * 1.6
    values = {"now": _kg(net), "mean": _kg(mean)}
    if fits:
        return Fit(say("A piece of this lot weighed {mean} kg on average when it was stuffed.", **values))
    return Fit(
        say(
            "{now} kg? A piece of this lot weighed {mean} kg on average when it was stuffed. "
            "Keep it, or mend it.",
            **values,
        ),
        fits=False,
    )


def _ph(said: PhRead, state: LotState, at: datetime) -> Fit:
    mean = sum(said.values, Decimal(0)) / len(said.values)
    values = {"now": f"{mean:.2f}", "low": f"{min(said.values):.2f}", "high": f"{max(said.values):.2f}"}
    if min(said.values) < Decimal("4.2") or max(said.values) > Decimal("6.8"):
        return Fit(
            say("pH {low} to {high}? Sausage is between 4.2 and 6.8. Keep it, or mend it.", **values), False
        )
    if max(said.values) - min(said.values) > Decimal("0.5"):
        return Fit(
            say("pH {low} to {high} in one set? That is far apart. Keep it, or mend it.", **values), False
        )
    before = state.ph.get(said.where)
    if before is None or before[1] > at:
        return Fit()
    last, when = before
    values["last"] = f"{last:.2f}"
    if (at - when).total_seconds() < 7 * _DAY and not Decimal("-1.0") <= mean - last <= Decimal("0.25"):
        return Fit(say("pH {now}? The last was {last}. Keep it, or mend it.", **values), False)
    return Fit(say("The last was {last}: it fits.", **values))


def _water_activity(said: WaterActivityRead, state: LotState) -> Fit:
    if said.value < Decimal("0.6"):
        return Fit(say("a_w {now}? That is drier than any ham. Keep it, or mend it.", now=said.value), False)
    if state.water_activity is None:
        return Fit()
    last = state.water_activity[0]
    if said.sample != "rim" and said.value - last > Decimal("0.03"):
        return Fit(
            say("a_w {now}? The last was {last}. Keep it, or mend it.", now=said.value, last=last), False
        )
    return Fit(say("The last was {last}.", last=last))


def _analysis(said: LotAnalysed, state: LotState) -> Fit:
    """Bounds are common practice, no source: a whole close to 100 %, less water than last time."""
    parts = (said.moisture_pct, said.protein_pct, said.fat_pct, said.salt_pct)
    given = [part for part in parts if part is not None]
    whole = sum(given, Decimal(0))
    if len(given) == len(parts) and whole < 88:
        return Fit(
            say("Water, protein, fat and salt make {whole} % only? Keep it, or mend it.", whole=whole), False
        )
    if said.protein_pct is not None and not Decimal("0.4") <= said.moisture_pct / said.protein_pct <= 5:
        ratio = f"{said.moisture_pct / said.protein_pct:.2f}"
        return Fit(say("Moisture:protein {ratio}? Keep it, or mend it.", ratio=ratio), False)
    if state.moisture is None or said.sample == "rim":
        return Fit()
    values = {"now": said.moisture_pct, "last": state.moisture}
    if said.moisture_pct - state.moisture > 4:
        return Fit(say("{now} % water? The last was {last} %. Keep it, or mend it.", **values), False)
    return Fit(say("The last was {last} % water: it fits.", **values))


def _diameter(said: PieceMeasured, state: LotState) -> Fit:
    """A piece shrinks, by a fifth at most between two looks (common practice, no source)."""
    last = state.diameters.get(said.tag)
    if last is None:
        return Fit()
    values = {"now": f"{said.mean_mm:.1f}", "last": f"{last:.1f}"}
    if not 0.8 * last <= said.mean_mm <= 1.04 * last:
        return Fit(say("{now} mm? The last was {last} mm. Keep it, or mend it.", **values), False)
    return Fit(say("The last was {last} mm: it fits.", **values))


def _kg(mg: float) -> str:
    text = f"{mg / 1e6:.3f}".rstrip("0")
    return text + "0" * max(0, 2 - len(text.partition(".")[2]))
