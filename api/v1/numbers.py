"""The number of something kept, as it stands in an address."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path

LARGEST = 2**31 - 1
"""No database has given a larger one."""

Number = Annotated[int, Path(ge=1, le=LARGEST)]
