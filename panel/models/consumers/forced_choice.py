"""Can people tell two samples apart, and if not, how sure is it that few can?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.consumers.choices import (
    METHOD_OF,
    SEEN_WITH,
    TEST,
    OneTest,
    one_test,
    question_facts,
    read_choices,
    unread_notes,
)
from panel.plan.consumer_numbers import similar, told_apart
from panel.stats.comparing.multiplicity import below, holm
from panel.study.study import Study

DIFFERS, SMALL, SIMILAR, CANNOT_TELL = "differs", "differs but small", "similar", "cannot tell"


@dataclass(frozen=True, eq=False, slots=True)
class ForcedChoices:
    """What tests with a forced choice say, question by question; frames tidy and unrounded.

    Parameters
    ----------
    tests
        One row for each question, pair and method: `question kind prototype versus method n_people n right share
        guess two_sided needed p_count p_value p_adjusted` (`needed`: fewest right answers that show a difference;
        `p_count`: exact, of the combined count; `p_value`: the one used, which allows for planned looks and for
        repeated answers to a paired comparison; `p_adjusted` by Holm over the rows), `limit limit_right
        limit_beforehand most p_similar` (share of people who may tell, as share of right answers, whether it was
        recorded, most right answers that show similarity, its p-value), `d_prime d_std_error d_low d_high`, `told
        told_low told_high` (share of people who can tell), `right_low right_high`, `power power_similar seen
        seen_d_prime` (chance of this many answers to show a difference as large as the limit, and similarity if nobody
        can tell; smallest share and d-prime seen with a chance of 0.8), `ask_apart ask_similar` (people to ask for a
        chance of 0.8 of either), `n_sessions p_same p_same_exact sessions_differ look looks_alarm repeated few_shown
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
    read = read_choices(study, tuple(METHOD_OF))
    if read.frame.empty:
        raise ModelError(
            "The study has no forced-choice answers that can be read. Add them to the table answers: kind triangle, "
            "duo_trio, three_afc or tetrad with answer 1 (right) or 0 (wrong), or kind paired with the prototype "
            "chosen; prototype and versus name the two samples."
        )
    told: list[OneTest] = []
    for key, rows in read.frame.groupby(TEST, sort=False):
        names = dict(zip(TEST, map(str, key), strict=True))
        facts = question_facts(study, names["question"], names["kind"])
        told.append(one_test(names, rows, facts, similar_below, level))
    return _judged(told, read.unread, level)


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
    rows = pd.DataFrame({"chosen": chosen, "assessor": [str(number) for number in range(n)], "session": ""})
    facts: dict[str, Any] = {"expected": names["prototype"]} if expected else {}
    if similar_below is not None:
        facts["similar_below"] = similar_below
    return _judged([one_test(names, rows, facts, None, level)], pd.DataFrame(), level)


def _ask_share(similar_below: float | None) -> None:
    if similar_below is not None and not 0 < similar_below < 1:
        raise ModelError(
            f"The share of people who may tell must lie between 0 and 1, such as 0.3; it is {similar_below:g}."
        )


def _judged(told: list[OneTest], unread: pd.DataFrame, level: float) -> ForcedChoices:
    """Put the tests together, as one family."""
    tests = pd.DataFrame([each.test for each in told])
    bar = round(1 - level, 12)
    tests["p_adjusted"] = holm(tests["p_value"].to_numpy())
    tests["sessions_differ"] = below(tests["p_same"], 1 - level)
    tests["few_shown"] = tests["p_similar"] <= bar
    ask = [_people_to_ask(row, bar) for row in tests.to_dict("records")]
    tests[["ask_apart", "ask_similar"]] = np.array(ask, dtype=float)
    repeated = [each.repeated for each in told if each.repeated is not None]
    unused = unread_notes(unread) if len(unread) else []
    return ForcedChoices(
        tests=tests.assign(verdict=_verdicts(tests, bar)),
        sessions=pd.concat([each.sessions for each in told], ignore_index=True),
        repeated=pd.DataFrame(repeated, columns=None if repeated else _REPEATED),
        unread=unread,
        level=level,
        method=_method(tests, level),
        notes=(*_notes(tests), *(note for each in told for note in each.notes), *unused),
    )


_REPEATED = [*TEST, "n_people", "n", "mu", "std_error", "ci_low", "ci_high", "rho", "rho_std_error", "p_no_spread"]


def _verdicts(tests: pd.DataFrame, bar: float) -> np.ndarray:
    """Return what may be said; a limit that was not set beforehand decides nothing."""
    differs = (tests["p_adjusted"] <= bar).to_numpy()
    few = (tests["limit_beforehand"] & tests["few_shown"]).to_numpy()
    return np.select([differs & few, differs, few], [SMALL, DIFFERS, SIMILAR], CANNOT_TELL)


def _people_to_ask(test: Mapping[Any, Any], bar: float) -> tuple[float, float]:
    """Return how many people show the difference, and how many similarity, with a chance of 0.8; NaN if nobody can."""
    if not np.isfinite(test["limit"]) or test["repeated"]:
        return np.nan, np.nan
    alpha = bar / 2 if test["two_sided"] else bar
    try:
        apart = told_apart(test["method"], test["limit"], alpha=alpha, power=SEEN_WITH)
        return apart.always, similar(test["method"], test["limit"], beta=bar, power=SEEN_WITH).always
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
        f"{100 * level:g} % interval from the exact interval of the share of right answers (Clopper and Pearson), as "
        "for the share of people who can tell.",
    ]
    if (tests["n_sessions"] > 1).any():
        parts.append("Counts are added up over sessions; whether they have the same share is tested given the totals.")
    if tests["repeated"].any():
        parts.append(
            "Where people answered more than once, intervals and similarity are from a beta-binomial model by maximum "
            "likelihood: its likelihood ratio is referred to Student's t with people less one degrees of freedom, "
            "spread between people to half a chi-square."
        )
    if (tests["look"] > 0).any():
        parts.append("Looks planned beforehand: exact p-value by stages, all ways to get there added up.")
    return " ".join(parts)


def _notes(tests: pd.DataFrame) -> list[str]:
    notes = []
    if ((tests["n_sessions"] > 1) & (tests["look"] == 0)).any():
        notes.append(
            "Adding up sessions is right only if their number was fixed before the first answer. If a session was "
            "added because the result was not clear yet, the p-value is too small; plan and record such looks."
        )
    if (np.isfinite(tests["limit"]) & ~tests["limit_beforehand"]).any():
        notes.append(
            "The share of people who may tell was chosen when the answers were there. It shows what could be said and "
            "decides nothing; record it as similar_below of the question before the next test."
        )
    repeated = tests["repeated"]
    if (repeated & (tests["method"] != "paired")).any():
        notes.append(
            "Some people answered more than once. If nobody can tell, each answer is a guess, so the exact test of a "
            "difference stands; how many people can tell rests on people, not on answers."
        )
    if (repeated & (tests["method"] == "paired")).any():
        notes.append(
            "Some people answered a paired comparison more than once. One person's answers go together, so the test "
            "and the intervals allow for a leaning of each person."
        )
    return notes
