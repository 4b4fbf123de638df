"""The whole site as one value, checked for names that point nowhere."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from pydantic import Field

from rules.model.batch import Batch
from rules.model.lamp import Lamp
from rules.model.people import DEFAULT_STEPS, Absence, Person, Shift, Step, Swap
from rules.model.place import Bench, Channel, House, Place, Sensor, Slug, Written, channel_key

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.model.alarm import Priority


class Site(Written):
    """Everything in a site file. Lists are named in the singular, as in `[[bench]]`."""

    site: Place
    lead: Slug
    house: tuple[House, ...] = Field(min_length=1)
    bench: tuple[Bench, ...] = Field(min_length=1)
    sensor: tuple[Sensor, ...] = ()
    batch: tuple[Batch, ...] = ()
    person: tuple[Person, ...] = Field(min_length=1)
    shift: tuple[Shift, ...] = ()
    swap: tuple[Swap, ...] = ()
    absence: tuple[Absence, ...] = ()
    escalation: tuple[Step, ...] = ()
    lamp: tuple[Lamp, ...] = ()

    @cached_property
    def channels(self) -> Mapping[str, Channel]:
        """Every channel by the key under which its readings are kept."""
        return {
            channel_key(sensor.id, channel.id): channel
            for sensor in self.sensor
            for channel in sensor.channel
        }

    @cached_property
    def lamp_topics(self) -> frozenset[str]:
        """The topics on which we speak ourselves: nothing that comes in on them is a reading."""
        return frozenset(lamp.topic for lamp in self.lamp)

    def steps(self, priority: Priority) -> tuple[Step, ...]:
        """Return who is told of an alarm of a priority, in order; the usual ones if none are given.

        Steps that fall due together stand in the order of the file.
        """
        given = [step for step in self.escalation if step.priority is priority]
        usual = [step for step in DEFAULT_STEPS if step.priority is priority]
        return tuple(sorted(given or usual, key=lambda step: step.after_min))
