"""What does one claim say, and is everything there that its kind needs?"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from panel.claims.said import listed
from panel.study.knowledge import claim_kinds
from panel.study.study import Study

BEYOND = "beyond_sensory"
DIRECTIONS = ("more", "less")
TEXTS = (
    *("claim", "kind", "prototype", "versus", "attribute", "question", "competitors", "direction", "sides"),
    *("ingredient", "session_before", "session_after", "family", "media", "territory", "owner"),
    *("stamped_at", "stamped_by", "stamp", "withdrawn_at", "withdrawn_by", "withdrawn_because"),
)
NUMBERS = ("minutes", "margin", "bar", "bar_panel")
SIDES_WORDS = {"one": "one-sided", "two": "two-sided"}


@dataclass(frozen=True, eq=False, slots=True)
class Claim:
    """One sentence somebody wants to say, as it stands in the table of claims; empty text and NaN where not stated.

    `number` counts the rows from 1. `competitors` are the names, `direction` is `more` or `less`: as stated, else the
    way the attribute is wanted. `problems` say what keeps the claim from being judged.
    """

    number: int
    claim: str
    kind: str
    prototype: str
    versus: str
    attribute: str
    question: str
    competitors: tuple[str, ...]
    direction: str
    sides: str
    ingredient: str
    session_before: str
    session_after: str
    family: str
    media: str
    territory: str
    owner: str
    stamped_at: str
    stamped_by: str
    stamp: str
    withdrawn_at: str
    withdrawn_by: str
    withdrawn_because: str
    minutes: float
    margin: float
    bar: float
    bar_panel: float
    problems: tuple[str, ...] = ()

    @property
    def said(self) -> tuple[object, ...]:
        """What is said of what, whatever the margin or the bar."""
        words = " ".join(self.claim.casefold().split())
        minutes = f"{self.minutes:g}"
        return words, self.kind, self.prototype, self.versus, self.competitors, self.attribute, self.question, minutes

    @property
    def sign(self) -> float:
        """1 where the sentence says more, -1 where it says less."""
        return -1.0 if self.direction == "less" else 1.0


def read_claims(study: Study) -> tuple[Claim, ...]:
    """Return the claims of a study in the order of its table, each with the problems found in it."""
    rows = study.table("claims").to_dict("records")
    names = _names(study)
    claims = [_claim(study, number, row) for number, row in enumerate(rows, start=1)]
    problems = [[*_said_before(claim, claims), *_problems(claim, names)] for claim in claims]
    return tuple(replace(claim, problems=tuple(found)) for claim, found in zip(claims, problems, strict=True))


def _said_before(claim: Claim, claims: Iterable[Claim]) -> Iterator[str]:
    """Say where the same claim stands further up: tested twice, by two margins, one of them might pass."""
    for earlier in claims:
        if earlier.number < claim.number and claim.claim and earlier.said == claim.said:
            yield f"The same claim stands in row {earlier.number} of the table claims. Delete one of the two."
            return


_MAY_STATE = {
    "agreement": ("bar",),
    "perceived_attribute": ("versus", "bar", "direction", "minutes"),
    "absolute_negative": ("bar", "bar_panel", "minutes"),
    "duration": ("direction",),
    "change_over_time": ("session_before", "session_after", "direction"),
    "superiority": ("attribute", "direction", "minutes", "sides"),
    "preference": ("bar", "sides"),
    "parity": ("attribute", "minutes"),
    "unsurpassed": ("attribute", "direction", "minutes"),
    "ranking": ("direction", "competitors", "minutes"),
    "ingredient_attribution": ("versus", "ingredient", "direction", "minutes"),
}


def fields_of(kind: str) -> tuple[str, ...]:
    """Return the columns that a claim of a kind needs, then those that it may state."""
    kinds = claim_kinds().set_index("kind")["needs"]
    needed = split_names(str(kinds.get(kind, "")))
    return (*needed, *(name for name in _MAY_STATE.get(kind, ()) if name not in needed))


def split_names(text: str) -> tuple[str, ...]:
    """Return names separated by `;`."""
    return tuple(name.strip() for name in text.split(";") if name.strip())


def _claim(study: Study, number: int, row: Mapping[Any, Any]) -> Claim:
    texts: dict[str, Any] = {name: str(row[name]).strip() for name in TEXTS}
    texts["kind"] = texts["kind"].casefold().replace("-", "_").replace(" ", "_")
    texts["competitors"] = split_names(texts["competitors"])
    if texts["direction"] not in DIRECTIONS:
        texts["direction"] = _wanted(study, texts["attribute"])
    texts["sides"] = texts["sides"] if texts["sides"] in SIDES_WORDS else "two"
    values: dict[str, Any] = {name: float(row[name]) for name in NUMBERS}
    return Claim(number=number, **texts, **values)


def _wanted(study: Study, attribute: str) -> str:
    attributes = study.table("attributes")
    wanted = attributes.loc[attributes["attribute"] == attribute, "direction"]
    return str(wanted.iloc[0]) if len(wanted) and wanted.iloc[0] in DIRECTIONS else ""


@dataclass(frozen=True, eq=False, slots=True)
class _Names:
    """What a claim may name: prototypes (those of the study first), attributes, questions that were answered."""

    prototypes: tuple[str, ...]
    answered: frozenset[str]
    attributes: tuple[str, ...]
    questions: tuple[str, ...]


def _names(study: Study) -> _Names:
    answers = study.table("answers")
    answered = frozenset(str(name) for column in ("prototype", "versus") for name in answers[column].unique())
    questions = tuple(str(name) for name in answers["question"].unique())
    return _Names(study.prototypes, answered, study.attributes, questions)


def _problems(claim: Claim, names: _Names) -> Iterator[str]:
    kinds = claim_kinds().set_index("kind")
    if not claim.claim:
        yield "There is no sentence. Write the sentence exactly as it is to be said."
    if claim.kind not in kinds.index:
        yield f"The kind {claim.kind!r} is not known. Choose one of: {', '.join(kinds.index)}."
        return
    if claim.kind == BEYOND:
        return
    lacking = [name for name in split_names(str(kinds.loc[claim.kind, "needs"])) if _empty(claim, name)]
    if lacking:
        words = str(kinds.loc[claim.kind, "words"])
        yield f"A claim of the kind '{words}' needs {listed(lacking)}. Fill in {listed(lacking)} in the table claims."
    yield from _unknown_names(claim, names)
    yield from _odd_numbers(claim)
    directed = claim.kind in ("superiority", "ranking", "perceived_attribute", "ingredient_attribution")
    directed = directed or claim.kind in ("duration", "change_over_time", "unsurpassed")
    if directed and claim.attribute and not claim.direction:
        yield (
            f"Nothing says whether the sentence means more or less of {claim.attribute}. Write more or less in the "
            "column direction."
        )


def _empty(claim: Claim, name: str) -> bool:
    value = getattr(claim, name)
    return math.isnan(value) if isinstance(value, float) else not value


def _unknown_names(claim: Claim, names: _Names) -> Iterator[str]:
    for name in (claim.prototype, claim.versus, *claim.competitors):
        if name and name not in names.prototypes and name not in names.answered:
            yield f"The prototype {name!r} is not in the study. Choose among {', '.join(names.prototypes)}."
    if claim.attribute and claim.attribute not in names.attributes:
        yield f"The attribute {claim.attribute!r} is not in the study. Choose among {', '.join(names.attributes)}."
    if claim.question and claim.question not in names.questions:
        choices = (
            f"Choose among {', '.join(names.questions)}." if names.questions else "No question was answered so far."
        )
        yield f"Nobody answered the question {claim.question!r}. {choices}"
    if claim.prototype and claim.prototype in (claim.versus, *claim.competitors):
        yield f"{claim.prototype} is compared with itself. Name another prototype."


def _odd_numbers(claim: Claim) -> Iterator[str]:
    if claim.margin <= 0:
        yield f"The margin is {claim.margin:g}; it must be above zero: the largest difference that does not matter."
    if claim.kind in ("agreement", "preference", "absolute_negative") and not (
        math.isnan(claim.bar) or 0 < claim.bar < 100
    ):
        yield f"The bar is {claim.bar:g}; a share that must be exceeded lies between 0 and 100 %."


def claims_frame(claims: tuple[Claim, ...]) -> pd.DataFrame:
    """Return the claims as a frame, one row each, as they were read."""
    columns = ["number", *TEXTS, *NUMBERS]
    rows = [
        [("; ".join(value) if isinstance(value, tuple) else value) for value in (getattr(c, name) for name in columns)]
        for c in claims
    ]
    return pd.DataFrame(rows, columns=columns)
