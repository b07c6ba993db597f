"""What do the data say about one claim, whatever its kind: the record that every kind of evidence fills."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import pandas as pd
from scipy.special import ndtr

from panel.checks.confounds import GROUP, POSITION, SESSION, Labels, confounds_of, labels
from panel.claims.claim import ANSWERS, BY_VOTES, VOTES, Claim, Evidence, NumberShown, Weaker, floor, kinds, nothing_yet
from panel.claims.materials import Counted, Materials, people_for_parity, people_for_share
from panel.claims.names import public_name
from panel.models.consumers.agreement import MOST_STRANGE
from panel.models.consumers.answers import KIND_WORDS
from panel.stats.answers.binomial import (
    exact_interval,
    lower_tail,
    maximum_count,
    minimum_count,
    upper_tail,
    wilson_interval,
)
from panel.stats.answers.paired_answers import lead_score
from panel.stats.comparing.multiplicity import ALPHA, LEVEL
from panel.study.scores_used import (
    agreement_read,
    asked,
    how_said,
    named_rows,
    not_understood,
    question_words,
    steps_words,
)
from panel.study.study import Study
from panel.words import (
    DOWN,
    UP,
    counted,
    counted_share,
    cut_share,
    first_few,
    format_list,
    format_shares,
    format_typed,
    level_words,
    p_words,
    typed_share,
)

# What no claim may fall below, whatever its own bar: settings of convention that a study can only make stricter.


def _bar_of_people(claim: Claim, usual: float) -> float:
    """Return the bar a claim states for a share of people in per cent, else the usual one of its kind."""
    return usual if math.isnan(claim.bar) else claim.bar


def _refused_bar(study: Study, bar: float) -> Iterator[str]:
    """Say where a bar for a share of people lies below the least one."""
    lowest = floor(study, "least_bar")
    if bar < lowest:
        least = format_typed(lowest)
        yield (
            f"The bar of {format_typed(bar)} % lies below the least one ({least} %): what fewer agree with is not what "
            f"users say. Fix a bar of {least} % or more before the data."
        )


def _refused_base(study: Study, told: Counted) -> Iterator[str]:
    """Say where too few people answered, or too few of those who were given the sample."""
    least = floor(study, "least_base")
    if told.base < least:
        yield (
            f"{counted(told.base, 'person', 'people')} answered; a claim needs {format_typed(least)} or more. "
            "Ask more people."
        )
    share = told.base / told.served if told.served else 1.0
    least = floor(study, "least_returned")
    if 100 * share < least:
        yield (
            f"{counted_share(told.base, told.served, DOWN)} who were given it answered; a claim needs "
            f"{format_typed(least)} % or more. Ask those who did not answer, or repeat the test."
        )


def _worst_case(told: Counted) -> str:
    """Return what is left if all who did not answer had disagreed; empty where everybody answered."""
    if told.served <= told.base:
        return ""
    return (
        f"If those who did not answer had all disagreed, {counted_share(told.agreed, told.served, DOWN)} would agree."
    )


# How many consumers agreed? Count, base, intervals, and the exact test against a bar set beforehand.


_MAJORITY = 0.5
_FOIL = "The sentence is a foil: it is untrue for the product, and was asked to see who says yes to anything."


def agreement(claim: Claim, materials: Materials) -> Evidence:
    """Return the share who agreed or agreed strongly; who does not know stays in the base."""
    told = materials.agreed(claim.prototype, claim.question)
    if not told.base:
        return nothing_yet(ANSWERS, _no_agreement(claim, materials))
    if told.unread > MOST_STRANGE * told.base:
        return nothing_yet(ANSWERS, _not_understood(claim, materials, told))
    stated = _bar_of_people(claim, float(kinds()["agreement"]["default_bar"]))
    bar, x, n = max(stated, floor(materials.study, "least_bar")) / 100, told.agreed, told.base
    foil = any(row.get("foil") and row.get("question") == claim.question for row in asked(materials.study))
    p = float(upper_tail(x, n, bar))
    share = x / n
    suggestion = f"{cut_share(share)} agreed: “{question_words(materials.study, claim.question)}” ({x} of {n})"
    return Evidence(
        ANSWERS,
        _intervals(x, n, bar, materials),
        p,
        float(x),
        n=n,
        against=share <= bar or foil,
        weaker=Weaker(
            1.0 if foil else float(upper_tail(x, n, _MAJORITY)),
            suggestion,
            "That more than half agreed is shown; the share itself is given as it was counted.",
            rescues=False,
        ),
        suggestion=suggestion,
        reasons=(
            f"{counted_share(x, n, DOWN)} {how_said(materials.study, claim.question)} ({_both_intervals(x, n)}).",
            _needed_words(n, bar, p),
            *([_FOIL] if foil else []),
            *_on_the_ends(materials, claim),
            *_on_the_base(told),
            *_on_foils(materials, claim),
        ),
        needs=lambda: (people_for_share(share, bar),),
        refused=(*_refused_bar(materials.study, stated), *_refused_base(materials.study, told)),
        observed_share=share,
        method="exact one-sided binomial test of the share who agreed against a bar",
    )


def _no_agreement(claim: Claim, materials: Materials) -> str:
    """Say that nobody answered, or that what was answered to a question is no agreement: just about right, liked."""
    answers = named_rows(materials.study, "answers")
    own = answers.loc[(answers["question"] == claim.question) & (answers["answer"].str.strip() != "")]
    own = own.loc[(own["kind"] != "agreement") & own["prototype"].eq(claim.prototype)]
    if own.empty:
        return f"Nobody answered {claim.question!r} for {claim.prototype}."
    kinds = format_list([KIND_WORDS.get(str(kind), str(kind)) for kind in own["kind"].unique()])
    return (
        f"{counted(own['assessor'].nunique(), 'person', 'people')} answered {claim.question!r} for {claim.prototype}, "
        f"and it is a question of another kind ({kinds}): its answers are not counted as agreement. "
        "Ask people whether they agree with the sentence."
    )


def _not_understood(claim: Claim, materials: Materials, told: Counted) -> str:
    """Say that most answers to a question were not understood, so that nobody knows how many agreed."""
    lost = not_understood(materials.study)
    own = lost.loc[(lost["question"] == claim.question) & (lost["prototype"] == claim.prototype), "answer"]
    such = first_few([repr(text) for text in own.unique()])
    return (
        f"{told.unread} of {counted(told.base, 'answer')} to {claim.question!r} were not understood: {such}. Say what "
        "they mean: the number of the step before the words in the file, such as 4 - agree, and bring it in again."
    )


def _needed_words(n: int, bar: float, p: float) -> str:
    needed = int(minimum_count(n, bar, ALPHA))
    if needed > n:
        return f"With {n} answers not even all of them would show more than {typed_share(bar)}."
    return f"To show more than {typed_share(bar)}, {needed} of {n} would do; {p_words(p)} (exact, one-sided)."


def _intervals(x: int, n: int, bar: float, materials: Materials) -> tuple[NumberShown, ...]:
    """Return the intervals of the share: Wilson's, the exact one, and the one-sided one that goes with the test."""
    share = x / n
    one_sided = float(exact_interval(x, n, 1 - 2 * ALPHA)[0])
    return (
        _shown("agreed", share, *wilson_interval(x, n, LEVEL), 100 * bar, "Wilson"),
        _shown("agreed", share, *exact_interval(x, n, LEVEL), 100 * bar, "Clopper and Pearson"),
        _shown("agreed", share, one_sided, math.inf, 100 * bar, "one-sided, Clopper and Pearson"),
    )


