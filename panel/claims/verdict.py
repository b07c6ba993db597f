"""May the sentence be said as it is worded, in other words, not at all, not yet, or is that not for this tool?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panel.checks.confounds import IN_THESE_BATCHES
from panel.claims.bearing import AGAINST, Bearing
from panel.claims.claim import BEYOND, Claim
from panel.claims.evidence import Evidence
from panel.claims.families import InFamily
from panel.claims.said import p_value
from panel.claims.stamp import Standing
from panel.claims.wording import UNREAD
from panel.claims.wording_finding import CHANGE, CRITERIA, STOP, WordingFinding
from panel.claims.wording_statement import OPPOSITE

SUPPORTED = "supported as worded"
IN_BATCHES = f"{SUPPORTED}, {IN_THESE_BATCHES}"
AGAINST_IT = "Against it:"
CONTRARY = "supported, with contrary evidence"
AS_WORDED = (SUPPORTED, IN_BATCHES, CONTRARY)
"""The verdicts under which its own test shows a sentence: at large, for these batches, with something against it."""

WITH_WORDING = "not as worded: this may be said"
NOT_SUPPORTED = "not supported"
CANNOT_TELL = "cannot tell yet"
NOT_THIS_TOOL = "not a matter for this tool"
WITHDRAWN = "withdrawn"
VERDICTS = (SUPPORTED, IN_BATCHES, CONTRARY, WITH_WORDING, NOT_SUPPORTED, CANNOT_TELL, NOT_THIS_TOOL, WITHDRAWN)
_SLACK = 1 + 1e-12  # a p-value that equals the level but for rounding keeps to it


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on one claim, its reasons, what it would take, and the wording that may be used (empty if none)."""

    verdict: str
    reasons: tuple[str, ...]
    needs: tuple[str, ...]
    suggestion: str


@dataclass(frozen=True, eq=False, slots=True)
class Case:
    """Everything a verdict on one claim rests on."""

    claim: Claim
    evidence: Evidence
    family: InFamily
    standing: Standing
    findings: Sequence[WordingFinding]
    rehearsed: bool
    alpha: float
    bearing: tuple[Bearing, ...] = ()


def verdict_on(case: Case) -> Verdict:
    """Return the verdict on one claim."""
    if case.claim.withdrawn_at:
        claim = case.claim
        by = f"Withdrawn on {claim.withdrawn_at.replace('T', ' ')} by {claim.withdrawn_by}: {claim.withdrawn_because}"
        return Verdict(WITHDRAWN, (by,), (), "")
    stops = tuple(finding.message for finding in case.findings if finding.severity == STOP)
    if case.claim.kind == BEYOND or stops:
        return Verdict(
            NOT_THIS_TOOL,
            (*stops, "A test of what people feel shows nothing about physiology, safety or medicine."),
            ("Instruments or clinical tests, and a regulatory professional who says which law applies.",),
            "",
        )
    if case.claim.problems:
        return Verdict(CANNOT_TELL, ("The claim cannot be judged as it stands.",), case.claim.problems, "")
    if case.evidence.missing:
        reasons = ("Something is not there that a claim of this kind needs.", *case.evidence.reasons)
        return Verdict(CANNOT_TELL, reasons, case.evidence.missing, "")
    found = _from_the_data(case)
    return _held_back(case, found)


def is_shown(evidence: Evidence, p_adjusted: float, alpha: float) -> bool:
    """Return whether the numbers show the claim."""
    return p_adjusted <= alpha * _SLACK and not evidence.against


