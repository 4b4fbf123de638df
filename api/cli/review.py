"""`graftvigil review`: why a batch may have failed, on the terminal, as a page or on paper."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import GOOD, CannotGoOn
from api.cli.options import take_data, take_plans, take_reader, take_site

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator

    from api.parts import Parts
    from api.reviewing import Reviewed
    from api.web.telling import Telling

DESCRIPTION = """\
Looks back on one batch, from grafting until the first sign of failing was written down: what it
went through, beside batches of the same kind and period that took; and what may have ended it, in
order, each with what speaks for and against it and when. That the air was fine as far as seen is
an answer like any other. What the record cannot tell is said.

Every reading that is kept counts, and all that was entered by now. Nothing is changed.

  graftvigil review MG-07
  graftvigil review MG-07 --html mg-07.html --pdf mg-07.pdf --language es
  graftvigil review MG-07 --json
"""


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    from argparse import RawDescriptionHelpFormatter

    command = subcommands.add_parser(
        "review",
        help="say why a batch may have failed, and what the record cannot tell",
        description=DESCRIPTION,
        formatter_class=RawDescriptionHelpFormatter,
    )
    command.add_argument("batch", metavar="BATCH", help="the code of the batch")
    take_site(command)
    take_plans(command)
    take_data(command)
    command.add_argument(
        "--html", type=Path, metavar="FILE", help="write a page that needs nothing beside it"
    )
    command.add_argument("--pdf", type=Path, metavar="FILE", help="write it for A4 paper")
    command.add_argument(
        "--at", metavar="INSTANT", help="as of then, with its offset from UTC (default: now)"
    )
    take_reader(command)
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Review the batch and print or write what it comes to."""
    from api.cli.stores_open import parts_of
    from api.reviewing import Reviews
    from api.v1.review import review_body
    from api.web.review_routes import alone, pdf_of
    from api.web.telling import Telling
    from api.web.words.languages import LANGUAGES

    parts = parts_of(arguments.site, arguments.plans, arguments.data, at=arguments.at)
    try:
        try:
            found = Reviews(parts).of(arguments.batch)
        except LookupError as trouble:
            msg = f"{trouble}. `graftvigil batches` lists them"
            raise CannotGoOn(msg) from trouble
        words, now = LANGUAGES[arguments.language], parts.clock.now()
        telling = Telling(words, parts.site, now, fahrenheit=arguments.unit == "degF")
        if arguments.html is not None:
            _write(arguments.html, alone(parts, found, telling).encode(), "--html")
        if arguments.pdf is not None:
            _write(arguments.pdf, pdf_of(parts, found, telling), "--pdf")
        if arguments.json:
            body = review_body(found).model_dump(mode="json")
            sys.stdout.write(json.dumps(body, indent=2, ensure_ascii=False) + "\n")
        else:
            sys.stdout.write("\n".join(_lines(parts, found, telling)) + "\n")
    finally:
        parts.records.dispose()
        parts.store.close()
    return GOOD


def _write(path: Path, made: bytes, option: str) -> None:
    try:
        path.write_bytes(made)
    except OSError as trouble:
        msg = f"{option}: {path} cannot be written ({trouble.strerror})"
        raise CannotGoOn(msg) from trouble


def _lines(parts: Parts, found: Reviewed, telling: Telling) -> Iterator[str]:
    from api.web.review_page import told_page
    from api.web.words.review import review_words

    words = review_words(telling.words.code)
    page = told_page(parts, found, telling)
    yield page.title
    yield page.answer
    yield from page.lines
    yield ""
    for number, one in enumerate((*page.candidates, *page.others), 1):
        yield f"{number}. {one.cause} ({one.weight})"
        for line in one.speaks_for:
            yield f"   + {line}"
        for line in one.speaks_against:
            yield f"   - {line}"
    yield ""
    yield words.untold_title
    for line in page.untold:
        yield f"   {line}"
    yield ""
    yield words.exposures_title
    for row in page.rows:
        beside = " | ".join(part for part in (row.own, row.at, row.middle, row.place) if part)
        yield f"   {row.what}: {beside}"
    yield f"   {page.siblings}"
