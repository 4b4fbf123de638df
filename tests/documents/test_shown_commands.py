"""Every command that a page shows is run as it stands, and does what the page says."""

from __future__ import annotations

import re
import shlex

import pytest

from api.cli.main import parser

PROGRAMS = re.compile(
    r"(?:\$ )?(?:sudo )?(?:\.venv/bin/|sh )?"
    r"(?:graftvigil|mosquitto_\w+|curl|deploy/\w+\.sh|systemctl|docker|apt(?:-get)?|git|cp|mkdir|"
    r"python3?|pytest|sqlite3|export|journalctl|nano|rsync|ssh|cat|tar) "
)
INLINE = re.compile(r"`(?:\.venv/bin/)?graftvigil ([^`]+)`")


def test_every_page_is_looked_at(pages, blocks):
    assert {"README.md", "docs/api.md", "docs/collector.md"} <= {block.page for block in blocks}
    assert len(pages) > 60


def test_commands_stand_in_fences_of_sh_or_console(pages, root, outside_of_fences):
    """Not in blocks that are only indented, nor in those of another kind: these would not run."""
    lost = [
        f"{page.relative_to(root)}:{number}: {line.strip()}"
        for page in pages
        if page.name != "commands.md"  # what --help prints, see below
        for number, line in outside_of_fences(page)
        if PROGRAMS.match(line.strip())
    ]
    assert lost == []


def test_what_is_not_run_gives_its_reason(blocks, root, capsys):
    left = [block for block in blocks if block.not_run]
    with capsys.disabled():
        print("\nNot run, and why:")
        for block in left:
            print(f"  {block.where}: {block.not_run}")
    for block in blocks:
        assert not (block.not_run and block.run_by), block.where
        if block.run_by:
            test = (root / block.run_by).read_text(encoding="utf-8")
            assert block.page.split("/")[-1] in test, f"{block.where}: {block.run_by} reads it not"


@pytest.mark.service
@pytest.mark.slow
def test_a_page_does_what_it_says(shown_page, places):
    """In page order: what one block makes, the next one has."""
    own: dict[str, object] = {}
    try:
        for block in shown_page:
            if block.place not in own:
                own[block.place] = places(block.place)
            run_block(block, own[block.place])
    finally:
        if "" in own:
            own[""].leave()


def run_block(block, place):
    for command, shown in block.steps():
        line = command.split("  #")[0].strip()
        if line == place.opening:
            continue  # it runs already: that is how the place was made
        if block.stays:
            said = place.stay(command.split("  #")[0])
        else:
            code, said = place.run(command, exits=block.exits)
            assert code in block.exits, f"{block.where}: {command}\nended with {code}:\n{said}"
        if shown is not None:
            assert_says(block, command, shown, said)


def assert_says(block, command, shown, said):
    assert block.is_as_shown(shown, said), (
        f"{block.where}: {command}\n--- the page shows\n{shown}--- it says\n{said}"
    )


def test_a_command_named_in_a_sentence_is_one_that_there_is(pages, root):
    subcommands = next(one for one in parser()._actions if one.dest == "command").choices
    wrong = []
    for page in pages:
        for said in INLINE.findall(page.read_text(encoding="utf-8")):
            words = shlex.split(said.replace("’", ""))
            known = subcommands.get(words[0])
            if words[0].startswith("-"):
                continue
            options = set() if known is None else known._option_string_actions.keys()
            unknown = [
                word
                for word in words[1:]
                if word.startswith("--") and word.split("=")[0] not in options
            ]
            if known is None or unknown:
                wrong.append(f"{page.relative_to(root)}: graftvigil {said}")
    assert wrong == []


def test_the_examples_of_every_help_can_be_read_by_the_command(root):
    text = (root / "docs" / "commands.md").read_text(encoding="utf-8")
    text = re.sub(r" \\\n +", " ", text)
    examples = re.findall(r"^  graftvigil (\S+ (?:\S+ ?)*)", text, re.M)
    top = parser()
    assert len(examples) > 30
    for example in examples:
        top.parse_args(shlex.split(example))  # ends the test with the words of the command
