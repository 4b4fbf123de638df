"""Answers over MQTT: from a button beside a lamp, or a gateway that passes on a reply.

Everyone on a broker may read what is published on it, so a person's secret never is. What is
published is a proof made with it, good for one alarm, one answer and a few minutes:

    {"code": "12-k3fa", "by": "corvin", "answer": "going", "at": 1794668400, "proof": "…"}

`code` stands in the message, `at` is in seconds since 1970, UTC, and `proof` is the HMAC-SHA256, in
hexadecimal, of `code|by|answer|at` with the secret as its key.
"""

from __future__ import annotations

import hashlib
import hmac
import logging
import re
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict, Field, SecretStr, ValidationError
from sqlalchemy.exc import SQLAlchemyError

from api.alerts.answering import Answer, Past, asked_about, person_who_answers, say
from api.records.alarms import NothingToAcknowledge
from api.records.session import writing
from api.records.tables import as_ms
from collector.ingest import Ingest
from collector.stores.base import StoreFailure

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from contextlib import AbstractContextManager

    from sqlalchemy import Engine

    from api.alerts.links import Links
    from api.book import Book
    from api.watch.clock import Clock
    from collector.gate import Gate, Message
    from collector.ingest import Taken
    from collector.rejects import RejectLog
    from collector.stores.base import ReadingStore
    from rules.model.site import Site

log = logging.getLogger(__name__)

PREFIX = "GRAFTVIGIL_ANSWER_"
SHORTEST_SECRET = 16
FRESH_S = 300
_LARGEST_BYTES = 1_000
_CODE = re.compile(r"([1-9]\d{0,17})-[a-z2-7]{4}")


class SecretTooShort(ValueError):
    """A secret that could be guessed; the message names its variable, never the secret."""


class Said(BaseModel):
    """What was published. `at` is in seconds since 1970, UTC."""

    model_config = ConfigDict(extra="forbid", strict=True)

    code: str = Field(max_length=24)
    by: str = Field(max_length=40)
    answer: Literal["going", "seen"]
    at: int
    proof: str = Field(max_length=64)


def variable(person: str) -> str:
    """Return the environment variable that holds a person's secret.

    >>> variable("night-hand")
    'GRAFTVIGIL_ANSWER_NIGHT_HAND'
    """
    return PREFIX + person.upper().replace("-", "_").replace(".", "_")


def secrets_in(environment: Mapping[str, str], site: Site) -> dict[str, SecretStr]:
    """Return the secrets that are set, by person; who has none cannot answer over MQTT.

    Each stands in its variable, or in the file that the variable with `_FILE` added names. Raises
    OSError if such a file cannot be read, SecretTooShort for one that could be guessed.
    """
    found: dict[str, SecretStr] = {}
    for person in site.person:
        name = variable(person.id)
        value = environment.get(name, "")
        file = environment.get(f"{name}_FILE", "")
        if not value and file:
            value = Path(file).read_text(encoding="utf-8").strip()
        if not value or not person.answers:
            continue
        if len(value) < SHORTEST_SECRET:
            msg = f"{name}: is shorter than {SHORTEST_SECRET} characters. Take a longer one"
            raise SecretTooShort(msg)
        found[person.id] = SecretStr(value)
    return found


def proof_of(secret: SecretStr, *, code: str, by: str, answer: str, at: int) -> str:
    """Return the proof that goes with an answer, in hexadecimal."""
    text = f"{code}|{by}|{answer}|{at}".encode()
    return hmac.new(secret.get_secret_value().encode(), text, hashlib.sha256).hexdigest()


class Buttons:
    """Takes answers that were published. What is not one, or proves nothing, is logged as refused.

    Parameters
    ----------
    secrets
        By person; see `secrets_in`. May be put anew while it runs.
    """

    def __init__(
        self,
        book: Book,
        records: Engine,
        clock: Clock,
        links: Links,
        *,
        secrets: Mapping[str, SecretStr],
    ) -> None:
        self._book = book
        self._records = records
        self._clock = clock
        self._links = links
        self.secrets = secrets

    @property
    def lamp_topics(self) -> frozenset[str]:
        """The topics on which we speak to lamps ourselves."""
        return self._book.now.site.lamp_topics

    def take(self, message: Message) -> None:
        """Keep what an answer leads to; bad ones never raise. StoreFailure: try it again."""
        try:
            why = self._take(message)
        except SQLAlchemyError as trouble:
            msg = f"an answer could not be kept ({type(trouble).__name__})"
            raise StoreFailure(msg) from trouble
        if why is not None:
            log.warning("button_refused topic=%s why=%s", message.topic, why)

    def _take(self, message: Message) -> str | None:
        """Return why an answer is not taken; None when it is."""
        if message.retained or len(message.payload) > _LARGEST_BYTES:
            return "retained" if message.retained else "too_large"
        try:
            said = Said.model_validate_json(message.payload)
        except ValidationError:
            return "not_an_answer"
        person = person_who_answers(self._book.now.site, said.by)
        secret = self.secrets.get(said.by)
        if person is None or secret is None:
            return "no_secret"
        proof = proof_of(secret, code=said.code, by=said.by, answer=said.answer, at=said.at)
        if not hmac.compare_digest(proof.encode(), said.proof.encode()):
            return "wrong_proof"
        now = self._clock.now()
        if abs(as_ms(now) // 1000 - said.at) > FRESH_S:
            return "not_fresh"
        code = _CODE.fullmatch(said.code)
        if code is None:
            return "no_code"
        with writing(self._records) as db:
            try:
                asked = asked_about(db, int(code[1]), person)
                if self._links.code(asked.alarm.id, asked.change_id) != said.code:
                    return "past"
                say(db, asked, Answer(said.answer), deed=None, note="", at=now)
            except Past:
                return "past"
            except NothingToAcknowledge:
                return "someone_has_it"
        log.info("answered alarm=%d by=%s answer=%s", asked.alarm.id, person.id, said.answer)
        return None


class IngestWithButtons(Ingest):
    """Takes what comes in over MQTT: answers on their own topic, readings on all others.

    What we say to a lamp comes back to us where we listen to everything; it is passed over.
    """

    def __init__(
        self,
        gate: Gate,
        store: ReadingStore,
        *,
        rejects: RejectLog,
        together: Callable[[], AbstractContextManager[object]],
        clock_ms: Callable[[], int],
        topic: str,
        buttons: Buttons,
    ) -> None:
        super().__init__(gate, store, rejects=rejects, together=together, clock_ms=clock_ms)
        self._topic = topic
        self._buttons = buttons

    def take(self, messages: Sequence[Message]) -> Taken:
        """Return once answers and readings are kept; only then may they be acknowledged."""
        for message in messages:
            if message.topic == self._topic:
                self._buttons.take(message)
        passed_over = {self._topic} | self._buttons.lamp_topics
        return super().take([one for one in messages if one.topic not in passed_over])
