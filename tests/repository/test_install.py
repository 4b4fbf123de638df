"""The recipe for a board: what it lays out, for whom, that it repeats itself, and when it refuses.

Python packages and systemd are left out, as `--root` says; tests/repository/test_recipes.py holds
the list of versions. The unit is read by systemd's own tools.
"""

from __future__ import annotations

import os
import pwd
import re
import shutil
import stat
import subprocess
from pathlib import Path

import pytest

from api.assemble import lock
from api.settings import SECRETS, Settings
from api.site_files import read_nursery

LOOSEST = 2.0
"""systemd's own measure of exposure: 0 is shut, 10 wide open."""


def install(root, at: Path, *options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["sh", str(root / "deploy" / "install.sh"), "--root", str(at), *options],
        capture_output=True,
        text=True,
        check=False,
    )


def tree(at: Path) -> dict[str, tuple[int, int, int, str]]:
    """Every path with its mode, owner and content or target."""
    found = {}
    for path in sorted(at.rglob("*")):
        now = path.lstat()
        said = ""
        if path.is_symlink():
            said = str(path.readlink())
        elif path.is_file() and not path.name.endswith("shadow"):  # which nobody but root reads
            said = path.read_bytes().hex()
        found[str(path.relative_to(at))] = (now.st_mode, now.st_uid, now.st_gid, said)
    return found