def _both_intervals(x: int, n: int) -> str:
    ways = (wilson_interval(x, n, LEVEL), exact_interval(x, n, LEVEL))
    wilson, exact = (format_shares(float(low), float(high), 1) for low, high in ways)
    return f"{level_words(LEVEL)} {wilson} by Wilson, {exact} exact"


def _on_the_ends(materials: Materials, claim: Claim) -> Iterator[str]:
    """Say what was read as full agreement where that is not plain: 1, or 5 without a word about it."""
    for at, turned, by, names in agreement_read(materials.study):
        if claim.question in names and (turned or not by):
            yield f"{at} was read as full agreement" + (f", {by}." if by else "; nothing says so.")
    if steps := steps_words(materials.study, claim.question):
        yield f"Counted as agreeing are the answers {steps}."


def _on_the_base(told: Counted) -> Iterator[str]:
    if told.dont_know:
        yield f"{counted(told.dont_know, 'person', 'people')} did not know; they stay in the base."
    if told.unread:
        yield f"{counted(told.unread, 'answer')} could not be read; they stay in the base as not agreeing."
    if told.repeated:
        yield f"{counted(told.repeated, 'answer')} of people who answered again; only the last one counts."
    if told.served > told.base:
        lost = told.served - told.base
        yield f"{told.served} people were given it and {lost} of them did not answer: the base is those who answered."
        yield _worst_case(told)


