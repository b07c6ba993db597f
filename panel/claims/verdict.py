"""May the sentence be said as it is worded, in other words, not at all, not yet, or is that not for this tool?

What else in the study bears on the claim's word, and on which side (panel, questions, ticks, judgements, readings), is
a rule of ours, from no guide. The claim's own test decides whether it is shown; what bears can only speak against it or
beside it. A side is taken where the data are clear: an interval wholly beyond a floor of the claims, a pair told apart.
All else that bears on the word is listed with neither side.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from panel.checks.confounds import IN_THESE_BATCHES
from panel.checks.moments_recorded import NOT_SHOWN, STAMPED, panel_days, test_record
from panel.claims.claim import (
    ANSWERS,
    BEYOND,
    BOTH,
    CHANGE,
    OPPOSITE,
    PANEL,
    SPOKEN_FOR,
    STOP,
    UNREAD,
    VOTES,
    Claim,
    Evidence,
    Reading,
    WordingFinding,
    floor,
)
from panel.claims.materials import Materials
from panel.claims.parts import words_of
from panel.claims.study_names import IN_OWN_WORDS, family_of, is_turned
from panel.models.consumers.answers import AnswerGrid, question_facts
from panel.models.emollients.readings import declared_pairs
from panel.models.prototypes.verdict import DIFFERS
from panel.stats.answers.binomial import wilson_interval
from panel.stats.answers.paired_answers import mcnemar_exact
from panel.stats.comparing.multiplicity import LEVEL, below, holm
from panel.study.knowledge import shared_table
from panel.study.naming import judged_minutes
from panel.study.scores_used import asked, how_said, question_words
from panel.study.study import Study, kept
from panel.words import DOWN, counted, counted_share, format_number, format_typed, p_words, when_words

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
VERDICTS = (SUPPORTED, IN_BATCHES, CONTRARY, WITH_WORDING, CANNOT_TELL, NOT_SUPPORTED, NOT_THIS_TOOL, WITHDRAWN)
"""From supported to not, the order in which claims are told."""
_Bearing = tuple[str, str, str]  # its side (for, against or neither), its source, and what it is, in words
_CRITERIA = (
    *("legal compliance", "truthfulness", "evidential support", "honesty", "fairness", "informed decision-making"),
)
"""The common criteria for claims on cosmetics (EU 655/2013)."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on one claim, its reasons, what it would take, and the wording that may be used (empty if none)."""

    verdict: str
    reasons: tuple[str, ...]
    needs: tuple[str, ...]
    suggestion: str


@dataclass(frozen=True, eq=False, slots=True)
class Case:
    """One claim with everything its verdict rests on.

    `family` with `in_family` tests adjusts its p-value to `p_adjusted` (Holm); `apart` counts the claims on the same
    evidence that a family named by hand leaves out. `stamped`: whether it was fixed in time, in the words of
    `when_stamped`; `fixed` says why or why not. `not_covered` are words that nothing accounts for.
    """

    claim: Claim
    evidence: Evidence
    family: str
    in_family: int
    p_adjusted: float
    apart: int
    stamped: str
    fixed: str
    findings: Sequence[WordingFinding]
    rehearsed: bool
    bearing: tuple[_Bearing, ...] = ()
    not_covered: tuple[str, ...] = ()


def verdict_on(case: Case) -> Verdict:
    """Return the verdict on one claim."""
    if case.claim.withdrawn_at:
        claim = case.claim
        by = f"Withdrawn on {when_words(claim.withdrawn_at)} by {claim.withdrawn_by}: {claim.withdrawn_because}"
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
    return _held_back(case, _from_the_data(case))


def _is_shown(evidence: Evidence, p_adjusted: float) -> bool:
    """Return whether the numbers show the claim."""
    return bool(below(p_adjusted)) and not evidence.against


