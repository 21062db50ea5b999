"""Taking in what a person or machine states: the only way into the journal but for sealed readings.

Each draft is checked by itself: for numbers that cannot be (`plant.limits`),
against what the house knows (`plant.fitting`), for numbers that are not
expected (`plant.expected`), and against what its author had seen. What stands
is written in one transaction; what does not is answered with the reason and
leaves nothing behind.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Protocol

from sqlalchemy import Connection

from saltloft.foundation.errors import InputError, RuleBroken, SaltloftError
from saltloft.foundation.words import say
from saltloft.plant import entries as kinds
from saltloft.plant.canonical import canonical_bytes, read_canonical, refuse_nul
from saltloft.plant.expected import Fit, fit_of
from saltloft.plant.fitting import DEFINES, Context, check
from saltloft.plant.flow import LotsMerged, LotSplit
from saltloft.plant.flow_fitting import ASKING, FlowContext, check_flow
from saltloft.plant.flow_limits import refuse_impossible_flow
from saltloft.plant.flow_story import TELLING
from saltloft.plant.limits import refuse_impossible
from saltloft.plant.lots import LotHeld, LotReleased
from saltloft.plant.parties import PartyNameErased
from saltloft.plant.permit import ReleasePermit
from saltloft.plant.readings import Corrected, ReadingsSealed, ReadingsVoided
from saltloft.plant.rights import may, roles_for
from saltloft.plant.stated import Draft, Receipt, Stamp
from saltloft.store import journal, writing
from saltloft.store.flow_state import FlowState
from saltloft.store.journal import Entry, NewEntry
from saltloft.store.open import Store
from saltloft.store.secrets import forget_contact
from saltloft.store.state import LOT_MAKING, State

_ID = re.compile(r"^[A-Za-z0-9-]{8,64}$")
# A phone's clock may run ahead of the server's by this much.
AHEAD = timedelta(minutes=5)
EARLIEST_YEAR = 1990


class RecordingHouse(Protocol):
    """The part of an opened house that recording needs."""

    @property
    def store(self) -> Store: ...

    @property
    def demo(self) -> bool: ...


def enter(
    house: RecordingHouse,
    by: Stamp,
    drafts: Sequence[Draft],
    *,
    permits: Sequence[ReleasePermit] = (),
) -> list[Receipt]:
    """Take in drafts, each by itself, and write those that stand in one commit.

    Args:
        house: an opened house.
        by: Stamp. Who sends them, on what, and when they came in.
        drafts: sequence of Draft. In the order they happened.
        permits: sequence of ReleasePermit. One for every LotReleased among the drafts.

    Returns:
        list of Receipt, one each, in order. Nothing is acknowledged before it is on the disk.

    Raises:
        StoreError: when the database cannot take anything.
    """

    demo = house.demo

    def work(connection: Connection) -> list[Receipt]:
        with house.store.known.during(connection) as known:
            return _Intake(connection, State(connection, known), by, drafts, permits, demo=demo).run()

    return house.store.write(work)


@dataclass(frozen=True)
class _Taken:
    """A draft that stands: what will be written, and what to say about it."""

    new: NewEntry
    words: str
    fit: Fit


class _Intake:
    """One call of `enter`, inside its transaction."""

    def __init__(
        self,
        connection: Connection,
        state: State,
        by: Stamp,
        drafts: Sequence[Draft],
        permits: Sequence[ReleasePermit],
        *,
        demo: bool,
    ) -> None:
        self.connection = connection
        self.by = by
        self.drafts = drafts
        self.permits = {permit.lot: permit for permit in permits}
        self.demo = demo
        self.state = state
        self.flow = FlowState(connection)
        # Mass was booked that is not in the tables yet.
        self.booked = False
        self.stored: dict[str, Entry] = {
            entry.id: entry for entry in journal.by_ids(connection, [draft.id for draft in drafts])
        }
        self.waiting: dict[str, _Taken] = {}

    def run(self) -> list[Receipt]:
        """A receipt for every draft, once the ones that stand are in the journal."""
        answers: list[Receipt | _Taken] = [self._one(draft) for draft in self.drafts]
        self._flush()
        return [answer if isinstance(answer, Receipt) else self._receipt(answer) for answer in answers]

    def _receipt(self, taken: _Taken) -> Receipt:
        seq = self.stored[taken.new.id].seq
        return Receipt(taken.new.id, "stored", taken.words, seq, taken.fit.words)

    def _flush(self) -> None:
        taken_in = [taken.new for taken in self.waiting.values()]
        written = writing.append(self.connection, taken_in, after=self.state.end)
        self.stored.update({entry.id: entry for entry in written})
        self.waiting.clear()
        self.booked = False
        self.state.written(written)

    def _one(self, draft: Draft) -> Receipt | _Taken:
        try:
            return self._take(draft)
        except SaltloftError as error:
            return Receipt(draft.id, "refused", error.message, 0, "", error.key, error.allowed)

    def _take(self, draft: Draft) -> Receipt | _Taken:
        kind = _kind(draft)
        new = self._as_entry(draft, kind)
        again = self._again(new)
        if again is not None:
            return again
        role = self._role(new.person, kind)
        payload = draft.payload
        refuse_impossible(payload)
        refuse_impossible_flow(payload)
        context = Context(self.state, draft.happened_at, new.person, role, self.demo)
        if isinstance(payload, Corrected):
            return self._correction(new, payload, context)
        words = check(payload, context)
        if self.booked and type(payload) in ASKING:
            # What was booked before has to stand in the tables that this one's check reads.
            self._flush()
        words = check_flow(payload, FlowContext(context, self.flow)) or words or say("Recorded.")
        if isinstance(payload, LotReleased):
            self._permitted(payload, new)
        if isinstance(payload, ReadingsSealed):
            raise RuleBroken("readings are sealed by an import, not entered", do="import the logger's file")
        fit = self._fit(payload, draft)
        if not fit.fits and not getattr(payload, "kept", 0):
            return Receipt(draft.id, "ask", fit.words, 0, fit.words)
        journal.refuse_clash(self.connection, new, self._waiting_entries())
        return self._accept(_Taken(new, words, fit), payload)

    def _fit(self, payload: Any, draft: Draft) -> Fit:
        lot = getattr(payload, "lot", "")
        return fit_of(payload, self.state.lot(lot), draft.happened_at) if lot else Fit()

    def _accept(self, taken: _Taken, payload: Any) -> _Taken:
        new = taken.new
        self.waiting[new.id] = taken
        if type(payload) in DEFINES:
            sort, name = DEFINES[type(payload)]
            self.state.note(sort, getattr(payload, name) if name else "house", payload)
        if getattr(payload, "lot", None) == new.subject:
            self.state.take(payload.lot, new.id, payload, new.happened_at)
        self.booked = self.booked or type(payload) in TELLING
        if isinstance(payload, PartyNameErased):
            forget_contact(self.connection, payload.party)
        self._renew(payload, new.subject)
        return taken

    def _renew(self, payload: Any, subject: str) -> None:
        """What is known of lots that a split, a merge or an entry about the whole of a split lot changes."""
        if isinstance(payload, LotsMerged):
            changed: tuple[str, ...] = (payload.lot, *payload.sources)
        elif isinstance(payload, LotSplit):
            changed = tuple(part.lot for part in payload.parts)
        elif getattr(payload, "lot", "") and self.state.lot(payload.lot).ended:
            changed = (subject,)
        else:
            return
        self._flush()
        for lot in changed:
            self.state.forget(lot)

    def _waiting_entries(self) -> Iterable[NewEntry]:
        return (taken.new for taken in self.waiting.values())

    def _again(self, new: NewEntry) -> Receipt | None:
        if new.id in self.stored:
            old = self.stored[new.id]
            # A device may send again what an earlier version of the program wrote in its own words.
            if old.kind == new.kind or not _says_the_same(old, new):
                old = journal.same_or_refused(old, new)
            return Receipt(new.id, "already", say("Recorded before: nothing was added."), old.seq)
        if new.id in self.waiting:
            self._flush()
            return self._again(new)
        return None

    def _as_entry(self, draft: Draft, kind: str) -> NewEntry:
        if not _ID.match(draft.id):
            raise InputError(
                "the entry's id cannot be", got=draft.id[:70], allowed="8 to 64 letters, digits, -"
            )
        recorded_at = self.by.recorded_at
        if draft.recorded_at is not None and draft.recorded_at != recorded_at:
            if not self.demo:
                raise RuleBroken("an entry is recorded when it comes in", got=str(draft.recorded_at))
            recorded_at = draft.recorded_at
        _possible_time(draft.happened_at, recorded_at)
        plain = kinds.encode(draft.payload)
        refuse_nul([plain, draft.person or self.by.person, draft.device or self.by.device])
        return NewEntry(
            id=draft.id,
            kind=kind,
            subject=self._subject(draft),
            body=canonical_bytes(plain),
            happened_at=draft.happened_at,
            recorded_at=recorded_at,
            person=draft.person or self.by.person,
            device=draft.device or self.by.device,
            seen=draft.seen,
        )

    def _subject(self, draft: Draft) -> str:
        if not isinstance(draft.payload, Corrected):
            return kinds.subject_of(draft.payload)
        return self._original(draft.payload).subject

    def _original(self, said: Corrected) -> Entry:
        if said.entry in self.waiting:
            self._flush()
        if said.entry not in self.stored:
            found = list(journal.by_ids(self.connection, [said.entry]))
            if not found:
                raise InputError("there is no entry of that number to correct", got=said.entry, key="entry")
            self.stored[said.entry] = found[0]
        return self.stored[said.entry]

    def _role(self, person: str, kind: str) -> str:
        if self.state.anybody_may():
            return ""
        found = self.state.get("person", person, "person")
        if not may(found.role, kind):
            raise RuleBroken(
                f"{person} ({found.role}) may not enter this",
                got=kind,
                allowed=", ".join(roles_for(kind)) or "nobody",
                key="person",
            )
        return str(found.role)

    def _permitted(self, said: LotReleased, new: NewEntry) -> None:
        permit = self.permits.get(said.lot)
        fits = permit is not None and (
            (permit.market, permit.verdict_digest, permit.person)
            == (said.market, said.verdict_digest, new.person)
        )
        if not fits or permit is None:
            raise RuleBroken(
                f"{said.lot} is signed out only after every hazard was asked",
                do="ask for its release; open hazards are named there",
                key="lot",
            )
        later = journal.last_seq(self.connection, said.lot)
        if later > permit.seen or any(taken.new.subject == said.lot for taken in self.waiting.values()):
            raise RuleBroken(
                f"something was stated about {said.lot} after it was judged",
                got=f"entry {later}",
                do="look at it and ask for the release again",
                key="lot",
            )
        if self.state.lot(said.lot).open_holds:
            raise RuleBroken(f"{said.lot} is on hold", do="lift the hold first", key="lot")

    def _correction(self, new: NewEntry, said: Corrected, context: Context) -> Receipt | _Taken:
        original = self._original(said)
        refuse_correction(original, said)
        if not may(context.role, original.kind) and context.role:
            raise RuleBroken(
                f"{new.person} ({context.role}) may not correct this",
                got=original.kind,
                allowed=", ".join(roles_for(original.kind)),
                key="person",
            )
        if not said.payload and original.kind in LOT_MAKING:
            self._unused(new.subject)
        journal.refuse_clash(self.connection, new, self._waiting_entries())
        if said.payload:
            replacement = kinds.decode(said.kind, read_canonical(said.payload.encode()))
            refuse_impossible(replacement)
            refuse_impossible_flow(replacement)
            at = datetime.fromisoformat(original.happened_at)
            correcting = replace(context, at=at, correcting=True)
            check(replacement, correcting)
            self._flush()
            check_flow(replacement, FlowContext(correcting, self.flow, original.id))
            if kinds.subject_of(replacement) != original.subject:
                raise RuleBroken(
                    "a correction stays with the same lot or thing",
                    got=kinds.subject_of(replacement),
                    allowed=original.subject,
                    do="strike the entry out, and enter it anew where it belongs",
                    key="payload",
                )
        taken = _Taken(new, say("Recorded. The old entry stays, struck through."), Fit())
        self.waiting[new.id] = taken
        self._flush()
        self.state.forget(new.subject)
        return taken

    def _unused(self, lot: str) -> None:
        self._flush()
        if self.state.lot(lot).entries > 1 or self.flow.parts_of(lot) or self.flow.out_mg(lot):
            raise RuleBroken(
                f"{lot} cannot be struck out while other entries speak of it",
                do="strike those out first, or correct its numbers",
                key="entry",
            )


def refuse_correction(original: Entry, said: Corrected) -> None:
    """Refuse a correction that another entry is meant for, or that says nothing.

    Raises:
        RuleBroken, InputError: with what to do instead.
    """
    payload = kinds.decode(original.kind, read_canonical(original.body))
    if isinstance(payload, Corrected):
        raise RuleBroken(
            "a correction is not corrected itself", do="correct the first entry again", key="entry"
        )
    if isinstance(payload, ReadingsSealed | ReadingsVoided):
        raise RuleBroken("sealed readings never change", do="undo the import", key="entry")
    if isinstance(payload, LotHeld) and not said.payload:
        raise RuleBroken("a hold is not struck out", do="lift it, with the reason", key="entry")
    if isinstance(payload, LotReleased) and said.payload:
        raise RuleBroken("a release is struck out, not changed", do="leave the new values empty", key="entry")
    if kinds.newest(said.kind) != kinds.newest(original.kind):
        raise InputError(
            "the correction is of another kind", got=said.kind, allowed=original.kind, key="kind"
        )
    if not said.reason.strip():
        raise InputError("a correction needs its reason", key="reason")


def _says_the_same(old: Entry, new: NewEntry) -> bool:
    if kinds.newest(old.kind) != new.kind or old.subject != new.subject or old.person != new.person:
        return False
    said = [kinds.decode(entry.kind, read_canonical(entry.body)) for entry in (old, new)]
    return said[0] == said[1] and datetime.fromisoformat(old.happened_at) == new.happened_at


def _kind(draft: Draft) -> str:
    try:
        return kinds.kind_of(draft.payload)
    except KeyError:
        raise InputError(
            "this is not an entry", got=type(draft.payload).__name__, allowed=", ".join(kinds.KINDS)
        ) from None


def _possible_time(happened_at: datetime, recorded_at: datetime) -> None:
    if happened_at.tzinfo is None:
        raise InputError("a moment needs its time zone", got=happened_at.isoformat(), key="happened_at")
    if happened_at > recorded_at + AHEAD:
        raise InputError(
            "this would happen in the future",
            got=happened_at.isoformat(timespec="minutes"),
            allowed=f"up to {recorded_at.isoformat(timespec='minutes')}",
            do="look at the date and the device's clock",
            key="happened_at",
        )
    if happened_at.year < EARLIEST_YEAR:
        raise InputError("the date is too long ago", got=happened_at.isoformat(), key="happened_at")
