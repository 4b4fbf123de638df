"""The pages as HTML: built without a warning, and whole without a network."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest

SOURCES = re.compile(
    r"<(?:script|img|iframe|source|video|audio|embed)\b[^>]*?\bsrc\s*=\s*[\"'](?P<src>[^\"']*)"
    r"|<link\b[^>]*?\bhref\s*=\s*[\"'](?P<href>[^\"']*)"
    r"|url\(\s*[\"']?(?P<url>[^\"')]*)"
    r"|@import\s+[\"'](?P<import>[^\"']*)",
    re.IGNORECASE,
)
FETCHED = re.compile(
    r"(?:fetch|importScripts|import|new\s+(?:Worker|EventSource|WebSocket))\s*\(\s*[\"'](?P<to>[^\"']*)"
)
FAR = re.compile(r"(?:[a-z][a-z0-9+.-]*:)?//", re.IGNORECASE)


def far_sources(text: str) -> list[str]:
    """Return every address from which a page, a style or a script would load something far."""
    found = [value for one in SOURCES.finditer(text) for value in one.groupdict().values() if value]
    found += [one["to"] for one in FETCHED.finditer(text)]
    return [one for one in found if FAR.match(one)]


@pytest.fixture(scope="module")
def built(root, tmp_path_factory):
    """The folder into which deploy/docs.sh built the pages."""
    folder = tmp_path_factory.mktemp("html")
    said = subprocess.run(
        ["sh", str(root / "deploy" / "docs.sh"), str(folder)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert said.returncode == 0, said.stderr
    return folder


@pytest.mark.slow
def test_every_page_is_built(built, root):
    pages = {path.relative_to(root / "docs") for path in (root / "docs").rglob("*.md")}
    html = {path.relative_to(built) for path in built.rglob("*.html")}
    assert {page.with_suffix(".html") for page in pages} <= html


@pytest.mark.slow
def test_nothing_is_loaded_from_a_network(built):
    parts = [path for path in built.rglob("*") if path.suffix in {".html", ".css", ".js", ".svg"}]
    assert len(parts) > 50
    found = {
        str(path.relative_to(built)): far
        for path in parts
        if (far := far_sources(path.read_text(encoding="utf-8")))
    }
    assert found == {}


@pytest.mark.parametrize(
    "planted",
    [
        '<script src="https://cdn.example/x.js"></script>',
        "<link rel='stylesheet' href='//fonts.example/css'>",
        "@import 'http://fonts.example/a.css';",
        "body { background: url(https://far.example/a.png) }",
        'fetch("https://far.example/search")',
    ],
)
def test_the_search_for_far_sources_finds_them(planted):
    assert far_sources(planted)


@pytest.mark.parametrize(
    "near",
    [
        '<script src="_static/doctools.js?v=1"></script>',
        '<a href="https://far.example">read on</a>',
        "body { background: url(data:image/png;base64,AA//) }",
    ],
)
def test_what_is_near_or_only_named_is_none(near):
    assert far_sources(near) == []


@pytest.mark.slow
def test_each_page_stands_in_one_of_the_four_parts(built):
    index = (built / "index.html").read_text(encoding="utf-8")
    parts = re.findall(r'<span class="caption-text">([^<]+)</span>', index)
    assert parts[:4] == ["Tutorial", "How-to guides", "Reference", "Explanation"]


def test_a_link_that_leads_nowhere_stops_the_building(root, tmp_path):
    """With the same conf.py, a page of one bad link, and one that is in no part."""
    source = tmp_path / "docs"
    (source / "style").mkdir(parents=True)
    (source / "conf.py").write_text((root / "docs" / "conf.py").read_text())
    (source / "style" / "pages.css").touch()
    (source / "index.md").write_text("# Index\n\n[nowhere](no_such.md)\n")
    (source / "lost.md").write_text("# Lost\n")
    said = subprocess.run(
        [
            *(sys.executable, "-m", "sphinx", "-W", "--keep-going", "-q"),
            *(source, tmp_path / "html"),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert said.returncode != 0
    assert "no_such.md" in said.stderr
    assert "lost.md: WARNING: document isn't included in any toctree" in said.stderr
