"""Rooms, instruments, products, stock and people as their entries tell them.

Every list holds what counts, oldest first; struck entries are in `history`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from saltloft.plant.flow import MaterialCounted
from saltloft.plant.instruments import InstrumentChecked, InstrumentDefined
from saltloft.plant.people import PersonAdded
from saltloft.plant.readings import ReadingsSealed, ReadingsVoided
from saltloft.plant.recipes import ProductDefined, RecipeDefined
from saltloft.plant.rooms import RoomDefined, RoomSet
from saltloft.plant.stated import Stated
from saltloft.plant.stock import MaterialReceived


@dataclass(frozen=True)
class RoomRecord:
    """A room and every setting it was given.

    Args:
        room: str.
        defined: Stated of RoomDefined. The last definition.
        settings: tuple of Stated of RoomSet, by when they were set.
        history: tuple of Stated.
    """

    room: str
    defined: Stated[RoomDefined]
    settings: tuple[Stated[RoomSet], ...]
    history: tuple[Stated[Any], ...]

    def set_at(self, moment: datetime) -> Stated[RoomSet] | None:
        """The setting in force at a moment; None before the first."""
        before = [setting for setting in self.settings if setting.at <= moment]
        return before[-1] if before else None


@dataclass(frozen=True)
class CheckState:
    """Whether a reading taken with an instrument at a moment may count.

    Args:
        in_check: bool. A good check lies within the allowed days before it and no failed check
            is the next one after it.
        why: str. 'in_check', 'never_checked', 'check_overdue', 'failed' (the last check before
            failed) or 'failed_later' (the next check failed: in doubt since the last good one).
        last_good: Stated of InstrumentChecked or None. The good check it rests on.
        failed: Stated of InstrumentChecked or None. The failed check that throws it into doubt.
    """

    in_check: bool
    why: str
    last_good: Stated[InstrumentChecked] | None = None
    failed: Stated[InstrumentChecked] | None = None


@dataclass(frozen=True)
class InstrumentRecord:
    """An instrument and its checks.

    Args:
        instrument: str.
        defined: Stated of InstrumentDefined.
        checks: tuple of Stated of InstrumentChecked, by when they were done.
        history: tuple of Stated.
    """

    instrument: str
    defined: Stated[InstrumentDefined]
    checks: tuple[Stated[InstrumentChecked], ...]
    history: tuple[Stated[Any], ...]

    def check_state(self, moment: datetime) -> CheckState:
        """Whether a reading at `moment` may count, by the checks before and after it."""
        before = [check for check in self.checks if check.at <= moment]
        after = [check for check in self.checks if check.at > moment]
        if not before:
            return CheckState(False, "never_checked")
        last = before[-1]
        if not last.payload.good:
            return CheckState(False, "failed", failed=last)
        if after and not after[0].payload.good:
            return CheckState(False, "failed_later", last_good=last, failed=after[0])
        if moment - last.at > timedelta(days=self.defined.payload.check_every_days):
            return CheckState(False, "check_overdue", last_good=last)
        return CheckState(True, "in_check", last_good=last)

    def in_check_at(self, moment: datetime) -> bool:
        """As `check_state(moment).in_check`."""
        return self.check_state(moment).in_check

    def due_at(self) -> datetime | None:
        """When the next check is due; None when it was never checked."""
        if not self.checks:
            return None
        return self.checks[-1].at + timedelta(days=self.defined.payload.check_every_days)


@dataclass(frozen=True)
class ProductRecord:
    """A product and its versions; the last definition counts.

    Args:
        product: str.
        defined: Stated of ProductDefined.
        history: tuple of Stated.
    """

    product: str
    defined: Stated[ProductDefined]
    history: tuple[Stated[Any], ...]


@dataclass(frozen=True)
class RecipeRecord:
    """One recipe version.

    Args:
        recipe: str.
        defined: Stated of RecipeDefined.
        history: tuple of Stated.
    """

    recipe: str
    defined: Stated[RecipeDefined]
    history: tuple[Stated[Any], ...]


@dataclass(frozen=True)
class MaterialRecord:
    """A material lot: what came in and how much of it went where.

    Args:
        material_lot: str.
        received: Stated of MaterialReceived.
        used_mg: int. Weighed amounts that went into lots, or were thrown away. [mg]
        history: tuple of Stated.
        counted: Stated of MaterialCounted, or None. The last count of what is left.
        used_since_mg: int. Of `used_mg`, what went after that count. [mg]
    """

    material_lot: str
    received: Stated[MaterialReceived]
    used_mg: int
    history: tuple[Stated[Any], ...]
    counted: Stated[MaterialCounted] | None = None
    used_since_mg: int = 0

    @property
    def left_mg(self) -> int:
        """What is left by the book: received less used, or counted less used since. [mg]"""
        if self.counted is not None:
            left = self.counted.payload.left
            return (left.mg if left is not None else 0) - self.used_since_mg
        if self.received.payload.decision == "refused":
            return 0
        return self.received.payload.mass.mg - self.used_mg


@dataclass(frozen=True)
class PersonRecord:
    """A person as the journal knows them; the name comes from outside the chain.

    Args:
        person: str. Id.
        added: Stated of PersonAdded. The last statement of role and language.
        name: str. Shown name; the id when it was erased or never given.
    """

    person: str
    added: Stated[PersonAdded]
    name: str

    @property
    def role(self) -> str:
        """One of people.ROLES."""
        return self.added.payload.role


@dataclass(frozen=True)
class BatchRecord:
    """A sealed batch of readings.

    Args:
        batch: str.
        sealed: Stated of ReadingsSealed.
        voided: Stated of ReadingsVoided or None.
    """

    batch: str
    sealed: Stated[ReadingsSealed]
    voided: Stated[ReadingsVoided] | None = None

    @property
    def counts(self) -> bool:
        """False once it was voided or its seal was struck out."""
        return self.voided is None