@pytest.fixture(scope="module")
def laid(root, tmp_path_factory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    at = tmp_path_factory.mktemp("board")
    said = install(root, at)
    assert said.returncode == 0, said.stderr
    return at, said


def test_a_dry_run_says_every_step_and_does_none(root, tmp_path):
    said = install(root, tmp_path, "--dry-run")
    assert said.returncode == 0, said.stderr
    assert list(tmp_path.iterdir()) == []
    for step in ("systemd-sysusers", "graftvigil.service", "graftvigil.env", "current"):
        assert step in said.stderr
    assert "Nothing was changed." in said.stderr


def test_it_lays_out_programs_settings_data_and_the_unit(laid):
    at, said = laid
    name = said.stdout.strip()
    assert re.fullmatch(r"\d+\.\d+\.\d+-[0-9a-f]{12}", name)
    assert (at / "opt/graftvigil/current").readlink() == Path("releases") / name
    current = at / "opt/graftvigil/current"
    assert (current / "docs/first_time.md").is_file()
    assert (current / "example/first_site.toml").is_file()
    assert (at / "etc/systemd/system/graftvigil.service").is_file()
    wanted = at / "etc/systemd/system/multi-user.target.wants/graftvigil.service"
    assert wanted.is_symlink()
    assert os.access(at / "usr/local/bin/graftvigil", os.X_OK)
    assert not (at / "var/lib/graftvigil/site.toml").exists()


def test_settings_are_for_its_user_alone_and_not_its_to_change(laid):
    at, _ = laid
    lines = (at / "etc/passwd").read_text().splitlines()
    rows = {one.partition(":")[0]: one.split(":") for one in lines}
    user, group = int(rows["graftvigil"][2]), int(rows["graftvigil"][3])
    assert user != 0
    assert rows["graftvigil"][-1].endswith("nologin")
    for name, mode, owner in (
        ("etc/graftvigil", 0o750, 0),
        ("etc/graftvigil/secrets", 0o750, 0),
        ("etc/graftvigil/graftvigil.env", 0o640, 0),
        ("var/lib/graftvigil", 0o750, user),
        ("var/lib/graftvigil/plans", 0o750, user),
        ("var/lib/graftvigil/plans/leafy-bag.toml", 0o640, user),
    ):
        now = (at / name).stat()
        assert stat.S_IMODE(now.st_mode) == mode, name
        if os.getuid() == 0:  # nobody else may give a file away
            assert (now.st_uid, now.st_gid) == (owner, group), name
    for path in (at / "opt").rglob("*"):
        now = path.lstat()
        assert now.st_uid == os.getuid(), path
        assert path.is_symlink() or not now.st_mode & 0o022, path


def test_once_more_changes_nothing_and_leaves_what_is_yours(root, tmp_path):
    assert install(root, tmp_path).returncode == 0
    mine = tmp_path / "etc/graftvigil/graftvigil.env"
    mine.write_text("GRAFTVIGIL_LISTEN=127.0.0.1:9\n")
    plan = tmp_path / "var/lib/graftvigil/plans/leafy-bag.toml"
    plan.write_text("# mine\n")
    before = tree(tmp_path)
    said = install(root, tmp_path)
    assert said.returncode == 0, said.stderr
    assert tree(tmp_path) == before
    assert said.stderr.count("yours, left as it is") >= 2
    assert "In force already" in said.stderr


def test_it_refuses_beside_an_older_one_that_runs_and_changes_nothing(root, tmp_path):
    at = tmp_path / "board"
    at.mkdir()
    assert install(root, at).returncode == 0
    current = at / "opt/graftvigil/current"
    current.unlink()
    current.symlink_to("releases/0.0.9-000000000000")
    held = lock(at / "var/lib/graftvigil/graftvigil-data")
    try:
        before = tree(at)
        for options in ((), ("--stop",)):  # it was not systemd that started this one
            said = install(root, at, *options)
            assert said.returncode == 1
            assert "Another graftvigil is running" in said.stderr
            assert "Nothing was changed." in said.stderr
            assert tree(at) == before
    finally:
        held.close()
    said = install(root, at)
    assert said.returncode == 0, said.stderr
    assert str(current.readlink()) == f"releases/{said.stdout.strip()}"


def test_a_change_of_the_programs_is_another_release_and_of_bytecode_is_not(root, tmp_path):
    clone = tmp_path / "clone"
    for name in ("rules", "collector", "api", "docs", "deploy", "demo_data/plans"):
        shutil.copytree(root / name, clone / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(root / name, clone / name)
    first = install(clone, tmp_path / "at", "--dry-run").stdout
    (clone / "api/__pycache__").mkdir()
    (clone / "api/__pycache__/x.pyc").write_bytes(b"x")
    assert install(clone, tmp_path / "at", "--dry-run").stdout == first
    with (clone / "api/web/static/style.css").open("a") as file:
        file.write("/* changed */\n")
    assert install(clone, tmp_path / "at", "--dry-run").stdout != first


@pytest.mark.parametrize("options", [["--rot", "x"], ["--root"]])
def test_bad_usage_is_told(root, options):
    said = subprocess.run(
        ["sh", str(root / "deploy/install.sh"), *options],
        capture_output=True,
        text=True,
        check=False,
    )
    assert said.returncode == 2
    assert "--help explains" in said.stderr


def test_systemd_takes_the_unit_and_finds_it_shut(root, tmp_path):
    """systemd-analyze, of systemd itself; only the program's path is the test's."""
    unit = tmp_path / "graftvigil.service"
    text = (root / "deploy/systemd/graftvigil.service").read_text()
    assert "ExecStart=/opt/graftvigil/current/bin/graftvigil run\n" in text
    unit.write_text(text.replace("/opt/graftvigil/current/bin/graftvigil", "/bin/true"))
    verified = subprocess.run(
        ["systemd-analyze", "verify", str(unit)], capture_output=True, text=True, check=False
    )
    assert (verified.returncode, verified.stderr) == (0, "")
    judged = subprocess.run(
        ["systemd-analyze", "security", "--offline=yes", "--no-pager", str(unit)],
        capture_output=True,
        text=True,
        check=False,
    )
    level = re.search(r"exposure level for graftvigil\.service: ([\d.]+)", judged.stdout)
    assert level, judged.stdout + judged.stderr
    assert float(level[1]) < LOOSEST


def test_the_unit_has_what_keeps_a_fault_from_spreading(root):
    text = (root / "deploy/systemd/graftvigil.service").read_text()
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    for wanted in (
        "User=graftvigil", "ProtectSystem=strict", "NoNewPrivileges=yes", "PrivateTmp=yes",
        "StateDirectory=graftvigil", "RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX",
        "SystemCallFilter=@system-service", "Restart=always", "RestartPreventExitStatus=2",
    ):  # fmt: skip
        assert wanted in lines
    assert any(line.startswith("MemoryMax=") for line in lines)
    # graftvigil does not speak to systemd's watchdog: a promise of one would end it every minute.
    assert not any(line.startswith(("WatchdogSec=", "Type=notify")) for line in lines)


def test_the_settings_that_come_with_it_are_known(root):
    text = (root / "deploy/systemd/graftvigil.env").read_text()
    named = set(re.findall(r"^#?(GRAFTVIGIL_\w+)=", text, re.M))
    known = {f"GRAFTVIGIL_{name.upper()}" for name in Settings.model_fields}
    known |= {f"GRAFTVIGIL_{name.upper()}_FILE" for name in SECRETS}
    assert named
    assert named <= known
    backup = re.search(r"^#GRAFTVIGIL_BACKUP=(\S+)$", text, re.M)
    assert backup
    unit = (root / "deploy/systemd/graftvigil.service").read_text()
    assert f"\nReadWritePaths=-{backup[1]}\n" in unit
    assert max(map(len, text.splitlines())) <= 100


def test_the_first_site_file_is_whole(root):
    nursery = read_nursery(root / "deploy/first_site.toml", root / "demo_data/plans")
    assert [str(one) for one in (*nursery.faults, *nursery.notes)] == []


def test_the_command_runs_with_the_settings_as_systemd_reads_them(root, tmp_path):
    """The wrapper, with its three paths turned to the test's and a program that tells."""
    program = tmp_path / "program"
    program.write_text('#!/bin/sh\nprintf "%s|%s|%s|%s\\n" "$A" "$B" "$PWD" "$*"\n')
    program.chmod(0o755)
    settings = tmp_path / "settings"
    settings.write_text('# A=not\nA=one two\nB="x y=z"\n\nnonsense\n')
    text = (root / "deploy/systemd/graftvigil-command").read_text()
    user = pwd.getpwuid(os.getuid()).pw_name
    for was, now in {
        "/etc/graftvigil/graftvigil.env": str(settings),
        "/var/lib/graftvigil\n": f"{tmp_path}\n",
        "/opt/graftvigil/current/bin/graftvigil": str(program),
        "runuser -u graftvigil": f"runuser -u {user}",  # reached by root alone
    }.items():
        assert was in text
        text = text.replace(was, now)
    wrapper = tmp_path / "graftvigil"
    wrapper.write_text(text)
    said = subprocess.run(
        ["sh", str(wrapper), "check", "site.toml"], capture_output=True, text=True, check=True
    )
    assert said.stdout == f"one two|x y=z|{tmp_path}|check site.toml\n"
    settings.unlink()
    refused = subprocess.run(
        ["sh", str(wrapper), "run"], capture_output=True, text=True, check=False
    )
    assert refused.returncode == 2
    assert "sudo graftvigil run" in refused.stderr
