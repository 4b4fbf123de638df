"""A lamp or siren lit for a few seconds at a person's wish, to see that it hears us."""

from __future__ import annotations

import logging
import threading
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from collector.lamp_trial import LampNotReached, light_for
from collector.outgoing import Fate
from collector.settings import BrokerAddress, broker_address, listen_address

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from api.settings import Settings
    from api.watch.clock import Clock
    from rules.model.lamp import Lamp

log = logging.getLogger(__name__)

LIT_S = 5.0


@dataclass(frozen=True, slots=True)
class Trial:
    """When a lamp was tried last, and what came of it: the broker passed it on, or says why not.

    Whether it was seen to be lit, only a person can tell.
    """

    at: datetime
    fate: Fate
    trouble: str = ""


def broker_to_try(settings: Settings, *, port: int = 0) -> BrokerAddress:
    """Return the broker by which lamps are told; `port` is the built-in one's, 0: as it is set.

    Raises ValueError for settings that name none.
    """
    if not settings.broker:
        at = listen_address(settings.built_in_broker)
        return BrokerAddress(at.host, port or at.port, tls=False, user=None, password=None)
    return named_broker(settings)


def named_broker(settings: Settings) -> BrokerAddress:
    """Return the broker that settings name, with what signs us in there; ValueError if unusable."""
    secret = settings.broker_password
    password = None if secret is None else secret.get_secret_value()
    return replace(broker_address(settings.broker, password=password), ca_file=settings.broker_ca)


class LampTrials:
    """Lights lamps on trial, each in a thread of its own, and remembers what came of the last.

    A trial ends early once `stopping` is set. What came of it is known to this process alone.
    """

    def __init__(
        self, address: Callable[[], BrokerAddress], clock: Clock, stopping: threading.Event
    ) -> None:
        self._address = address
        self._clock = clock
        self._stopping = stopping
        self._lock = threading.Lock()
        self._last: dict[str, Trial] = {}

    def last(self, lamp: str) -> Trial | None:
        """Return what came of the last trial of a lamp, by its id."""
        with self._lock:
            return self._last.get(lamp)

    def begin(self, lamp: Lamp) -> bool:
        """Light a lamp for LIT_S; return at once, False while that lamp is being tried already."""
        begun = Trial(self._clock.now(), Fate.UNDER_WAY)
        with self._lock:
            last = self._last.get(lamp.id)
            if last is not None and last.fate is Fate.UNDER_WAY:
                return False
            self._last[lamp.id] = begun
        threading.Thread(target=self._try, args=(lamp, begun), name="lamp-trial").start()
        return True

    def _try(self, lamp: Lamp, begun: Trial) -> None:
        trial = replace(begun, fate=Fate.ACCEPTED)
        try:
            light_for(
                self._address(),
                lamp.topic,
                on=lamp.on.encode(),
                off=lamp.off.encode(),
                rest=partial(self._stopping.wait, LIT_S),
            )
        except LampNotReached as trouble:
            trial = replace(begun, fate=Fate.LOST, trouble=str(trouble))
        except Exception as fault:
            log.exception("lamp_trial_failed lamp=%s", lamp.id)
            trial = replace(begun, fate=Fate.LOST, trouble=f"{type(fault).__name__}: {fault}")
        with self._lock:
            self._last[lamp.id] = trial
