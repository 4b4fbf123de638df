"""What a request names, looked up; a problem that says so where it is not there."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING

from api.v1.problems import Problem

if TYPE_CHECKING:
    from api.parts import Parts
    from rules.model.batch import Batch


def batch_named(parts: Parts, code: str) -> Batch:
    """Return the batch of a code; Problem 404 if the site has none."""
    found = next((one for one in parts.site.batch if one.code == code), None)
    if found is None:
        raise Problem(HTTPStatus.NOT_FOUND, f"The site has no batch {code!r}.")
    return found
