"""How many consumers agreed? Count, base, intervals, and the exact test against a bar set beforehand."""

from __future__ import annotations

import math
from typing import Any

from panel.claims.answers_counted import Counted
from panel.claims.claim import Claim
from panel.claims.evidence import NAN, Evidence, NumberShown, Weaker, nothing_yet
from panel.claims.floors import bar_of_people, floor, refused_bar, refused_base, worst_case
from panel.claims.materials import Materials
from panel.claims.needs import people_for_agreement
from panel.claims.said import counted, interval, p_value, percent
from panel.stats.answers.binomial import exact_interval, minimum_count, upper_tail, wilson_interval
from panel.study.study import Study

ANSWERS = "consumer answers"
MAJORITY = 0.5
_FOIL = "The sentence is a foil: it is untrue for the product, and was asked to see who says yes to anything."


def agreement(claim: Claim, materials: Materials) -> Evidence:
    """Return the share who agreed or agreed strongly; who does not know stays in the base."""
    told = materials.agreed(claim.prototype, claim.question)
    if not told.base:
        return nothing_yet(ANSWERS, f"Nobody answered {claim.question!r} for {claim.prototype}.")
    stated = bar_of_people(claim, materials.setting("agreement", "default_bar"))
    bar, x, n = max(stated, floor(materials.study, "least_bar")) / 100, told.agreed, told.base
    foil = any(row.get("foil") and row.get("question") == claim.question for row in asked(materials.study))
    p = float(upper_tail(x, n, bar))
    share = x / n
    suggestion = f"{percent(share)} agreed: “{question_words(materials.study, claim.question)}” ({x} of {n})"
    return Evidence(
        ANSWERS,
        _intervals(x, n, bar, materials),
        p,
        float(x),
        n=n,
        against=share <= bar or foil,
        weaker=Weaker(
            1.0 if foil else float(upper_tail(x, n, MAJORITY)),
            suggestion,
            "That more than half agreed is shown; the share itself is given as it was counted.",
            rescues=False,
        ),
        suggestion=suggestion,
        reasons=(
            f"{x} of {n} agreed or agreed strongly: {percent(share)} ({_both_intervals(x, n, materials.level)}).",
            _needed_words(n, bar, p, materials.alpha),
            *([_FOIL] if foil else []),
            *_on_the_base(told),
            *_on_foils(materials, claim),
        ),
        needs=lambda: (people_for_agreement(share, bar),),
        refused=(*refused_bar(materials.study, stated), *refused_base(materials.study, told)),
        observed_share=share,
        method="exact one-sided binomial test of the share who agreed against a bar",
    )


def _needed_words(n: int, bar: float, p: float, alpha: float) -> str:
    needed = int(minimum_count(n, bar, alpha))
    if needed > n:
        return f"With {n} answers not even all of them would show more than {percent(bar)}."
    return f"To show more than {percent(bar)}, {needed} of {n} would do; {p_value(p)} (exact, one-sided)."


def _intervals(x: int, n: int, bar: float, materials: Materials) -> tuple[NumberShown, ...]:
    """Return the intervals of the share: Wilson's, the exact one, and the one-sided one that goes with the test."""
    level, share = materials.level, x / n
    one_sided = float(exact_interval(x, n, 1 - 2 * materials.alpha)[0])
    return (
        _shown("agreed", share, *wilson_interval(x, n, level), level, 100 * bar, "Wilson"),
        _shown("agreed", share, *exact_interval(x, n, level), level, 100 * bar, "Clopper and Pearson"),
        _shown("agreed", share, one_sided, math.inf, level, 100 * bar, "one-sided, Clopper and Pearson"),
    )


def question_words(study: Study, question: str) -> str:
    """Return the sentence as the consumers saw it; the short name where it is not recorded."""
    return str(next((row.get("words", question) for row in asked(study) if row.get("question") == question), question))


def asked(study: Study) -> list[dict[str, object]]:
    """Return the wording of the questions as recorded in the study."""
    stated = study.facts.get("questions", [])
    return [row for row in stated if isinstance(row, dict)] if isinstance(stated, list) else []


def _both_intervals(x: int, n: int, level: float) -> str:
    (low, high), (exact_low, exact_high) = wilson_interval(x, n, level), exact_interval(x, n, level)
    wilson = interval(100 * float(low), 100 * float(high))
    exact = interval(100 * float(exact_low), 100 * float(exact_high))
    return f"{100 * level:g} % interval {wilson} % by Wilson, {exact} % exact"


def _on_the_base(told: Counted) -> list[str]:
    found = []
    if told.dont_know:
        found.append(f"{counted(told.dont_know, 'person', 'people')} did not know; they stay in the base.")
    if told.unread:
        found.append(f"{counted(told.unread, 'answer')} could not be read; they stay in the base as not agreeing.")
    if told.repeated:
        found.append(f"{counted(told.repeated, 'answer')} of people who answered again; only the last one counts.")
    if told.served > told.base:
        lost = told.served - told.base
        found.append(
            f"{told.served} people were given it and {lost} of them did not answer: the base is those who answered."
        )
        found.append(worst_case(told))
    return found


def _on_foils(materials: Materials, claim: Claim) -> list[str]:
    """Say how many agreed with a sentence that is untrue for the product."""
    found = []
    for row in asked(materials.study):
        if not row.get("foil"):
            continue
        told = materials.agreed(claim.prototype, str(row.get("question", "")))
        if told.base:
            found.append(
                f"{told.agreed} of {told.base} ({percent(told.agreed / told.base)}) agreed with a sentence that is "
                "untrue for the product: so many say yes to anything."
            )
    return found


def _shown(what: str, share: float, low: Any, high: Any, level: float, bar: float, method: str) -> NumberShown:
    return NumberShown(what, 100 * share, 100 * float(low), 100 * float(high), level, bar, NAN, "%", method)
