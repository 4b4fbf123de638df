"""All routes under /api/v1."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter

from api.v1.alarms import alarms_router
from api.v1.batches import batches_router
from api.v1.care import care_router
from api.v1.clock import clock_router
from api.v1.collector import collector_router
from api.v1.lamps import lamps_router
from api.v1.messages import messages_router
from api.v1.photos import photos_router
from api.v1.plans import plans_api_router
from api.v1.problems import ProblemBody
from api.v1.readings import readings_router
from api.v1.replays import replays_router
from api.v1.review import review_api_router
from api.v1.rings import rings_router
from api.v1.sensors import sensors_router
from api.v1.series import series_router
from api.v1.settings import settings_router
from api.v1.staff import staff_router
from api.v1.todo import todo_router
from api.v1.watch import watch_router
from api.v1.works import works_router
from api.v1.written import written_router

if TYPE_CHECKING:
    from api.parts import Parts
    from api.replays.running import Replays
    from api.reviewing import Reviews
    from api.v1.sight import Sight


def v1_router(parts: Parts, sight: Sight, reviews: Reviews, replays: Replays) -> APIRouter:
    """Return the whole API; every refusal is a problem detail."""
    router = APIRouter(prefix="/api/v1", responses={"4XX": {"model": ProblemBody}})
    router.include_router(batches_router(parts, sight))
    router.include_router(series_router(parts, sight))
    router.include_router(care_router(parts))
    router.include_router(review_api_router(reviews))
    router.include_router(alarms_router(parts))
    router.include_router(rings_router(parts))
    router.include_router(replays_router(parts, replays))
    router.include_router(messages_router(parts))
    router.include_router(readings_router(parts))
    router.include_router(sensors_router(parts, sight))
    router.include_router(clock_router(parts))
    router.include_router(collector_router(parts))
    router.include_router(watch_router(parts))
    router.include_router(works_router(parts))
    router.include_router(todo_router(parts))
    router.include_router(plans_api_router(parts))
    router.include_router(written_router(parts))
    router.include_router(photos_router(parts))
    router.include_router(staff_router(parts))
    router.include_router(lamps_router(parts))
    router.include_router(settings_router(parts))
    return router
