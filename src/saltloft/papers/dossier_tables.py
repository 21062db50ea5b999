"""The tables of a lot's dossier: readings, recipe, calibrations, sources; corrections struck through."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from saltloft.foundation.words import say
from saltloft.papers.page import Grid
from saltloft.plant.analyses import LotAnalysed, PieceMeasured
from saltloft.plant.entries import encode
from saltloft.plant.folder import LotFolder
from saltloft.plant.readings import DocumentRecorded, PhRead, PieceWeighed, PressedAndCut, WaterActivityRead
from saltloft.plant.sentences import hazard_words, moment_words
from saltloft.plant.stated import Stated
from saltloft.plant.trade_words import (
    analyst_word,
    confidence_word,
    cut_words,
    instrument_word,
    ph_place_word,
    sample_word,
)

Cells = tuple[str, ...]


def weighings(folder: LotFolder) -> Grid:
    """Every weighing as typed, with the loss where the piece's green weight is known."""
    green: dict[str, float] = {
        item.payload.tag: item.payload.mass.kg - (item.payload.tare.kg if item.payload.tare else 0.0)
        for item in folder.record.weighings
        if item.payload.green and item.payload.tag
    }

    def cells(payload: PieceWeighed) -> Cells:
        net = payload.mass.kg - (payload.tare.kg if payload.tare else 0.0)
        start = green.get(payload.tag, 0.0)
        loss = f"{100.0 * (1.0 - net / start):.1f}" if start and not payload.green else ""
        typed = f"{payload.mass.number} {payload.mass.unit}"
        what = say("green") if payload.green else (say("kept") if payload.kept else "")
        return (
            payload.tag or say("{count} pieces", count=payload.pieces),
            typed,
            loss,
            what,
            payload.instrument,
        )

    columns = (say("tag"), say("as typed"), say("loss %"), say("what"), say("scale"))
    return _stated(folder, "piece.weighed", say("Weighings, measured"), columns, cells, right=(2, 3))


def ph_sets(folder: LotFolder) -> Grid:
    """Every pH set with what was measured."""

    def cells(payload: PhRead) -> Cells:
        core = "" if payload.core_temperature_c is None else f"{payload.core_temperature_c}"
        values = ", ".join(str(value) for value in payload.values)
        return (ph_place_word(payload.where), values, core, payload.instrument)

    columns = (say("where"), say("pH"), say("core °C"), say("meter"))
    return _stated(folder, "ph.read", say("pH, measured"), columns, cells)


def water_activities(folder: LotFolder) -> Grid:
    """Every measured water activity with how the sample was taken."""

    def cells(payload: WaterActivityRead) -> Cells:
        return (sample_word(payload.sample), str(payload.value), payload.instrument)

    columns = (say("sample"), say("water activity"), say("meter"))
    return _stated(folder, "water_activity.read", say("Water activity, measured"), columns, cells, right=(2,))


def pressed_and_cut(folder: LotFolder) -> Grid:
    """The curer's hand and eye."""

    def cells(payload: PressedAndCut) -> Cells:
        said = {1: say("good"), 0: say("not yet"), -1: ""}[payload.good]
        rim = "" if payload.rim_mm is None else f"{payload.rim_mm}"
        press = " ".join(str(value) for value in payload.press)
        return (press, rim, cut_words(payload), said, payload.note)

    columns = (say("press 1–5"), say("rim mm"), say("cut"), say("curer"), say("note"))
    return _stated(folder, "lot.pressed_and_cut", say("Pressed and cut"), columns, cells)


