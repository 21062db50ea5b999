"""What stands on a rack tag, a ham tag or a pack label: few big words, a code, the number to type."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from urllib.parse import quote

from saltloft.foundation.errors import InputError
from saltloft.plant.answers import HouseFace
from saltloft.plant.digital_link import GTIN, LinkKey, address, brackets, gtin_14

RACK, HAM, PACK, STICKER = "rack", "ham", "pack", "sticker"


@dataclass(frozen=True)
class Tag:
    """One tag.

    Args:
        sort: str. RACK, HAM, PACK or STICKER (a rack's own, which stays on it).
        big: str. The number read at arm's length.
        lines: tuple of str.
        link: str. What the code says.
        typed: str. The same for eyes and fingers.
    """

    sort: str
    big: str
    lines: tuple[str, ...]
    link: str
    typed: str


@dataclass(frozen=True)
class TagSheet:
    """Tags to print together.

    Args:
        house: HouseFace.
        day: date. In the house's zone.
        tags: tuple of Tag.
    """

    house: HouseFace
    day: date
    tags: tuple[Tag, ...] = field(default=())


def link_of(base: str, number: str, *, gtin: str = "", lot: str = "", serial: str = "") -> tuple[str, str]:
    """The address on a tag and the line to type: a Digital Link where there is a trade item number.

    Args:
        base: str. Where tags of this house lead.
        number: str. The plain number.
        gtin: str. Empty: the product has none.
        lot, serial: str. Qualifiers.
    """
    if gtin:
        key = LinkKey(GTIN, gtin_14(gtin), lot, serial)
        try:
            return address(key, base), brackets(key)
        except InputError:
            # A number too long for the standard still gets a tag: the house's own address.
            pass
    return own_link(base, number), number


def own_link(base: str, number: str) -> str:
    """The house's own address of a number."""
    return f"{base.rstrip('/')}/g/{quote(number, safe='')}"


def with_attributes(link: str, *, use_by: str = "", net_mg: int = 0) -> str:
    """A Digital Link with what else a scanner of the trade reads: expiry (17) and net weight in grams (3103).

    Args:
        link: str.
        use_by: str. ISO day; may be empty.
        net_mg: int. Of one pack; 0: not said. [mg]
    """
    said = []
    if use_by:
        said.append(f"17={date.fromisoformat(use_by):%y%m%d}")
    # Application identifier 3103 is the net weight in kilograms with three decimals, six digits.
    if 0 < net_mg < 10**12 and net_mg % 1000 == 0:
        said.append(f"3103={net_mg // 1000:06d}")
    return f"{link}?{'&'.join(said)}" if said and "/01/" in link else link
