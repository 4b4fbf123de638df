"""The description of the API for machines, as the routes are and as refusals are sent."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi.openapi.utils import get_openapi

from api.v1.problems import MEDIA_TYPE

if TYPE_CHECKING:
    from fastapi import FastAPI

_METHODS = ("get", "put", "post", "delete")
_PROBLEM = {"$ref": "#/components/schemas/ProblemBody"}
_REFUSALS = {"4XX": "What is wrong with the request.", "5XX": "What is wrong on this side."}
_EXAMPLE = {
    "type": "about:blank",
    "title": "Not Found",
    "status": 404,
    "detail": "The site has no batch 'MG-99'.",
    "instance": "/api/v1/batches/MG-99",
}
_EVENTS = {
    "get": {
        "tags": ["events"],
        "summary": "Events",
        "description": "A stream of server-sent events. `here` comes at once and every 15 "
        "seconds, `moved` when the watch has closed a minute or an alarm has changed. The data of "
        'both is JSON: `{"time", "next_minute", "alarm_change"}`. It ends when the process stops.',
        "operationId": "events_events_get",
        "responses": {
            "200": {
                "description": "The stream.",
                "content": {
                    "text/event-stream": {
                        "schema": {"type": "string"},
                        "example": 'event: here\ndata: {"time": "02:10", "next_minute": 29744110, '
                        '"alarm_change": 3}\n\n',
                    }
                },
            }
        },
    }
}
_ETAG = {
    "description": "Names what was sent. Sent back in If-None-Match, it is answered with 304 and "
    "no body while nothing has changed.",
    "schema": {"type": "string"},
}
_IF_NONE_MATCH = {
    "name": "If-None-Match",
    "in": "header",
    "required": False,
    "schema": {"type": "string"},
    "example": '"0123456789abcdef"',
}


def describe(app: FastAPI) -> None:
    """Let the application describe itself; worked out once, when it is first asked for."""

    def described() -> dict[str, Any]:
        if app.openapi_schema is None:
            made = get_openapi(
                title=app.title,
                version=app.version,
                summary=app.summary,
                routes=app.routes,
            )
            app.openapi_schema = _as_sent(made)
        return app.openapi_schema

    app.openapi = described  # type: ignore[method-assign]


def _as_sent(made: dict[str, Any]) -> dict[str, Any]:
    schemas = made["components"]["schemas"]
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    schemas["ProblemBody"]["example"] = _EXAMPLE
    made["components"].setdefault("securitySchemes", {})["deviceToken"] = {
        "type": "http",
        "scheme": "bearer",
        "description": "The token of a device, from `device add`.",
    }
    for operations in made["paths"].values():
        for method in _METHODS:
            if method in operations:
                _mend(method, operations[method])
    made["paths"]["/events"] = _EVENTS
    return made


def _mend(method: str, operation: dict[str, Any]) -> None:
    """Say that refusals are problem details, and that what is read may be asked for again."""
    answers = operation["responses"]
    answers.pop("422", None)
    for status, said in _REFUSALS.items():
        answers[status] = {"description": said, "content": {MEDIA_TYPE: {"schema": _PROBLEM}}}
    good = answers.get("200", {})
    if method == "get" and "application/json" in good.get("content", {}):
        good.setdefault("headers", {})["ETag"] = _ETAG
        answers["304"] = {"description": "Nothing has changed since."}
        named = [one["name"].lower() for one in operation.get("parameters", [])]
        if "if-none-match" not in named:
            operation.setdefault("parameters", []).append(dict(_IF_NONE_MATCH))
