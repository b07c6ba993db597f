"""What does one claim say, with all that its kind needs? The records of what data and words say of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

import pandas as pd

from panel.checks.moments_recorded import claim_seal, is_exploratory, next_link, stamps_hash
from panel.errors import StudyError
from panel.plan.codes import moment
from panel.study.knowledge import plain_words, shared_table
from panel.study.numbers_read import typed_number
from panel.study.study import Study
from panel.study.table_cells import heading
from panel.study.tables import TABLES
from panel.words import format_list, format_typed, when_words

BEYOND = "beyond_sensory"
_DIRECTIONS = ("more", "less")
_TEXTS = (
    *("claim", "kind", "prototype", "versus", "attribute", "question", "competitors", "direction", "sides"),
    *("ingredient", "session_before", "session_after", "family", "media", "territory", "owner"),
    *("stamped_at", "stamped_by", "stamp", "withdrawn_at", "withdrawn_by", "withdrawn_because"),
)
_NUMBERS = ("minutes", "margin", "bar", "bar_panel")
_FILLED_IN = ("kind", "competitors", "direction", "sides", "question")  # read otherwise than they stand in the table


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
    names = _names(study)
    rows = [_asked_as(row, names["questions"]) for row in study.table("claims").to_dict("records")]
    claims = [_claim(study, number, row) for number, row in enumerate(rows, start=1)]
    problems = [[*_said_before(claim, claims), *_problems(claim, names)] for claim in claims]
    return tuple(replace(claim, problems=tuple(found)) for claim, found in zip(claims, problems, strict=True))


def _said_before(claim: Claim, claims: Iterable[Claim]) -> Iterator[str]:
    """Say where the same claim stands further up: tested twice, by two margins, one of them might pass."""
    for earlier in claims:
        if earlier.number < claim.number and claim.claim and earlier.said == claim.said:
            yield f"The same claim stands in row {earlier.number} of the table claims. Delete one of the two."
            return


def fields_of(kind: str) -> tuple[str, ...]:
    """Return the columns that a claim of a kind needs, then those that it may state."""
    return tuple(dict.fromkeys((*of_kind(kind, "needs"), *of_kind(kind, "may_state"))))


def of_kind(kind: str, column: str) -> tuple[str, ...]:
    """Return what a column of the table of kinds lists for a kind: `needs`, `may_state` or `says`."""
    return _split_names(str(kinds().get(kind, {}).get(column, "")))


@cache
def kinds() -> dict[str, dict[str, Any]]:
    """Return the table of kinds of claim: the row of each, by its name."""
    rows = shared_table("claim_kinds").to_dict("records")
    return {str(row["kind"]): {str(name): cell for name, cell in row.items()} for row in rows}


def _asked_as(row: Mapping[Any, Any], questions: Iterable[str]) -> dict[Any, Any]:
    """Return a row with its question as it is called among others, the signs in it left out of account."""
    asked = str(row.get("question", "")).strip()
    spelled = {} if asked in questions else {plain_words(name): name for name in questions}
    return {**row, "question": spelled.get(plain_words(asked), asked)}


def _split_names(text: str) -> tuple[str, ...]:
    """Return names separated by `;`."""
    return tuple(name.strip() for name in text.split(";") if name.strip())


def _claim(study: Study, number: int, row: Mapping[Any, Any]) -> Claim:
    texts: dict[str, Any] = {name: str(row[name]).strip() for name in _TEXTS}
    texts["kind"] = texts["kind"].casefold().replace("-", "_").replace(" ", "_")
    texts["competitors"] = _split_names(texts["competitors"])
    if texts["direction"] not in _DIRECTIONS:
        attributes = study.table("attributes")
        wanted = attributes.loc[attributes["attribute"] == texts["attribute"], "direction"]
        texts["direction"] = str(wanted.iloc[0]) if len(wanted) and wanted.iloc[0] in _DIRECTIONS else ""
    texts["sides"] = texts["sides"] if texts["sides"] in ("one", "two") else "two"
    values: dict[str, Any] = {name: float(row[name]) for name in _NUMBERS}
    return Claim(number=number, **texts, **values)


def _problems(claim: Claim, names: Mapping[str, Sequence[str]]) -> Iterator[str]:
    if not claim.claim:
        yield "There is no sentence. Write the sentence exactly as it is to be said."
    if claim.kind not in kinds():
        yield from _strange(claim, names)
    if claim.kind not in kinds() or claim.kind == BEYOND:
        return
    lacking = [name for name in of_kind(claim.kind, "needs") if _empty(claim, name)]
    if lacking:
        words = kinds()[claim.kind]["words"]
        named = format_list([f"“{heading(TABLES['claims'].column(name)).lower()}”" for name in lacking])
        yield f"A claim of the kind '{words}' needs {named}. Fill it in."
    yield from _unknown_names(claim, names)
    yield from _odd_numbers(claim)
    if "direction" in fields_of(claim.kind) and claim.attribute and not claim.direction:
        words = dict(zip(names["attributes"], names["words"], strict=True)).get(claim.attribute, claim.attribute)
        yield f"Nothing says whether the sentence means more or less of {words}. Choose what it says."


def _empty(claim: Claim, name: str) -> bool:
    value = getattr(claim, name)
    return math.isnan(value) if isinstance(value, float) else not value


def _unknown_names(claim: Claim, names: Mapping[str, Sequence[str]]) -> Iterator[str]:
    for name in (claim.prototype, claim.versus, *claim.competitors):
        if name and name not in names["prototypes"]:
            yield f"The prototype {name!r} is not in the study. Choose among {', '.join(names['listed'])}."
    if claim.attribute and claim.attribute not in names["attributes"]:
        both = zip(names["words"], names["attributes"], strict=True)
        listed = ", ".join(name if words == name else f"{words} ({name})" for words, name in both)
        yield f"The attribute {claim.attribute!r} is not in the study. Choose among {listed}."
    if claim.question and claim.question not in names["questions"]:
        asked = f"Choose among {', '.join(names['questions'])}."
        choices = asked if names["questions"] else "No question was answered so far."
        yield f"Nobody answered the question {claim.question!r}. {choices}"
    if claim.prototype and claim.prototype in (claim.versus, *claim.competitors):
        yield f"{claim.prototype} is compared with itself. Name another prototype."


def _odd_numbers(claim: Claim) -> Iterator[str]:
    if claim.margin <= 0:
        stated = format_typed(claim.margin)
        yield f"The margin is {stated}; it must be above zero: the smallest difference that matters."
    if claim.kind in ("agreement", "preference", "absolute_negative") and not (
        math.isnan(claim.bar) or 0 < claim.bar < 100
    ):
        yield f"The bar is {format_typed(claim.bar)}; a share that must be exceeded lies between 0 and 100 %."


# Were sentence, margin and bar fixed before the first score or answer that the claim rests on?
#
# A claim is stamped with a time, a name and a SHA-256 over everything that decides it, so that a later change shows;
# a second one over this stamp and the one before chains the claims, so that one exchanged or taken out shows as well.
# A stamp is a self-declaration: who holds the study can write another. Outside anchors are a printed page that
# somebody signs, and the reply of a time-stamping authority (RFC 3161). The limit is the first score or answer of
# that evidence where the study says when it came in, else the first unblinding. A claim stamped later, changed since,
# or not at all is exploratory: at best 'cannot tell yet'.


SELF_DECLARED = "A stamp is a self-declaration: it shows later changes, it does not prove the time."


def with_claim(study: Study, row: Mapping[str, Any], *, who: str, when: str) -> Study:
    """Return the study with one more claim, stamped.

    Parameters
    ----------
    row
        Columns of the table of claims, without those of the stamp.
    who, when
        Who stamps it, and when (ISO 8601).

    Raises
    ------
    StudyError
        If the sentence, the kind or the name is missing, or the moment is none.
    """
    if not who.strip():
        raise StudyError("A claim is stamped by a named person. Write who stamps it.")
    if not str(row.get("claim", "")).strip() or not str(row.get("kind", "")).strip():
        raise StudyError("A claim needs its sentence, exactly as it is to be said, and its kind.")
    moment(when, "The time of the stamp")
    stamped = {**row, "stamped_at": when, "stamped_by": who.strip()}
    stamped["stamp"] = claim_seal(stamped)
    stamped["chain"] = next_link(study.table("claims"), stamped["stamp"])
    new = {}
    for column in TABLES["claims"].columns:
        empty: Any = float("nan") if column.kind == "number" else ""
        value = stamped.get(column.name, empty)
        new[column.name] = empty if value is None else value
    longer = pd.concat([study.table("claims"), pd.DataFrame([new])], ignore_index=True)
    return replace(study, tables={**study.tables, "claims": longer})


def with_statements(study: Study, texts: pd.DataFrame, who: str, when: str) -> Study:
    """Return the study with statements fixed that stand in a table of texts, each stamped, in the order of the rows.

    A question is found by its words, whatever the signs in it. What is listed nowhere yet may still come.

    Raises
    ------
    StudyError
        If one lacks its sentence or kind, a number cannot be read, nobody is named, or a statement names a kind,
        prototype, attribute or question that there is none of: then none is stamped.
    """
    numbers = {column.name: heading(column) for column in TABLES["claims"].columns if column.kind == "number"}
    names, rows, wrong = _names_to_come(study), [], []
    for place, row in enumerate(texts.to_dict("records"), start=1):
        read = {name: typed_number(row[name], f"Row {place}, {numbers[name]}") for name in numbers if name in row}
        stated = {str(name): cell for name, cell in _asked_as(row, names["questions"]).items()} | read
        whole = {**dict.fromkeys(_TEXTS, ""), **stated, **{name: read.get(name) or math.nan for name in _NUMBERS}}
        claim = _claim(study, place, whole)
        wrong += [f"Row {place}: {problem}" for problem in _strange(claim, names) if claim.kind]
        rows.append(stated)
    if wrong:
        raise StudyError(f"Nothing was stamped. {' '.join(wrong[:_MOST_TOLD])}")
    for stated in rows:
        study = with_claim(study, stated, who=who, when=when)
    return study


_MOST_TOLD = 5  # rows that cannot be stamped


def _names(study: Study) -> dict[str, tuple[str, ...]]:
    """Return what a claim may name: prototypes (those of the study first), attributes, questions that were answered."""
    answers = study.table("answers")
    answered = [str(name) for column in ("prototype", "versus") for name in answers[column].unique() if name]
    return {
        "listed": study.prototypes,
        "prototypes": (*study.prototypes, *answered),
        "attributes": study.attributes,
        "words": tuple(map(study.attribute_words, study.attributes)),
        "questions": tuple(str(name) for name in answers["question"].unique()),
    }


def _names_to_come(study: Study) -> dict[str, tuple[str, ...]]:
    """Return what a statement may name when it is stamped: questions that are to be asked, too."""
    stated = study.facts.get("questions")
    planned = [row.get("question") for row in stated if isinstance(row, dict)] if isinstance(stated, list) else []
    names = _names(study)
    return {**names, "questions": tuple(dict.fromkeys([*names["questions"], *map(str, filter(None, planned))]))}


def _strange(claim: Claim, names: Mapping[str, Sequence[str]]) -> Iterator[str]:
    """Say which kind, prototype, attribute or question of a statement there is none of."""
    if claim.kind not in kinds():
        yield f"The kind {claim.kind!r} is not known. Choose one of: {', '.join(kinds())}."
    elif claim.kind != BEYOND:
        of = {"prototype": "prototypes", "versus": "prototypes", "attribute": "attributes", "question": "questions"}
        open_yet: dict[str, Any] = {name: "" for name, listed in of.items() if not names[listed]}
        competitors = claim.competitors if names["prototypes"] else ()
        yield from _unknown_names(replace(claim, competitors=competitors, **open_yet), names)


def with_withdrawn(study: Study, number: int, *, who: str, when: str, why: str) -> Study:
    """Return the study with claim `number` (counted from 1) withdrawn; it stays in the table, and in its family.

    Raises
    ------
    StudyError
        If there is no such claim, it is withdrawn already, or a name or the reason is missing.
    """
    claims = study.table("claims").copy()
    if not 1 <= number <= len(claims):
        raise StudyError(f"There is no claim {number}. Choose one of the {len(claims)} in the table claims.")
    if not (who.strip() and why.strip()):
        raise StudyError("A claim is withdrawn by a named person, with a reason. Give both.")
    moment(when, "The time of the withdrawal")
    if str(claims["withdrawn_at"].iloc[number - 1]):
        raise StudyError(f"Claim {number} is withdrawn already.")
    for name, text in {"withdrawn_at": when, "withdrawn_by": who, "withdrawn_because": why}.items():
        column = claims[name].astype("object")
        column.iloc[number - 1] = text.strip()
        claims[name] = column.astype("str")
    return replace(study, tables={**study.tables, "claims": claims})


def page_to_sign(study: Study) -> str:
    """Return a page with every claim fixed so far and the hash over them, to be printed, dated and signed."""
    title = str(study.facts.get("title", "")) or "without a title"
    lines = [
        f"{place}. “{row['claim']}”, stamped at {when_words(str(row['stamped_at']))} by {row['stamped_by']}"
        for place, row in enumerate(study.table("claims").to_dict("records"), start=1)
    ]
    foot = (
        "Read and dated on paper by somebody who gains nothing from the claims:",
        "",
        "Date:",
        "Name:",
        "Signature:",
    )
    whole = f"SHA-256 over all stamps: {stamps_hash(study.table('claims'))}"
    return "\n".join([f"Claims of the study {title}", "", *lines, "", whole, SELF_DECLARED, "", *foot, ""])


def standing(study: Study, claim: Claim) -> tuple[bool, str]:
    """Return whether a claim is exploratory, not stamped in time, and why or why not, in one sentence."""
    row = study.table("claims").iloc[claim.number - 1].to_dict()
    read = {name: getattr(claim, name) for name in (*_TEXTS, *_NUMBERS) if name not in _FILLED_IN}
    return is_exploratory(study, claim.number, row | read)


PANEL, ANSWERS, VOTES, TIMES = "trained panel", "consumer answers", "preference answers", "times of people"
BOTH = "trained panel and consumer answers"
BY_VOTES = "by votes"
"""After the name of a kind: its rule where no attribute is named, so that the claim rests on preferences."""


@dataclass(frozen=True, slots=True)
class NumberShown:
    """One number behind a verdict, with its interval and the limits it is held against (NaN where there is none)."""

    what: str
    estimate: float
    ci_low: float
    ci_high: float
    ci_level: float
    limit_low: float = math.nan
    limit_high: float = math.nan
    unit: str = "scale"
    method: str = ""


@dataclass(frozen=True, slots=True)
class Weaker:
    """A sentence that says less, and the p-value against its being false.

    `rescues` is True where it is the same sentence with a qualifier, False where it is another sentence: then the
    claim stays unsupported, and this is what may be said instead.
    """

    p_value: float
    words: str
    reason: str
    rescues: bool = True


@dataclass(frozen=True, eq=False, slots=True)
class Evidence:
    """What the data say about one claim.

    Parameters
    ----------
    rests_on
        What it rests on, in words: trained panel, consumer answers ...
    shown
        The numbers, the deciding one first.
    p_value
        Of the test whose null says that the claim is false; NaN where it could not be made.
    statistic, df, std_error
        Of that test, NaN where it has none.
    n
        People behind it.
    against
        True where the estimate itself lies on the wrong side: more people would not help.
    qualifier
        Why the sentence needs a qualifier even where the test shows it; empty where it may stand as it is.
    replaced
        Of a credit to an ingredient: what was replaced by what, and per cent, all of which the sentence has to say.
    refused
        What keeps the claim from being supported whatever the numbers: bar, base or answers returned below the floors.
    weaker
        What may be said where the sentence itself is not shown.
    suggestion
        The wording that the numbers carry, where they show the claim.
    reasons
        What speaks for and against, one sentence each.
    needs
        Gives what it would take; asked only where the claim is not shown, because planning takes a while.
    missing
        What is not there; without it nothing can be said.
    other_votes
        Of a preference: how many preferred the other one, and how many neither.
    in_these_batches
        True where it speaks for the batches that were scored and no others: the verdict says so.
    """

    rests_on: str
    shown: tuple[NumberShown, ...] = ()
    p_value: float = math.nan
    statistic: float = math.nan
    df: float = math.nan
    std_error: float = math.nan
    n: int = 0
    against: bool = False
    qualifier: str = ""
    weaker: Weaker | None = None
    suggestion: str = ""
    reasons: tuple[str, ...] = ()
    needs: Callable[[], tuple[str, ...]] = tuple
    missing: tuple[str, ...] = ()
    in_these_batches: bool = False
    replaced: tuple[str, str, float] | None = None
    refused: tuple[str, ...] = ()
    observed_share: float = field(default=math.nan)
    other_votes: tuple[int, int] = (0, 0)
    method: str = ""


def beyond(limit: float, sign: float) -> tuple[float, float]:
    """Return the limits of a number that has to lie above (sign 1) or below (sign -1) a limit."""
    return (limit, math.nan) if sign > 0 else (math.nan, limit)


def nothing_yet(rests_on: str, *missing: str) -> Evidence:
    """Return the evidence of a claim for which something is not there."""
    return Evidence(rests_on, missing=missing)


STOP, CHANGE, _NOTE = "stop", "change", "note"


@dataclass(frozen=True, slots=True)
class WordingFinding:
    """Something about the words: `stop` (not this tool), `change` (not what was shown) or `note`."""

    severity: str
    check: str
    message: str
    advice: str
    criterion: str
    source: str = "common practice"


UNREAD = "cannot be read"
OPPOSITE = "says the opposite"
