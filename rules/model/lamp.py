"""A lamp or a siren that is lit over MQTT while something waits for a person."""

from __future__ import annotations

import re
from typing import Self

from pydantic import Field, field_validator, model_validator

from rules.model.alarm import Priority
from rules.model.place import Slug
from rules.model.written import Written


class Lamp(Written):
    """Something that is on while an alarm of its houses waits for a person, and else off.

    `houses` are those whose batches light it; none: all. `priority` is the lowest that does. `on`
    and `off` are what is published on `topic`, in UTF-8. `latch`: whether it stays lit once what
    lit it is over, until someone acknowledges that; only alarms that latch wait so.
    """

    id: Slug
    title: str
    topic: str = Field(min_length=1, max_length=512)
    houses: tuple[Slug, ...] = ()
    priority: Priority = Priority.HIGH
    on: str = Field(default="on", min_length=1, max_length=200)
    off: str = Field(default="off", min_length=1, max_length=200)
    latch: bool = False

    @field_validator("topic")
    @classmethod
    def _one_topic(cls, topic: str) -> str:
        if re.search(r"[+#\x00]", topic) or topic.startswith("$"):
            msg = "a lamp's topic has no +, # or $ in front; give each lamp its own topic"
            raise ValueError(msg)
        return topic

    @model_validator(mode="after")
    def _two_words(self) -> Self:
        if self.on == self.off:
            msg = "off: is the same as on; write the two texts that the lamp listens for"
            raise ValueError(msg)
        if len(set(self.houses)) < len(self.houses):
            msg = "houses: names one house twice; leave one of them out"
            raise ValueError(msg)
        return self

    def heeds(self, priority: Priority) -> bool:
        """Return whether an alarm of this priority is one that lights it.

        >>> Lamp(id="shed", title="Shed", topic="shed/lamp").heeds(Priority.MEDIUM)
        False
        """
        order = tuple(Priority)
        return order.index(priority) <= order.index(self.priority)
