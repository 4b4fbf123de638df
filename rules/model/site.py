"""The whole site as one value, checked for names that point nowhere."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from pydantic import Field

from rules.model.batch import Batch
from rules.model.people import Person, Shift
from rules.model.place import Bench, Channel, House, Place, Sensor, Slug, Written, channel_key

if TYPE_CHECKING:
    from collections.abc import Mapping


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

    @cached_property
    def channels(self) -> Mapping[str, Channel]:
        """Every channel by the key under which its readings are kept."""
        return {
            channel_key(sensor.id, channel.id): channel
            for sensor in self.sensor
            for channel in sensor.channel
        }
