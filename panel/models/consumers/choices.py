"""Who chose what between two samples, or found the odd one? The answers of tests with a forced choice, as counts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.plan.codes import first_opening
from panel.stats.answers.binomial import (
    chance_correct,
    exact_interval,
    lower_tail,
    maximum_count,
    minimum_count,
    power_above,
    power_below,
    power_different,
    share_reached,
    upper_tail,
)
from panel.stats.answers.discrimination import (
    Apartness,
    BetaBinomial,
    apartness,
    apartness_of_share,
    chance_right,
    d_prime_of,
    fit_beta_binomial,
    guessing,
    share_who_tell,
)
from panel.stats.comparing.power import planned_looks_p, same_share_p
from panel.study.scores_used import named_rows
from panel.study.study import Study

METHOD_OF = MappingProxyType(
    {"triangle": "triangle", "duo_trio": "duo-trio", "three_afc": "3-AFC", "tetrad": "tetrad", "paired": "paired"}
)
"""Kind of answer to the method in the words of `panel.stats.answers.discrimination`."""

_NO_PREFERENCE = "no preference"
RIGHT, WRONG = "1", "0"
_BY_NAME = ("preference", "paired")
_BEFOREHAND = ("expected", "looks", "margin")
TEST = ["question", "kind", "prototype", "versus"]
_COLUMNS = [*TEST, "assessor", "session", "replicate", "chosen", "first"]
_UNREAD = [*TEST, "assessor", "session", "answer", "why"]


@dataclass(frozen=True, eq=False, slots=True)
class ChoicesRead:
    """The answers that could be read, one row each, and those that could not.

    Parameters
    ----------
    frame
        `question kind prototype versus assessor session replicate chosen first`. `chosen` is 1 where `prototype` was
        chosen, or where the answer was right; 0 where `versus` was, or it was wrong; NaN for no preference. `first` is
        1 where `prototype` was tried first, 0 where `versus` was, NaN where that is not known.
    unread
        `question kind prototype versus assessor session answer why`.
    """

    frame: pd.DataFrame
    unread: pd.DataFrame


def read_choices(study: Study, kinds: Sequence[str]) -> ChoicesRead:
    """Return the answers of these kinds.

    A pair is named one way, whichever of the two stands first in the row: what is expected to be chosen, if that is
    recorded, before the other; else the benchmark second; else in the order of the study.
    """
    rows = named_rows(study, "answers")
    rows = rows.loc[rows["kind"].isin(kinds)].reset_index(drop=True)
    texts = rows["answer"].astype("str").str.strip()
    by_name = rows["kind"].isin(_BY_NAME)
    first_named = np.where(by_name, texts == rows["prototype"], texts == RIGHT)
    second_named = np.where(by_name, texts == rows["versus"], texts == WRONG)
    undecided = ((rows["kind"] == "preference") & (texts.str.lower() == _NO_PREFERENCE)).to_numpy()
    why = np.select(
        [
            (rows["versus"] == "") | (rows["versus"] == rows["prototype"]),
            first_named | second_named | undecided,
            by_name,
        ],
        ["the other prototype is not named in the column versus", "", "names neither of the two prototypes"],
        "neither 1 (right) nor 0 (wrong)",
    )
    chosen = np.where(first_named, 1.0, np.where(second_named, 0.0, np.nan))
    first = rows["position"].map({1.0: 1.0, 2.0: 0.0}).to_numpy(dtype=float)
    turned = _turned(study, rows)
    named = rows.assign(
        prototype=np.where(turned, rows["versus"], rows["prototype"]),
        versus=np.where(turned, rows["prototype"], rows["versus"]),
        chosen=np.where(turned & by_name, 1 - chosen, chosen),
        first=np.where(turned, 1 - first, first),
        why=why,
    )
    blank = (texts == "").to_numpy()
    return ChoicesRead(
        frame=named.loc[why == "", _COLUMNS].reset_index(drop=True),
        unread=named.loc[(why != "") & ~blank, _UNREAD].reset_index(drop=True),
    )


def _turned(study: Study, rows: pd.DataFrame) -> np.ndarray:
    """Return where the two prototypes of a row change places."""
    order = {name: place for place, name in enumerate(study.prototypes)}
    for name in [*rows["prototype"], *rows["versus"]]:
        order.setdefault(str(name), len(order))
    expected = {
        (question, kind): str(question_facts(study, str(question), str(kind)).get("expected", ""))
        for question, kind in rows[["question", "kind"]].drop_duplicates().itertuples(index=False)
    }

    benchmark = study.benchmark

    def rank(row: tuple[str, str], name: str) -> tuple[bool, bool, int]:
        return name != expected[row], name == benchmark, order[name]

    each = zip(zip(rows["question"], rows["kind"], strict=True), rows["prototype"], rows["versus"], strict=True)
    return np.array([rank(row, one) > rank(row, other) for row, one, other in each], dtype=bool)


def question_facts(study: Study, question: str, kind: str) -> Mapping[str, Any]:
    """Return what the study records about a question in its fact `questions`; empty if nothing.

    What was recorded after the unblinding (`recorded_on` later than the first opening of the key) is marked `late`
    and loses what only counts beforehand: `expected`, `looks` and `margin`.
    """
    recorded = study.facts.get("questions")
    entries: Iterable[Any] = recorded if isinstance(recorded, list) else ()
    for entry in entries:
        if isinstance(entry, Mapping) and entry.get("question") == question and entry.get("kind", kind) == kind:
            unblinded = first_opening(study)
            late = bool(unblinded) and str(entry.get("recorded_on") or "") > unblinded
            kept = {name: value for name, value in entry.items() if not (late and name in _BEFOREHAND)}
            return kept | {"late": late}
    return {}


def share_fact(facts: Mapping[str, Any], name: str, most: float = 1.0) -> float | None:
    """Return a recorded share above 0 and below `most`; None if there is none or it is no such number."""
    value = facts.get(name)
    fits = isinstance(value, int | float) and not isinstance(value, bool) and 0 < value < most
    return float(value) if fits and value is not None else None


def by_person(rows: pd.DataFrame) -> pd.DataFrame:
    """Return `assessor right n`, one row each, of the answers with a choice."""
    decided = rows.loc[rows["chosen"].notna()]
    counted = decided.groupby("assessor", sort=False)["chosen"].agg(right="sum", n="size")
    return counted.reset_index()


def unread_notes(unread: pd.DataFrame) -> list[str]:
    """Return one note for each reason why answers could not be used."""
    return [
        f"{len(rows)} {'answer' if len(rows) == 1 else 'answers'} could not be used: {why}, such as "
        f"{rows['answer'].iloc[0]!r} of {rows['assessor'].iloc[0]}."
        for why, rows in unread.groupby("why", sort=False)
    ]


# One forced-choice test: what its count of right answers says, alone, over sessions and over repeated answers.


SEEN_WITH = 0.8
"""Chance with which the smallest share a test could see would have been seen."""


@dataclass(frozen=True, slots=True)
class Limit:
    """Share of people who may tell two samples apart that still counts as similar, and who set it when."""

    share: float
    right: float
    beforehand: bool


@dataclass(frozen=True, eq=False, slots=True)
class OneTest:
    """Rows for the tables of `panel.models.consumers.forced_choice.ForcedChoices`, and notes."""

    test: dict[str, Any]
    sessions: pd.DataFrame
    repeated: dict[str, Any] | None
    notes: list[str]


def one_test(
    names: Mapping[str, str], rows: pd.DataFrame, facts: Mapping[str, Any], similar_below: float | None, level: float
) -> OneTest:
    """Return what the answers of one question, pair and method say.

    Parameters
    ----------
    names
        `question kind prototype versus`.
    rows
        The answers, as `panel.models.consumers.choices.ChoicesRead.frame`.
    facts
        What was recorded about the question: `similar_below` or `d_prime_below`, `looks`, `expected`.
    similar_below
        Share of people given now, in place of the recorded one.
    """
    method = METHOD_OF[names["kind"]]
    two_sided = method == "paired" and facts.get("expected") != names["prototype"]
    names = dict(names)
    if two_sided and rows["chosen"].mean() < 0.5:  # told from the side of the one chosen more often
        names |= {"prototype": names["versus"], "versus": names["prototype"]}
        rows = rows.assign(chosen=1 - rows["chosen"])
    people, limit, guess = by_person(rows), _limit(facts, method, similar_below), guessing(method)
    test: dict[str, Any] = names | {"method": method, "n_people": len(people), "two_sided": two_sided}
    test |= _counted(rows, guess, two_sided, 1 - level) | {
        "limit": limit.share if limit else np.nan,
        "limit_right": limit.right if limit else np.nan,
        "limit_beforehand": bool(limit and limit.beforehand),
        "repeated": len(people) < len(rows),
    }
    test |= _sizes(test, 1 - level)
    sessions = _sessions(names, rows, guess)
    test |= _same_share(sessions)
    if test["repeated"]:
        repeated, found = _repeated(names, people, method, level)
        test |= _after_repeats(test, repeated["fit"], limit, people)
        del repeated["fit"]
    else:
        repeated, found = None, apartness(method, test["right"], test["n"], level)
        test |= _similar(test, limit, 1 - level)
    looks, notes = _looks(facts, sessions, test)
    test |= _apart(found) | looks
    return OneTest(test, sessions, repeated, notes)


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


def _limit(facts: Mapping[str, Any], method: str, similar_below: float | None) -> Limit | None:
    """Return the limit given now, else the recorded one."""
    if similar_below is not None:
        return Limit(similar_below, float(chance_correct(similar_below, guessing(method))), beforehand=False)
    beforehand = not facts.get("late")
    if (share := share_fact(facts, "similar_below")) is not None:
        return Limit(share, float(chance_correct(share, guessing(method))), beforehand)
    if (d_prime := share_fact(facts, "d_prime_below", 10.0)) is not None:
        right = float(chance_right(method, d_prime))
        return Limit(float(share_who_tell(method, right)), right, beforehand)
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
        how = power_different if test["two_sided"] else power_above
        sizes["power"] = float(how(n, guess, limit, alpha))
        sizes["power_similar"] = float(power_below(n, limit, guess, alpha))
    return nothing | sizes


def _similar(test: Mapping[str, Any], limit: Limit | None, alpha: float) -> dict[str, Any]:
    """Return the exact test that fewer than the limit can tell, and the most right answers that show it."""
    if limit is None:
        return {"p_similar": np.nan, "most": np.nan}
    p_similar = lower_tail(test["right"], test["n"], limit.right)  # told from the larger side: covers both directions
    return {"p_similar": float(p_similar), "most": float(maximum_count(test["n"], limit.right, alpha))}


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
    names: Mapping[str, str], people: pd.DataFrame, method: str, level: float
) -> tuple[dict[str, Any], Apartness]:
    """Return the fit with a chance of right answers that differs between people, and what it says in d-prime."""
    row: dict[str, Any] = dict(names) | {"n_people": len(people), "n": int(people["n"].sum())}
    try:
        fit = fit_beta_binomial(people["right"], people["n"], level)
    except ModelError:  # all alike: each person counts once, the most cautious reading
        all_right = float(people["right"].sum() > 0)
        low, high = exact_interval(all_right * len(people), len(people), level)
        found = apartness_of_share(method, all_right, 0.0, float(low), float(high))
        nothing = dict.fromkeys(["std_error", "rho", "rho_std_error", "p_no_spread"], np.nan)
        ends = {"mu": all_right, "ci_low": float(low), "ci_high": float(high)}
        return row | ends | nothing | {"fit": None}, found
    found = apartness_of_share(method, fit.mu, fit.std_error, fit.low, fit.high)
    row |= {"mu": fit.mu, "std_error": fit.std_error, "ci_low": fit.low, "ci_high": fit.high}
    row |= {"rho": fit.rho, "rho_std_error": fit.rho_std_error, "p_no_spread": fit.p_no_spread}
    return row | {"fit": fit}, found


def _after_repeats(
    test: Mapping[str, Any], fit: BetaBinomial | None, limit: Limit | None, people: pd.DataFrame
) -> dict[str, Any]:
    """Return the tests that repeated answers of the same people change.

    Where every answer is a guess if nobody can tell, the pooled count keeps its exact test (Kunert and Meyners 1999,
    Food Qual. Prefer. 10:477). In a paired comparison people may lean to either side, so it does not.
    """
    if fit is None:
        k = len(people)
        right = k if test["right"] else 0
        p_above, p_below = float(upper_tail(right, k, 0.5)), 1.0 if right else 0.0
        p_similar = np.nan if limit is None else float(lower_tail(right, k, limit.right))
    else:
        p_above, p_below = fit.p_above(0.5), fit.p_below(0.5)
        p_similar = np.nan if limit is None else fit.p_below(limit.right)
    changed: dict[str, Any] = {"p_similar": p_similar, "most": np.nan}
    if test["method"] == "paired":
        changed["p_value"] = min(2 * min(p_above, p_below), 1.0) if test["two_sided"] else p_above
    return changed


def _looks(
    facts: Mapping[str, Any], sessions: pd.DataFrame, test: Mapping[str, Any]
) -> tuple[dict[str, Any], list[str]]:
    """Return the p-value that allows for looks planned beforehand, where the sessions fit the plan."""
    nothing = {"look": 0, "looks_alarm": np.nan}
    plan = facts.get("looks")
    if not plan:
        return nothing, []
    try:
        numbers, needed = [int(look["answers"]) for look in plan], [int(look["right"]) for look in plan]
        so_far = sessions[["n", "right"]].cumsum()
        at = {int(n): int(right) for n, right in so_far.itertuples(index=False)}
        ended = numbers.index(test["n"])
        reached = [place for place in range(ended) if at[numbers[place]] >= needed[place]]
        if reached or test["two_sided"] or test["repeated"]:
            raise ValueError
        p_value, alarm = planned_looks_p(numbers, needed, test["guess"], ended, test["right"])
    except (KeyError, TypeError, ValueError, ModelError):
        return nothing, [
            f"{test['question']}: the answers do not follow the looks that were planned (one session for each, once "
            "per person, stopped as soon as enough were right). The p-value takes the count as if its size had been "
            "fixed beforehand."
        ]
    return {"look": ended + 1, "looks_alarm": alarm, "p_value": p_value}, []


def _apart(found: Apartness) -> dict[str, Any]:
    return {
        "right_low": found.right_low,
        "right_high": found.right_high,
        "d_prime": found.d_prime,
        "d_std_error": found.std_error,
        "d_low": found.d_low,
        "d_high": found.d_high,
        "told": found.share,
        "told_low": found.share_low,
        "told_high": found.share_high,
    }
