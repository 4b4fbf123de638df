"""Who the broker says it is, is checked: another authority, another name, a certificate run out."""

from __future__ import annotations

import re
import subprocess

import pytest

from collector.mqtt import MqttCollector
from collector.settings import BrokerAddress, broker_address

pytestmark = pytest.mark.service

KEY = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")


def openssl(*words: object, ago: str | None = None) -> None:
    at = [] if ago is None else ["faketime", ago]
    subprocess.run([*at, "openssl", *map(str, words)], check=True, capture_output=True)


@pytest.fixture(scope="module")
def issued(tmp_path_factory):
    """Two authorities of our own, and what the first one gave: good, elsewhere's, and run out."""
    folder = tmp_path_factory.mktemp("certificates")
    for name in ("ours", "theirs"):
        openssl("req", "-x509", *KEY, "-days", 40, "-subj", f"/CN={name}",
                "-addext", "keyUsage=critical,keyCertSign,cRLSign",
                "-keyout", folder / f"{name}.key", "-out", folder / f"{name}.pem",
                ago="20 days ago")  # fmt: skip
    for name, names, ago in (
        ("good", "DNS:localhost", None),
        ("elsewhere", "DNS:broker.tern-hollow.invalid", None),
        ("run-out", "DNS:localhost", "10 days ago"),
    ):
        openssl("req", *KEY, "-subj", "/CN=x",
                "-keyout", folder / f"{name}.key", "-out", folder / f"{name}.csr")  # fmt: skip
        (folder / f"{name}.txt").write_text(f"subjectAltName={names}\n")
        openssl("x509", "-req", "-in", folder / f"{name}.csr", "-CA", folder / "ours.pem",
                "-CAkey", folder / "ours.key", "-CAcreateserial", "-days", 2,
                "-extfile", folder / f"{name}.txt", "-out", folder / f"{name}.pem",
                ago=ago)  # fmt: skip
    return folder


# paho leaves the socket of a failed handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning")
@pytest.mark.parametrize(
    ("certificate", "authority", "said"),
    [
        ("good", "ours", None),
        ("good", "theirs", r"\((self-signed|unable to get local).*GRAFTVIGIL_BROKER_CA"),
        ("good", None, r"\((self-signed|unable to get local).*GRAFTVIGIL_BROKER_CA"),
        ("elsewhere", "ours", r"\(Hostname mismatch.*name the broker as its certificate does"),
        ("run-out", "ours", r"\(certificate has expired\): renew it"),
    ],
    ids=["good", "another authority", "the machine's authorities", "another name", "run out"],
)
def test_a_broker_is_believed_only_with_a_certificate_that_holds(
    issued, make_mosquitto, make_kept, make_sensor, until, certificate, authority, said
):
    broker = make_mosquitto(
        f"allow_anonymous true\ncafile {issued / 'ours.pem'}\n"
        f"certfile {issued / certificate}.pem\nkeyfile {issued / certificate}.key\n"
    )
    told = broker_address(f"mqtts://localhost:{broker.port}", password=None)
    fields = {name: getattr(told, name) for name in BrokerAddress.__slots__}
    fields["ca_file"] = None if authority is None else issued / f"{authority}.pem"
    kept = make_kept(make_sensor())
    collector = MqttCollector(
        BrokerAddress(**fields), kept.ingest, clock_ms=lambda: kept.now_ms, jitter=lambda: 0.0
    )
    collector.start()
    try:
        if said is None:
            until(lambda: collector.health().connected)
        else:
            until(lambda: collector.health().trouble not in (None, "not yet connected"))
            trouble = str(collector.health().trouble)
            assert re.search(said, trouble), trouble
            assert "certificate" in trouble
            assert collector.health().connections == 0
    finally:
        collector.stop()