def _from_the_data(case: Case) -> Verdict:
    """Return the verdict as far as the numbers go."""
    evidence = case.evidence
    contrary = [f"{AGAINST_IT} {source}, {words}." for side, source, words in case.bearing if side == AGAINST]
    stated = [finding.message for finding in case.findings if finding.check == IN_OWN_WORDS]
    reasons = [*contrary, *stated, *evidence.reasons, *_on_family(case)]
    if evidence.refused:
        verdict = NOT_SUPPORTED if evidence.against else CANNOT_TELL
        return Verdict(verdict, (*evidence.refused, *reasons), evidence.refused, "")
    if _is_shown(evidence, case.p_adjusted):
        return _by_the_words(case, reasons)
    weaker = evidence.weaker
    said = weaker is not None and bool(below(weaker.p_value * max(case.in_family, 1)))
    if weaker is not None and said:
        reasons.append(weaker.reason)
        if weaker.rescues and words_of(case.claim.claim) == words_of(weaker.words):
            return _by_the_words(case, reasons)
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
        contrary = any(side == AGAINST for side, *_ in case.bearing)
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
    return tuple(criterion for criterion in _CRITERIA if criterion in touched), tuple(sources)


def _on_family(case: Case) -> list[str]:
    """Say what the other claims of the family do to this one."""
    alone = case.evidence.p_value
    if np.isnan(alone):
        return []
    left_out = f"The family '{case.family}' was named by hand and leaves out {counted(case.apart, 'claim')}"
    by_hand = [f"{left_out} on the same evidence."] if case.apart else []
    if case.in_family < 2:
        return [f"{words} This claim is alone in it and adjusted for nothing." for words in by_hand]
    words = (
        f"Adjusted with the {case.in_family} claims of the family '{case.family}': "
        f"p after Holm{p_words(case.p_adjusted)[1:]}."
    )
    if below(alone) and not below(case.p_adjusted):
        words += " Alone it would be shown; beside the others it is not."
    return [words, *by_hand]


def _held_back(case: Case, found: Verdict) -> Verdict:
    """Return the verdict with the limit that rehearsed data and claims fixed too late put on it."""
    held = found.verdict in (*AS_WORDED, WITH_WORDING)
    reasons, needs = (*found.reasons, case.fixed), found.needs
    if case.rehearsed:
        reasons = ("The data are a rehearsal, drawn by a program: they support no claim.", *reasons)
        needs = ("Real people.", *needs)
        return Verdict(CANNOT_TELL, reasons, needs, "")
    if case.stamped == STAMPED:
        return Verdict(found.verdict, reasons, needs, found.suggestion)
    instead = "The day of each session, where it came after the stamp; else a" if case.stamped == NOT_SHOWN else "A"
    needs = (*needs, f"{instead} new test, with this sentence, its margin and its bar stamped before the data.")
    if held:
        reasons = (f"Exploratory: {SPOKEN_FOR}, but the claim was {case.stamped}.", *reasons)
        return Verdict(CANNOT_TELL, reasons, needs, "")
    return Verdict(found.verdict, reasons, needs, "")


# Which claims are adjusted together? All that were fixed on the same evidence, over prototypes and attributes.


def adjust_together(
    claims: Sequence[Claim], evidence: Sequence[Evidence], fixed: Sequence[bool]
) -> list[tuple[str, int, float, int]]:
    """Return `family in_family p_adjusted apart` of each claim (see `Case`); NaN where nothing could be published.

    A claim stands in the family it names, else with all claims on the same evidence, whatever their prototype and
    attribute; `fixed` ones are not adjusted for those that were not fixed before the data.
    """
    grounds = [_ground(found, each) for found, each in zip(evidence, fixed, strict=True)]
    names = [claim.family or ground for claim, ground in zip(claims, grounds, strict=True)]
    p_values = np.array([math.nan if found.refused else found.p_value for found in evidence], dtype=float)
    tested = ~np.isnan(p_values)
    adjusted = np.full(len(p_values), np.nan)
    found = []
    for name, ground in zip(names, grounds, strict=True):
        own = np.array([other == name for other in names])
        adjusted[own] = holm(p_values[own])
        apart = tested & ~own & np.array([other == ground for other in grounds])
        found.append((name, int((tested & own).sum()), int(apart.sum()) if name != ground else 0))
    return [(name, size, float(p), apart) for (name, size, apart), p in zip(found, adjusted, strict=True)]