def analyses(folder: LotFolder) -> Grid:
    """Every analysis of a sample, with the ratio where water and protein are of the same one."""

    def cells(payload: LotAnalysed) -> Cells:
        parts = (payload.moisture_pct, payload.protein_pct, payload.fat_pct, payload.salt_pct)
        ratio = "" if payload.protein_pct is None else f"{payload.moisture_pct / payload.protein_pct:.2f}"
        shown = tuple("" if part is None else str(part) for part in parts)
        origin = ", ".join(part for part in (analyst_word(payload.analyst), payload.document) if part)
        return (sample_word(payload.sample), *shown, ratio, origin)

    columns = (
        say("sample"),
        say("water %"),
        say("protein %"),
        say("fat %"),
        say("salt %"),
        say("moisture:protein"),
        say("from"),
    )
    title = say("Analyses, measured")
    return _stated(folder, "lot.analysed", title, columns, cells, right=(2, 3, 4, 5, 6))


def diameters(folder: LotFolder) -> Grid:
    """Every diameter that was measured."""

    def cells(payload: PieceMeasured) -> Cells:
        other = "" if payload.other_mm is None else str(payload.other_mm)
        return (payload.tag, str(payload.diameter_mm), other)

    columns = (say("tag"), say("mm"), say("across it, mm"))
    return _stated(folder, "piece.measured", say("Diameters, measured"), columns, cells, right=(2, 3))


def _stated(
    folder: LotFolder,
    kind: str,
    title: str,
    columns: Cells,
    cells: Callable[[Any], Cells],
    *,
    right: tuple[int, ...] = (),
) -> Grid:
    """One row an entry; a corrected entry is struck through and followed by what counts."""
    rows: list[Cells] = []
    struck: list[int] = []
    for item in folder.record.history:
        if item.kind.partition("/")[0] != kind:
            continue
        front, back = _when(folder, item), (item.person, f"#{item.seq}")
        if not item.corrected:
            rows.append((front, *cells(item.payload), *back))
            continue
        struck.append(len(rows))
        rows.append((front, *cells(item.original), *back))
        last = item.corrections[-1]
        words = say("struck: {reason}", reason=last.reason) if item.struck else last.reason
        shown = ("",) * len(columns) if item.struck else cells(item.payload)
        rows.append((words, *shown, last.person, f"#{last.seq}"))
    heads = (say("when"), *columns, say("by"), say("entry"))
    return Grid(title, heads, tuple(rows), right=right, struck=tuple(struck), empty=say("None recorded."))


def _when(folder: LotFolder, item: Stated[Any]) -> str:
    return moment_words(item.at, folder.house.zone, _today(folder))


def _today(folder: LotFolder) -> date:
    return folder.at.astimezone(ZoneInfo(folder.house.zone)).date()


def rooms(folder: LotFolder) -> Grid:
    """Where it hung, and since when."""
    rows = tuple(
        (
            stay.room,
            moment_words(stay.start, folder.house.zone, _today(folder)),
            say("still there")
            if stay.end is None
            else moment_words(stay.end, folder.house.zone, _today(folder)),
            ", ".join(stay.racks) or say("not named"),
            f"{100.0 * stay.share:.0f} %",
        )
        for stay in folder.record.rooms
    )
    columns = (say("room"), say("from"), say("to"), say("racks"), say("share"))
    return Grid(say("Where it hung"), columns, rows, right=(4,), empty=say("Not hung yet."))


def holds(folder: LotFolder) -> Grid:
    """Holds and what lifted them, releases and by whom."""
    rows: list[Cells] = []
    for hold in folder.record.holds:
        end = say("open") if hold.lifted is None else say("lifted by {person}", person=hold.lifted.person)
        why = hold.held.payload.reason
        rows.append((_when(folder, hold.held), say("held"), why, hold.held.person, end))
        if hold.lifted is not None:
            lifted = hold.lifted
            rows.append((_when(folder, lifted), say("lifted"), lifted.payload.reason, lifted.person, ""))
    rows += [
        (
            _when(folder, item),
            say("released"),
            item.payload.market,
            item.person,
            item.payload.verdict_digest[:16],
        )
        for item in folder.record.releases
    ]
    columns = (say("when"), say("what"), say("why"), say("by"), say("state"))
    return Grid(say("Holds and release"), columns, tuple(rows), empty=say("No hold and no release."))


