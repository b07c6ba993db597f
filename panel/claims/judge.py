"""What may be said? The verdict on every claim of a study, with reasons, numbers and what it would take."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import pandas as pd

from panel.answers import DIFFERENCES, SWAPS, Question, Use
from panel.claims.bearing import Bearing, bearing_on
from panel.claims.claim import BEYOND, Claim, claims_frame, read_claims
from panel.claims.evidence import NAN, NUMBER_COLUMNS, Evidence, nothing_yet, numbers_frame
from panel.claims.evidence_answers import agreement
from panel.claims.evidence_control import change_over_time, duration
from panel.claims.evidence_differences import PANEL, parity, superiority
from panel.claims.evidence_ingredients import ingredient_attribution
from panel.claims.evidence_levels import BOTH, absolute_negative, perceived_attribute
from panel.claims.evidence_ranges import ranking, unsurpassed
from panel.claims.evidence_times import time
from panel.claims.evidence_votes import preference, vote_parity, vote_unsurpassed
from panel.claims.families import InFamily, adjust_together
from panel.claims.footnote import Footnote, footnote
from panel.claims.materials import Materials
from panel.claims.stamp import Standing, standing
from panel.claims.verdict import Case, Verdict, criteria_of, verdict_on
from panel.claims.wording import Wording, wording_of
from panel.models.emollients.swaps import TracedSwaps
from panel.models.prototypes.differences import Differences
from panel.study.study import Study, is_rehearsed

LEVEL = 0.95

_BY_PANEL: Mapping[str, Callable[[Claim, Materials], Evidence]] = MappingProxyType(
    {
        "agreement": agreement,
        "perceived_attribute": perceived_attribute,
        "absolute_negative": absolute_negative,
        "time": time,
        "duration": duration,
        "change_over_time": change_over_time,
        "superiority": superiority,
        "preference": preference,
        "parity": parity,
        "unsurpassed": unsurpassed,
        "ranking": ranking,
        "ingredient_attribution": ingredient_attribution,
    }
)
# Where no attribute is named, these rest on preference answers.
_BY_VOTES: Mapping[str, Callable[[Claim, Materials], Evidence]] = MappingProxyType(
    {"superiority": preference, "parity": vote_parity, "unsurpassed": vote_unsurpassed}
)


@dataclass(frozen=True, eq=False, slots=True)
class Claims:
    """What may be said of each claim; all frames tidy and unrounded, `number` counts the claims from 1.

    Parameters
    ----------
    claims
        `number claim kind verdict exploratory prototype versus attribute question minutes estimate ci_low ci_high
        ci_level unit bar margin statistic df std_error p_value p_adjusted family n suggestion footnote method
        criteria criteria_sources not_covered stamped_at stamped_by media territory owner`; the estimate and its
        interval are those that decide, `suggestion` is what may be said.
    reasons, needs
        `number claim reason` and `number claim need`: why, and what it would take.
    findings
        `number claim severity check message advice criterion source`: what was found in the words.
    numbers
        `number claim what estimate ci_low ci_high ci_level limit_low limit_high unit method`: all numbers behind it.
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
    level: float
    method: str
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False, slots=True)
class Judged:
    """One claim with its evidence, its words, its verdict and its footnote."""

    claim: Claim
    evidence: Evidence
    family: InFamily
    standing: Standing
    wording: Wording
    verdict: Verdict
    footnote: Footnote
    bearing: tuple[Bearing, ...]


def judge_claims(
    study: Study, *, level: float = LEVEL, differences: Differences | None = None, traced: TracedSwaps | None = None
) -> Claims:
    """Judge every claim of `study`; each model is fitted once. A study without claims gives frames without rows.

    Parameters
    ----------
    level
        One minus the chance of supporting a false claim; also the level of the intervals.
    differences, traced
        Answers that are at hand already.
    """
    claims = read_claims(study)
    materials = Materials(study, claims, level, differences, traced)
    evidence = [find_evidence(claim, materials) for claim in claims]
    rehearsed = is_rehearsed(study)
    judged = [
        judge_one(each, found, family, materials, standing(study, each), rehearsed=rehearsed)
        for each, found, family in zip(claims, evidence, adjust_together(claims, evidence), strict=True)
    ]
    return _result(judged, level)


def judge_one(
    claim: Claim, found: Evidence, family: InFamily, materials: Materials, fixed: Standing, *, rehearsed: bool
) -> Judged:
    """Return everything about one claim whose evidence is at hand."""
    words = wording_of(claim, found, materials)
    bearing = bearing_on(claim, materials)
    case = Case(claim, found, family, fixed, words.findings, rehearsed, materials.alpha, bearing)
    return Judged(claim, found, family, fixed, words, verdict_on(case), footnote(claim, found, materials), bearing)


