"""Replays over the API: of stored readings or of files that are sent along, in the background."""

from __future__ import annotations

from datetime import date
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Path, Request
from starlette.concurrency import run_in_threadpool

from api.replays.files import Given
from api.replays.looking import look_at_all
from api.replays.receiving import (
    MIB,
    MOST_BYTES,
    MOST_FILE_BYTES,
    MOST_FILES,
    STATUS,
    NotTaken,
    NotTakenWhy,
    Receiver,
)
from api.replays.span import Days
from api.replays.state import Asked, Busy, NotShown, Stage, UnknownReplay
from api.v1.problems import Problem, ProblemBody, Wrong
from api.v1.replay_bodies import MapOfFiles, ReplayBody, ReplayLine, body_of, line_of
from api.watch.clock import milliseconds
from collector.files.telling import safe

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path as FilePath

    from api.parts import Parts
    from api.replays.looking import Look
    from api.replays.running import Replays
    from api.replays.state import Replay

Number = Annotated[int, Path(ge=1, le=2**53)]
MOST_DRAINED = 4 * MOST_BYTES
_TEXTS = frozenset({"from", "to", "hindsight", "look", "map"})
_SAID = {
    NotTakenWhy.NO_FORM: "Send a form of the kind multipart/form-data, files as `file`.",
    NotTakenWhy.TOO_LARGE: f"A file may have {MOST_FILE_BYTES // MIB} MiB at most, all of them "
    f"{MOST_BYTES // MIB} MiB. Send fewer days at once, or load them with `graftvigil replay`.",
    NotTakenWhy.TOO_MANY: f"At most {MOST_FILES} files at once. Send them in parts.",
    NotTakenWhy.NO_ROOM: "There is too little room left on the disk of this machine. Make room.",
    NotTakenWhy.BROKEN_OFF: "The files did not come whole. Send them again.",
}
BUSY = "Another replay runs, and there is one at a time. Wait for it, or stop it with DELETE."
_FORM = {
    "required": True,
    "content": {
        "multipart/form-data": {
            "schema": {
                "type": "object",
                "additionalProperties": False,
                "properties": {
                    "file": {
                        "type": "array",
                        "items": {"type": "string", "format": "binary"},
                        "maxItems": MOST_FILES,
                    },
                    "map": {"type": "array", "items": {"type": "string"}, "maxItems": 100},
                    "from": {"type": "string", "format": "date"},
                    "to": {"type": "string", "format": "date"},
                    "hindsight": {"enum": ["true", "false"]},
                    "look": {"enum": ["true", "false"]},
                },
            }
        }
    },
}


def replays_router(parts: Parts, replays: Replays) -> APIRouter:
    """Return the routes under /replays."""
    router = APIRouter(prefix="/replays", tags=["replays"])

    def shown(
        folder: FilePath, files: Sequence[FilePath], fields: Mapping[str, list[str]]
    ) -> ReplayBody:
        given = tuple(Given(path, tuple(fields.get("map", ()))) for path in files)
        asked = Asked(given, _days(fields), _is_true(fields, "hindsight"))
        looks = look_at_all(given, parts.site, now_ms=milliseconds(parts.clock))
        look_only = _is_true(fields, "look")
        if not look_only:
            _refuse(looks)
        replay = replays.show(asked, folder)
        if not look_only:
            replay = replays.begin(replay.number)
        return body_of(replay, looks)

    @router.post(
        "",
        status_code=HTTPStatus.ACCEPTED,
        openapi_extra={"requestBody": _FORM},
        responses={507: {"model": ProblemBody, "description": "No room on the disk."}},
    )
    async def ask(request: Request) -> ReplayBody:
        """Replay files sent as `file`, read as `map` says; without any, the stored readings.

        `from` and `to` are local days, both included. With `look` files are only looked at: begin
        it afterwards. Nothing that is kept is changed.
        """
        try:
            with replays.receiving() as folder:
                receiver = await received(request, folder)
                unknown = sorted(set(receiver.fields) - _TEXTS)
                if unknown:
                    raise _unprocessable(unknown[0], "There is no such field.")
                return await run_in_threadpool(shown, folder, receiver.files, receiver.fields)
        except Busy as trouble:
            await drained(request)
            raise Problem(HTTPStatus.CONFLICT, BUSY) from trouble
        except NotTaken as trouble:
            wrongs = [Wrong(where=safe(trouble.name), detail=_SAID[trouble.why])]
            raise Problem(
                STATUS[trouble.why], _SAID[trouble.why], errors=wrongs if trouble.name else None
            ) from trouble

    @router.get("")
    def every() -> list[ReplayLine]:
        """Return the replay there is: none or one."""
        found = replays.now
        return [] if found is None else [line_of(found)]

    @router.get("/{number}")
    def one(number: Number) -> ReplayBody:
        """Return a replay: how far it is, and what it came to."""
        try:
            found = replays.of(number)
        except UnknownReplay as trouble:
            raise _nothing(number) from trouble
        return body_of(found, _looks(parts, found))

    @router.post("/{number}/begin", status_code=HTTPStatus.ACCEPTED)
    def begin(number: Number, body: MapOfFiles) -> ReplayBody:
        """Begin a replay whose files were only looked at so far."""
        try:
            found = replays.of(number)
            said = [*body.map, *([[]] * len(found.asked.files))]
            if len(body.map) > len(found.asked.files):
                raise _unprocessable(where="map", detail="It names more files than there are.")
            files = [
                Given(one.path, tuple(options) or one.options)
                for one, options in zip(found.asked.files, said, strict=False)
            ]
            if found.stage is not Stage.SHOWN:
                raise NotShown
            looks = look_at_all(files, parts.site, now_ms=milliseconds(parts.clock))
            _refuse(looks)
            replays.say(number, files)
            return body_of(replays.begin(number), looks)
        except UnknownReplay as trouble:
            raise _nothing(number) from trouble
        except NotShown as trouble:
            msg = "It has begun already. Ask for a new one."
            raise Problem(HTTPStatus.CONFLICT, msg) from trouble

    @router.delete("/{number}", status_code=HTTPStatus.NO_CONTENT)
    def end(number: Number) -> None:
        """Stop a replay that runs; forget one that does not."""
        try:
            replays.end(number)
        except UnknownReplay as trouble:
            raise _nothing(number) from trouble

    return router


