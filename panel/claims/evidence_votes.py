"""Which of two prototypes do people prefer, or does neither win? Exact counts; who has no preference stays in.

A vote without a preference counts in the base and for neither side. Superiority asks for more than half of all votes.
'Unsurpassed' asks that fewer than half and the margin prefer the other, parity that this holds either way; without
such votes these are the usual limits of 45 and 55 % (ASTM E1958 as summarised; its own text on such votes not seen).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from panel.claims.claim import Claim
from panel.claims.evidence import NAN, Evidence, NumberShown, Weaker, nothing_yet
from panel.claims.floors import refused_bar
from panel.claims.materials import Materials
from panel.claims.needs import people_for_parity, people_for_preference
from panel.claims.said import interval, listed, number, p_value, percent
from panel.claims.sayings import public_name
from panel.stats.answers.binomial import (
    exact_interval,
    lower_tail,
    maximum_count,
    minimum_count,
    parity_region,
    upper_tail,
    wilson_interval,
)
from panel.study.scores_used import named_rows
from panel.study.study import Study

VOTES = "preference answers"
HALF = 0.5
NO_PREFERENCE = frozenset(("no preference", "none", "both alike", "neither", "no difference"))


@dataclass(frozen=True, slots=True)
class Votes:
    """Votes for a prototype, for the other one and for neither, of people who tried both; `n` of them in all."""

    prototype: int
    versus: int
    neither: int
    unread: int
    repeated: int

    @property
    def n(self) -> int:
        """All votes, without a preference or not."""
        return self.prototype + self.versus + self.neither


def count_votes(study: Study, prototype: str, versus: str, question: str = "") -> Votes:
    """Count the preference answers about two prototypes, in either order; each person once, the last answer counts."""
    answers = named_rows(study, "answers")
    pairs = answers["prototype"] + "\n" + answers["versus"]
    own = answers.loc[
        (answers["kind"] == "preference")
        & pairs.isin([f"{prototype}\n{versus}", f"{versus}\n{prototype}"])
        & (answers["answer"].str.strip() != "")
        & ((answers["question"] == question) | (question == ""))
    ]
    last = own.drop_duplicates("assessor", keep="last")["answer"].str.strip()
    neither = int(last.str.casefold().isin(NO_PREFERENCE).sum())
    first, second = int((last == prototype).sum()), int((last == versus).sum())
    return Votes(first, second, neither, len(last) - first - second - neither, len(own) - len(last))


def preference(claim: Claim, materials: Materials) -> Evidence:
    """Return the share of all votes for the prototype, tested against the bar (half, unless stated)."""
    votes = count_votes(materials.study, claim.prototype, claim.versus, claim.question)
    if not votes.n:
        return _no_votes(claim.prototype, [claim.versus])
    stated = claim.bar if not math.isnan(claim.bar) else materials.setting("preference", "default_bar")
    bar, x, n = stated / 100, votes.prototype, votes.n
    share, p, needed = x / n, float(upper_tail(x, n, bar)), int(minimum_count(n, bar, materials.alpha))
    decided = x + votes.versus
    among = float(upper_tail(x, decided, HALF)) if decided else 1.0
    weaker = None
    if votes.neither and bar <= HALF:
        weaker = Weaker(
            among,
            f"preferred by {x} of the {decided} people who had a preference; {votes.neither} of {n} had none",
            f"Among those who had a preference, {x} of {decided} chose {claim.prototype} ({p_value(among)}).",
        )
    return Evidence(
        VOTES,
        (_share_shown(f"preferred {claim.prototype}", x, n, materials.level, 100 * bar),),
        p,
        float(x),
        n=n,
        against=share <= bar,
        weaker=weaker,
        suggestion=(
            f"preferred to {public_name(materials.study, materials.names, claim.versus)} by {x} of {n} people "
            f"({percent(share)})"
        ),
        refused=tuple(refused_bar(materials.study, stated)),
        reasons=(
            _votes_words(claim.prototype, claim.versus, votes, materials.level),
            f"To show more than {percent(bar)} of all, {needed} of {n} are needed; {p_value(p)} (exact, one-sided).",
            *_paradox(x, n, materials),
        ),
        needs=lambda: (people_for_preference(share),),
        observed_share=share,
        method="exact one-sided binomial test; votes without a preference stay in the base",
    )


def vote_parity(claim: Claim, materials: Materials) -> Evidence:
    """Return whether neither is preferred by more than half and the margin, by two exact one-sided tests."""
    votes = count_votes(materials.study, claim.prototype, claim.versus, claim.question)
    if not votes.n or not claim.versus:
        return _no_votes(claim.prototype, [claim.versus])
    margin, n = claim.margin / 100, votes.n
    high = HALF + margin
    p = max(float(lower_tail(count, n, high)) for count in (votes.prototype, votes.versus))
    fewest, most = (int(limit) for limit in parity_region(n, HALF - margin, high, materials.alpha))
    region = (
        f"With {n} votes parity is shown by {fewest} to {most} votes for either."
        if fewest <= most
        else f"With {n} votes no count at all shows parity within ±{number(claim.margin)} points."
    )
    ahead = max(votes.prototype, votes.versus) / n
    return Evidence(
        VOTES,
        tuple(
            _share_shown(f"preferred {name}", count, n, 1 - 2 * materials.alpha, limit_high=100 * high)
            for name, count in ((claim.prototype, votes.prototype), (claim.versus, votes.versus))
        ),
        p,
        float(votes.prototype),
        n=n,
        against=ahead >= high,
        suggestion=(f"liked as much as {public_name(materials.study, materials.names, claim.versus)}"),
        reasons=(
            _votes_words(claim.prototype, claim.versus, votes, materials.level),
            f"{region} Two exact one-sided tests, {p_value(p)}.",
            *_paradox(votes.prototype, n, materials, margin),
        ),
        needs=lambda: (people_for_parity(margin),),
        method="two exact one-sided binomial tests; votes without a preference stay in the base",
    )


def vote_unsurpassed(claim: Claim, materials: Materials) -> Evidence:
    """Return whether, against every competitor, fewer than half and the margin prefer the competitor."""
    margin = claim.margin / 100
    high = HALF + margin
    shown: list[NumberShown] = []
    reasons: list[str] = []
    people: list[int] = []
    worst, losing = -1.0, False
    for rival in claim.competitors:
        votes = count_votes(materials.study, claim.prototype, rival, claim.question)
        if not votes.n:
            return _no_votes(claim.prototype, list(claim.competitors))
        p = float(lower_tail(votes.versus, votes.n, high))
        most = int(maximum_count(votes.n, high, materials.alpha))
        shown.append(
            _share_shown(f"preferred {rival}", votes.versus, votes.n, 1 - 2 * materials.alpha, limit_high=100 * high)
        )
        reasons.append(
            f"{_votes_words(claim.prototype, rival, votes, materials.level)} Fewer than {percent(high)} prefer {rival} "
            f"if at most {most} do; {p_value(p)}."
        )
        worst, losing = max(worst, p), losing or votes.versus / votes.n >= high
        people.append(votes.n)
    if not people:
        return nothing_yet(VOTES, "No competitor is named.")
    return Evidence(
        VOTES,
        tuple(shown),
        worst,
        n=min(people),
        against=losing,
        suggestion=(
            f"not surpassed in preference by {listed([materials.prototype(name) for name in claim.competitors])}"
        ),
        reasons=(*reasons, "Every competitor must pass, so the largest p-value counts."),
        needs=lambda: (people_for_parity(margin, one_sided=True),),
        method="exact one-sided binomial test against each competitor; votes without a preference stay in the base",
    )


def _paradox(x: int, n: int, materials: Materials, margin: float = 0.05) -> list[str]:
    """Say so where the same count shows more than half and parity, which needs about a thousand votes."""
    fewest, most = (int(limit) for limit in parity_region(n, HALF - margin, HALF + margin, materials.alpha))
    better = int(minimum_count(n, HALF, materials.alpha))
    if not better <= x <= most or x < fewest:
        return []
    return [
        f"{x} of {n} shows both more than half and parity within ±{number(100 * margin)} points: the difference is "
        "real and too small to matter by that margin. Say which was the question before the data, and report both."
    ]


def _votes_words(prototype: str, versus: str, votes: Votes, level: float) -> str:
    low, high = wilson_interval(votes.prototype, votes.n, level)
    lost = f" {votes.unread} answers named neither and are not counted." if votes.unread else ""
    again = f" {votes.repeated} answers of people who answered again; only the last counts." if votes.repeated else ""
    return (
        f"{votes.prototype} of {votes.n} preferred {prototype} ({percent(votes.prototype / votes.n)}, "
        f"{100 * level:g} % interval {interval(100 * float(low), 100 * float(high))} %), {votes.versus} {versus}, "
        f"{votes.neither} had no preference.{lost}{again}"
    )


def _share_shown(
    what: str, x: int, n: int, level: float, limit_low: float = NAN, limit_high: float = NAN
) -> NumberShown:
    low, high = exact_interval(x, n, level)
    ends = (100 * float(low), 100 * float(high))
    return NumberShown(what, 100 * x / n, *ends, level, limit_low, limit_high, "%", "Clopper and Pearson")


def _no_votes(prototype: str, others: Sequence[str]) -> Evidence:
    named = listed([name for name in others if name]) or "another prototype"
    return nothing_yet(
        VOTES,
        f"There are no preference answers about {prototype} and {named}, and no attribute is named. Ask people who "
        "tried both, with 'no preference' offered; or name the attribute the panel judged.",
    )
