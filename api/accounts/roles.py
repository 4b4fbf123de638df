"""The roles, what each may do, and which address asks for what. The one place that says so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from starlette.routing import compile_path


class Role(StrEnum):
    """What someone does at the nursery."""

    LOOK = "look"
    TEND = "tend"
    TECHNICIAN = "technician"
    LEAD = "lead"


class Need(StrEnum):
    """What an address asks of whoever calls it.

    `open`: nothing. `device`: the token of a device, which the address itself checks. `own`: to be
    signed in, for one's own account. `look`: to read. `answer`: to take alarms on. `work`: to say
    what is in hand. `tend`: to enter what was seen. `fix`: sensors. `lead`: batches, plans, people,
    holding alarms back. `accounts`: other people's accounts.
    """

    OPEN = "open"
    DEVICE = "device"
    OWN = "own"
    LOOK = "look"
    ANSWER = "answer"
    WORK = "work"
    TEND = "tend"
    FIX = "fix"
    LEAD = "lead"
    ACCOUNTS = "accounts"


_EVERYONE = frozenset({Need.OPEN, Need.DEVICE, Need.OWN, Need.LOOK})
MAY: Mapping[Role, frozenset[Need]] = {
    Role.LOOK: _EVERYONE,
    Role.TEND: _EVERYONE | {Need.ANSWER, Need.WORK, Need.TEND},
    Role.TECHNICIAN: _EVERYONE | {Need.ANSWER, Need.WORK, Need.FIX},
    Role.LEAD: frozenset(Need),
}

WITHOUT_SIGN_IN = frozenset({Need.OPEN, Need.DEVICE})
BY_SESSION_ONLY = frozenset({Need.OWN, Need.ACCOUNTS})
"""What no token opens: whoever found one must not make accounts or more tokens with it."""

_BY_KIND: Mapping[str, Need] = {"sensor": Need.FIX}
"""What changing a written thing asks for, by its kind; `lead` for every other kind."""

_API = "/api/v1"
ACCESS: Mapping[tuple[str, str], Need | Mapping[str, Need]] = {
    ("GET", "/healthz"): Need.OPEN,
    ("GET", "/static/{path:path}"): Need.OPEN,
    ("GET", "/bench-worker.js"): Need.OPEN,
    ("GET", "/cautions"): Need.OPEN,
    ("GET", "/sign-in"): Need.OPEN,
    ("POST", "/sign-in"): Need.OPEN,
    ("GET", "/set-up"): Need.OPEN,
    ("POST", "/set-up"): Need.OPEN,
    ("GET", "/invited/{token}"): Need.OPEN,
    ("POST", "/invited/{token}"): Need.OPEN,
    ("POST", "/sign-out"): Need.OPEN,
    ("POST", "/choose"): Need.OPEN,
    ("GET", "/answer/{token}"): Need.OPEN,
    ("POST", "/answer/{token}"): Need.OPEN,
    ("GET", "/answer/all/{token}"): Need.OPEN,
    ("POST", "/answer/all/{token}"): Need.OPEN,
    ("POST", f"{_API}/readings/{{topic:path}}"): Need.DEVICE,
    ("GET", "/account"): Need.OWN,
    ("POST", "/account/password"): Need.OWN,
    ("POST", "/account/sign-out-everywhere"): Need.OWN,
    ("POST", "/account/sessions/{number}/end"): Need.OWN,
    ("POST", "/account/tokens"): Need.OWN,
    ("POST", "/account/tokens/{number}/revoke"): Need.OWN,
    ("GET", "/accounts"): Need.ACCOUNTS,
    ("POST", "/accounts/invite"): Need.ACCOUNTS,
    ("POST", "/accounts/{person}/role"): Need.ACCOUNTS,
    ("POST", "/accounts/{person}/disable"): Need.ACCOUNTS,
    ("POST", "/accounts/{person}/enable"): Need.ACCOUNTS,
    ("POST", "/accounts/{person}/sign-out"): Need.ACCOUNTS,
    ("GET", "/metrics"): Need.LOOK,
    ("GET", "/"): Need.LOOK,
    ("GET", "/batches/{code}"): Need.LOOK,
    ("GET", "/batches/{code}/charts"): Need.LOOK,
    ("GET", "/batches/{code}/review"): Need.LOOK,
    ("GET", "/batches/{code}/review.pdf"): Need.LOOK,
    ("GET", "/plans"): Need.LOOK,
    ("GET", "/plans/{name}"): Need.LOOK,
    ("GET", "/plans/{name}/versions/{version}"): Need.LOOK,
    ("GET", "/plans/{name}/edit"): Need.LEAD,
    ("POST", "/plans/{name}/edit"): Need.LEAD,
    ("GET", "/settings"): Need.LEAD,
    ("GET", "/batches/{code}/charts/{quantity}.png"): Need.LOOK,
    ("GET", "/alarms"): Need.LOOK,
    ("GET", "/alarms/{alarm_id}"): Need.LOOK,
    ("GET", "/alarms/{alarm_id}/picture.png"): Need.LOOK,
    ("GET", "/sensors"): Need.LOOK,
    ("GET", "/tonight"): Need.LOOK,
    ("GET", "/works"): Need.LOOK,
    ("GET", "/rings"): Need.LOOK,
    ("GET", "/replay"): Need.LOOK,
    ("POST", "/replay"): Need.FIX,
    ("POST", "/replay/begin"): Need.FIX,
    ("POST", "/replay/end"): Need.FIX,
    ("GET", "/staff"): Need.LOOK,
    ("GET", "/labels"): Need.LOOK,
    ("GET", "/labels.pdf"): Need.LOOK,
    ("GET", "/b/{code}"): Need.LOOK,
    ("GET", "/bench/{code}"): Need.LOOK,
    ("POST", "/bench/{code}"): Need.TEND,
    ("POST", "/bench/{code}/stage"): Need.TEND,
    ("POST", "/bench/{code}/take-back"): Need.TEND,
    ("POST", "/bench/{code}/photo"): Need.TEND,
    ("POST", "/batches/{code}/photos/{number}/remove"): Need.LEAD,
    ("POST", "/who"): Need.TEND,
    ("GET", "/house"): Need.LOOK,
    ("GET", "/todo"): Need.LOOK,
    ("POST", "/staff/days-off"): Need.LEAD,
    ("POST", "/staff/swaps"): Need.LEAD,
    ("POST", "/staff/take-out"): Need.LEAD,
    ("GET", "/events"): Need.LOOK,
    ("GET", "/adopt"): Need.FIX,
    ("POST", "/adopt"): Need.FIX,
    ("POST", "/acknowledge"): Need.ANSWER,
    ("POST", "/staff/test"): Need.ANSWER,
    ("POST", "/staff/light"): Need.ANSWER,
    ("POST", "/works"): Need.WORK,
    ("POST", "/works/{work_id}/end"): Need.WORK,
    ("POST", "/alarms/{alarm_id}/hold"): Need.LEAD,
    ("GET", f"{_API}/openapi.json"): Need.LOOK,
    ("GET", f"{_API}/batches"): Need.LOOK,
    ("GET", f"{_API}/batches/{{code}}"): Need.LOOK,
    ("GET", f"{_API}/batches/{{code}}/record"): Need.LOOK,
    ("GET", f"{_API}/batches/{{code}}/series"): Need.LOOK,
    ("GET", f"{_API}/batches/{{code}}/review"): Need.LOOK,
    ("GET", f"{_API}/batches/{{code}}/history"): Need.LOOK,
    ("GET", f"{_API}/batches/{{code}}/care"): Need.LOOK,
    ("GET", f"{_API}/batches/{{code}}/observations"): Need.LOOK,
    ("GET", f"{_API}/staff"): Need.LOOK,
    ("GET", f"{_API}/staff/duty"): Need.LOOK,
    ("GET", f"{_API}/settings/lacking"): Need.LEAD,
    ("POST", f"{_API}/staff/{{person}}/test"): Need.ANSWER,
    ("GET", f"{_API}/lamps"): Need.LOOK,
    ("POST", f"{_API}/lamps/{{lamp}}/light"): Need.ANSWER,
    ("GET", f"{_API}/todo"): Need.LOOK,
    ("GET", f"{_API}/alarms"): Need.LOOK,
    ("GET", f"{_API}/messages"): Need.LOOK,
    ("GET", f"{_API}/alarms/{{alarm_id}}"): Need.LOOK,
    ("GET", f"{_API}/alarms/{{alarm_id}}/picture"): Need.LOOK,
    ("GET", f"{_API}/rings"): Need.LOOK,
    ("GET", f"{_API}/replays"): Need.LOOK,
    ("GET", f"{_API}/replays/{{number}}"): Need.LOOK,
    ("POST", f"{_API}/replays"): Need.FIX,
    ("POST", f"{_API}/replays/{{number}}/begin"): Need.FIX,
    ("DELETE", f"{_API}/replays/{{number}}"): Need.FIX,
    ("GET", f"{_API}/readings"): Need.LOOK,
    ("GET", f"{_API}/readings/latest"): Need.LOOK,
    ("GET", f"{_API}/readings/cells"): Need.LOOK,
    ("GET", f"{_API}/sensors"): Need.LOOK,
    ("GET", f"{_API}/rejects"): Need.LOOK,
    ("GET", f"{_API}/collector"): Need.LOOK,
    ("GET", f"{_API}/strangers"): Need.LOOK,
    ("GET", f"{_API}/watch"): Need.LOOK,
    ("GET", f"{_API}/clock"): Need.LOOK,
    ("GET", f"{_API}/works"): Need.LOOK,
    ("GET", f"{_API}/tonight"): Need.LOOK,
    ("GET", f"{_API}/plans"): Need.LOOK,
    ("GET", f"{_API}/plans/{{name}}"): Need.LOOK,
    ("GET", f"{_API}/plans/{{name}}/versions/{{version}}"): Need.LOOK,
    ("POST", f"{_API}/plans/{{name}}/preview"): Need.LEAD,
    ("PUT", f"{_API}/plans/{{name}}"): Need.LEAD,
    ("GET", f"{_API}/written/{{kind}}"): Need.LOOK,
    ("GET", f"{_API}/written/{{kind}}/{{key}}"): Need.LOOK,
    ("GET", f"{_API}/written/{{kind}}/{{key}}/history"): Need.LOOK,
    ("POST", f"{_API}/alarms/{{alarm_id}}/acknowledge"): Need.ANSWER,
    ("POST", f"{_API}/alarms/groups/{{group_id}}/acknowledge"): Need.ANSWER,
    ("POST", f"{_API}/works"): Need.WORK,
    ("POST", f"{_API}/works/{{work_id}}/end"): Need.WORK,
    ("POST", f"{_API}/batches/{{code}}/observations"): Need.TEND,
    ("POST", f"{_API}/observations/{{number}}/take-back"): Need.TEND,
    ("POST", f"{_API}/observations/{{number}}/photo"): Need.TEND,
    ("GET", f"{_API}/observations/{{number}}/photo"): Need.LOOK,
    ("DELETE", f"{_API}/observations/{{number}}/photo"): Need.LEAD,
    ("POST", f"{_API}/alarms/{{alarm_id}}/shelve"): Need.LEAD,
    ("POST", f"{_API}/alarms/{{alarm_id}}/take-out"): Need.LEAD,
    ("POST", f"{_API}/alarms/{{alarm_id}}/let-go"): Need.LEAD,
    ("POST", f"{_API}/batches"): Need.LEAD,
    ("PUT", f"{_API}/batches/{{code}}"): Need.LEAD,
    ("PUT", f"{_API}/written/{{kind}}/{{key}}"): _BY_KIND,
    ("DELETE", f"{_API}/written/{{kind}}/{{key}}"): _BY_KIND,
}
"""What each method and address asks for; a test fails when the application has one beside it."""

SENT_PIECEMEAL = frozenset({("POST", "/replay"), ("POST", f"{_API}/replays")})
"""What takes large bodies piece by piece and does nothing in anybody's name: not read before."""

