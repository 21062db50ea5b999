"""What a column heading means, in English, German, Italian and Spanish."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from saltloft.store.loggers.model import HUMIDITY, TEMPERATURE


def words_set(text: str) -> frozenset[str]:
    """The words of a text, for looking up."""
    return frozenset(text.split())


_ROLES: dict[str, frozenset[str]] = {
    "time": words_set("time zeit uhrzeit ora hora orario tijd"),
    "date": words_set("date datum data fecha giorno tag dia"),
    "stamp": words_set("timestamp datetime zeitstempel zeitpunkt datetimeutc timestamputc ts when"),
    "ampm": words_set("ampm"),
    "index": words_set("no nr num numero n record scan count index idx lfd row zeile riga fila"),
    "device": words_set(
        "device deviceid logger loggerid gerat geraet dispositivo strumento serial seriennummer sn"
    ),
    "channel": words_set(
        "channel channelname kanal canale canal parameter parametro quantity messgrosse variable measure "
        "sensor fuhler sonda sensore"
    ),
    "value": words_set("value wert messwert valore valor reading lettura lectura"),
    "unit": words_set("unit units einheit unita unidad"),
    "quality": words_set("quality qualitat qualita calidad status state stato estado zustand flag"),
}
_TEMPERATURE = words_set("temp temps temperature temperatur temperatura t tmp trockenkugel")
_HUMIDITY = words_set(
    "rh rf hr ur humidity hum feuchte feuchtigkeit luftfeuchte luftfeuchtigkeit umidita humedad relfeuchte"
)
# Quantities Saltloft does not take from a logger: a column with one of these is named and left out.
_OTHER = words_set(
    "dew dewpoint taupunkt rugiada rocio setpoint set soll sollwert setpunto consigna alarm allarme alarma "
    "battery batterie batteria bateria akku volt voltage spannung "
    "min max minimum maximum minimo massimo maximo "
    "minima massima maxima co2 wet feuchtkugel nasskugel "
    "absolute absolut pressure druck pressione presion signal rssi event "
    "note comment bemerkung host fan door compressor weight ph "
    "core kern cuore corazon nucleo product produkt prodotto producto meat fleisch carne surface oberflache"
)
_FILLER = words_set(
    "room raum kammer cella cellar sala camara zone zona ch kanal channel sensor probe fuhler sonda relative "
    "rel relativ relativa relativer air luft aria aire ambient dry bulb value wert avg mean mittel "
    "mittelwert media medio average der del della la"
)
_DEGREE = "\u00b0|\u00ba|\ufffd|\u00ef\u00bf\u00bd|\u2218|\u02da|deg\\.?|grad"
_UNIT_CF = re.compile(
    rf"(?:{_DEGREE})\s*(?P<a>[CF])\b|\b(?P<b>[CF])\s*(?:°|º)|[\[(]\s*(?P<c>[CF])\s*[\])]"
    r"|\b(?P<d>Celsius|Fahrenheit)\b|^(?P<e>[CF])$|_(?:deg_?)?(?P<f>[CF])\b",
    re.IGNORECASE,
)
_PERCENT = re.compile(r"%\s*(?:r\.?\s?[hf]\.?|u\.?r\.?|h\.?r\.?)?|\b(?:percent|pct|prozent)\b", re.IGNORECASE)
_DOTTED = re.compile(r"\b(\w)\.\s?(\w)\b\.?")
_MEAN = words_set("avg mean mittel mittelwert media medio average")


@dataclass(frozen=True)
class Heading:
    """One column's heading, understood.

    Args:
        label: str. As it stands.
        role: str. 'stamp', 'date', 'time', 'ampm', 'index', 'device', 'channel', 'value', 'unit',
            'quality', 'quantity', 'other' or '' when not known.
        quantity: str. 'temperature_c' or 'rh_pct' for role 'quantity'; else empty.
        unit: str. 'C', 'F', '%' or empty when the heading does not say.
        place: str. What is left of the label: a room, a channel number, or empty.
        mean: bool. True for a column of means over a stretch.
    """

    label: str
    role: str
    quantity: str = ""
    unit: str = ""
    place: str = ""
    mean: bool = False


def plain(text: str) -> str:
    """Lower case, without accents."""
    split = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    return "".join(letter for letter in split if not unicodedata.combining(letter)).casefold()


def unit_of(text: str) -> str:
    """The unit a heading or a note names: 'C', 'F', '%' or empty."""
    found = _UNIT_CF.search(text)
    if found:
        return next(group for group in found.groups() if group)[0].upper()
    return "%" if _PERCENT.search(text) else ""


def unit_of_cell(text: str) -> str:
    """As `unit_of`, for a cell that holds a unit only, where 'RH' alone means % RH."""
    return unit_of(text) or ("%" if plain(text.strip(" []()")) in ("rh", "rf", "ur", "hr") else "")


def understand(label: str, unit_row: str = "") -> Heading:
    """What one heading means.

    Args:
        label: str. The heading.
        unit_row: str. The cell under it in a second heading row with units; may be empty.
    """
    unit = unit_of_cell(unit_row) or unit_of(label)
    bare = _PERCENT.sub(" ", _UNIT_CF.sub(" ", label))
    bare = _DOTTED.sub(r"\1\2", bare)
    words = [word for word in re.split(r"[^\w]+|_", bare) if word]
    plains = [plain(word) for word in words]
    kind = set(plains)
    role = _time_role(kind, label)
    if role:
        return Heading(label, role)
    if kind & _OTHER:
        return Heading(label, "other", unit=unit)
    quantity = _quantity(kind, unit)
    if quantity:
        known = _TEMPERATURE | _HUMIDITY | _FILLER
        place = " ".join(word for word, flat in zip(words, plains, strict=True) if flat not in known)
        return Heading(label, "quantity", quantity, unit, place, bool(kind & _MEAN))
    for name in ("value", "unit", "quality", "channel", "device", "index"):
        if kind & _ROLES[name] or "".join(plains) in _ROLES[name]:
            return Heading(label, name, unit=unit)
    return Heading(label, "index" if label.strip() in ("#", "n°", "Nº") else "", unit=unit)


def _time_role(kind: set[str], label: str) -> str:
    if "".join(sorted(kind)) in ("ampm", "am/pm") or plain(label).strip() in ("am/pm", "ampm"):
        return "ampm"
    date, time = bool(kind & _ROLES["date"]), bool(kind & _ROLES["time"])
    if kind & _ROLES["stamp"] or (date and time):
        return "stamp"
    if kind & (_TEMPERATURE | _HUMIDITY | _OTHER):
        return ""
    return "date" if date else "time" if time else ""


def _quantity(kind: set[str], unit: str) -> str:
    if kind & _HUMIDITY:
        return HUMIDITY
    if kind & _TEMPERATURE or unit in ("C", "F"):
        return TEMPERATURE
    # '%' alone says humidity only where nothing but a room's short name stands beside it: 'Valve %' is none.
    if unit == "%" and all(word in _FILLER or re.fullmatch(r"[a-z]{0,3}\d+", word) for word in kind):
        return HUMIDITY
    tail = [word for word in kind if re.fullmatch(r"(t|temp|rh|hr|ur|rf|hum)\d+", word)]
    if tail:
        return TEMPERATURE if tail[0].startswith("t") else HUMIDITY
    return ""