def _ground(evidence: Evidence, fixed: bool) -> str:
    """Return the evidence whose claims are a family; a claim that needs both halves counts among those of the panel."""
    rests_on = PANEL if evidence.rests_on == BOTH else evidence.rests_on
    return rests_on if fixed else f"{rests_on}, {NOT_SHOWN}"


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
        record = test_record(materials.study, materials.voted_in)
        parts = [record["kind"], *_people(evidence.n, record), *_duration(record), record["month"]]
        return f"{_joined(parts)}; both tried by each, 'no preference' offered.", tuple(_gaps(record))
    return panel, gaps


def _of_answers(claim: Claim, materials: Materials) -> tuple[str, tuple[str, ...]]:
    told = materials.agreed(claim.prototype, claim.question)
    record = test_record(materials.study, told.sessions)
    parts = [record["kind"], *_people(told.base, record), *_duration(record), record["month"]]
    said = how_said(materials.study, claim.question).replace("agreed strongly", "strongly agreed")
    words = f"{_joined(parts)}; {said}."
    return words, tuple(_gaps(record))


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


def _people(n: int, record: Mapping[str, Any]) -> list[str]:
    aged = f" aged {record['ages']}" if record["ages"] else ""
    return [f"{n} {record['who'] or 'people'}{aged}"]


def _duration(record: Mapping[str, Any]) -> list[str]:
    return [counted(record["days"], "day")] if record["days"] else []


def _gaps(record: Mapping[str, Any]) -> Iterable[str]:
    wanted = (
        (record["who"], "who took part (fact users, who)"),
        (record["ages"], "their ages (fact users, ages)"),
        (record["days"] or record["either"], "on which days (fact dates)"),
        (not record["either"], f"in which test they answered (column session): {' or '.join(record['either'])}"),
        (record["staff"], "whether they work for the maker (fact users, staff)"),
    )
    return [f"Not recorded: {words}." for there, words in wanted if not there]


def _joined(parts: Iterable[str]) -> str:
    return ", ".join(part for part in parts if part)


FOR, AGAINST, OPEN, _NEITHER = "for", "against", "open", "neither"
_PANEL, _CONSUMERS, _INSTRUMENTS = "trained panel", "consumers", "instruments"
_DENIED = frozenset(("negated", "absent", "low", "not comparative"))
_COMPARED = frozenset(("superiority", "ranking", "ingredient_attribution", "parity", "unsurpassed"))
_HALF, _LEAST_LETTERS = 0.5, 4  # the latter of a word that a sentence and the name of a measure share


def bearing_on(claim: Claim, materials: Materials) -> tuple[_Bearing, ...]:
    """Return what bears on a claim beside its own test, what speaks against it first."""
    if claim.kind == BEYOND or claim.problems:
        return ()
    told = materials.read(claim.claim, claim.prototype, of_panel=True).moments if claim.attribute else []
    timed = [minutes for kind, minutes, _ in told if kind in ("at", "later", "within")]
    found = [*(_panel(claim, materials, timed) if timed else materials.once(_panel, claim))]
    found += [*materials.once(_from_people, claim), *_readings(claim, materials, materials.once(_wanted, claim))]
    return tuple(sorted(found, key=lambda each: (AGAINST, FOR, _NEITHER).index(each[0])))


def _from_people(claim: Claim, materials: Materials) -> list[_Bearing]:
    """Return what the consumers said; it depends on the statement, not on the words of the sentence."""
    wanted = materials.once(_wanted, claim)
    sources = (_questions, _ticks, _judgements)
    return [bearing for source in sources for bearing in source(claim, materials, wanted)]


def _wanted(claim: Claim, materials: Materials) -> dict[str, int]:
    """Return the families of words a claim is about, and whether it says more (1) or less (-1) of each; 0 as much."""
    if claim.attribute:
        family = family_of(materials.study, claim.attribute)
        sign = -1 if claim.kind == "absolute_negative" else 0 if claim.kind == "parity" else materials.sign(claim)
    else:
        words = question_words(materials.study, claim.question) if claim.question else claim.claim
        reading = materials.read(words)
        family, sign = _family(reading), _said(reading)
    if not family:
        return {}
    kin = shared_table("claim_kin_en")
    related = {row["other"]: int(row["sign"]) for row in kin.loc[kin["family"] == family].to_dict("records")}
    related |= {row["family"]: int(row["sign"]) for row in kin.loc[kin["other"] == family].to_dict("records")}
    return {other: sign * own for other, own in related.items()} | {family: sign}