async def drained(request: Request) -> None:
    """Let a body run by, up to a bound, so that the browser hears the answer."""
    came = 0
    async for piece in request.stream():
        came += len(piece)
        if came > MOST_DRAINED:
            return


async def received(request: Request, folder: FilePath) -> Receiver:
    """Write a form with files down as it comes, into a folder. Raises NotTaken.

    What comes after a refusal is let run by, so that the browser hears the answer.
    """
    receiver = Receiver(folder, request.headers.get("content-type", ""))
    refusal: NotTaken | None = None
    came = 0
    try:
        async for piece in request.stream():
            came += len(piece)
            if refusal is not None:
                if came > MOST_DRAINED:
                    break
                continue
            if not piece:
                continue
            try:
                await run_in_threadpool(receiver.take, piece)
            except NotTaken as trouble:
                refusal = trouble
        if refusal is not None:
            raise refusal
        receiver.end()
    finally:
        receiver.close()
    return receiver


def day_in(text: str) -> date | None:
    """Return a local day as it was typed; None for an empty text. Raises ValueError."""
    return date.fromisoformat(text.strip()) if text.strip() else None


def _days(fields: Mapping[str, list[str]]) -> Days:
    days: list[date | None] = []
    for name in ("from", "to"):
        try:
            days.append(day_in("".join(fields.get(name, ()))))
        except ValueError as trouble:
            raise _unprocessable(name, "Write a day as in 2026-11-14.") from trouble
    first, last = days
    if first is not None and last is not None and last < first:
        raise _unprocessable(where="to", detail="It lies before `from`: write that one there.")
    return Days(first, last)


def _is_true(fields: Mapping[str, list[str]], name: str) -> bool:
    typed = "".join(fields.get(name, ()))
    if typed not in ("", "true", "false"):
        raise _unprocessable(name, "Write true or false.")
    return typed == "true"


def _refuse(looks: Sequence[Look]) -> None:
    wrongs = [
        Wrong(
            where=safe(one.name),
            detail=safe(f"{one.refusal.problem}. {one.refusal.fix}")
            + "".join(f"; map={safe(way.option)}: {safe(way.means)}" for way in one.refusal.ways),
        )
        for one in looks
        if one.refusal is not None
    ]
    if wrongs:
        msg = "Nothing was replayed: a file can't be read as it stands; see errors."
        raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, msg, errors=wrongs)


def _looks(parts: Parts, replay: Replay) -> tuple[Look, ...]:
    if replay.stage is not Stage.SHOWN:
        return ()
    return look_at_all(replay.asked.files, parts.site, now_ms=milliseconds(parts.clock))


def _unprocessable(where: str, detail: str) -> Problem:
    wrongs = [Wrong(where=safe(where), detail=detail)]
    msg = "The request is not as the API takes it; see errors."
    return Problem(HTTPStatus.UNPROCESSABLE_ENTITY, msg, errors=wrongs)


def _nothing(number: int) -> Problem:
    return Problem(HTTPStatus.NOT_FOUND, f"There is no replay {number}, or no longer.")
