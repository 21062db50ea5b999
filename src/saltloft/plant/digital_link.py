"""Numbers of the GS1 system: check digits, keys from the house's own prefix, GS1 Digital Link addresses.

Written from the GS1 General Specifications (check digit: section 7.9; application
identifiers: section 3) and the GS1 Digital Link standard, URI syntax 1.2. A house
uses its own company prefix; the invented house uses prefix 952, which GS1 keeps
for demonstrations and examples and which identifies nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import quote, unquote, urlsplit

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say

# The address under which GS1 itself resolves; used where a canonical address is asked for.
CANONICAL = "https://id.gs1.org"
# Keys that may begin a Digital Link here, and what may qualify each of them.
GTIN, SSCC, ASSET, PLACE = "01", "00", "8004", "414"
LOT, SERIAL, PLACE_PART = "10", "21", "254"
QUALIFIERS: dict[str, tuple[str, ...]] = {
    GTIN: ("22", LOT, SERIAL),
    SSCC: (),
    ASSET: (),
    PLACE: (PLACE_PART,),
}
DIGITS = {GTIN: 14, SSCC: 18, PLACE: 13}
# Character set 82 of the General Specifications (figure 7.11-1).
TEXT_82 = re.compile(r"[!\"%&'()*+,\-./0-9:;<=>?A-Z_a-z]+")
LONGEST = {LOT: 20, SERIAL: 20, "22": 20, PLACE_PART: 20, ASSET: 30}


@dataclass(frozen=True)
class ProductNumbered:
    """A product bears this trade item number from now on.

    Args:
        product: str.
        gtin: str. 8, 12, 13 or 14 digits with the check digit.
    """

    product: str
    gtin: str


@dataclass(frozen=True)
class LinkKey:
    """What a Digital Link names.

    Args:
        key: str. Application identifier of the key: GTIN, SSCC, ASSET or PLACE.
        value: str. GTINs always with 14 digits.
        lot, serial: str. Qualifiers; empty when there is none.
    """

    key: str
    value: str
    lot: str = ""
    serial: str = ""


def check_digit(digits: str) -> str:
    """The check digit that ends a number: weights 3 and 1 from the right, up to the next ten.

    Args:
        digits: str. Everything before it.

    Raises:
        InputError: something else than digits.
    """
    if not re.fullmatch(r"[0-9]+", digits):
        raise InputError(
            say("a number of the GS1 system has digits only"), got=f"'{digits}'", allowed=say("0 to 9")
        )
    total = sum(int(digit) * (3, 1)[place % 2] for place, digit in enumerate(reversed(digits)))
    return str(-total % 10)


def checked(number: str, what: str, lengths: tuple[int, ...]) -> str:
    """A number whose length and check digit are right.

    Args:
        number: str. As typed; blanks are left out.
        what: str. Its name for the error.
        lengths: tuple of int. Allowed counts of digits.

    Raises:
        InputError: wrong length, other characters or a wrong check digit.
    """
    digits = number.replace(" ", "")
    if len(digits) not in lengths or not re.fullmatch(r"[0-9]+", digits):
        allowed = say("{counts} digits", counts=", ".join(str(length) for length in lengths))
        raise InputError(say("{what} has another length", what=what), got=f"'{number}'", allowed=allowed)
    right = check_digit(digits[:-1])
    if digits[-1] != right:
        raise InputError(
            say("the last digit of {what} does not fit the others", what=what),
            got=f"'{number}'",
            allowed=say("{digits}, if the others are right", digits=digits[:-1] + right),
            do=say("type the number again as it is printed"),
        )
    return digits


def gtin_14(gtin: str) -> str:
    """A trade item number with 14 digits, zeros in front."""
    return checked(gtin, say("the trade item number"), (8, 12, 13, 14)).zfill(14)


def trade_item(prefix: str, item: int) -> str:
    """The GTIN-13 of a house's own item.

    Args:
        prefix: str. The house's company prefix, 6 to 11 digits.
        item: int. The house's own number of the item.

    Raises:
        InputError: not a prefix, or an item that has no room behind it.
    """
    room = 12 - len(company_prefix(prefix))
    if not 0 <= item < 10**room:
        raise InputError(
            say("the item has no room behind the prefix"),
            got=str(item),
            allowed=say("0 to {most}", most=10**room - 1),
        )
    digits = f"{prefix}{item:0{room}d}"
    return digits + check_digit(digits)


def company_prefix(prefix: str) -> str:
    """A company prefix as it may be set.

    Raises:
        InputError: not 6 to 11 digits.
    """
    if not re.fullmatch(r"[0-9]{6,11}", prefix):
        raise InputError(
            say("this is no company prefix"),
            got=f"'{prefix}'",
            allowed=say("6 to 11 digits, as GS1 gave them to the house"),
            key="gs1_company_prefix",
        )
    return prefix


def shipping_unit(prefix: str, serial: int, extension: int = 0) -> str:
    """The SSCC of a shipping unit: extension digit, prefix, serial number, check digit.

    Args:
        prefix: str. Company prefix.
        serial: int. The house's own running number.
        extension: int. 0 to 9.
    """
    room = 16 - len(company_prefix(prefix))
    if not 0 <= serial < 10**room or not 0 <= extension <= 9:
        raise InputError(say("the number has no room behind the prefix"), got=f"{extension}, {serial}")
    digits = f"{extension}{prefix}{serial:0{room}d}"
    return digits + check_digit(digits)


def own_asset(prefix: str, name: str) -> str:
    """The GIAI of a thing the house keeps, such as a rack: prefix and the house's own name for it."""
    return _text(company_prefix(prefix) + name, ASSET)


