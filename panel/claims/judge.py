"""What may be said? The verdict on every claim of a study, with reasons, numbers and what it would take."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from panel.answers import DIFFERENCES, SWAPS, Question, Use
from panel.checks.moments_recorded import STAMPED
from panel.claims import evidence, evidence_credit, evidence_panel
from panel.claims.claim import (
    BEYOND,
    BOTH,
    BY_VOTES,
    PANEL,
    Claim,
    Evidence,
    NumberShown,
    nothing_yet,
    read_claims,
)
from panel.claims.grammar import read_sentence
from panel.claims.materials import Materials
from panel.claims.names import may_stand
from panel.claims.own_words import STUFF
from panel.claims.parts import words_of
from panel.claims.study_names import family_of, names_of, other_words, own_kernels, ways_in_words, words_of_kind
from panel.claims.time_stamp import standing
from panel.claims.verdict import (
    AGAINST,
    AS_WORDED,
    FOR,
    OPEN,
    VERDICTS,
    WITH_WORDING,
    Case,
    Verdict,
    adjust_together,
    bearing_on,
    criteria_of,
    footnote,
    verdict_on,
)
from panel.claims.wording import wording_of
from panel.errors import StudyError
from panel.models.emollients.swaps import TracedSwaps
from panel.models.prototypes.differences import Differences
from panel.stats.comparing.multiplicity import ALPHA
from panel.study.editing import put_table, texts_of_table
from panel.study.study import Study, is_rehearsed
from panel.study.tables import TABLES
from panel.words import typed_share

_Judged = tuple[Case, Verdict, str, tuple[str, ...]]  # with the footnote, and what it lacks

_RULES: Mapping[str, Callable[[Claim, Materials], Evidence]] = MappingProxyType(
    {
        **evidence.RULES,
        **evidence_credit.RULES,
        **evidence_panel.RULES,
        "absolute_negative": lambda claim, materials: evidence_panel.absolute_negative(
            claim, materials, evidence.agreement(claim, materials)
        ),
    }
)


@dataclass(frozen=True, eq=False, slots=True)
class Claims:
    """What may be said of each claim; all frames tidy and unrounded, `number` counts the claims from 1.

    Parameters
    ----------
    claims
        `number claim kind verdict stamped exploratory prototype versus attribute question minutes estimate ci_low
        ci_high ci_level unit bar margin statistic df std_error p_value p_adjusted family n suggestion footnote method
        criteria criteria_sources not_covered stamped_at stamped_by media territory owner`; the estimate and its
        interval are those that decide, `suggestion` is what may be said.
    reasons, needs
        `number claim reason` and `number claim need`: why, and what it would take.
    findings
        `number claim severity check message advice criterion source`: what was found in the words.
    numbers
        `number claim what estimate ci_low ci_high ci_level limit_low limit_high unit method side`: all numbers behind
        it, and whether each is `for` the claim, `against` it or `open`.
    gaps
        `number claim gap`: what the footnote lacks because it is not recorded.
    bearing
        `number claim side source what`: what else in the study bears on its word, `for`, `against` or `neither`.
    """

    claims: pd.DataFrame
    reasons: pd.DataFrame
    needs: pd.DataFrame
    findings: pd.DataFrame
    numbers: pd.DataFrame
    gaps: pd.DataFrame
    bearing: pd.DataFrame
    method: str
    notes: tuple[str, ...]

    @property
    def in_order(self) -> pd.DataFrame:
        """The claims from supported to not, those of one verdict as they are numbered."""
        place = self.claims["verdict"].map(VERDICTS.index)
        return self.claims.loc[place.sort_values(kind="stable").index].reset_index(drop=True)


def judge_claims(study: Study, *, differences: Differences | None = None, traced: TracedSwaps | None = None) -> Claims:
    """Judge every claim of `study`; each model is fitted once. A study without claims gives frames without rows.

    Parameters
    ----------
    differences, traced
        Answers that are at hand already.
    """
    claims = read_claims(study)
    materials = Materials(study, claims, differences, traced)
    found_of_each = [materials.once(_find_evidence, claim) for claim in claims]
    rehearsed = is_rehearsed(study)
    standings = [standing(study, each) for each in claims]
    families = adjust_together(claims, found_of_each, [stamped == STAMPED for stamped, _ in standings])
    judged = [
        _judge_one(claim, found, family, materials, fixed, rehearsed=rehearsed)
        for claim, found, family, fixed in zip(claims, found_of_each, families, standings, strict=True)
    ]
    return _result(judged)


def _judge_one(
    claim: Claim,
    found: Evidence,
    family: tuple[str, int, float, int],
    materials: Materials,
    fixed: tuple[str, str],
    *,
    rehearsed: bool,
) -> _Judged:
    """Return everything about one claim whose evidence is at hand."""
    findings, left_over = wording_of(claim, found, materials)
    bearing = bearing_on(claim, materials)
    case = Case(claim, found, *family, *fixed, findings, rehearsed, bearing, left_over)
    return case, verdict_on(case), *materials.once(_footnote, claim)


def _footnote(claim: Claim, materials: Materials) -> tuple[str, tuple[str, ...]]:
    return footnote(claim, materials.once(_find_evidence, claim), materials)


def _find_evidence(claim: Claim, materials: Materials) -> Evidence:
    """Return what the data say about one claim."""
    if claim.problems or claim.kind == BEYOND:
        return nothing_yet("nothing")
    by_votes = _RULES.get(f"{claim.kind} {BY_VOTES}")
    found = (by_votes if by_votes and not claim.attribute else _RULES[claim.kind])(claim, materials)
    if not found.shown or found.rests_on not in (PANEL, BOTH):
        return found
    spread, batch = materials.batch_words(claim), materials.one_batch(claim)
    said = (materials.not_alike(claim), batch if not spread else "")
    return replace(
        found,
        reasons=(*found.reasons, *filter(None, said)),
        method=f"{found.method}; {spread}" if spread else found.method,
        in_these_batches=materials.in_these_batches(claim),
    )


def _result(judged: Sequence[_Judged]) -> Claims:
    return Claims(
        claims=pd.DataFrame([_row(*each) for each in judged], columns=list(_COLUMNS)),
        reasons=_stacked(judged, ["reason"], lambda _, said, __: [(text,) for text in said.reasons]),
        needs=_stacked(judged, ["need"], lambda _, said, __: [(text,) for text in said.needs]),
        findings=_stacked(
            judged, _FINDING, lambda case, *_: [[getattr(each, name) for name in _FINDING] for each in case.findings]
        ),
        numbers=_numbers(judged),
        gaps=_stacked(judged, ["gap"], lambda _, __, gaps: [(text,) for text in gaps]),
        bearing=_stacked(judged, ["side", "source", "what"], lambda case, *_: case.bearing),
        method=_method(),
        notes=_NOTES,
    )


_FINDING = ["severity", "check", "message", "advice", "criterion", "source"]
_COLUMNS = (
    *(
        "number",
        "claim",
        "kind",
        "verdict",
        "stamped",
        "exploratory",
        "prototype",
        "versus",
        "attribute",
        "question",
        "minutes",
    ),
    *("estimate", "ci_low", "ci_high", "ci_level", "unit", "bar", "margin", "statistic", "df", "std_error"),
    *("p_value", "p_adjusted", "family", "n", "suggestion", "footnote", "method"),
    *("criteria", "criteria_sources", "not_covered"),
    *("stamped_at", "stamped_by", "media", "territory", "owner"),
)


def _row(case: Case, said: Verdict, words: str, _: tuple[str, ...]) -> list[object]:
    claim, shown = case.claim, case.evidence
    first = shown.shown[0] if shown.shown else None
    interval = (
        (first.estimate, first.ci_low, first.ci_high, first.ci_level, first.unit) if first else (math.nan,) * 4 + ("",)
    )
    return [
        *(claim.number, claim.claim, claim.kind, said.verdict, case.stamped, case.stamped != STAMPED),
        *(claim.prototype, claim.versus, claim.attribute, claim.question, claim.minutes),
        *interval,
        *(claim.bar, claim.margin, shown.statistic, shown.df, shown.std_error),
        *(shown.p_value, case.p_adjusted, case.family if shown.shown else "", shown.n),
        *(said.suggestion, words, shown.method),
        *("; ".join(texts) for texts in criteria_of(said.verdict, case.findings)),
        ", ".join(case.not_covered),
        *(claim.stamped_at, claim.stamped_by, claim.media, claim.territory, claim.owner),
    ]


def _stacked(
    judged: Sequence[_Judged],
    columns: list[str],
    cells: Callable[[Case, Verdict, tuple[str, ...]], Sequence[Sequence[str]]],
) -> pd.DataFrame:
    """Return rows of these columns, each with the number and the sentence of its claim before it."""
    rows = [
        (case.claim.number, case.claim.claim, *own) for case, said, _, gaps in judged for own in cells(case, said, gaps)
    ]
    return pd.DataFrame(rows, columns=["number", "claim", *columns])


_SHOWN = tuple(field.name for field in fields(NumberShown))


def _numbers(judged: Sequence[_Judged]) -> pd.DataFrame:
    rows = [
        (case.claim.number, case.claim.claim, case.claim.attribute, *(getattr(number, column) for column in _SHOWN))
        for case, *_ in judged
        for number in case.evidence.shown
    ]
    return _with_sides(pd.DataFrame(rows, columns=["number", "claim", "attribute", *_SHOWN]))


def _with_sides(found: pd.DataFrame) -> pd.DataFrame:
    """Return numbers with their side.

    A number is for its claim where its whole interval keeps to its side of every limit, against it where the whole
    interval lies beyond one, else open; without a limit it decides nothing, and its side is empty.
    """
    low, high, start, end = (found[name].to_numpy(float) for name in ("limit_low", "limit_high", "ci_low", "ci_high"))
    within = (np.isnan(low) | (start > low)) & (np.isnan(high) | (end < high))
    beyond = (end <= low) | (start >= high)
    unlimited = np.isnan(low) & np.isnan(high)
    return found.assign(side=np.select([unlimited | np.isnan(start), within, beyond], ["", FOR, AGAINST], OPEN))


def _method() -> str:
    return (
        f"Each claim is tested by the rule of its kind, with a chance of {typed_share(ALPHA)} to support a "
        "false one; p-values of all claims stamped on the same evidence are adjusted together (Holm). Panel "
        "claims rest on the mixed model of each attribute (REML, Satterthwaite), answers on exact binomial tests. "
        "A claim that is not shown to be stamped before the data is exploratory and at best 'cannot tell yet'."
    )


_NOTES = (
    "The kinds of claim and their rules are settings of ours that follow published guides; they are not law.",
    "Intervals are those of each claim alone; the adjusted p-value decides.",
    "Every word of a sentence must be accounted for; the tables of words are in English. Read it yourself, too.",
)

CLAIMS: Question[Claims] = Question(
    "claims",
    judge_claims,
    "Judging the claims ...",
    uses={"differences": Use(DIFFERENCES, needed=False), "traced": Use(SWAPS, needed=False)},
)


# Trying a sentence before it is fixed: judged as if it had been fixed in time, nothing is recorded.


DRAFT = "A draft: judged as if it had been stamped before the data. Nothing is recorded, and a draft supports no claim."
_STATEMENT = ("kind", "prototype", "versus", "attribute", "question", "competitors", "direction", "ingredient")


@dataclass(frozen=True, slots=True)
class Draft:
    """What would be said of one sentence if it had been fixed in time; `said_as` is the kind of what may be said.

    `also_said`: its words that the study may state for the attribute, so that it can be read.
    """

    claim: str
    kind: str
    verdict: str
    reasons: tuple[str, ...]
    needs: tuple[str, ...]
    not_covered: tuple[str, ...]
    may_be_said: str
    footnote: str
    said_as: str
    also_said: str = ""


def suggested(study: Study, sentence: str) -> dict[str, str]:
    """Return which attribute a sentence seems to speak of, by everyday words, and, where it compares, which way.

    What it is compared with is the benchmark, if the study has one.
    """
    reading = read_sentence(sentence, names_of(study))
    family = reading.family
    found = [name for name in study.attributes if family and family_of(study, name) == family]
    about = {"attribute": found[0]} if found else {}
    if "comparative" not in reading.degree:
        return about
    versus = {"versus": study.benchmark} if study.benchmark else {}
    return about | versus | ({"direction": "more" if reading.sign > 0 else "less"} if reading.sign else {})


def judge_drafts(study: Study, rows: Sequence[Mapping[str, Any]]) -> tuple[Draft, ...]:
    """Judge sentences as if fixed beforehand, each alone beside the claims that are fixed.

    Parameters
    ----------
    rows
        Columns of the table of claims; absent ones are empty, others are not looked at.

    Raises
    ------
    StudyError
        If there is no column claim, or a number cannot be read.
    """
    tried = _one_each(replace(study, tables={**study.tables, "claims": _table(rows)}))
    fixed = read_claims(study)
    materials = Materials(study, (*fixed, *tried))
    beside = [(claim, materials.once(_find_evidence, claim)) for claim in fixed]
    rehearsed, standing = is_rehearsed(study), (STAMPED, DRAFT)
    drafts = []
    for claim in tried:
        found = materials.once(_find_evidence, claim)
        # the same statement counts once
        own = tuple(getattr(claim, column) for column in _STATEMENT)
        others = [each for each in beside if tuple(getattr(each[0], column) for column in _STATEMENT) != own]
        claims, found_of_each = zip((claim, found), *others, strict=True)
        family = adjust_together(claims, found_of_each, [True] * len(claims))[0]
        case, said, words, _ = _judge_one(claim, found, family, materials, standing, rehearsed=rehearsed)
        told = (said.verdict, said.reasons, said.needs, case.not_covered, said.suggestion, words)
        of_users = claim.kind == "absolute_negative" and said.verdict != WITH_WORDING
        also = "" if said.verdict in AS_WORDED else _offered(materials, claim, case.not_covered)
        drafts.append(Draft(claim.claim, claim.kind, *told, "agreement" if of_users else claim.kind, also))
    return tuple(drafts)


def with_also_said(study: Study, attribute: str, phrase: str, who: str) -> Study:
    """Return the study with other everyday words stated for more of an attribute, by a named person.

    Raises
    ------
    StudyError
        If nobody is named, the study has no such attribute, or the words may not stand for it.
    """
    words, stated = words_of(phrase), other_words(study).get(attribute, ((), ()))
    if not who.strip():
        raise StudyError("Words are stated by somebody. Write who states them.")
    if attribute not in study.attributes:
        raise StudyError(f"The study has no attribute {attribute!r}. It has: {', '.join(study.attributes)}.")
    after = _with_stated(study, attribute, " ".join(words))
    if " ".join(words) not in other_words(after).get(attribute, ((), ()))[0] or " ".join(words) in stated[0]:
        raise StudyError(
            f"“{phrase}” cannot be stated for {study.attribute_words(attribute)}: it stands there already, or is "
            "refused, of health, counts, compares, denies, or says something else."
        )
    return after


def _with_stated(study: Study, attribute: str, phrase: str) -> Study:
    texts = texts_of_table(study, "attributes")
    if attribute not in set(texts["attribute"]):
        texts.loc[len(texts)] = {"attribute": attribute}
    texts = texts.fillna("")
    own = texts["attribute"] == attribute
    texts.loc[own, "also_said"] = [f"{cell}; {phrase}" if cell else phrase for cell in texts.loc[own, "also_said"]]
    return put_table(study, "attributes", texts)


def _offered(materials: Materials, claim: Claim, not_covered: Sequence[str]) -> str:
    """Return the words left over that the study may state for the attribute of a claim, so that it can be read.

    Empty where they may not stand for it, where they are in several places, or where the sentence could not be read
    with them either.
    """
    tokens, left = words_of(claim.claim), {*not_covered} - _COMPARE
    places = [n for n, word in enumerate(tokens) if word in left]
    if not claim.attribute or not places or places[-1] - places[0] >= _MOST_OFFERED:
        return ""
    words = tuple(word for word in tokens[places[0] : places[-1] + 1] if word not in _COMPARE)
    study, names = materials.study, materials.names
    family = family_of(study, claim.attribute)
    if not STUFF.isdisjoint(words) or not may_stand(words, family, own_kernels(study, claim.attribute)):
        return ""
    ways = ways_in_words(study, claim.attribute, words, words_of_kind(study))
    reads = read_sentence(claim.claim, replace(names, ways=(*names.ways, *ways)), claim.prototype)
    fits = reads.family == family and reads.degree == "comparative" and not reads.left_over
    return " ".join(words) if fits and words not in names.attributes else ""


_COMPARE = frozenset(("less", "more", "fewer", "better", "than", "as", "the", "a"))
_MOST_OFFERED = 5  # words: a longer one is a sentence


def _one_each(study: Study) -> tuple[Claim, ...]:
    """Return the claims, each as if it stood alone: two drafts of one sentence are no fault."""
    twice = "The same claim stands in row"
    claims = read_claims(study)
    return tuple(
        replace(c, problems=tuple(words for words in c.problems if not words.startswith(twice))) for c in claims
    )


def _table(rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Return the rows as a table of claims."""
    columns = TABLES["claims"].columns
    if any("claim" not in row for row in rows):
        names = ", ".join(column.name for column in columns)
        raise StudyError(f"The drafts have no column claim. Their columns are those of the table claims: {names}.")
    made = {}
    for column in columns:
        values = [row.get(column.name, "") for row in rows]
        number = column.kind == "number"
        made[column.name] = (
            pd.Series([_number(v, column.name, n) for n, v in enumerate(values, 1)], dtype="float64")
            if number
            else pd.Series(["" if v is None else str(v) for v in values], dtype="str")
        )
    return pd.DataFrame(made)


def _number(value: Any, column: str, row: int) -> float:
    if value is None or str(value).strip() == "":
        return float("nan")
    try:
        return float(str(value).strip().replace(",", "."))
    except ValueError as error:
        raise StudyError(
            f"Row {row}, column {column}: {value!r} is no number. Write a number, or leave it empty."
        ) from error
