"""A logger's file from the Rooms page: what was understood, questions as fields, import, undo."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse
from starlette.datastructures import UploadFile
from starlette.responses import Response

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.words import say, say_many
from saltloft.house import House
from saltloft.jobs import lots, rooms, watch
from saltloft.jobs.watch import FileTaken, Said
from saltloft.plant.house_record import BatchRecord
from saltloft.plant.rights import may
from saltloft.plant.sentences import list_words, moment_words
from saltloft.web.security import UPLOADS
from saltloft.web.uploads import Upload, UploadShelf
from saltloft.web.visitor import SignedInVisitor, Visitor, check_form

routes = APIRouter()
ANSWER = "answer."


@dataclass(frozen=True)
class Sent:
    """What the form sent: its fields as text, and the file when one was chosen."""

    texts: dict[str, str]
    name: str = ""
    data: bytes = b""


async def sent_form(request: Request, visitor: SignedInVisitor) -> Sent:
    """Read the form; only after the visitor was let in, and never above the guard's limit."""
    async with request.form(max_files=1, max_fields=60) as form:
        texts = {name: value for name, value in form.items() if isinstance(value, str)}
        check_form(visitor, texts.get("csrf", ""))
        file = form.get("file")
        if isinstance(file, UploadFile) and file.filename:
            return Sent(texts, file.filename, await file.read())
    return Sent(texts)


SentForm = Annotated[Sent, Depends(sent_form)]


@dataclass(frozen=True)
class QuestionField:
    """One question as a field of the form."""

    name: str
    words: str
    options: tuple[str, ...]
    typed: str
    needed: bool


@dataclass(frozen=True)
class ImportLine:
    """One import made before, with what undoing it needs."""

    batch: str
    words: str
    undone: str


@routes.get("/rooms/import")
def import_page(request: Request, visitor: SignedInVisitor, batch: str = "", undone: str = "") -> Response:
    """Choose a logger's file; the imports made last, each with its undo."""
    house: House = request.app.state.house
    told = ""
    if batch:
        told = stored_words(next((one for one in watch.recent(house) if one.batch == batch), None))
    if undone:
        told = say("That import counts no more; its readings stay on record.")
    return _page(request, visitor, told=told)


@routes.post("/rooms/import")
def import_sent(request: Request, visitor: SignedInVisitor, form: SentForm) -> Response:
    """Look at the file, or store what is new in it; while a question is open nothing is stored."""
    house: House = request.app.state.house
    shelf: UploadShelf = request.app.state.uploads
    token = form.texts.get("token", "")
    try:
        if form.name:
            token = shelf.put(Upload(form.name, form.data, visitor.person))
        held = shelf.get(token, visitor.person)
        if held is None:
            raise InputError(_none_words(token), do=say("choose the logger's file"), key="file")
        said = said_of(form.texts)
        if form.texts.get("act") == "import" and not form.name:
            by, entry = visitor.stamp(house), form.texts.get("entry_id", "")
            taken = watch.import_file(
                house, by, held.name, held.data, said, entry_id=entry, reader=watch.read_apart
            )
            if taken.status == watch.STORED:
                shelf.drop(token)
                return RedirectResponse(f"/rooms/import?{urlencode({'batch': taken.batch})}", 303)
        else:
            taken = watch.look(
                held.name, held.data, said, now=house.now(), house=house, reader=watch.read_apart
            )
    except SaltloftError as error:
        kept = shelf.get(token, visitor.person)
        return _page(request, visitor, form=form.texts, held=kept, token=token, problem=error)
    return _page(request, visitor, form=form.texts, held=held, token=token, taken=taken)


@routes.post("/rooms/import/undo")
def undo_import(request: Request, visitor: SignedInVisitor, form: SentForm) -> Response:
    """Let one import count no more, by an entry with its reason."""
    house: House = request.app.state.house
    texts = form.texts
    try:
        batch, reason, entry = texts.get("batch", ""), texts.get("reason", ""), texts.get("entry_id", "")
        watch.undo(house, visitor.stamp(house), batch, reason, entry or house.new_id())
    except SaltloftError as error:
        return _page(request, visitor, form=texts, problem=error)
    return RedirectResponse(f"/rooms/import?{urlencode({'undone': batch})}", 303)