def _family(reading: Reading) -> str:
    """Return what a sentence speaks of; empty where it is not read: a little of it may go a long way."""
    return "" if reading.degree == "unreadable" else reading.family


def _things(words: str) -> frozenset[str]:
    """Return the things beside the skin that something is left on, or pressed or wiped off with; none for the skin."""
    return frozenset(name for found in _ON.finditer(words) for name in _THINGS if _is_of(name, found[1]))


def _is_of(name: str, thing: str) -> bool:
    return re.fullmatch(rf"(?:{_THINGS[name]})s?", thing, re.IGNORECASE) is not None


_THINGS = {
    "paper": "paper|page|tissue|wipe",
    "cloth": "cloth|clothe|clothing|fabric|textile|cotton|linen|towel|sheet|pillow|shirt|collar|sleeve|sock",
    "glass": "glass|mirror|slide|screen|plate",
    "floor": "floor|tile|tub",
}
_ON = re.compile(
    rf"\b(?:on|onto|to|from|against|with|or)\s+(?:[\w-]+\s+){{0,3}}?({'|'.join(_THINGS.values())})s?\b",
    re.IGNORECASE,
)


def _same_place(own: frozenset[str], there: frozenset[str]) -> bool:
    """Return whether what was judged or asked there is where a claim speaks of: a towel is not the skin."""
    return bool(own & there) if own or there else True


def _places(claim: Claim, materials: Materials) -> frozenset[str]:
    asked_of = question_words(materials.study, claim.question) if claim.question else ""
    return _things(asked_of or claim.claim) | (
        _judged_on(materials, claim.attribute) if claim.attribute else frozenset()
    )


def _judged_on(materials: Materials, attribute: str) -> frozenset[str]:
    rows = materials.study.table("attributes").set_index("attribute")
    defined = rows["definition"].get(attribute, "") if "definition" in rows else ""
    return _things(f"{materials.study.attribute_words(attribute)}. {defined}")


def _said(reading: Reading) -> int:
    return -reading.sign if reading.degree in _DENIED else reading.sign


def _side(agrees: bool, contradicts: bool) -> str:
    return FOR if agrees else AGAINST if contradicts else _NEITHER


def _compared_with(claim: Claim) -> str:
    return claim.versus if claim.kind in _COMPARED else ""


def _panel(claim: Claim, materials: Materials, timed: Sequence[float] = ()) -> list[_Bearing]:
    """Return what the panel found on attributes of the same word, on no side at a moment other than those `timed`."""
    wanted, told = materials.once(_wanted, claim), list[_Bearing]()
    families = {name: family_of(materials.study, name) for name in materials.study.attributes}
    places = materials.once(_places, claim)
    bearing = {
        name: family
        for name, family in families.items()
        if name != claim.attribute and family in wanted and _same_place(places, _judged_on(materials, name))
    }
    found = materials.compared if bearing else None  # the comparison of all prototypes takes a moment
    if found is None:
        return []
    for attribute, family in bearing.items():
        other, words = _compared_with(claim), materials.called_as.attribute(attribute)
        elsewhen = timed and judged_minutes(materials.study, attribute) not in (*timed, math.nan)
        sign = -wanted[family] if is_turned(materials.study, attribute) else wanted[family]
        if other:
            rows = found.pairs.loc[found.pairs["attribute"] == attribute]
            for turn, (one, two) in ((1, (claim.prototype, other)), (-1, (other, claim.prototype))):
                for row in rows.loc[(rows["prototype"] == one) & (rows["versus"] == two)].to_dict("records"):
                    apart, differs = turn * row["estimate"], row["verdict"] == DIFFERS
                    side = _side(differs and sign * apart > 0, differs and sign * apart <= 0)
                    change = materials.called_as.change(attribute, apart)
                    side = _NEITHER if elsewhen else side
                    told.append((side, _PANEL, f"{words}: {change} against {other} ({row['verdict']})"))
            continue
        rows = found.means.loc[(found.means["attribute"] == attribute) & (found.means["prototype"] == claim.prototype)]
        for row in rows.to_dict("records"):
            side = _NEITHER if elsewhen else _level(materials, attribute, sign, row)
            told.append((side, _PANEL, f"{words}: {_mean(materials, attribute, row)}"))
    return told


