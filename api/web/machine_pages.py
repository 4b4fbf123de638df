"""What machines that look after machines ask: whether all is well, and the figures behind it."""

from __future__ import annotations

import importlib.metadata
import logging
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse
from prometheus_client.exposition import choose_encoder
from starlette.responses import Response

from api.guard.vitals import vitals_of
from api.meters import registry_of

if TYPE_CHECKING:
    from api.parts import Parts

log = logging.getLogger(__name__)


def machine_router(parts: Parts) -> APIRouter:
    """Return the routes /healthz and /metrics."""
    router = APIRouter(include_in_schema=False)
    registry = registry_of(parts, version=importlib.metadata.version("graftvigil"))

    @router.get("/healthz")
    def healthz() -> PlainTextResponse:
        """Answer `good`, or 503 with the names of the parts that are not well, one a line."""
        vitals = vitals_of(parts.guard, parts.records, parts.store)
        if not vitals.unwell:
            return PlainTextResponse("good\n")
        log.warning("healthz_unwell parts=%s", ",".join(vitals.unwell))
        return PlainTextResponse("\n".join(["not well", *vitals.unwell, ""]), status_code=503)

    @router.get("/metrics")
    def metrics(request: Request) -> Response:
        """Answer in the form that the scraper asks for: OpenMetrics, else its older text form."""
        encode, kind = choose_encoder(request.headers.get("accept", ""))
        return Response(encode(registry), headers={"content-type": kind})

    return router
