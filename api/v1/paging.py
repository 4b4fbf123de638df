"""Long lists page by page: as many as asked for, and where the next page is.

A cursor is the number of the last thing on the page, and numbers are never given again: what comes
in meanwhile moves nothing on the pages that follow.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, TypeVar

from fastapi import Query

from api.v1.numbers import LARGEST

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fastapi import Request, Response

USUAL, MOST = 200, 1000

Limit = Annotated[int, Query(ge=1, le=MOST, description="How many at most.")]
Cursor = Annotated[
    int | None,
    Query(ge=1, le=LARGEST, description='Where to go on: as in Link with rel="next".'),
]

T = TypeVar("T")


def one_page(
    found: Sequence[T],
    limit: int,
    *,
    number: Callable[[T], int],
    request: Request,
    response: Response,
) -> Sequence[T]:
    """Return a page of what was found, and say in Link where the next one is, if there is one.

    `found` holds one more than `limit` where there is more.
    """
    page = found[:limit]
    if len(found) > limit:
        address = request.url.include_query_params(cursor=number(page[-1]))
        response.headers["Link"] = f'<{address.path}?{address.query}>; rel="next"'
    return page
