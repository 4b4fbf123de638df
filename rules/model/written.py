"""What everything that a person writes in a file is built on."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Written(BaseModel):
    """Base of everything a person writes in a file: unknown fields are faults, values are final."""

    model_config = ConfigDict(extra="forbid", frozen=True)