def _mean(materials: Materials, attribute: str, row: Mapping[Any, float]) -> str:
    scale = materials.study.scale(attribute)
    of = f" of {format_typed(scale[1])}" if scale else ""
    ends = materials.between(attribute, row["ci_low"], row["ci_high"])
    return f"{materials.value(attribute, row['estimate'])}{of} ({ends})"


def _level(materials: Materials, attribute: str, sign: int, row: Mapping[Any, float]) -> str:
    """Return the side of a mean: an absent thing lies below its floor, a present one above the middle of the scale."""
    scale = materials.study.scale(attribute)
    if scale is None or sign == 0:
        return _NEITHER
    low, high = (100 * (row[end] - scale[0]) / (scale[1] - scale[0]) for end in ("ci_low", "ci_high"))
    absent, little = (floor(materials.study, name) for name in ("most_absent", "most_low"))
    return _side(high <= absent, low > absent) if sign < 0 else _side(low > 100 * _HALF, high < little)


def _questions(claim: Claim, materials: Materials, wanted: Mapping[str, int]) -> Iterator[_Bearing]:
    """Yield what consumers answered to other sentences of the same word, where nothing is compared."""
    for entry in asked(materials.study):
        question = str(entry.get("question", ""))
        if _compared_with(claim) or entry.get("kind") != "agreement" or question == claim.question or entry.get("foil"):
            continue
        reading = materials.read(str(entry.get("words", "")))
        there = _things(str(entry.get("words", "")))
        if not _same_place(materials.once(_places, claim), there):
            continue
        if _family(reading) not in wanted or not (told := materials.agreed(claim.prototype, question)).base:
            continue
        same = _said(reading) * wanted[reading.family]
        low, high = wilson_interval(told.agreed, told.base, LEVEL)
        agrees, denies = float(low) > _HALF, float(high) < _HALF
        side = _side(agrees, denies) if same > 0 else _side(denies, agrees)
        words = f"“{entry.get('words')}”: {counted_share(told.agreed, told.base, DOWN)} agreed"
        yield (side if same else _NEITHER, _CONSUMERS, words)


def _ticks(claim: Claim, materials: Materials, wanted: Mapping[str, int]) -> Iterator[_Bearing]:
    """Yield how often consumers ticked a word of the same or of the contrary meaning."""
    grid, other = materials.ticks, _compared_with(claim)
    if grid is None or claim.prototype not in grid.prototypes:
        return
    facts, own = question_facts(materials.study, "check_all"), grid.prototypes.index(claim.prototype)
    for place, term in enumerate(grid.questions):
        words = facts[term].words if term in facts and facts[term].words else term
        reading = materials.read(words)
        if _family(reading) not in wanted or not _same_place(materials.once(_places, claim), _things(words)):
            continue
        same, here = _said(reading) * wanted[reading.family], grid.values[place, :, own]
        if other and other in grid.prototypes:
            there = grid.values[place, :, grid.prototypes.index(other)]
            yield _ticked_beside(words, same, here, there, other, materials)
        elif not other:
            yield _ticked(words, same, here, materials)


def _ticked(words: str, same: int, ticks: np.ndarray, materials: Materials) -> _Bearing:
    known = ticks[np.isfinite(ticks)]
    x, n, most = int(known.sum()), len(known), floor(materials.study, "most_contrary") / 100
    low, high = (float(end) for end in wilson_interval(x, n, LEVEL)) if n else (0.0, 1.0)
    side = _side(low > most, False) if same > 0 else _side(high <= most, low > most) if same < 0 else _NEITHER
    return (side, _CONSUMERS, f"ticked “{words}”: {counted_share(x, n, DOWN)}")


