"""By a way that takes one short text goes the line, in its alphabet, and the link to answer."""

from __future__ import annotations

import hashlib
import json
import urllib.request
from typing import TYPE_CHECKING

import apprise
import pytest
from apprise.manager_plugins import NotificationManager
from pydantic import SecretStr

from api.alerts.channels import Channels, Failed, Sent
from api.alerts.message import MessageText
from api.alerts.text_message import ONE, TWO, plain, septets, short_form

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

LINK = "http://shed.example.invalid:8484/answer/12~34~tobin~1a1dfc21140~b2OGUYxK3nP522lnQBCnHRtj"
ALL = "http://shed.example.invalid:8484/answer/all/1-2.3-4~tobin~1a1dfc21140~b2OGUYxK3nP522lnQBC"
LINE = "MG-07 mango bajo túnel, bench 1: calor, 38,5 °C (debe ser 38 o menos). Dé sombra ya."
BODY = f"Qué: calor.\nPara responder: {LINK}\nPara decir: http://shed.example.invalid/alarms/12\n"
LONG = MessageText(LINE, BODY + "Cuidado: hay mucho que leer. " * 20)


class ShortTexts(apprise.plugins.NotifyBase):
    """A gateway for text messages, as the library knows many: no title, few characters."""

    service_name = "Short texts"
    secure_protocol = "shorttexts"
    title_maxlen = 0
    body_maxlen = 160
    templates = ("{schema}://{host}:{port}",)

    def __init__(self, **kwargs: object) -> None:
        super().__init__(**kwargs)

    def send(self, body: str, title: str = "", **_: object) -> bool:
        request = urllib.request.Request(
            f"http://{self.host}:{self.port}/", json.dumps({"text": body, "title": title}).encode()
        )
        with urllib.request.urlopen(request, timeout=5) as answer:
            return bool(answer.status == 200)

    def url(self, *_: object, **__: object) -> str:
        return f"shorttexts://{self.host}:{self.port}"


@pytest.fixture
def texts(gateway, small_site) -> Iterator[Callable[..., list[dict[str, str]]]]:
    """Return what the gateway was given after a message went out to someone's telephone."""
    known = NotificationManager()
    known.add(ShortTexts, schemas="shorttexts")

    def sent(text: MessageText, *, takes: int) -> list[dict[str, str]]:
        ShortTexts.body_maxlen = takes
        address = SecretStr(f"shorttexts://127.0.0.1:{gateway.port}")
        channels = Channels(None, "w@small.example.invalid", reach={"phone": address})
        assert channels.send(small_site.person[0], "phone", text) == Sent()
        return gateway.given

    yield sent
    known.remove("shorttexts")


def test_a_text_message_is_the_line_and_the_link_and_fits_two(texts):
    (given,) = texts(LONG, takes=160)
    line = "MG-07 mango bajo tunel, bench 1: calor, 38,5 C (debe ser 38 o menos). Dé sombra ya."
    assert given == {"text": f"{line}\n{LINK}", "title": ""}
    assert septets(given["text"]) <= TWO


def test_a_way_that_takes_the_whole_gets_the_whole(texts):
    (given,) = texts(LONG, takes=2000)
    assert given["text"].startswith(LINE)
    assert "Cuidado" in given["text"]


def test_a_pager_gets_the_beginning_of_the_line(texts):
    (given,) = texts(LONG, takes=80)
    assert given["text"] == plain(LINE)[:80].rstrip()


def test_a_gateway_that_refuses_is_a_failure(gateway, small_site, texts):
    gateway.refuses = True
    address = SecretStr(f"shorttexts://127.0.0.1:{gateway.port}")
    channels = Channels(None, "w@small.example.invalid", reach={"phone": address})
    assert isinstance(channels.send(small_site.person[0], "phone", LONG), Failed)


def test_of_many_alarms_the_link_to_all_goes_along_while_it_fits():
    text = MessageText("Casa 2: 9 lotes con aire seco.", f"Todas: {ALL}\n- una: {LINK}")
    assert short_form(text, most=160).endswith(f"\n{ALL}")
    endless = ALL.replace("1-2.3-4", ".".join(f"{n:x}-{n:x}" for n in range(300)))
    text = MessageText("Casa 2: 300 alarmas.", f"Todas: {endless}\n- una: {LINK}")
    assert short_form(text, most=160) == "Casa 2: 300 alarmas."


def test_a_message_without_a_link_is_its_line():
    assert short_form(MessageText("Test: nothing is wrong.", "body"), most=160) == (
        "Test: nothing is wrong."
    )


def test_a_line_that_grows_too_long_ends_between_words():
    line = "1439 µmol m⁻² s⁻¹ … " * 8
    assert len(line) == ONE
    said = short_form(MessageText(line, ""), most=160)
    assert septets(said) <= ONE
    assert said.endswith("...")


@pytest.mark.published(
    "3GPP TS 23.038 V16.0.0, 6.2.1: the 7-bit default alphabet, recomputed with Perl's "
    "Encode::GSM0338 2.10, which cites it"
)
def test_the_alphabet_is_the_one_that_telephones_use():
    single = "".join(chr(one) for one in range(9, 0x3000) if septets(chr(one)) == 1)
    assert len(single) == 127
    digest = hashlib.sha256(single.encode()).hexdigest()
    assert digest == "f6071046b3a7faf8c86efc87d24e330acd69014e6cf88745e3da45bc149e5062"


def test_what_has_no_plain_form_is_left_as_it_is():
    assert plain("芒果 7") == "芒果 7"
    assert plain("Peñalver, ¿dónde? é È ç") == "Peñalver, ¿donde? é È c".replace("È", "E")
