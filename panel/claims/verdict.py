"""May the sentence be said as it is worded, in other words, not at all, not yet, or is that not for this tool?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from panel.checks.confounds import IN_THESE_BATCHES
from panel.claims.bearing import AGAINST, Bearing
from panel.claims.claim import BEYOND, Claim, Standing, counted, p_value
from panel.claims.evidence import ANSWERS, BOTH, NAN, PANEL, VOTES, Evidence
from panel.claims.materials import Materials
from panel.claims.names import TestRecord, panel_days, test_record
from panel.claims.wording import CHANGE, CRITERIA, OPPOSITE, STOP, UNREAD, WordingFinding
from panel.stats.comparing.multiplicity import holm

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
    """One claim with everything its verdict rests on; `not_covered` are words that nothing accounts for."""

    claim: Claim
    evidence: Evidence
    family: InFamily
    standing: Standing
    findings: Sequence[WordingFinding]
    rehearsed: bool
    alpha: float
    bearing: tuple[Bearing, ...] = ()
    not_covered: tuple[str, ...] = ()


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


def _is_shown(evidence: Evidence, p_adjusted: float, alpha: float) -> bool:
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
    if _is_shown(evidence, family.p_adjusted, case.alpha):
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
    if np.isnan(alone):
        return []
    left_out = f"The family '{family.family}' was named by hand and leaves out {counted(family.apart, 'claim')}"
    by_hand = [f"{left_out} on the same evidence."] if family.apart else []
    if family.size < 2:
        return [f"{words} This claim is alone in it and adjusted for nothing." for words in by_hand]
    words = (
        f"Adjusted with the {family.size} claims of the family '{family.family}': "
        f"p after Holm{p_value(family.p_adjusted)[1:]}."
    )
    if alone <= case.alpha < family.p_adjusted:
        words += " Alone it would be shown; beside the others it is not."
    return [words, *by_hand]


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


# Which claims are adjusted together? All that were fixed on the same evidence, over prototypes and attributes.


@dataclass(frozen=True, slots=True)
class InFamily:
    """The family of a claim, how many tests it holds, and the p-value adjusted over them (Holm).

    `apart` counts the claims on the same evidence that a family named by hand leaves out.
    """

    family: str
    size: int
    p_adjusted: float
    apart: int = 0


def adjust_together(
    claims: Sequence[Claim], evidence: Sequence[Evidence], fixed: Sequence[bool]
) -> tuple[InFamily, ...]:
    """Return the family of each claim and its p-value adjusted by Holm; NaN where nothing could be published.

    A claim stands in the family it names, else with all claims on the same evidence, whatever their prototype and
    attribute; `fixed` ones are not adjusted for those that were not fixed before the data.
    """
    grounds = [_ground(found, each) for found, each in zip(evidence, fixed, strict=True)]
    names = [claim.family or ground for claim, ground in zip(claims, grounds, strict=True)]
    p_values = np.array([NAN if found.refused else found.p_value for found in evidence], dtype=float)
    tested = ~np.isnan(p_values)
    adjusted = np.full(len(p_values), np.nan)
    found = []
    for name, ground in zip(names, grounds, strict=True):
        own = np.array([other == name for other in names])
        adjusted[own] = holm(p_values[own])
        apart = tested & ~own & np.array([other == ground for other in grounds])
        found.append((name, int((tested & own).sum()), int(apart.sum()) if name != ground else 0))
    return tuple(InFamily(name, size, float(p), apart) for (name, size, apart), p in zip(found, adjusted, strict=True))


def _ground(evidence: Evidence, fixed: bool) -> str:
    """Return the evidence whose claims are a family; a claim that needs both halves counts among those of the panel."""
    rests_on = PANEL if evidence.rests_on == BOTH else evidence.rests_on
    return rests_on if fixed else f"{rests_on}, not fixed beforehand"


# Which footnote belongs under the sentence? Only what is recorded; what is not recorded is named as a gap.


def footnote(claim: Claim, evidence: Evidence, materials: Materials) -> tuple[str, tuple[str, ...]]:
    """Return the footnote, empty where nothing was tested, and what should stand in it and is not recorded."""
    if not evidence.n:
        return "", ()
    panel, gaps = _of_panel(claim, evidence, materials)
    if evidence.rests_on == ANSWERS:
        return _of_answers(claim, materials)
    if evidence.rests_on == BOTH:
        users, more = _of_answers(claim, materials)
        return f"{panel} {users}", (*gaps, *more)
    if evidence.rests_on == VOTES:
        return _of_votes(claim, evidence, materials)
    return panel, gaps


def _of_answers(claim: Claim, materials: Materials) -> tuple[str, tuple[str, ...]]:
    told = materials.agreed(claim.prototype, claim.question)
    record = test_record(materials.study, told.sessions)
    parts = [record.kind, *_people(told.base, record), *_duration(record), record.month]
    words = f"{_joined(parts)}; agreed or strongly agreed."
    return words, tuple(_gaps(record))


def _of_votes(claim: Claim, evidence: Evidence, materials: Materials) -> tuple[str, tuple[str, ...]]:
    answers = materials.study.table("answers")
    sessions = tuple(str(name) for name in answers.loc[answers["kind"] == "preference", "session"].unique())
    record = test_record(materials.study, sessions)
    parts = [record.kind, *_people(evidence.n, record), *_duration(record), record.month]
    return f"{_joined(parts)}; both tried by each, 'no preference' offered.", tuple(_gaps(record))


def _of_panel(claim: Claim, evidence: Evidence, materials: Materials) -> tuple[str, tuple[str, ...]]:
    study = materials.study
    month, dose = panel_days(study), str(study.facts.get("dose", ""))
    parts = ["Trained panel" if evidence.rests_on in (PANEL, BOTH) else "Timed test", counted(evidence.n, "assessor")]
    parts += [f"{each} of each"] if (each := _scores_each(claim, materials)) else []
    parts += [dose, materials.when(claim.attribute).removeprefix(", "), month]
    gaps = [words for words, there in (("when the panel scored", month), ("the dose", dose)) if not there]
    return f"{_joined(parts)}.", tuple(f"Not recorded: {gap}." for gap in gaps)


def _scores_each(claim: Claim, materials: Materials) -> str:
    names = [name for name in (claim.prototype, claim.versus) if name]
    known = claim.attribute in materials.panel.fits and not materials.panel.why_not(claim.attribute, names)
    return materials.panel.scores_each(claim.attribute, names) if known else ""


def _people(n: int, record: TestRecord) -> list[str]:
    who = record.who or "people"
    return [f"{n} {who}{f' aged {record.ages}' if record.ages else ''}"]


def _duration(record: TestRecord) -> list[str]:
    return [counted(record.days, "day")] if record.days else []


def _gaps(record: TestRecord) -> Iterable[str]:
    wanted = (
        (record.who, "who took part (fact users, who)"),
        (record.ages, "their ages (fact users, ages)"),
        (record.days, "on which days (fact dates)"),
        (record.staff, "whether they work for the maker (fact users, staff)"),
    )
    return [f"Not recorded: {words}." for there, words in wanted if not there]


def _joined(parts: Iterable[str]) -> str:
    return ", ".join(part for part in parts if part)
