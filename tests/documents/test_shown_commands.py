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
DEMO = re.compile(r"`(?:sh )?deploy/(demo)\.sh( [^`]+)`")
BENCH = re.compile(r"`(?:sh )?deploy/bench\.sh (\w+)[^`]*`")


def test_every_page_is_looked_at(pages, blocks):
    assert {"README.md", "docs/api.md", "docs/collector.md"} <= {block.page for block in blocks}
    assert len(pages) > 60


def test_commands_stand_in_fences_of_sh_or_console(pages, root, outside_of_fences):
    """Not in blocks that are only indented, nor in those of another kind: these would not run."""
    lost = [
        f"{page.relative_to(root)}:{number}: {line.strip()}"
        for page in pages
        if page.name != "commands.md"  # what --help prints, see below
        and not indented_left(page)
        for number, line in outside_of_fences(page)
        if PROGRAMS.match(line.strip())
    ]
    assert lost == []


def indented_left(page):
    """Return why what is only indented on a page isn't run, "" where it has to be fenced."""
    found = re.search(
        r"^<!-- indented commands not-run: (\S+ .+) -->$", page.read_text(encoding="utf-8"), re.M
    )
    return found[1] if found else ""


def test_what_is_not_run_gives_its_reason(pages, blocks, root, capsys):
    left = [block for block in blocks if block.not_run]
    with capsys.disabled():
        print("\nNot run, and why:")
        for block in left:
            print(f"  {block.where}: {block.not_run}")
        for page in pages:
            if reason := indented_left(page):
                print(f"  {page.relative_to(root)}, all that is indented: {reason}")
    for block in blocks:
        assert not (block.not_run and block.run_by), block.where
        if block.run_by:
            test = (root / block.run_by).read_text(encoding="utf-8")
            assert block.page.split("/")[-1] in test, f"{block.where}: {block.run_by} reads it not"


@pytest.mark.service
@pytest.mark.slow
def test_a_page_does_what_it_says(shown_page, places):
    """In page order: what one block makes, the next one has."""
    blocks, needed_later = shown_page
    own: dict[str, object] = {}
    try:
        for at, block in enumerate(blocks):
            if block.place not in own:
                own[block.place] = places.place(block.place)
            run_block(block, own[block.place])
            places.leave_all_but(needed_later | {later.place for later in blocks[at + 1 :]})
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
        text = " ".join(page.read_text(encoding="utf-8").split())
        for said in [*INLINE.findall(text), *map("".join, DEMO.findall(text))]:
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


def test_a_measurement_named_in_a_sentence_is_one_that_there_is(pages, root):
    named = {name for page in pages for name in BENCH.findall(page.read_text(encoding="utf-8"))} - {
        "NAME"
    }
    assert len(named) > 3
    assert [name for name in named if not (root / "tests/bench" / f"{name}.py").is_file()] == []


def test_the_examples_of_every_help_can_be_read_by_the_command(root):
    text = (root / "docs" / "commands.md").read_text(encoding="utf-8")
    text = re.sub(r" \\\n +", " ", text)
    examples = re.findall(r"^  graftvigil (\S+ (?:\S+ ?)*)", text, re.M)
    top = parser()
    assert len(examples) > 30
    for example in examples:
        top.parse_args(shlex.split(example))  # ends the test with the words of the command


@pytest.mark.parametrize(
    "info",
    ["sh in=somewhere", "sh stay", "sh exit", "console not-run:", "sh not-run: because", "sh x=1"],
)
def test_a_word_that_means_nothing_is_refused(convention, info):
    with pytest.raises(convention.NotUnderstood):
        convention.read("docs/x.md", 7, info, "true\n")


def test_words_of_a_fence_are_read(convention):
    block = convention.read("docs/x.md", 7, "console in=run exit=0|1", "$ a \\\n  b\nx\n$ c\n")
    assert (block.place, block.exits) == ("run", {0, 1})
    assert block.steps() == [("a \\\n  b", "x\n"), ("c", "")]
    left = convention.read("docs/x.md", 7, "sh stays not-run: needs a lamp", "true\n")
    assert (left.stays, left.not_run) == (True, "needs a lamp")


@pytest.mark.parametrize(
    ("shown", "said", "same"),
    [
        ("a\nb\n", "a\nb\n", True),
        ("a\n", "a\nb\n", False),
        ("a …\n", "a 12:30\n", True),
        ("a …\n", "b 12:30\n", False),
        ("a …\n", "a 12:30\nb\n", False),
        ("…\nb\n", "x\ny\nb\n", True),
        ("…\nb\n", "x\ny\nc\n", False),
        ("a.c\n", "abc\n", False),
        ("", "something\n", False),
        ("", "", True),
    ],
)
def test_what_is_shown_is_compared_line_by_line(convention, shown, said, same):
    assert convention.matches(shown, said) is same


@pytest.mark.service
def test_a_command_that_fails_is_not_passed_over(places):
    """In the middle of a block; in one that may end with 1; and of curl, at a refusal."""
    place = places.place("")
    try:
        assert place.run("false || true\ntrue")[0] == 0
        assert place.run("false", exits=frozenset({1}))[0] == 1
        assert place.run("graftvigil check no-such.toml", exits=frozenset({2}))[0] == 2
        assert place.run("curl -s http://127.0.0.1:8484/", exits=frozenset({7}))[0] == 7
        code, said = place.run("echo before\nfalse\necho after")
        assert (code, said) == (1, "before\n")
    finally:
        place.leave()