_COMPILED = [(method, compile_path(path)[0], need) for (method, path), need in ACCESS.items()]


@dataclass(frozen=True, slots=True)
class Demand:
    """All that a request asks for. Nothing: no address of ours, or one that nobody classed."""

    needs: frozenset[Need]

    @property
    def without_sign_in(self) -> bool:
        """Whether anybody may."""
        return bool(self.needs) and self.needs <= WITHOUT_SIGN_IN

    @property
    def by_session_only(self) -> bool:
        """Whether no token is enough."""
        return bool(self.needs & BY_SESSION_ONLY)

    def met_by(self, *roles: Role) -> bool:
        """Return whether each of the roles may do all of it."""
        return all(self.needs <= MAY[role] for role in roles)


def demand(method: str, path: str) -> Demand:
    """Return what a request asks for. Where several lines fit an address, it asks for all of them.

    >>> sorted(demand("PUT", "/api/v1/written/sensor/bag-07").needs)
    [<Need.FIX: 'fix'>]
    >>> demand("GET", "/nothing").needs
    frozenset()
    """
    asked = "GET" if method == "HEAD" else method
    needs: set[Need] = set()
    for known, pattern, need in _COMPILED:
        if known != asked:
            continue
        found = pattern.match(path)
        if found is None:
            continue
        if isinstance(need, Need):
            needs.add(need)
        else:
            needs.add(need.get(found.groupdict().get("kind", ""), Need.LEAD))
    return Demand(frozenset(needs))