def _on_foils(materials: Materials, claim: Claim) -> Iterator[str]:
    """Say how many agreed with a sentence that is untrue for the product."""
    for row in asked(materials.study):
        if not row.get("foil"):
            continue
        told = materials.agreed(claim.prototype, str(row.get("question", "")))
        if told.base:
            yield (
                f"{counted_share(told.agreed, told.base, UP)} agreed with a sentence that is untrue for the product: "
                "so many say yes to anything."
            )


def _shown(what: str, share: float, low: Any, high: Any, bar: float, method: str) -> NumberShown:
    return NumberShown(what, 100 * share, 100 * float(low), 100 * float(high), LEVEL, bar, math.nan, "%", method)


# Which of two prototypes do people prefer, or does neither win? Exact counts; who has no preference stays in.
#
# A vote without a preference counts in the base and for neither side. Superiority asks for more than half of all
# votes. 'Unsurpassed' asks that fewer than half and the margin prefer the other, parity that this holds either way;
# without such votes these are the usual limits of 45 and 55 % (ASTM E1958 as summarised; its own text on such votes
# not seen). There 45 and 55 % are a lead of 10 points: with such votes the lead is held against that, too, as 46 votes
# to none are no parity whoever else has no preference.


_HALF = 0.5
_NO_PREFERENCE = frozenset(("no preference", "none", "both alike", "neither", "no difference"))


@dataclass(frozen=True, slots=True)
class _Votes:
    """Votes for a prototype, for the other one and for neither, of people who tried both; `n` of them in all."""

    prototype: int
    versus: int
    neither: int
    unread: int
    repeated: int

    @property
    def both(self) -> tuple[int, int]:
        """The votes for either."""
        return self.prototype, self.versus

    @property
    def n(self) -> int:
        """All votes, without a preference or not."""
        return self.prototype + self.versus + self.neither


def _votes(study: Study, prototype: str, versus: str, question: str) -> pd.DataFrame:
    """Return the preference answers about two prototypes, in either order."""
    answers = named_rows(study, "answers")
    pairs = answers["prototype"] + "\n" + answers["versus"]
    return answers.loc[
        (answers["kind"] == "preference")
        & pairs.isin([f"{prototype}\n{versus}", f"{versus}\n{prototype}"])
        & (answers["answer"].str.strip() != "")
        & ((answers["question"] == question) | (question == ""))
    ]


def _count_votes(study: Study, prototype: str, versus: str, question: str = "") -> _Votes:
    """Count the preference answers about two prototypes; each person once, the last answer counts."""
    own = _votes(study, prototype, versus, question)
    last = own.drop_duplicates("assessor", keep="last")["answer"].str.strip()
    neither = int(last.str.casefold().isin(_NO_PREFERENCE).sum())
    first, second = int((last == prototype).sum()), int((last == versus).sum())
    return _Votes(first, second, neither, len(last) - first - second - neither, len(own) - len(last))


def _votes_missing(claim: Claim, materials: Materials, votes: _Votes, *others: str, rival: str = "") -> list[str]:
    """Return what votes lack: there are none, or the two were tried in different sessions, or always in one order."""
    rival = rival or claim.versus
    if not votes.n or not rival:
        named = format_list([name for name in others if name] or ["another prototype"])
        return [
            f"There are no preference answers about {claim.prototype} and {named}, and no attribute is named. Ask "
            "people who tried both, with 'no preference' offered; or name the attribute the panel judged."
        ]
    rows = _votes(materials.study, claim.prototype, rival, claim.question)
    untold = [
        found.untold("", claim.prototype, rival).to_dict("records")
        for found in map(confounds_of, _how_tried(materials.study, rows, (claim.prototype, rival)))
    ]
    return [f"{row['because']}. {row['advice']}" for rows in untold for row in rows]