def _ticked_beside(
    words: str, same: int, ticks: np.ndarray, others: np.ndarray, other: str, materials: Materials
) -> _Bearing:
    both = np.isfinite(ticks) & np.isfinite(others)
    here, there = ticks[both] == 1, others[both] == 1
    p = float(mcnemar_exact((here & ~there).sum(), (there & ~here).sum()))
    told, more = bool(below(p)), int(here.sum()) - int(there.sum())
    side = _side(told and same * more > 0, told and same * more <= 0)
    counts = f"{int(here.sum())} of {int(both.sum())}, {int(there.sum())} for {other}"
    return (side, _CONSUMERS, f"ticked “{words}”: {counts} ({p_words(p)})")


def _judgements(claim: Claim, materials: Materials, wanted: Mapping[str, int]) -> Iterator[_Bearing]:
    """Yield how many find too much of what a claim denies, or too little of what it promises."""
    grid = materials.judged
    if grid is None or claim.prototype not in grid.prototypes or _compared_with(claim):
        return
    facts, own = question_facts(materials.study, "just_about_right"), grid.prototypes.index(claim.prototype)
    most = floor(materials.study, "most_contrary") / 100
    for place, question in enumerate(grid.questions):
        attribute = facts[question].attribute if question in facts else ""
        family = family_of(materials.study, attribute) if attribute in materials.study.attributes else ""
        family = family if _same_place(materials.once(_places, claim), _things(question)) else ""
        sign = wanted.get(family, 0) * (-1 if question in facts and facts[question].opposite else 1)
        if sign:
            yield _judged(
                question,
                facts[question].side(high=sign < 0),
                sign,
                most,
                grid,
                (place, own),
            )


def _judged(question: str, end: str, sign: int, most: float, grid: AnswerGrid, at: tuple[int, int]) -> _Bearing:
    values = grid.values[at[0], :, at[1]]
    known = values[np.isfinite(values)]
    x, n = int((known > _RIGHT).sum() if sign < 0 else (known < _RIGHT).sum()), len(known)
    low = float(wilson_interval(x, n, 0.95)[0]) if n else 0.0
    words = f"{question}, towards “{end or ('too much' if sign < 0 else 'too little')}”: {x} of {n}"
    return (_side(False, low > most), _CONSUMERS, words)


_RIGHT = 3  # the middle of five steps, just about right


@kept
def _partners(study: Study) -> list[tuple[str, str]]:
    """Return the measures of instruments that go with an attribute, and which."""
    pairs, _ = declared_pairs(study, study.table("readings")["measure"].drop_duplicates())
    return list(zip(pairs["measure"].tolist(), pairs["attribute"].tolist(), strict=True))


def _readings(claim: Claim, materials: Materials, wanted: Mapping[str, int]) -> Iterator[_Bearing]:
    """Yield what instruments read: of a partner of the attribute, or of what the sentence itself names."""
    table = materials.study.table("readings")
    if table.empty:
        return
    named = {word for word in words_of(claim.claim) if len(word) >= _LEAST_LETTERS}
    partners = {
        measure: attribute
        for measure, attribute in _partners(materials.study)
        if attribute == claim.attribute or family_of(materials.study, attribute) in wanted
    }
    reading = materials.read(claim.claim)  # less of it than another is not none
    denies = _said(reading) < 0 or bool({"no", "not", "without"} & set(words_of(claim.claim)))
    denies &= "comparative" not in reading.degree
    for measure in map(str, table["measure"].unique()):
        by_name = bool(named & set(words_of(measure)))
        if not (by_name or measure in partners):
            continue
        own = table.loc[(table["measure"] == measure) & (table["prototype"] == claim.prototype)]
        values = own["value"].dropna().to_numpy(float)
        if not len(values):
            continue
        spread = float(values.std(ddof=1)) if len(values) > 1 else float("nan")
        present = by_name and denies and len(values) > 1 and values.mean() - _THREE * spread > 0
        unit = str(own["unit"].iloc[0])
        words = f"{measure}: {format_number(float(values.mean()), 2)} {unit} (n = {len(values)})"
        yield (_side(False, bool(present)), _INSTRUMENTS, words + (", so not none" if present else ""))


_THREE = 3.0  # standard deviations above zero before a reading says that there is something; common practice