def _from_the_data(case: Case) -> Verdict:
    """Return the verdict as far as the numbers go."""
    evidence, family = case.evidence, case.family
    contrary = [f"{AGAINST_IT} {each.source}, {each.words}." for each in case.bearing if each.side == AGAINST]
    reasons = [*contrary, *evidence.reasons, *_on_family(case)]
    if evidence.refused:
        verdict = NOT_SUPPORTED if evidence.against else CANNOT_TELL
        return Verdict(verdict, (*evidence.refused, *reasons), evidence.refused, "")
    if is_shown(evidence, family.p_adjusted, case.alpha):
        return _by_the_words(case, reasons)
    weaker = evidence.weaker
    said = weaker is not None and min(1.0, weaker.p_value * max(family.size, 1)) <= case.alpha * _SLACK
    if weaker is not None and said:
        reasons.append(weaker.reason)
        if weaker.rescues:
            return Verdict(WITH_WORDING, tuple(reasons), evidence.needs(), weaker.words)
    instead = weaker.words if weaker is not None and said else ""
    verdict = NOT_SUPPORTED if evidence.against else CANNOT_TELL
    return Verdict(verdict, tuple(reasons), evidence.needs(), instead)


def _by_the_words(case: Case, reasons: list[str]) -> Verdict:
    """Return the verdict on a sentence whose statement is shown: now its words decide."""
    changes = [finding for finding in case.findings if finding.severity == CHANGE]
    if not changes:
        verdict = IN_BATCHES if case.evidence.in_these_batches else SUPPORTED
        contrary = any(each.side == AGAINST for each in case.bearing)
        here = [f"The panel speaks {IN_THESE_BATCHES} alone."] if contrary and verdict == IN_BATCHES else []
        return Verdict(CONTRARY if contrary else verdict, (*reasons, *here), (), "")
    checks = {finding.check for finding in changes}
    verdict = WITH_WORDING if case.evidence.suggestion else NOT_SUPPORTED
    verdict = NOT_SUPPORTED if OPPOSITE in checks else CANNOT_TELL if UNREAD in checks else verdict
    told = (*(finding.message for finding in changes), *reasons)
    return Verdict(verdict, told, tuple(f.advice for f in changes), case.evidence.suggestion)


def criteria_of(verdict: str, findings: Sequence[WordingFinding]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return which common criteria a verdict touches, in their order, and the sources of the rules behind it.

    The evidence and its truth are always touched; what was found in the words adds its own.
    """
    telling = [finding for finding in findings if finding.severity in (STOP, CHANGE)]
    touched = {finding.criterion for finding in telling}
    touched |= {"legal compliance"} if verdict == NOT_THIS_TOOL else {"truthfulness", "evidential support"}
    sources = dict.fromkeys(["EU 655/2013", *(part for f in telling for part in f.source.split("; "))])
    return tuple(criterion for criterion in CRITERIA if criterion in touched), tuple(sources)


def _on_family(case: Case) -> list[str]:
    """Say what the other claims of the family do to this one."""
    family, alone = case.family, case.evidence.p_value
    if family.size < 2 or np.isnan(alone):
        return []
    words = (
        f"Adjusted with the {family.size} claims of the family '{family.family}': "
        f"p after Holm{p_value(family.p_adjusted)[1:]}."
    )
    if alone <= case.alpha < family.p_adjusted:
        words += " Alone it would be shown; beside the others it is not."
    return [words]


def _held_back(case: Case, found: Verdict) -> Verdict:
    """Return the verdict with the limit that rehearsed data and claims fixed too late put on it."""
    held = found.verdict in (*AS_WORDED, WITH_WORDING)
    reasons = (*found.reasons, case.standing.words)
    needs = found.needs
    if case.rehearsed:
        reasons = ("The data are a rehearsal, drawn by a program: they support no claim.", *reasons)
        needs = ("Real people.", *needs)
        return Verdict(CANNOT_TELL, reasons, needs, "")
    if case.standing.exploratory:
        needs = (*needs, "A new test, with this sentence, its margin and its bar stamped before the data.")
    if case.standing.exploratory and held:
        reasons = ("Exploratory: the numbers speak for it, but the claim was not fixed before the data.", *reasons)
        return Verdict(CANNOT_TELL, reasons, needs, "")
    return Verdict(found.verdict, reasons, needs, "" if case.standing.exploratory else found.suggestion)
