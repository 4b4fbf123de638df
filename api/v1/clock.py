"""The time here, for devices that must say when something was and whose own clock may be wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter
from pydantic import AwareDatetime, BaseModel

if TYPE_CHECKING:
    from api.parts import Parts


class ClockBody(BaseModel):
    """The instant at which this was answered."""

    now: AwareDatetime


def clock_router(parts: Parts) -> APIRouter:
    """Return the route of the clock."""
    router = APIRouter(tags=["watch"])

    @router.get("/clock")
    def clock() -> ClockBody:
        """Return the time here."""
        return ClockBody(now=parts.clock.now())

    return router
