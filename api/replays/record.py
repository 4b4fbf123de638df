"""What is judged in a replay: stretches of cells with their books, and what that comes to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.replaying import Stretch, book_of, stretches_of, watched_in
from api.replays.span import Span, span_of
from api.replays.told import replayed_values

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlalchemy import Engine

    from api.replays.told import Told
    from rules.model.plan import CarePlan
    from rules.model.site import Site
    from rules.replay import Book, Tally


@dataclass(frozen=True, slots=True)
class Recorded:
    """A record to be judged. `late_in`: records whose late readings are left out, None for none.

    `lost` says where the book that was known then could not be made again.
    """

    book: Book
    span: Span
    stretches: tuple[Stretch, ...]
    late_in: Engine | None
    gaps: tuple[tuple[int, int], ...]
    lateness_min: int
    lost: tuple[str, ...]


def recorded_in(
    site: Site,
    plans: Mapping[str, Sequence[CarePlan]],
    records: Engine | None,
    *,
    between: tuple[int | None, int | None],
    loaded_ms: tuple[int, int] | None,
    hindsight: bool,
    one_book: bool,
    lateness_s: int,
) -> Recorded:
    """Return what is judged of stored readings, or of files.

    Parameters
    ----------
    records
        What people and the watch did; None where files are replayed, or nobody watched.
    between
        The first minute to tell of, and the end; None where unnamed.
    one_book
        Judge all of it by `site` and `plans`, whatever was known then.

    Raises NothingToJudge.
    """
    watched = None if records is None else watched_in(records)
    book = book_of(site, plans, records, lateness_s=lateness_s)
    span = span_of(between, watched=watched, loaded_ms=loaded_ms)
    late_in = None if hindsight else records
    stretches: tuple[Stretch, ...] = (Stretch(span.first, span.end, book, plans),)
    lost: tuple[str, ...] = ()
    if late_in is not None and not one_book:
        stretches, lost = stretches_of(
            book, late_in, first_minute=span.first, end_minute=span.end, plans=plans
        )
    return Recorded(
        book=book,
        span=span,
        stretches=stretches,
        late_in=late_in,
        gaps=() if watched is None or hindsight else watched.gaps,
        lateness_min=-(-lateness_s // 60),
        lost=lost,
    )


def told_of(recorded: Recorded, tally: Tally, *, rings: bool) -> Told:
    """Return everything that a replay says."""
    span = recorded.span
    return replayed_values(
        recorded.book,
        tally,
        (span.told_from, span.end),
        minutes=range(span.first, span.end),
        gaps=recorded.gaps,
        lateness_min=recorded.lateness_min,
        rings=rings,
        as_it_happened=recorded.late_in is not None,
    )
