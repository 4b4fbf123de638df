"""Addresses as people write them."""

from __future__ import annotations

import pytest

from collector.settings import ListenAddress, broker_address, listen_address


@pytest.mark.parametrize(
    ("url", "host", "port", "tls", "user"),
    [
        ("mqtt://localhost", "localhost", 1883, False, None),
        ("mqtt://localhost:1999/", "localhost", 1999, False, None),
        ("mqtts://broker.example", "broker.example", 8883, True, None),
        ("mqtts://shed@broker.example:443", "broker.example", 443, True, "shed"),
        ("mqtt://a%40b:p%3Aq@[::1]:5", "::1", 5, False, "a@b"),
    ],
)
def test_a_broker_is_named_by_its_url(url, host, port, tls, user):
    got = broker_address(url, password=None)
    assert (got.host, got.port, got.tls, got.user) == (host, port, tls, user)


def test_a_password_comes_from_the_setting_or_the_url_and_is_never_shown():
    assert broker_address("mqtt://u@h", password="s3cret").password == "s3cret"
    got = broker_address("mqtt://u:p%40ss@h", password="other")
    assert got.password == "p@ss"
    assert "p@ss" not in repr(got)


@pytest.mark.parametrize(
    "url",
    [
        "",
        "localhost:1883",
        "http://localhost",
        "mqtt://",
        "mqtt://h:port",
        "mqtt://h:99999",
        "mqtt://h/topic",
        "mqtt://h?x=1",
    ],
)
def test_what_is_no_broker_is_refused_with_what_to_write(url):
    with pytest.raises(ValueError, match=r"mqtts?://"):
        broker_address(url, password=None)


def test_a_refused_url_is_not_repeated_as_it_may_hold_a_password():
    with pytest.raises(ValueError, match="write it as in") as caught:
        broker_address("mqtt://u:hush@h:port", password=None)
    assert "hush" not in str(caught.value)


def test_a_password_without_a_user_is_refused():
    with pytest.raises(ValueError, match="needs a user"):
        broker_address("mqtt://h", password="x")


def test_an_address_to_listen_on():
    assert listen_address("[::1]:0") == ListenAddress("::1", 0)


@pytest.mark.parametrize("text", ["", "1884", "127.0.0.1", "h:70000", "h:-1", "::1:1884", "h: 5"])
def test_what_is_no_address_is_refused(text):
    with pytest.raises(ValueError, match="write it as in"):
        listen_address(text)