def _none_words(token: str) -> str:
    return say("that file is held no longer") if token else say("no file was chosen")


def said_of(texts: dict[str, str]) -> Said:
    """Room, zone and answers as they were typed; empty fields say nothing."""
    answers = {
        name.removeprefix(ANSWER): value.strip()
        for name, value in texts.items()
        if name.startswith(ANSWER) and value.strip()
    }
    logger = texts.get("logger", "").strip()
    room = texts.get("room", "").strip()
    return Said(texts.get("zone", "").strip(), f"{room}/{logger}" if room and logger else room, "", answers)


def question_fields(taken: FileTaken | None, texts: dict[str, str]) -> list[QuestionField]:
    """Open questions as fields, and what was answered before, so that no answer is lost."""
    if taken is None:
        return []
    asked = {
        one.key: QuestionField(
            ANSWER + one.key, one.words, one.options, texts.get(ANSWER + one.key, ""), one.blocking
        )
        for one in taken.reading.questions
    }
    return list(asked.values())


def kept_answers(fields: list[QuestionField], texts: dict[str, str]) -> dict[str, str]:
    """Answers to questions that are open no more; they travel on unseen."""
    shown = {field.name for field in fields}
    return {name: value for name, value in texts.items() if name.startswith(ANSWER) and name not in shown}


def stored_words(record: BatchRecord | None) -> str:
    """What an import stored, one sentence."""
    if record is None:
        return ""
    said = record.sealed.payload
    return say_many(
        "Stored: {count} reading of {file}. The lots of its rooms are being forecast anew.",
        "Stored: {count} readings of {file}. The lots of its rooms are being forecast anew.",
        said.rows,
        file=said.file_name,
    )


def import_lines(house: House) -> list[ImportLine]:
    """The imports made last."""
    names, zone, today = lots.names(house), str(house.zone), house.today()
    found = []
    for one in watch.recent(house):
        said = one.sealed.payload
        held = list_words(sorted({name.partition("/")[0] for name in said.series}), most=4)
        words = say(
            "{when}, {person}: {file}, {rows} readings of {rooms}",
            when=moment_words(one.sealed.at, zone, today),
            person=names.get(one.sealed.person, one.sealed.person),
            file=said.file_name,
            rows=said.rows,
            rooms=held,
        )
        undone = "" if one.voided is None else say("undone: {why}", why=one.voided.payload.reason)
        found.append(ImportLine(one.batch, words, undone))
    return found


def import_sentence(taken: FileTaken | None, held: Upload | None) -> str:
    """What the page answers: what would be stored, or what is still asked."""
    if taken is not None and held is not None:
        return say("{file}: {words}", file=held.name, words=taken.words)
    return say("Choose the file as it came from the logger. Nothing is stored before you have looked at it.")


def _page(
    request: Request,
    visitor: Visitor,
    *,
    form: dict[str, str] | None = None,
    held: Upload | None = None,
    token: str = "",
    taken: FileTaken | None = None,
    told: str = "",
    problem: SaltloftError | None = None,
) -> Response:
    house: House = request.app.state.house
    typed = form or {}
    fields = question_fields(taken, typed)
    page: Response = request.app.state.pages.render(
        request,
        "imports.html",
        422 if problem else 200,
        sentence=import_sentence(taken, held),
        held=held,
        token=token if held else "",
        taken=taken,
        ready=taken is not None
        and not taken.reading.blocked
        and taken.status == watch.DRY
        and taken.added > 0,
        understood=list(taken.reading.understood) if taken else [],
        rows=[(row.line, row.raw, "; ".join(row.parsed)) for row in taken.reading.first_rows]
        if taken
        else [],
        odd=watch.odd_sentences(taken) if taken else [],
        fields=fields,
        kept=kept_answers(fields, typed),
        typed=typed,
        rooms=rooms.names(house),
        told=told,
        problem=problem,
        recent=import_lines(house),
        may_undo=may(visitor.role, "readings.voided"),
        most_bytes=UPLOADS["/rooms/import"] - 64 * 1024,
        most_mb=UPLOADS["/rooms/import"] // (1024 * 1024),
        new_id=house.new_id,
    )
    return page
