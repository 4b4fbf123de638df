"""`graftvigil reach --light`: a lamp or siren lit for some seconds, to see that it hears us."""

from __future__ import annotations

import json
import threading
from functools import partial
from typing import TYPE_CHECKING

from api.alerts.lamp_trials import broker_to_try
from api.cli.main import FOUND_TROUBLE, GOOD, CannotGoOn
from collector.lamp_trial import LampNotReached, light_for

if TYPE_CHECKING:
    from api.settings import Settings
    from rules.model.lamp import Lamp
    from rules.model.site import Site

SECONDS = range(1, 61)


def light(site: Site, settings: Settings, name: str, *, seconds: int, as_json: bool) -> int:
    """Light a lamp, and say whether the broker passed it on; return 1 when it did not."""
    lamp = _lamp(site, name)
    if seconds not in SECONDS:
        msg = f"--seconds: is {seconds}; write a whole number from 1 to {SECONDS[-1]}"
        raise CannotGoOn(msg)
    try:
        address = broker_to_try(settings)
    except ValueError as trouble:
        raise CannotGoOn(str(trouble)) from trouble
    error = None
    try:
        light_for(
            address,
            lamp.topic,
            on=lamp.on.encode(),
            off=lamp.off.encode(),
            rest=partial(threading.Event().wait, seconds),
        )
    except LampNotReached as trouble:
        error = str(trouble)
    if as_json:
        print(json.dumps({"lamp": lamp.id, "error": error}, indent=2))
    elif error is None:
        print(f"{lamp.id}: told on, and after {seconds} s what it should be. Did someone see it?")
    else:
        print(f"{lamp.id}: {error}")
    return GOOD if error is None else FOUND_TROUBLE


def _lamp(site: Site, name: str) -> Lamp:
    for lamp in site.lamp:
        if lamp.id == name:
            return lamp
    known = ", ".join(lamp.id for lamp in site.lamp) or "none: add [[lamp]] to the site file"
    msg = f'--light: there is no lamp "{name}". Known are {known}'
    raise CannotGoOn(msg)
