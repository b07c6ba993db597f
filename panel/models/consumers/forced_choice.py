"""Can people tell two samples apart, and if not, how sure is it that few can?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import repeat
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.consumers.answers import recorded_questions
from panel.models.consumers.choices import (
    METHOD_OF,
    TEST,
    by_person,
    read_choices,
    share_fact,
    tried_first_by_all,
    unread_notes,
)
from panel.models.prototypes.verdict import CANNOT_TELL, DIFFERS, SMALL
from panel.plan.sample_size import similar, told_apart
from panel.stats.answers.binomial import (
    chance_correct,
    exact_interval,
    lower_tail,
    maximum_count,
    minimum_count,
    power_above,
    power_below,
    power_different,
    power_parity,
    share_reached,
    upper_tail,
)
from panel.stats.answers.discrimination import (
    BetaBinomial,
    apartness_of_share,
    chance_right,
    d_prime_of,
    fit_beta_binomial,
    guessing,
    share_who_tell,
)
from panel.stats.comparing.multiplicity import below, deciding_alpha, holm
from panel.stats.comparing.power import same_share_p
from panel.study.study import Study

SIMILAR = "similar"
SEEN_WITH = 0.8
"""Chance with which the smallest share a test could see would have been seen."""

_Ends = Callable[[float, float], tuple[float, float]]
"""Gives the interval of the share of right answers for the tails that are to lie below and above it."""
_Told = tuple[float, float, _Ends]
"""Share of right answers, its standard error and its interval."""
_Limit = tuple[float, float, bool]
"""Share of people who may tell and the samples still count as similar, of right answers, whether set beforehand."""


@dataclass(frozen=True, eq=False, slots=True)
class ForcedChoices:
    """What tests with a forced choice say, question by question; frames tidy and unrounded.

    Parameters
    ----------
    tests
        One row for each question, pair and method: `question kind prototype versus method n_people n right share
        guess two_sided needed p_count p_value p_adjusted` (`needed`: fewest right answers that show a difference;
        `p_count`: exact, of the combined count; `p_value`: the one used, which allows for
        repeated answers to a paired comparison; `p_adjusted` by Holm over the rows), `limit limit_right
        limit_beforehand most p_similar` (share of people who may tell, as share of right answers, whether it was
        recorded, most right answers that show similarity, its p-value), `d_prime d_std_error d_low d_high`, `told
        told_low told_high told_level` (share of people who can tell), `right_low right_high` (intervals that decide:
        the lower end is above guessing where `p_adjusted` tells, the upper below the limit where `p_similar` does),
        `power power_similar seen
        seen_d_prime` (chance of this many answers to show a difference as large as the limit, and similarity if nobody
        can tell; smallest share and d-prime seen with a chance of 0.8), `ask_apart ask_similar` (people to ask for a
        chance of 0.8 of either), `always_first` (of a paired comparison: what everybody tried first, so that nothing
        can be told), `n_sessions p_same p_same_exact sessions_differ repeated few_shown
        verdict` (`few_shown`: fewer than the limit can tell, also where the limit decides nothing).
    sessions
        `question kind prototype versus session n right share p_value`.
    repeated
        `question kind prototype versus n_people n mu std_error ci_low ci_high rho rho_std_error p_no_spread`: tests in
        which somebody answered more than once.
    unread
        `question kind prototype versus assessor session answer why`.
    """

    tests: pd.DataFrame
    sessions: pd.DataFrame
    repeated: pd.DataFrame
    unread: pd.DataFrame
    level: float
    method: str
    notes: tuple[str, ...]


def judge_forced_choices(study: Study, *, level: float = 0.95, similar_below: float | None = None) -> ForcedChoices:
    """Judge every forced-choice test of a study: paired, triangle, duo-trio, 3-AFC, tetrad.

    Parameters
    ----------
    level
        Level of the intervals; 1 - level is that of the one-sided tests.
    similar_below
        Share of people who may be able to tell and the samples still count as similar, in place of the recorded one
        (`similar_below` or `d_prime_below` of the question in the fact `questions`).

    Raises
    ------
    ModelError
        If the study has no such answers, none can be read, or `similar_below` is no share.
    """
    _ask_share(similar_below)
    read, unread = read_choices(study, tuple(METHOD_OF))
    if read.empty:
        raise ModelError(
            "The study has no forced-choice answers that can be read. Add them to the table answers: kind triangle, "
            "duo_trio, three_afc or tetrad with answer 1 (right) or 0 (wrong), or kind paired with the prototype "
            "chosen; prototype and versus name the two samples."
        )
    told = []
    for key, rows in read.groupby(TEST, sort=False):
        names = dict(zip(TEST, map(str, key), strict=True))
        facts = recorded_questions(study, names["kind"]).get(names["question"], {})
        told.append(_one_test(names, rows, facts, similar_below, level))
    return _judged(told, unread, level)


def judge_count(
    kind: str, right: int, n: int, *, level: float = 0.95, similar_below: float | None = None, expected: bool = False
) -> ForcedChoices:
    """Judge a bare count: `right` of `n` people, each asked once.

    Parameters
    ----------
    kind
        `paired`, `triangle`, `duo_trio`, `three_afc` or `tetrad`.
    similar_below
        Share of people who may tell, taken as set beforehand.
    expected
        Whether it was said beforehand which sample would be chosen in a paired comparison (one-sided).

    Raises
    ------
    ModelError
        If the kind is not known, the counts do not fit together, or `similar_below` is no share.
    """
    if kind not in METHOD_OF:
        raise ModelError(f"The kind {kind!r} is not known. Choose one of: {', '.join(METHOD_OF)}.")
    if not (n >= 1 and 0 <= right <= n):
        raise ModelError(f"{right} right answers of {n} cannot be. Give whole numbers, right not more than answers.")
    _ask_share(similar_below)
    names = {"question": "count", "kind": kind, "prototype": "one sample", "versus": "the other"}
    chosen = [1.0] * right + [0.0] * (n - right)
    people = [str(number) for number in range(n)]
    rows = pd.DataFrame(names | {"chosen": chosen, "assessor": people, "session": "", "first": np.nan})
    facts: dict[str, Any] = {"expected": names["prototype"]} if expected else {}
    if similar_below is not None:
        facts["similar_below"] = similar_below
    return _judged([_one_test(names, rows, facts, None, level)], pd.DataFrame(), level)


def _ask_share(similar_below: float | None) -> None:
    if similar_below is not None and not 0 < similar_below < 1:
        raise ModelError(
            f"The share of people who may tell must lie between 0 and 1, such as 0.3; it is {similar_below:g}."
        )


def _judged(
    told: Sequence[tuple[dict[str, Any], _Told, pd.DataFrame, dict[str, Any] | None]],
    unread: pd.DataFrame,
    level: float,
) -> ForcedChoices:
    """Put the tests together, as one family."""
    own_tests, ends, sessions, of_repeated = zip(*told, strict=True)
    tests = pd.DataFrame(list(own_tests))
    bar = round(1 - level, 12)
    tests["p_adjusted"] = holm(tests["p_value"].to_numpy())
    step = deciding_alpha(tests["p_value"].to_numpy(), bar)
    tests = tests.join(pd.DataFrame([_apart(*each) for each in zip(own_tests, ends, step, repeat(bar), strict=False)]))
    tests["sessions_differ"] = below(tests["p_same"], 1 - level)
    tests["few_shown"] = (tests["p_similar"] <= bar) & (tests["always_first"] == "")
    ask = [_people_to_ask(row, bar) for row in tests.to_dict("records")]
    tests[["ask_apart", "ask_similar"]] = np.array(ask, dtype=float)
    repeated = [each for each in of_repeated if each is not None]
    unused = unread_notes(unread) if len(unread) else []
    return ForcedChoices(
        tests=tests.assign(verdict=_verdicts(tests, bar)),
        sessions=pd.concat(sessions, ignore_index=True),
        repeated=pd.DataFrame(repeated, columns=None if repeated else _REPEATED),
        unread=unread,
        level=level,
        method=_method(tests, level),
        notes=(*_notes(tests), *unused),
    )


_REPEATED = [*TEST, "n_people", "n", "mu", "std_error", "ci_low", "ci_high", "rho", "rho_std_error", "p_no_spread"]


def _verdicts(tests: pd.DataFrame, bar: float) -> np.ndarray:
    """Return what may be said; a limit that was not set beforehand decides nothing."""
    differs = ((tests["p_adjusted"] <= bar) & (tests["always_first"] == "")).to_numpy()
    few = (tests["limit_beforehand"] & tests["few_shown"]).to_numpy()
    return np.select([differs & few, differs, few], [SMALL, DIFFERS, SIMILAR], CANNOT_TELL)


def _people_to_ask(test: Mapping[Any, Any], bar: float) -> tuple[float, float]:
    """Return how many people show the difference, and how many similarity, with a chance of 0.8; NaN if nobody can."""
    if not np.isfinite(test["limit"]) or test["repeated"]:
        return np.nan, np.nan
    alpha = bar / 2 if test["two_sided"] else bar
    try:
        apart = told_apart(test["method"], test["limit"], alpha=alpha, power=SEEN_WITH)
        few = similar(test["method"], test["limit"], beta=bar, power=SEEN_WITH, two_sided=test["two_sided"])
        return apart, few
    except ModelError:
        return np.nan, np.nan


def _method(tests: pd.DataFrame, level: float) -> str:
    percent = f"{100 * (1 - level):g} %"
    parts = [
        "Exact binomial test of the right answers against guessing (1/3 in triangle, 3-AFC and tetrad tests, 1/2 in "
        f"duo-trio and paired ones), one-sided {percent}; a paired comparison without an expected direction is "
        "two-sided. Over several tests p-values are adjusted by Holm.",
        "Similarity: exact one-sided test that fewer right answers came than would if the share of people set "
        "beforehand could tell and the rest guessed.",
        "d-prime from the Thurstonian model of each method with equal variances; standard error by the delta method, "
        "interval from the exact one of the share of right answers (Clopper and Pearson), as for the share of people "
        "who can tell: its lower end decides whether they differ, its upper end whether they are similar.",
    ]
    if (tests["n_sessions"] > 1).any():
        parts.append("Counts are added up over sessions; whether they have the same share is tested given the totals.")
    if tests["repeated"].any():
        parts.append(
            "Where people answered more than once, intervals and similarity are from a beta-binomial model by maximum "
            "likelihood: its likelihood ratio is referred to Student's t with people less one degrees of freedom, "
            "spread between people to half a chi-square. Guessing is left out exactly where the test of a difference "
            "tells."
        )
    return " ".join(parts)


def _notes(tests: pd.DataFrame) -> Iterator[str]:
    if (tests["n_sessions"] > 1).any():
        yield (
            "Adding up sessions is right only if their number was fixed before the first answer. If a session was "
            "added because the result was not clear yet, the p-value is too small."
        )
    if (np.isfinite(tests["limit"]) & ~tests["limit_beforehand"]).any():
        yield (
            "The share of people who may tell was chosen when the answers were there. It shows what could be said and "
            "decides nothing; record it as similar_below of the question before the next test."
        )
    if (tests["always_first"] != "").any():
        yield (
            "A paired comparison that everybody tried in one order cannot be told from the order. Let one half of the "
            "people try the other one first."
        )
    repeated = tests["repeated"]
    if (repeated & (tests["method"] != "paired")).any():
        yield (
            "Some people answered more than once. If nobody can tell, each answer is a guess, so the exact test of a "
            "difference stands; how many people can tell rests on people, not on answers."
        )
    if (repeated & (tests["method"] == "paired")).any():
        yield (
            "Some people answered a paired comparison more than once. One person's answers go together, so the test "
            "and the intervals allow for a leaning of each person."
        )


def _one_test(
    names: Mapping[str, str], rows: pd.DataFrame, facts: Mapping[str, Any], similar_below: float | None, level: float
) -> tuple[dict[str, Any], _Told, pd.DataFrame, dict[str, Any] | None]:
    """Return what the answers of one question, pair and method say: test, interval, sessions, repeated answers.

    Parameters
    ----------
    names
        `question kind prototype versus`.
    rows
        The answers, as `panel.models.consumers.choices.read_choices` gives them.
    facts
        What was recorded about the question: `similar_below` or `d_prime_below`, `expected`.
    similar_below
        Share of people given now, in place of the recorded one.
    """
    method = METHOD_OF[names["kind"]]
    two_sided = method == "paired" and facts.get("expected") != names["prototype"]
    names = dict(names)
    if two_sided and rows["chosen"].mean() < 0.5:  # told from the side of the one chosen more often
        names |= {"prototype": names["versus"], "versus": names["prototype"]}
        rows = rows.assign(
            chosen=1 - rows["chosen"], first=1 - rows["first"], prototype=rows["versus"], versus=rows["prototype"]
        )
    people, limit, guess = by_person(rows), _limit(facts, method, similar_below), guessing(method)
    test: dict[str, Any] = names | {"method": method, "n_people": len(people), "two_sided": two_sided}
    test |= _counted(rows, guess, two_sided, 1 - level) | {
        "limit": limit[0] if limit else np.nan,
        "limit_right": limit[1] if limit else np.nan,
        "limit_beforehand": bool(limit and limit[2]),
        "repeated": len(people) < len(rows),
        "always_first": tried_first_by_all(rows) if method == "paired" else "",
    }
    test |= _sizes(test, 1 - level)
    sessions = _sessions(names, rows, guess)
    test |= _same_share(sessions)
    right, n, repeated = test["right"], test["n"], None
    told: _Told = (right / n, float(np.sqrt(right * (n - right) / n**3)), partial(_exact_ends, right, n))
    if test["repeated"]:
        repeated, fit = _repeated(names, people, level)
        ends: _Ends = fit.ends if fit else partial(_exact_ends, len(people) * bool(right), len(people))
        test |= _after_repeats(test, fit, limit, people)
        if method != "paired":
            ends = partial(_ends_by_guessing, told[2], ends, guess)
        told = (repeated["mu"], repeated["std_error"] if fit else 0.0, ends)
    else:
        test |= _similar(test, limit, 1 - level)
    return test, told, sessions, repeated


def _exact_ends(right: int, n: int, below: float, above: float) -> tuple[float, float]:
    return float(exact_interval(right, n, 1 - 2 * below)[0]), float(exact_interval(right, n, 1 - 2 * above)[1])


def _ends_by_guessing(exact: _Ends, of_people: _Ends, guess: float, below: float, above: float) -> tuple[float, float]:
    """Return the interval for answers that go together, which holds guessing exactly where the exact test keeps it.

    If nobody can tell, all answers are guesses, whoever gave them; only if somebody can do they go together.
    """
    low, high = of_people(below, above)
    if exact(below, above)[0] <= guess:
        return min(low, guess), high
    return max(low, float(np.nextafter(guess, 1))), high


def _counted(rows: pd.DataFrame, guess: float, two_sided: bool, alpha: float) -> dict[str, Any]:
    """Return the count, what is needed, and its exact test."""
    right, n = int(rows["chosen"].sum()), len(rows)
    p_count = float(upper_tail(right, n, guess)) * (2 if two_sided else 1)
    return {
        "n": n,
        "right": right,
        "share": right / n,
        "guess": guess,
        "needed": int(minimum_count(n, guess, alpha / 2 if two_sided else alpha)),
        "p_count": min(p_count, 1.0),
        "p_value": min(p_count, 1.0),
    }


def _limit(facts: Mapping[str, Any], method: str, similar_below: float | None) -> _Limit | None:
    """Return the limit given now, else the recorded one."""
    if similar_below is not None:
        return similar_below, float(chance_correct(similar_below, guessing(method))), False
    beforehand = not facts.get("late")
    if (share := share_fact(facts, "similar_below")) is not None:
        return share, float(chance_correct(share, guessing(method))), beforehand
    if (d_prime := share_fact(facts, "d_prime_below", 10.0)) is not None:
        right = float(chance_right(method, d_prime))
        return float(share_who_tell(method, right)), right, beforehand
    return None


def _sizes(test: Mapping[str, Any], alpha: float) -> dict[str, Any]:
    """Return what so many independent answers could have shown."""
    nothing = dict.fromkeys(["power", "seen", "seen_d_prime", "power_similar"], np.nan)
    if test["repeated"]:
        return nothing
    n, guess, limit = test["n"], test["guess"], test["limit_right"]
    seen = float(share_reached(test["needed"], n, SEEN_WITH))
    sizes = {"seen": float(share_who_tell(test["method"], seen)), "seen_d_prime": np.nan}
    if np.isfinite(seen):
        sizes["seen_d_prime"] = float(d_prime_of(test["method"], seen))
    if np.isfinite(limit):
        if test["two_sided"]:  # neither sample may be chosen too often
            sizes["power"] = float(power_different(n, guess, limit, alpha))
            sizes["power_similar"] = float(power_parity(n, 1 - limit, limit, guess, alpha))
        else:
            sizes["power"] = float(power_above(n, guess, limit, alpha))
            sizes["power_similar"] = float(power_below(n, limit, guess, alpha))
    return nothing | sizes


def _similar(test: Mapping[str, Any], limit: _Limit | None, alpha: float) -> dict[str, Any]:
    """Return the exact test that fewer than the limit can tell, and the most right answers that show it."""
    if limit is None:
        return {"p_similar": np.nan, "most": np.nan}
    p_similar = lower_tail(test["right"], test["n"], limit[1])  # told from the larger side: covers both directions
    return {"p_similar": float(p_similar), "most": float(maximum_count(test["n"], limit[1], alpha))}


def _sessions(names: Mapping[str, str], rows: pd.DataFrame, guess: float) -> pd.DataFrame:
    """Return one row for each session in the order they appear."""
    counted = rows.groupby("session", sort=False)["chosen"].agg(right="sum", n="size").reset_index()
    return pd.DataFrame(
        dict(names)
        | {
            "session": counted["session"],
            "n": counted["n"],
            "right": counted["right"].astype(int),
            "share": counted["right"] / counted["n"],
            "p_value": upper_tail(counted["right"], counted["n"], guess),
        }
    )


def _same_share(sessions: pd.DataFrame) -> dict[str, Any]:
    several = len(sessions) > 1
    p_value, exact = same_share_p(sessions["right"], sessions["n"]) if several else (np.nan, False)
    return {"n_sessions": len(sessions), "p_same": p_value, "p_same_exact": exact}


def _repeated(
    names: Mapping[str, str], people: pd.DataFrame, level: float
) -> tuple[dict[str, Any], BetaBinomial | None]:
    """Return what a chance of right answers that differs between people says, and its fit where there is one."""
    row: dict[str, Any] = dict(names) | {"n_people": len(people), "n": int(people["n"].sum())}
    try:
        fit = fit_beta_binomial(people["right"], people["n"], level)
    except ModelError:  # all alike: each person counts once, the most cautious reading
        all_right = float(people["right"].sum() > 0)
        low, high = exact_interval(all_right * len(people), len(people), level)
        nothing = dict.fromkeys(["std_error", "rho", "rho_std_error", "p_no_spread"], np.nan)
        ends = {"mu": all_right, "ci_low": float(low), "ci_high": float(high)}
        return row | ends | nothing, None
    row |= {"mu": fit.mu, "std_error": fit.std_error, "ci_low": fit.low, "ci_high": fit.high}
    row |= {"rho": fit.rho, "rho_std_error": fit.rho_std_error, "p_no_spread": fit.p_no_spread}
    return row, fit


def _after_repeats(
    test: Mapping[str, Any], fit: BetaBinomial | None, limit: _Limit | None, people: pd.DataFrame
) -> dict[str, Any]:
    """Return the tests that repeated answers of the same people change.

    Where every answer is a guess if nobody can tell, the pooled count keeps its exact test (Kunert and Meyners 1999,
    Food Qual. Prefer. 10:477). In a paired comparison people may lean to either side, so it does not.
    """
    if fit is None:
        k = len(people)
        right = k if test["right"] else 0
        p_above, p_below = float(upper_tail(right, k, 0.5)), 1.0 if right else 0.0
        p_similar = np.nan if limit is None else float(lower_tail(right, k, limit[1]))
    else:
        p_above, p_below = fit.p_above(0.5), fit.p_below(0.5)
        p_similar = np.nan if limit is None else fit.p_below(limit[1])
    changed: dict[str, Any] = {"p_similar": p_similar, "most": np.nan}
    if test["method"] == "paired":
        changed["p_value"] = min(2 * min(p_above, p_below), 1.0) if test["two_sided"] else p_above
    return changed


def _apart(test: Mapping[str, Any], told: _Told, step: float, bar: float) -> dict[str, Any]:
    """Return how far apart the samples are, with the interval that decides: `step` is what the p-value is held against.

    Its lower end decides on a difference. The upper end decides on similarity where a limit is set; else it leaves out
    as much as the lower one.
    """
    below = step / 2 if test["two_sided"] else step
    above = bar if np.isfinite(test["limit"]) else below
    low, high = told[2](below, above)
    found = apartness_of_share(test["method"], *told[:2], low, high)
    return {"told_level": 1 - below - above, "right_low": low, "right_high": high, **found}