def _text(value: str, identifier: str) -> str:
    if not TEXT_82.fullmatch(value) or len(value) > LONGEST[identifier]:
        raise InputError(
            say("this name cannot stand on a tag"),
            got=f"'{value}'",
            allowed=say("up to {count} letters, digits and signs without blanks", count=LONGEST[identifier]),
        )
    return value


def address(key: LinkKey, base: str = CANONICAL) -> str:
    """The Digital Link of a key.

    Args:
        key: LinkKey.
        base: str. Where tags lead: 'https://house.example', with a folder or without.

    Raises:
        InputError: a key or qualifier that cannot stand in one.
    """
    value = checked(key.value, f"({key.key})", (DIGITS[key.key],)) if key.key in DIGITS else key.value
    parts = [key.key, quote(_text(value, ASSET) if key.key == ASSET else value, safe="")]
    for identifier, text in ((LOT, key.lot), (SERIAL, key.serial)):
        if text and identifier in QUALIFIERS[key.key]:
            parts += [identifier, quote(_text(text, identifier), safe="")]
    return "/".join([base.rstrip("/"), *parts])


def read_address(text: str) -> LinkKey | None:
    """What a Digital Link names, of any host; None when the text is no Digital Link.

    Raises:
        InputError: it is one, but a check digit or a length is wrong.
    """
    path = urlsplit(text.strip()).path if "//" in text else text.strip()
    parts = [unquote(part) for part in path.strip("/").split("/")]
    # A resolver may live under a folder: the key is the first pair that begins one.
    begin = next((place for place in range(len(parts) - 1) if _begins(parts, place)), None)
    if begin is None:
        return None
    key, value = parts[begin], parts[begin + 1]
    if key == GTIN:
        value = gtin_14(value)
    elif key in DIGITS:
        value = checked(value, f"({key})", (DIGITS[key],))
    rest = parts[begin + 2 :]
    said = dict(zip(rest[::2], rest[1::2], strict=False))
    for identifier, name in said.items():
        if identifier not in QUALIFIERS[key]:
            return None
        _text(name, identifier)
    return LinkKey(key, value, said.get(LOT, ""), said.get(SERIAL, ""))


def _begins(parts: list[str], place: int) -> bool:
    key, value = parts[place], parts[place + 1]
    if key == ASSET:
        return bool(TEXT_82.fullmatch(value))
    return key in DIGITS and bool(re.fullmatch(r"[0-9]{8,18}", value))


# (01)09521234000013(10)AL-0310, as people type what is printed below a code.
_BRACKETS = re.compile(r"\((\d{2,4})\)([^()]+)")


def read_brackets(text: str) -> LinkKey | None:
    """As `read_address`, from the line that is printed in brackets below a code; None when it is none."""
    pairs = dict(_BRACKETS.findall(text.replace(" ", "")))
    key = next((identifier for identifier in QUALIFIERS if identifier in pairs), None)
    if key is None:
        return None
    value = pairs[key]
    if key == GTIN:
        value = gtin_14(value)
    elif key in DIGITS:
        value = checked(value, f"({key})", (DIGITS[key],))
    return LinkKey(key, value, pairs.get(LOT, ""), pairs.get(SERIAL, ""))


def brackets(key: LinkKey) -> str:
    """The line printed below a code, for eyes and for typing."""
    said = f"({key.key}){key.value}"
    return said + (f"({LOT}){key.lot}" if key.lot else "") + (f"({SERIAL}){key.serial}" if key.serial else "")


def refuse_wrong_number(said: ProductNumbered) -> None:
    """Refuse a trade item number whose length or check digit is wrong.

    Raises:
        InputError: with what would have been right.
    """
    gtin_14(said.gtin)
