"""The whole job at a glance: what came out, what to settle, how near the target is, what may be said, what next."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panel.answers import (
    AGREEMENT,
    CHECK_ALL,
    COURSES,
    DIFFERENCES,
    DOMINANCES,
    FINDINGS,
    FORCED_CHOICES,
    JUST_ABOUT_RIGHT,
    LIKING,
    NEAREST,
    NEXT,
    PREFERENCES,
    SWAPS,
    Answers,
    NoAnswer,
    Question,
)
from panel.checks.finding import SEVERITIES, Finding
from panel.checks.moments_recorded import GIVE_DAYS, NOT_SHOWN
from panel.claims.claim import SPOKEN_FOR
from panel.claims.judge import CLAIMS, Claims
from panel.claims.verdict import AS_WORDED
from panel.models.decision.contenders import OUT, Decision
from panel.models.emollients.descriptors import NO_BLEND
from panel.models.prototypes.verdict import groups_scoring
from panel.study.naming import Naming
from panel.study.study import Study
from panel.views.consumers.agreement import tell_agreement
from panel.views.consumers.check_all import tell_check_all
from panel.views.consumers.choices import tell_forced_choices, tell_preferences
from panel.views.consumers.just_about_right import tell_just_about_right
from panel.views.consumers.liking import tell_liking
from panel.views.decision.claims import not_beforehand
from panel.views.decision.decide import decision_headline
from panel.views.emollients.causes import causes_picture
from panel.views.emollients.next_prototype import tell_next
from panel.views.over_time import tell_courses, tell_dominance
from panel.views.prototypes.differences import tell_differences
from panel.views.told import Picture, Told
from panel.words import counted, first_few, format_list

_NO_SCORES = "There are no scores yet, so nothing can be said of the prototypes."
NO_SCORES = "no_scores"
"""Kind of the finding that there are none."""
_MOST_TO_SETTLE, _MOST_LEADERS, _MOST_CLAIMS = 3, 3, 3
# What a study may answer without scores, the first of these that it does, with the part of the app that tells it.
_WITHOUT_SCORES: tuple[tuple[Question[Any], Callable[[Any, Naming], Told], str], ...] = (
    (LIKING, tell_liking, "liking"),
    (PREFERENCES, tell_preferences, "preference"),
    (FORCED_CHOICES, tell_forced_choices, "forced_choice"),
    (JUST_ABOUT_RIGHT, tell_just_about_right, "just_about_right"),
    (CHECK_ALL, tell_check_all, "check_all"),
    (AGREEMENT, tell_agreement, "agreement"),
    (COURSES, tell_courses, "over_time"),
    (DOMINANCES, tell_dominance, "over_time"),
)
_ONE_SCORE = re.compile(r"scores, row \d+(?: \(line [^;]*\))?: ([^;,]+, )(?:session [^;,]+, )?([^;]+)$")
_LATIN_NAME = re.compile(r"[A-Z][a-z-]+(?: [A-Z][a-z-]+)+ \(([A-Z][A-Za-z -]+)\)")  # `Cocos Nucifera (Coconut) Oil`


@dataclass(frozen=True, eq=False)
class Glance:
    """What the first screen says of a study.

    Parameters
    ----------
    headline, about
        The sentence that answers, and how much it rests on.
    settle
        What must be settled before it is believed, the gravest first, one of a kind.
    leaders
        How the leading prototypes stand to the targets, a line each.
    may, may_not
        Sentences that may be said as they stand; how many others there are and what of them.
    step, step_part
        What to do next, and where.
    """

    headline: str
    about: str
    settle: tuple[Finding, ...]
    leaders: tuple[str, ...]
    may: tuple[str, ...]
    may_not: str
    step: str
    step_part: str


def tell_glance(answers: Answers) -> Glance:
    """Return what the first screen says; whatever a study does not answer is left out or asked for."""
    findings = answers.need(FINDINGS)
    decision = answers.ask(NEAREST)
    claims = answers.ask(CLAIMS)
    may, may_not = _claims(claims)
    step, part = _step(answers, findings)
    headline, about = glance_headline(answers)
    return Glance(
        headline=headline,
        about=about,
        settle=_settle(findings, scored=not answers.study.scores.empty),
        leaders=_leaders(decision, answers.names),
        may=may,
        may_not=may_not,
        step=step,
        step_part=part,
    )


def glance_headline(answers: Answers) -> tuple[str, str]:
    """Return the sentence that answers, and how much it rests on: what can be said before the rest is worked out."""
    decision, differences = answers.ask(NEAREST), answers.ask(DIFFERENCES)
    if not isinstance(decision, NoAnswer):
        words = decision_headline(decision, answers.names)
    elif not isinstance(differences, NoAnswer):
        liking = answers.ask(LIKING)
        liked = "" if isinstance(liking, NoAnswer) else f" {answers.tell(tell_liking, liking).headline}"
        words = tell_differences(differences, answers.names).headline + liked
    elif (other := _without_scores(answers)) is not None:
        words = other[0].headline
    else:
        words = _NO_SCORES if answers.study.scores.empty else differences.why
    first, _, rest = words.partition(". ")
    return first if first.endswith(".") else f"{first}.", f"{rest} {_about(answers.study)}".strip()


def _without_scores(answers: Answers) -> tuple[Told, str] | None:
    for question, tell, part in _WITHOUT_SCORES:
        if not isinstance(found := answers.ask(question), NoAnswer):
            return answers.tell(tell, found), part
    return None


def _about(study: Study) -> str:
    answers, parts = study.table("answers"), [counted(len(study.prototypes), "prototype")]
    panel = {who for name in ("scores", "courses", "dominances") for who in study.table(name)["assessor"] if who}
    if panel:
        groups = groups_scoring(study)
        of_groups = f" of {len(groups)} groups ({format_list(groups)})" if len(groups) > 1 else ""
        parts.append(f"{counted(len(panel), 'assessor')}{of_groups}")
    if len(answers):
        parts.append(counted(answers["assessor"].nunique(), "consumer"))
    batches = study.table("batches").groupby("prototype")["batch"].nunique()
    single = batches.index[batches == 1].tolist()
    if single:
        parts.append("one batch each" if len(single) == len(batches) else f"one batch of {first_few(single)}")
    return f"{format_list(parts)}."


def glance_picture(answers: Answers) -> Picture | None:
    """Return which swap did what; without swaps how the prototypes differ; without scores what there is instead."""
    traced = answers.ask(SWAPS)
    if not isinstance(traced, NoAnswer) and not (traced.swaps.empty and traced.joint.empty):
        return causes_picture(answers.causes, answers.names)
    if not isinstance(found := answers.ask(DIFFERENCES), NoAnswer):
        return tell_differences(found, answers.names).picture
    other = _without_scores(answers)
    return None if other is None else other[0].picture


def _settle(findings: Sequence[Finding], *, scored: bool) -> tuple[Finding, ...]:
    """Return what to settle; that there are no scores yet is no fault of a study, and the headline says it."""
    grave = [each for each in findings if each.severity != SEVERITIES[-1] and (scored or each.kind != NO_SCORES)]
    grave.sort(key=lambda each: SEVERITIES.index(each.severity))
    first_of_kind = {each.kind: each for each in reversed(grave)}
    kinds = list(dict.fromkeys(each.kind for each in grave))[:_MOST_TO_SETTLE]
    return tuple(first_of_kind[kind] for kind in kinds)


def in_short(finding: Finding) -> str:
    """Return who and what it is about, for a score, and the first statement; INCI names without the Latin."""
    first = _LATIN_NAME.sub(r"\1", finding.message.partition(": ")[0].partition(". ")[0])
    place = _ONE_SCORE.match(finding.where)
    return f"{place[1] + place[2] + ': ' if place else ''}{first.rstrip('.')}."


def _leaders(decision: Decision | NoAnswer, names: Naming) -> tuple[str, ...]:
    """Return one line for each leading prototype: targets met, and what the first of them misses."""
    if isinstance(decision, NoAnswer):
        return ()
    lines: list[str] = []
    ranked = decision.ranking["prototype"]
    leading = ranked.loc[decision.ranking["standing"] != OUT]
    for prototype in (leading if len(leading) else ranked).iloc[:_MOST_LEADERS]:
        rows = decision.windows.loc[(decision.windows["prototype"] == prototype) & decision.windows["read_met"].notna()]
        missed = [names.attribute(each) for each in rows.loc[rows["read_met"] == 0, "attribute"]]
        met = f"{prototype}: {len(rows) - len(missed)} of {counted(len(rows), 'target')}"
        lines.append(f"{met}; misses {format_list(missed)}." if missed and not lines else f"{met}.")
    return tuple(lines)


def _claims(claims: Claims | NoAnswer) -> tuple[tuple[str, ...], str]:
    """Return the sentences that may be said, with their verdict, and how many others there are.

    Those that the numbers speak for, and that only their stamp holds back, are named.
    """
    if isinstance(claims, NoAnswer) or claims.claims.empty:
        return (), "No sentence for the pack is written down yet. Best written before the scores come in."
    rows: pd.DataFrame = claims.in_order
    good = rows["verdict"].isin(AS_WORDED)
    may = tuple(f"“{row['claim']}”: {row['verdict']}." for row in rows.loc[good].to_dict("records")[:_MOST_CLAIMS])
    left = rows.loc[~good]
    if left.empty:
        return may, ""
    late = not_beforehand(left).tolist()
    if left["estimate"].isna().all() and not any(late):
        waits = "waits for its" if len(left) == 1 else "wait for their"
        return may, f"{counted(len(left), 'other sentence' if may else 'sentence')} {waits} data."
    unknown = late.count(NOT_SHOWN)
    why = f": {late[0]}" if len(set(late)) == 1 and late[0] else f": {unknown} {NOT_SHOWN}" if unknown else ""
    others = f"{counted(len(left), 'other sentence' if may else 'sentence')} may not be said as "
    others += f"{'it stands' if len(left) == 1 else 'they stand'}{_spoken_for(claims, left)}{why}."
    return may, f"{others} {GIVE_DAYS}" if unknown else others


def _spoken_for(claims: Claims, rows: pd.DataFrame) -> str:
    """Return which of these sentences the numbers speak for; empty where of none."""
    spoken = claims.reasons.loc[claims.reasons["reason"].str.contains(SPOKEN_FOR, regex=False), "number"]
    named = [f"“{words}”" for words in rows.loc[rows["number"].isin(spoken), "claim"]]
    return f", though the numbers speak for {first_few(named, _MOST_CLAIMS)}" if named else ""


def _step(answers: Answers, findings: Iterable[Finding]) -> tuple[str, str]:
    if any(each.severity == "stop" and each.kind != NO_SCORES for each in findings):
        return "Settle what stops the analysis.", "study"
    study = answers.study
    if study.scores.empty and (other := _without_scores(answers)) is not None:
        over_time = other[1] == "over_time"
        return "Follow what happens over time." if over_time else "Read what consumers said.", other[1]
    if study.scores.empty:
        return ("Hand out the ballots.", "ballots") if len(study.table("servings")) else ("Plan the test.", "plan")
    if study.table("formulas").empty:
        return "Write down the formulas, so that a difference can be traced to an emollient.", "edit"
    proposed = answers.ask(NEXT)
    if isinstance(proposed, NoAnswer):
        return proposed.why, "edit" if proposed.why == NO_BLEND else "plan"  # as the part itself says it
    return tell_next(proposed, answers.names).headline, "next_prototype"