def recipe(folder: LotFolder) -> Grid:
    """What went in, by weighed amounts where there are any, with ingoing nitrite."""
    rows = tuple(
        (
            line.name,
            "–" if line.mass_kg is None else f"{line.mass_kg:,.3f}",
            "–" if line.dose_g_kg is None else f"{line.dose_g_kg:g}",
            ", ".join(line.material_lots),
        )
        for line in folder.ingoing
    )
    note = "; ".join(
        say("ingoing sodium nitrite {value} mg/kg of {basis}", value=f"{value:.0f}", basis=basis)
        for basis, value in folder.nitrite_mg_kg.items()
    )
    name = folder.recipe.recipe if folder.recipe else ""
    columns = (say("ingredient"), say("weighed kg"), say("dose g/kg"), say("material lots"))
    return Grid(
        say("Recipe {name}", name=name).rstrip(),
        columns,
        rows,
        right=(1, 2),
        note=note,
        empty=say("No recipe: legs and salt by the ham record."),
    )


def instruments(folder: LotFolder) -> Grid:
    """What it was measured with, and whether that was in check."""
    rows = tuple(
        (
            use.instrument,
            instrument_word(use.type),
            str(use.uses),
            say("all in check") if not use.out_of_check else say("{count} in doubt", count=use.out_of_check),
            use.last_good,
            use.failed,
        )
        for use in folder.instruments
    )
    columns = (
        say("instrument"),
        say("type"),
        say("readings"),
        say("state"),
        say("last good check"),
        say("failed"),
    )
    return Grid(say("Instruments and their checks"), columns, rows, right=(2,), empty=say("None used yet."))


def people(folder: LotFolder) -> Grid:
    """Who recorded what this paper rests on."""
    rows = tuple(sorted(folder.people.items()))
    return Grid(say("People"), (say("id"), say("name and role")), rows, empty=say("None."))


def documents(folder: LotFolder) -> Grid:
    """Outside documents: what each says it covers; one that does not cover this lot changes nothing."""
    covering = {entry for stand in folder.judgement.hazards for entry in stand.documents}

    def row(item: Stated[DocumentRecorded]) -> Cells:
        document = item.payload
        mark = say("demo document, not evidence") if document.demo else ""
        covers = say("covers this lot") if item.entry_id in covering else say("does not cover this lot")
        words = (document.limits, covers, mark)
        return (
            hazard_words(document.hazard),
            f"{document.number}, {document.date}, {document.issuer}",
            "; ".join(word for word in words if word),
            item.person,
        )

    columns = (say("hazard"), say("document"), say("by document, not judged"), say("by"))
    rows = tuple(row(item) for item in folder.documents)
    return Grid(say("Documents"), columns, rows, empty=say("None recorded for its hazards."))


def sources(folder: LotFolder) -> Grid:
    """Every fact row a verdict rested on, with confidence and confirmation."""
    rows = tuple(
        (
            line.key,
            line.value,
            line.source,
            confidence_word(line.confidence),
            line.confirmed or say("unconfirmed"),
        )
        for line in folder.sources
    )
    columns = (say("fact"), say("value"), say("source"), say("confidence"), say("confirmed"))
    return Grid(say("Sources"), columns, rows, empty=say("No rule read a fact row."))


def evidence(folder: LotFolder, judgement: Mapping[str, Any]) -> dict[str, Any]:
    """What travels inside the dossier as JSON: verdicts, entries, sources and the journal head."""
    return {
        "schema": "dossier/1",
        "lot": folder.record.lot,
        "at": folder.at.isoformat(),
        "head": {"seq": folder.house.head.seq, "hash": folder.house.head.hash},
        "judgement": dict(judgement),
        "entries": [
            {
                "id": item.entry_id,
                "seq": item.seq,
                "kind": item.kind,
                "at": item.at.isoformat(),
                "person": item.person,
                "struck": item.struck,
                "payload": encode(item.payload),
            }
            for item in folder.record.history
        ],
        "sources": [
            {"key": line.key, "confidence": line.confidence, "confirmed": line.confirmed}
            for line in folder.sources
        ],
    }
