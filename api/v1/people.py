"""The people who may be named in a request."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING

from api.v1.problems import Problem

if TYPE_CHECKING:
    from api.parts import Parts


def demand_person(parts: Parts, name: str) -> None:
    """Raise Problem 422 unless the site has a person of this id who can answer."""
    people = {person.id for person in parts.site.person if person.answers}
    if name not in people:
        known = ", ".join(sorted(people))
        raise Problem(
            HTTPStatus.UNPROCESSABLE_ENTITY,
            f"by: nobody of the site has the id {name!r}; it has {known}.",
        )