def _how_tried(study: Study, votes: pd.DataFrame, pair: tuple[str, str]) -> Iterator[dict[str, Labels]]:
    """Yield in which sessions the voters tried two prototypes, then at which place of the order, as far as recorded.

    The sessions are those of the votes where both were served in them, else all in which these people were served.
    """
    servings = study.table("servings")
    servings = servings.loc[servings["assessor"].isin(votes["assessor"]) & servings["prototype"].isin(pair)]
    at_the_vote = servings.loc[servings["session"].isin(votes["session"])]
    tried = at_the_vote if at_the_vote["prototype"].nunique() == len(pair) else servings
    groups = study.table("assessors").drop_duplicates("assessor").set_index("assessor")["group"]
    group = tried["assessor"].map(groups).astype("object").fillna("").astype("str")
    if tried["prototype"].nunique() == len(pair):
        yield {"prototype": labels(tried["prototype"]), SESSION: labels(tried["session"]), GROUP: labels(group)}
    placed = votes.loc[votes["position"].isin([1, 2])]
    if len(placed):
        names = pd.concat([placed["prototype"], placed["versus"]], ignore_index=True)
        places = pd.concat([placed["position"], 3 - placed["position"]], ignore_index=True).map("{:g}".format)
        yield {"prototype": labels(names), POSITION: labels(places)}


def _preference(claim: Claim, materials: Materials) -> Evidence:
    """Return the share of all votes for the prototype, tested against the bar (half, unless stated)."""
    votes = _count_votes(materials.study, claim.prototype, claim.versus, claim.question)
    if missing := _votes_missing(claim, materials, votes, claim.versus):
        return nothing_yet(VOTES, *missing)
    stated = claim.bar if not math.isnan(claim.bar) else float(kinds()["preference"]["default_bar"])
    bar, x, n = stated / 100, votes.prototype, votes.n
    share, p, needed = x / n, float(upper_tail(x, n, bar)), int(minimum_count(n, bar, ALPHA))
    decided = x + votes.versus
    among = float(upper_tail(x, decided, _HALF)) if decided else 1.0
    weaker = None
    if votes.neither and bar <= _HALF:
        weaker = Weaker(
            among,
            f"preferred by {x} of the {decided} people who had a preference; {votes.neither} of {n} had none",
            f"Among those who had a preference, {x} of {decided} chose {claim.prototype} ({p_words(among)}).",
        )
    return Evidence(
        VOTES,
        (_share_shown(f"preferred {claim.prototype}", x, n, LEVEL, 100 * bar),),
        p,
        float(x),
        n=n,
        against=share <= bar,
        weaker=weaker,
        suggestion=(
            f"preferred to {public_name(materials.study, materials.names, claim.versus)} by {x} of {n} people "
            f"({cut_share(share)})"
        ),
        refused=tuple(_refused_bar(materials.study, stated)),
        reasons=(
            _votes_words(claim.prototype, claim.versus, votes),
            f"To show more than {typed_share(bar)} of all, {needed} of {n} are needed; {p_words(p)} (exact, "
            "one-sided).",
            *_paradox(votes),
        ),
        needs=lambda: (people_for_share(share, _HALF, preferred=True),),
        observed_share=share,
        other_votes=(votes.versus, votes.neither),
        method="exact one-sided binomial test; votes without a preference stay in the base",
    )


def _vote_parity(claim: Claim, materials: Materials) -> Evidence:
    """Return whether neither is preferred by more than half and the margin, by two exact one-sided tests."""
    votes = _count_votes(materials.study, claim.prototype, claim.versus, claim.question)
    if missing := _votes_missing(claim, materials, votes, claim.versus):
        return nothing_yet(VOTES, *missing)
    margin, n = claim.margin / 100, votes.n
    high = _HALF + margin
    p = max(_not_ahead(one, other, n, margin) for one, other in (votes.both, votes.both[::-1]))
    most = int(maximum_count(n, high, ALPHA))
    region = f"With {n} votes parity is shown where at most {most} prefer either one."
    if n > 2 * most:
        region = f"{region[:-1]}, so that at least {n - 2 * most} have no preference."
    region += _lead_words(votes, margin)
    return Evidence(
        VOTES,
        tuple(
            _share_shown(f"preferred {name}", count, n, 1 - 2 * ALPHA, limit_high=100 * high)
            for name, count in ((claim.prototype, votes.prototype), (claim.versus, votes.versus))
        ),
        p,
        float(votes.prototype),
        n=n,
        against=abs(votes.prototype - votes.versus) >= 2 * margin * n,
        suggestion=(f"liked as much as {public_name(materials.study, materials.names, claim.versus)}"),
        reasons=(
            _votes_words(claim.prototype, claim.versus, votes),
            f"{region} Two one-sided tests, {p_words(p)}.",
            *_paradox(votes, margin),
        ),
        needs=lambda: (people_for_parity(margin),),
        method=f"either way: {_LEAD_METHOD}",
    )


