"""Whom a request is from, as the door noted it, and whether that is the word of a lead."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.accounts.roles import Role
from api.accounts.signing import Signed

if TYPE_CHECKING:
    from fastapi import Request

    from rules.model.site import Site


def signed_in(request: Request) -> Signed | None:
    """Return whom a request is from; None: nobody signed in, or accounts are off."""
    found = request.scope.get("state", {}).get("signed")
    return found if isinstance(found, Signed) else None


def leads(signed: Signed | None, name: str, site: Site) -> bool:
    """Return whether what is written in a person's name has the word of a lead.

    A device at the bench that may write in the lead's name is not the lead: with accounts the
    role decides. Without them there is only the name.
    """
    if signed is None:
        return name == site.lead
    return signed.role is Role.LEAD and signed.token_role in {None, Role.LEAD}
