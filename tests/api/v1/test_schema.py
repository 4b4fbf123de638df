"""The description of the API is true: every answer to good and bad requests is as it says."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode, openapi
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

if TYPE_CHECKING:
    from schemathesis import Case

DESCRIPTION = "/api/v1/openapi.json"
EXAMPLES = 6
OF_ANSWERS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
TRIED = settings(
    max_examples=EXAMPLES,
    deadline=None,
    database=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
REAL = {"code": "MG-07", "kind": "batch", "key": "MG-07", "channel": "bag-07/air", "by": "wren"}
"""Names that the nursery has, so that not every good request ends at "there is no such"."""


def described(client):
    """Return the API as it describes itself, without the stream, which never ends."""
    whole = openapi.from_url(str(client.base_url.join(DESCRIPTION)))
    return whole.exclude(path="/events")


def with_real_names(case: Case) -> Case:
    for name, value in REAL.items():
        if name in (case.path_parameters or {}):
            case.path_parameters[name] = value
        if name in (case.query or {}):
            case.query[name] = value
    if isinstance(case.body, dict) and "by" in case.body:
        case.body["by"] = REAL["by"]
    return case


def can_hold(check, case: Case) -> bool:
    """Return whether a check can be made: a form field is text, so of the wrong type it is none."""
    return check is not negative_data_rejection or case.media_type != "multipart/form-data"


def tried(schema, mode: GenerationMode, change, checks) -> int:
    """Send generated requests to every operation; return how many were sent."""
    sent = 0
    said: list[str] = []
    for found in schema.get_all_operations():
        operation = found.ok()
        try:
            requests = operation.as_strategy(generation_mode=mode)

            @TRIED
            @given(case=requests)
            def one(case: Case) -> None:
                nonlocal sent
                sent += 1
                case = change(case)
                due = [check for check in checks if can_hold(check, case)]
                case.validate_response(case.call(timeout=20), checks=due)

            one()
        except Unsatisfiable:
            continue  # no request to this operation can be bad
        except FailureGroup as trouble:
            said.append(f"{operation.label}: {trouble.exceptions[0]}")
    assert said == []
    return sent


@pytest.mark.slow
@pytest.mark.parametrize("mode", list(GenerationMode))
def test_every_answer_is_as_described(client, mode):
    schema = described(client)
    checks = [*OF_ANSWERS]
    if mode is GenerationMode.NEGATIVE:
        checks.append(negative_data_rejection)
    assert tried(schema, mode, lambda case: case, checks) > 100


@pytest.mark.slow
def test_requests_about_what_is_there_are_answered_as_described(client):
    schema = described(client)
    assert tried(schema, GenerationMode.POSITIVE, with_real_names, OF_ANSWERS) > 100