def _vote_unsurpassed(claim: Claim, materials: Materials) -> Evidence:
    """Return whether, against every competitor, fewer than half and the margin prefer the competitor."""
    margin = claim.margin / 100
    high = _HALF + margin
    shown: list[NumberShown] = []
    reasons: list[str] = []
    people: list[int] = []
    worst, losing = -1.0, False
    for rival in claim.competitors:
        votes = _count_votes(materials.study, claim.prototype, rival, claim.question)
        if missing := _votes_missing(claim, materials, votes, *claim.competitors, rival=rival):
            return nothing_yet(VOTES, *missing)
        p = _not_ahead(votes.versus, votes.prototype, votes.n, margin)
        most = int(maximum_count(votes.n, high, ALPHA))
        shown.append(_share_shown(f"preferred {rival}", votes.versus, votes.n, 1 - 2 * ALPHA, limit_high=100 * high))
        reasons.append(
            f"{_votes_words(claim.prototype, rival, votes)} Fewer than {typed_share(high)} prefer {rival} "
            f"if at most {most} do;{_lead_words(votes, margin)} {p_words(p)}."
        )
        worst, losing = max(worst, p), losing or votes.versus - votes.prototype >= 2 * margin * votes.n
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
            f"not surpassed in preference by {format_list([materials.prototype(name) for name in claim.competitors])}"
        ),
        reasons=(*reasons, "Every competitor must pass, so the largest p-value counts."),
        needs=lambda: (people_for_parity(margin, one_sided=True),),
        method=f"{_LEAD_METHOD}, against each competitor",
    )


_LEAD_METHOD = (
    "one-sided binomial test (exact), and score test of the lead where some have no preference (Tango 1998), who stay "
    "in the base"
)


def _not_ahead(ahead: int, behind: int, n: int, margin: float) -> float:
    """Return the p-value that one is preferred by half and the margin, or leads by twice the margin."""
    by_count, score = float(lower_tail(ahead, n, _HALF + margin)), lead_score(ahead, behind, n, 2 * margin)
    return max(by_count, float(ndtr(score))) if ahead + behind < n else by_count


def _lead_words(votes: _Votes, margin: float) -> str:
    """Say what votes without a preference ask besides, with a space before it."""
    if not votes.neither:
        return ""
    lead = f"{100 * abs(votes.prototype - votes.versus) / votes.n:.1f}"
    return (
        f" As some have no preference, the lead of the one over the other ({lead} points) must also be shown to lie "
        f"below {format_typed(round(200 * margin, 9))} points."
    )


def _paradox(votes: _Votes, margin: float = 0.05) -> list[str]:
    """Say so where the same count shows more than half and parity, which needs about a thousand votes."""
    x, n = votes.prototype, votes.n
    better = int(minimum_count(n, _HALF, ALPHA))
    if x < better or _not_ahead(x, votes.versus, n, margin) > ALPHA:
        return []
    points = format_typed(round(100 * margin, 9))
    return [
        f"{x} of {n} shows both more than half and parity within ±{points} points: the difference is real and too "
        "small to matter by that margin. Say which was the question before the data, and report both."
    ]


def _votes_words(prototype: str, versus: str, votes: _Votes) -> str:
    low, high = wilson_interval(votes.prototype, votes.n, LEVEL)
    lost = f" {votes.unread} answers named neither and are not counted." if votes.unread else ""
    again = f" {votes.repeated} answers of people who answered again; only the last counts." if votes.repeated else ""
    return (
        f"{counted_share(votes.prototype, votes.n, DOWN)} preferred {prototype} ({level_words(LEVEL)} "
        f"{format_shares(float(low), float(high), 1)}), {votes.versus} {versus}, "
        f"{votes.neither} had no preference.{lost}{again}"
    )


def _share_shown(
    what: str, x: int, n: int, level: float, limit_low: float = math.nan, limit_high: float = math.nan
) -> NumberShown:
    low, high = exact_interval(x, n, level)
    ends = (100 * float(low), 100 * float(high))
    return NumberShown(what, 100 * x / n, *ends, level, limit_low, limit_high, "%", "Clopper and Pearson")


RULES: Mapping[str, Callable[[Claim, Materials], Evidence]] = MappingProxyType(
    {
        "agreement": agreement,
        "preference": _preference,
        f"superiority {BY_VOTES}": _preference,
        f"parity {BY_VOTES}": _vote_parity,
        f"unsurpassed {BY_VOTES}": _vote_unsurpassed,
    }
)
"""What the data say about each kind of claim that rests on answers."""
