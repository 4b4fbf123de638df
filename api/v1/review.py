"""The review of a batch: exposures beside siblings, and candidate causes with their evidence."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING

from fastapi import APIRouter
from pydantic import AwareDatetime, BaseModel

from api.records.tables import instant
from api.v1.problems import Problem
from rules.evidence import Evidence, Fact, worse_percentile
from rules.exposures import UNIT, WORSE, Exposure
from rules.model.plan import Side
from rules.model.reading import MINUTE_MS
from rules.review import Cause, Untold, Weight
from rules.take import Outcome

if TYPE_CHECKING:
    from api.reviewing import Reviewed, Reviews
    from rules.review import Candidate, Review


class EvidenceBody(BaseModel):
    """A fact for its candidate, or against it, with its figures by name and when it was."""

    fact: Fact
    speaks_for: bool
    figures: dict[str, float]
    at: AwareDatetime | None
    words: str


class CandidateBody(BaseModel):
    """A cause, how much speaks for it from 0 to 1 and in a word, and its evidence."""

    cause: Cause
    score: float
    weight: Weight
    evidence: list[EvidenceBody]


class ExposureBody(BaseModel):
    """An exposure in `unit`, when it was, the siblings' median, and its place among them.

    `percentile` is the share, 0 to 1, of siblings that stood less, to the side `worse`; null where
    fewer than 4 are known.
    """

    value: float
    unit: str
    at: AwareDatetime | None
    worse: Side
    siblings_known: int
    siblings_median: float | None
    percentile: float | None


class TakeBody(BaseModel):
    """How many took; `taken` is null where nobody has said, `by_stage` where nobody counted."""

    outcome: Outcome
    taken: int | None
    of: int
    by_stage: bool


class ReviewBody(BaseModel):
    """What looking back on a batch comes to, from `start` until before `end`.

    `sign` is when something was first written down that tells of plants failing. Candidates stand
    in order, the first the most spoken for. Hours are those of the last days before the sign.
    """

    code: str
    start: AwareDatetime
    end: AwareDatetime
    sign: AwareDatetime | None
    take: TakeBody
    candidates: list[CandidateBody]
    exposures: dict[Exposure, ExposureBody]
    siblings: list[str]
    watched_h: float
    blind_h: float
    seen_share: float
    untold: list[Untold]


def review_api_router(reviews: Reviews) -> APIRouter:
    """Return the route of reviews."""
    router = APIRouter(tags=["batches"])

    @router.get("/batches/{code}/review", summary="Why a batch may have failed")
    def review(code: str) -> ReviewBody:
        """Return candidate causes with what speaks for and against each, the likeliest first."""
        try:
            return review_body(reviews.of(code))
        except LookupError as trouble:
            raise Problem(HTTPStatus.NOT_FOUND, str(trouble)) from trouble

    return router


def review_body(found: Reviewed) -> ReviewBody:
    """Return a review as the API tells it."""
    review = found.review
    take = review.take
    return ReviewBody(
        code=take.code,
        start=instant(review.first_minute * MINUTE_MS),
        end=instant(review.end_minute * MINUTE_MS),
        sign=review.sign,
        take=TakeBody(outcome=take.outcome, taken=take.taken, of=take.of, by_stage=take.by_stage),
        candidates=[_candidate(one) for one in review.candidates],
        exposures={one: _exposure(review, one) for one in review.exposures},
        siblings=list(review.siblings.codes),
        watched_h=round(review.doubts.watched_h, 2),
        blind_h=round(review.doubts.blind_h, 2),
        seen_share=round(review.doubts.seen_share, 4),
        untold=list(review.untold),
    )


def _candidate(one: Candidate) -> CandidateBody:
    return CandidateBody(
        cause=one.cause,
        score=round(one.score, 4),
        weight=one.weight,
        evidence=[_evidence(fact) for fact in one.evidence],
    )


def _evidence(one: Evidence) -> EvidenceBody:
    figures = {name: round(value, 4) for name, value in one.figures.items()}
    return EvidenceBody(
        fact=one.fact, speaks_for=one.speaks_for, figures=figures, at=one.at, words=one.words
    )


def _exposure(review: Review, exposure: Exposure) -> ExposureBody:
    own = review.exposures[exposure]
    middle = review.siblings.middle(exposure)
    rank = worse_percentile(exposure, review.exposures, review.siblings)
    return ExposureBody(
        value=round(own.value, 4),
        unit=UNIT[exposure],
        at=None if own.minute is None else instant(own.minute * MINUTE_MS),
        worse=WORSE[exposure],
        siblings_known=len(review.siblings.values(exposure)),
        siblings_median=None if middle is None else round(middle, 4),
        percentile=None if rank is None else round(rank, 4),
    )