def find_evidence(claim: Claim, materials: Materials) -> Evidence:
    """Return what the data say about one claim."""
    if claim.problems or claim.kind == BEYOND:
        return nothing_yet("nothing")
    by_votes = not claim.attribute and claim.kind in _BY_VOTES
    found = (_BY_VOTES if by_votes else _BY_PANEL)[claim.kind](claim, materials)
    if not found.shown or found.rests_on not in (PANEL, BOTH):
        return found
    spread, batch = materials.batch_words(claim), materials.one_batch(claim)
    return replace(
        found,
        reasons=(*found.reasons, *([batch] if batch and not spread else [])),
        method=f"{found.method}; {spread}" if spread else found.method,
        in_these_batches=materials.in_these_batches(claim),
    )


def _result(judged: Sequence[Judged], level: float) -> Claims:
    return Claims(
        claims=pd.DataFrame([_row(each) for each in judged], columns=list(_COLUMNS)),
        reasons=_stacked(judged, "reason", lambda each: each.verdict.reasons),
        needs=_stacked(judged, "need", lambda each: each.verdict.needs),
        findings=_findings(judged),
        numbers=_numbers(judged),
        gaps=_stacked(judged, "gap", lambda each: each.footnote.gaps),
        bearing=_bearing(judged),
        level=level,
        method=_method(level),
        notes=_NOTES,
    )


_COLUMNS = (
    *("number", "claim", "kind", "verdict", "exploratory", "prototype", "versus", "attribute", "question", "minutes"),
    *("estimate", "ci_low", "ci_high", "ci_level", "unit", "bar", "margin", "statistic", "df", "std_error"),
    *("p_value", "p_adjusted", "family", "n", "suggestion", "footnote", "method"),
    *("criteria", "criteria_sources", "not_covered"),
    *("stamped_at", "stamped_by", "media", "territory", "owner"),
)


def _row(each: Judged) -> list[object]:
    claim, evidence = each.claim, each.evidence
    first = evidence.shown[0] if evidence.shown else None
    interval = (
        (first.estimate, first.ci_low, first.ci_high, first.ci_level, first.unit) if first else (NAN,) * 4 + ("",)
    )
    return [
        *(claim.number, claim.claim, claim.kind, each.verdict.verdict, each.standing.exploratory),
        *(claim.prototype, claim.versus, claim.attribute, claim.question, claim.minutes),
        *interval,
        *(claim.bar, claim.margin, evidence.statistic, evidence.df, evidence.std_error),
        *(evidence.p_value, each.family.p_adjusted, each.family.family if evidence.shown else "", evidence.n),
        *(each.verdict.suggestion, each.footnote.words, evidence.method),
        *("; ".join(texts) for texts in criteria_of(each.verdict.verdict, each.wording.findings)),
        ", ".join(each.wording.not_covered),
        *(claim.stamped_at, claim.stamped_by, claim.media, claim.territory, claim.owner),
    ]


def _stacked(judged: Sequence[Judged], column: str, texts: Callable[[Judged], Sequence[str]]) -> pd.DataFrame:
    rows = [(each.claim.number, each.claim.claim, text) for each in judged for text in texts(each)]
    return pd.DataFrame(rows, columns=["number", "claim", column])


def _findings(judged: Sequence[Judged]) -> pd.DataFrame:
    columns = ["severity", "check", "message", "advice", "criterion", "source"]
    rows = [
        (each.claim.number, each.claim.claim, *(getattr(finding, name) for name in columns))
        for each in judged
        for finding in each.wording.findings
    ]
    return pd.DataFrame(rows, columns=["number", "claim", *columns])


def _bearing(judged: Sequence[Judged]) -> pd.DataFrame:
    rows = [
        (each.claim.number, each.claim.claim, one.side, one.source, one.words)
        for each in judged
        for one in each.bearing
    ]
    return pd.DataFrame(rows, columns=["number", "claim", "side", "source", "what"])


def _numbers(judged: Sequence[Judged]) -> pd.DataFrame:
    parts = [numbers_frame(each.evidence).assign(number=each.claim.number, claim=each.claim.claim) for each in judged]
    columns = ["number", "claim", *NUMBER_COLUMNS]
    kept = [part for part in parts if len(part)]
    return pd.concat(kept, ignore_index=True)[columns] if kept else pd.DataFrame(columns=columns)


def _method(level: float) -> str:
    return (
        f"Each claim is tested by the rule of its kind, with a chance of {100 * (1 - level):g} % to support a "
        "false one; p-values of one family are adjusted by Holm. Panel claims rest on the mixed model of each "
        "attribute (REML, Satterthwaite), answers on exact binomial tests. A claim that was not fixed before the data "
        "is exploratory and at best 'cannot tell yet'."
    )


_NOTES = (
    "The kinds of claim and their rules are settings of ours that follow published guides; they are not law.",
    "Intervals are those of each claim alone; the adjusted p-value decides.",
    "Every word of a sentence must be accounted for; the tables of words are in English. Read it yourself, too.",
)

__all__ = ["Claims", "claims_frame", "find_evidence", "judge_claims"]


CLAIMS: Question[Claims] = Question(
    "claims",
    judge_claims,
    "Judging the claims ...",
    uses={"differences": Use(DIFFERENCES, needed=False), "traced": Use(SWAPS, needed=False)},
)
