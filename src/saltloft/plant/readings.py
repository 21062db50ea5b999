"""What is measured on a lot, and the sealed batches of the room loggers."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from saltloft.foundation.units import Mass

PH_PLACES = ("core", "rim", "test_mince", "offcut", "strip")
SAMPLE_KINDS = ("ground", "core", "rim", "slice")
CUT_COLOURS = ("even", "pale", "grey_core", "grey_rim", "brown", "uneven")


@dataclass(frozen=True)
class PieceWeighed:
    """One tagged piece, or several pieces together, put on a scale.

    Args:
        lot: str.
        mass: Mass. As read; the tare is in it.
        instrument: str. The scale.
        tag: str. Tag of the piece; empty for an untagged set.
        pieces: int. How many hung on the scale together.
        tare: Mass or None. Hook or trolley in the reading.
        green: int. 1 for the piece's green weight, taken when it was hung.
        rack: str. Where it hangs; may be empty.
        kept: int. 1 when the person kept an unexpected number after being asked.
    """

    lot: str
    mass: Mass
    instrument: str
    tag: str = ""
    pieces: int = 1
    tare: Mass | None = None
    green: int = 0
    rack: str = ""
    kept: int = 0


@dataclass(frozen=True)
class PhRead:
    """A set of pH readings taken together, one value per piece.

    Args:
        lot: str.
        values: tuple of Decimal. One per piece, as read.
        where: str. One of PH_PLACES: what was measured.
        instrument: str.
        core_temperature_c: Decimal or None. [degC]
        kept: int. 1 when kept after being asked.
    """

    lot: str
    values: tuple[Decimal, ...]
    where: str
    instrument: str
    core_temperature_c: Decimal | None = None
    kept: int = 0


@dataclass(frozen=True)
class WaterActivityRead:
    """A water activity measured on a sample.

    Args:
        lot: str.
        value: Decimal. 0..1.
        sample: str. One of SAMPLE_KINDS.
        instrument: str.
        sample_temperature_c: Decimal or None. [degC]
        kept: int. 1 when kept after being asked.
    """

    lot: str
    value: Decimal
    sample: str
    instrument: str
    sample_temperature_c: Decimal | None = None
    kept: int = 0


@dataclass(frozen=True)
class PressedAndCut:
    """The curer's hand and eye: press at three places, one piece cut.

    What nobody looked at is not said: -1, an empty word or no number, never 'none'.

    Args:
        lot: str.
        press: tuple of int. 1 (soft) to 5 (hard) at three places, top, middle and bottom; may be empty.
        rim_mm: Decimal or None. Thickness of the dark, dry rim in the cut. [mm]
        hollow: int. 0 none, 1 small, 2 large; -1 not looked.
        smear: int. Fat smeared over the cut: 0 none, 1 some, 2 much; -1 not looked.
        good: int. 1 when the curer calls it good, 0 not yet, -1 not said.
        note: str.
        ring: int. A ring that stands out under the rim: 0 none, 1 faint, 2 clear; -1 not looked.
        colour: str. One of CUT_COLOURS; empty when not said.
        tag: str. Tag of the piece that was cut; empty for one without a tag.
        kept: int. 1 when kept after being asked.
    """

    lot: str
    press: tuple[int, ...] = ()
    rim_mm: Decimal | None = None
    hollow: int = -1
    smear: int = -1
    good: int = -1
    note: str = ""
    ring: int = -1
    colour: str = ""
    tag: str = ""
    kept: int = 0


@dataclass(frozen=True)
class CheckDone:
    """A round or check of the house was done.

    Args:
        check: str. In the house's own words, such as 'round 05:30 D2'.
        good: int. 1 as it should be, 0 not.
        found: str.
        room: str.
        due_at: str. ISO moment it was due; empty when it was not on a list.
    """

    check: str
    good: int
    found: str = ""
    room: str = ""
    due_at: str = ""


@dataclass(frozen=True)
class DocumentRecorded:
    """An outside document a named person records for a hazard.

    Args:
        hazard: str.
        number: str.
        date: str. ISO day of issue.
        issuer: str.
        digest: str. SHA-256 of the attached file; empty when only named.
        covers_products: tuple of str. Empty means no product by itself.
        covers_lots: tuple of str.
        covers_from: str. ISO day; empty when open.
        covers_to: str. ISO day; empty when open.
        limits: str. Which limits it covers, in its own words.
        demo: int. 1: 'demo document, not evidence'.
    """

    hazard: str
    number: str
    date: str
    issuer: str
    digest: str = ""
    covers_products: tuple[str, ...] = ()
    covers_lots: tuple[str, ...] = ()
    covers_from: str = ""
    covers_to: str = ""
    limits: str = ""
    demo: int = 0


@dataclass(frozen=True)
class ReadingsSealed:
    """One import of logger values, sealed by row count and digest.

    Args:
        batch: str. Id of the batch.
        file_name: str.
        file_digest: str. SHA-256 of the file's bytes.
        rows: int.
        digest: str. SHA-256 over the rows as kept.
        series: tuple of str. Names, 'ROOM/temperature_c', 'ROOM/rh_pct'.
        first_at: str. ISO moment, UTC.
        last_at: str. ISO moment, UTC.
        understood: tuple of str. What the reader understood, one sentence each.
        clock_offset_seconds: int. Correction applied to the logger's clock. [s]
    """

    batch: str
    file_name: str
    file_digest: str
    rows: int
    digest: str
    series: tuple[str, ...]
    first_at: str
    last_at: str
    understood: tuple[str, ...] = ()
    clock_offset_seconds: int = 0


@dataclass(frozen=True)
class ReadingsVoided:
    """A sealed batch no longer counts; its rows stay.

    Args:
        batch: str.
        reason: str.
    """

    batch: str
    reason: str


@dataclass(frozen=True)
class Corrected:
    """An earlier entry was wrong; the new payload counts instead.

    Args:
        entry: str. Id of the entry corrected.
        reason: str.
        kind: str. Kind of the payload, the same as the old entry's.
        payload: str. Canonical JSON of the payload that counts now; empty to strike it out.
    """

    entry: str
    reason: str
    kind: str
    payload: str = ""
