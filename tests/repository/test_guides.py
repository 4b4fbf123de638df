"""The guides for a board: every command, file and setting in them is there."""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import stat
import subprocess

import pytest

from api.cli.main import parser
from api.settings import SECRETS, Settings

GUIDES = ("first_time", "board", "brokers", "compose")


@pytest.fixture(params=GUIDES)
def guide(request, root) -> str:
    return (root / "docs" / f"{request.param}.md").read_text(encoding="utf-8")


def commands(guide: str) -> list[str]:
    """The lines to type, which stand in fences of sh."""
    blocks = re.findall(r"^ *```sh[^\n]*\n(.*?)^ *```$", guide, re.M | re.S)
    assert blocks
    return [line.strip() for block in blocks for line in block.splitlines()]


def test_commands_of_ours_are_such_as_the_command_line_takes(guide):
    for line in commands(guide):
        words = shlex.split(line)
        while words and words[0] in {"sudo", "sh"}:
            words.pop(0)
        if not words or words[0] != "graftvigil":
            continue
        with contextlib.redirect_stderr(io.StringIO()) as said:
            try:
                parser().parse_args(words[1:])
            except SystemExit:
                pytest.fail(f"{line}: {said.getvalue()}")


def test_every_file_of_ours_that_is_named_is_there(guide, root):
    named = set(re.findall(r"(?<![\w/.-])(deploy/[\w./-]+\w)", guide))
    named |= {f"deploy/compose/{one}" for one in re.findall(r"sh (make_secrets\.sh)", guide)}
    assert [one for one in sorted(named) if not (root / one).exists()] == []
    for link in re.findall(r"\]\(([\w./-]+\.md)", guide):
        assert (root / "docs" / link).is_file(), link


def test_every_setting_that_is_named_is_one(guide, root):
    composed = {"GRAFTVIGIL_NAME"}  # the compose file's own
    known = {f"GRAFTVIGIL_{name.upper()}" for name in Settings.model_fields}
    known |= {f"GRAFTVIGIL_{name.upper()}_FILE" for name in SECRETS}
    assert set(re.findall(r"GRAFTVIGIL_[A-Z_]+", guide)) - known - composed == set()


def test_recipes_are_called_with_options_that_they_have(guide, root):
    usage = subprocess.run(
        ["sh", str(root / "deploy/install.sh"), "--help"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    called = [line for line in commands(guide) if "deploy/install.sh" in line]
    for line in called:
        for option in re.findall(r"--\w[\w-]*", line):
            assert option in usage, line


def test_the_guide_for_the_first_time_goes_all_the_way(root):
    text = (root / "docs/first_time.md").read_text(encoding="utf-8")
    steps = re.findall(r"^## (\d+)\. (.+)$", text, re.M)
    assert [int(number) for number, _ in steps] == list(range(1, len(steps) + 1))
    typed = "\n".join(commands(text))
    in_order = (
        "timedatectl", "deploy/install.sh", "graftvigil check", "sensors.conf",
        "make_certificate.sh pages", "set-up-code", "mosquitto_pub", "graftvigil reach --test",
        "graftvigil backup --check",
    )  # fmt: skip
    places = [typed.index(one) for one in in_order]
    assert places == sorted(places)
    assert "licensed electrician" in text


@pytest.mark.parametrize("what", ["broker", "pages"])
def test_a_certificate_is_made_once_for_the_name_and_its_key_is_kept_close(root, tmp_path, what):
    script = (root / "deploy/make_certificate.sh").read_text()
    # The group of the broker is there only where a broker was installed by its package.
    own = tmp_path / "make_certificate.sh"
    own.write_text(script.replace("reader=mosquitto", "reader=root"))

    def make() -> str:
        return subprocess.run(
            ["sh", str(own), what, "board.local"],
            env={"PATH": "/usr/sbin:/usr/bin:/bin", "CERTIFICATES": str(tmp_path / "made")},
            capture_output=True,
            text=True,
            check=True,
        ).stdout

    assert "made" in make()
    certificate, key = (tmp_path / "made" / f"{what}.{end}" for end in ("crt", "key"))
    shown = subprocess.run(
        ["openssl", "x509", "-in", str(certificate), "-noout", "-ext", "subjectAltName"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert "DNS:board.local" in shown
    assert stat.S_IMODE(key.stat().st_mode) == 0o640
    before = certificate.read_bytes()
    assert "stays" in make()
    assert certificate.read_bytes() == before
