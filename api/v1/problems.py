"""Every refusal of the API as a problem detail (RFC 9457), and how routes raise one."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING

from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel
from starlette.exceptions import HTTPException

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

MEDIA_TYPE = "application/problem+json"


class Wrong(BaseModel):
    """One thing wrong in a request: where, and what; `line` in a text that was sent."""

    where: str
    detail: str
    line: int | None = None


class ProblemBody(BaseModel):
    """A problem detail. `type` is about:blank: the status and `detail` say all there is to say."""

    type: str = "about:blank"
    title: str
    status: int
    detail: str
    instance: str
    errors: list[Wrong] | None = None


class Problem(HTTPException):
    """Raised by a route that cannot do what was asked; `detail` says why and what to do.

    `errors` tells field by field what is wrong.
    """

    def __init__(
        self,
        status: HTTPStatus,
        detail: str,
        *,
        headers: Mapping[str, str] | None = None,
        errors: Sequence[Wrong] | None = None,
    ) -> None:
        self.errors = errors
        super().__init__(status.value, detail, dict(headers) if headers else None)


def problem_answer(
    status: int,
    detail: str,
    *,
    instance: str,
    errors: Sequence[Wrong] | None = None,
    headers: Mapping[str, str] | None = None,
) -> JSONResponse:
    """Return the answer that says what went wrong."""
    body = ProblemBody(
        title=HTTPStatus(status).phrase,
        status=status,
        detail=detail,
        instance=instance,
        errors=list(errors) if errors is not None else None,
    )
    return JSONResponse(
        body.model_dump(exclude_none=True),
        status_code=status,
        media_type=MEDIA_TYPE,
        headers=dict(headers) if headers else None,
    )


def detail_of(trouble: HTTPException) -> str:
    """Return what to say of an error; the server's own bare phrases get a sentence."""
    bare = {
        404: "Nothing is kept at this address.",
        405: "This address does not take that method.",
    }
    phrase = HTTPStatus(trouble.status_code).phrase
    if trouble.detail == phrase:
        return bare.get(trouble.status_code, phrase)
    return str(trouble.detail)


def wrongs_in(trouble: RequestValidationError) -> list[Wrong]:
    """Return what is wrong in a request, field by field, without repeating what was sent."""
    return [
        Wrong(where=".".join(str(part) for part in error["loc"]), detail=str(error["msg"]))
        for error in trouble.errors()
    ]
