"""How many consumers does it take to show what is to be shown about agreement and preference?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.stats.answers.binomial import (
    EnoughAnswers,
    chance_correct,
    enough_answers,
    maximum_count,
    minimum_count,
    power_above,
    power_below,
    power_different,
    power_parity,
)
from panel.stats.answers.discrimination import guessing
from panel.stats.arrays import Whole

# How many answers are enough: the record that every such question is answered with.
#
# Counts are exact, so the chance of success climbs in teeth: the first number that reaches it, and the number from
# which
# on it is never missed again, are both given.


_POWER = 0.8
_ALPHA = 0.05

_TEETH = (
    "Counts are whole, so the chance of success can fall when one more person is asked. The first number reaches the "
    "chance asked for; from the second on it is never missed again. Plan with the second, and invite some more: not "
    "everybody comes back."
)


@dataclass(frozen=True, eq=False, slots=True)
class AnswerNumbers:
    """How many answers are enough for one question.

    Parameters
    ----------
    question
        What is to be shown, in words.
    first, always
        The first number that reaches the wanted chance, and the number from which on it is never missed.
    curve
        `n chance minimum maximum`: for each number the chance of success and, where answers are counted, the fewest
        and the most that show it; NaN where there is no such limit.
    """

    question: str
    first: int
    always: int
    power: float
    curve: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def _answer_numbers(
    question: str,
    found: EnoughAnswers,
    power: float,
    method: str,
    *,
    minimum: Whole | None = None,
    maximum: Whole | None = None,
) -> AnswerNumbers:
    """Return the record of a question from the numbers found and, where answers are counted, the limits of each."""
    counted = minimum is not None or maximum is not None
    nothing = np.full(len(found.numbers), np.nan)
    curve = {
        "n": found.numbers,
        "chance": found.chances,
        "minimum": nothing if minimum is None else minimum.astype(float),
        "maximum": nothing if maximum is None else maximum.astype(float),
    }
    notes = (_TEETH,) if counted else ()
    return AnswerNumbers(question, found.first, found.always, power, pd.DataFrame(curve), method, notes)


def _ask_between(what: str, low: float, value: float, high: float) -> None:
    """Raise ModelError if a share does not lie between two others."""
    if not low < value < high:
        raise ModelError(f"{what} must lie between {100 * low:g} and {100 * high:g} %, and it is {100 * value:g} %.")


# How many consumers does it take to show what is to be shown about liking, agreement and preference?


_MAJORITY = 0.5


def agreed_numbers(share: float, bar: float = _MAJORITY, *, power: float = _POWER) -> AnswerNumbers:
    """Return how many people show that more than a share `bar` agree, if `share` of all users do (one-sided 5 %)."""
    _ask_between("The true share", bar, share, 1.0)
    found = enough_answers(lambda n: power_above(n, bar, share, _ALPHA), power)
    return _answer_numbers(
        f"that more than {100 * bar:g} % agree, if {100 * share:g} % of all users do",
        found,
        power,
        f"Exact binomial test against {100 * bar:g} %, one-sided 5 %.",
        minimum=minimum_count(found.numbers, bar, _ALPHA),
    )


def preferred_numbers(share: float, *, two_sided: bool = False, power: float = _POWER) -> AnswerNumbers:
    """Return how many people show a preference, if `share` of all prefer the sample; both tried by each.

    One-sided: that more than half prefer it. Two-sided: that preferences are not equal, either way.
    """
    _ask_between("The true share", _MAJORITY, share, 1.0)
    how = power_different if two_sided else power_above
    found = enough_answers(lambda n: how(n, _MAJORITY, share, _ALPHA), power)
    side = "two" if two_sided else "one"
    return _answer_numbers(
        f"a preference, if {100 * share:g} % of all prefer it ({side}-sided)",
        found,
        power,
        f"Exact binomial test against 50 %, {side}-sided 5 %. People without a preference are not among these; keep "
        "their answer and report it.",
        minimum=minimum_count(found.numbers, _MAJORITY, _ALPHA / 2 if two_sided else _ALPHA),
    )


def parity_numbers(margin: float = 0.05, *, power: float = _POWER) -> AnswerNumbers:
    """Return how many people show that preference lies within 50 % plus or minus a margin, if it is 50 %."""
    _ask_between("The margin", 0.0, margin, 0.5)
    low, high = _MAJORITY - margin, _MAJORITY + margin
    found = enough_answers(lambda n: power_parity(n, low, high, _MAJORITY, _ALPHA), power)
    return _answer_numbers(
        f"preference between {100 * low:g} and {100 * high:g} %, if it is 50 %",
        found,
        power,
        "Two exact one-sided binomial tests, each 5 %.",
        minimum=minimum_count(found.numbers, low, _ALPHA),
        maximum=maximum_count(found.numbers, high, _ALPHA),
    )


def unsurpassed_numbers(margin: float = 0.05, *, power: float = _POWER) -> AnswerNumbers:
    """Return how many people show that more than 50 % minus a margin prefer the sample, if 50 % do."""
    _ask_between("The margin", 0.0, margin, 0.5)
    low = _MAJORITY - margin
    found = enough_answers(lambda n: power_above(n, low, _MAJORITY, _ALPHA), power)
    return _answer_numbers(
        f"preference above {100 * low:g} %, if it is 50 %",
        found,
        power,
        f"Exact binomial test against {100 * low:g} %, one-sided 5 %; once for every relevant competitor.",
        minimum=minimum_count(found.numbers, low, _ALPHA),
    )


# How many testers who must choose does it take to tell two samples apart, or to show that few people can?


def told_apart(method: str, share: float, *, alpha: float = _ALPHA, power: float = _POWER) -> AnswerNumbers:
    """Return how many testers show that two samples can be told apart, if `share` of people can (others guess).

    Raises
    ------
    ModelError
        If the method is not known, or the share is not between 0 and 1.
    """
    guess = guessing(method)
    _ask_between("The share of people who can tell", 0.0, share, 1.0)
    found = enough_answers(lambda n: power_above(n, guess, chance_correct(share, guess), alpha), power)
    return _answer_numbers(
        f"that two samples can be told apart by a {method} test, if {100 * share:g} % of people can",
        found,
        power,
        f"Exact binomial test against {guess:.3f} correct by guessing, one-sided {100 * alpha:g} %.",
        minimum=minimum_count(found.numbers, guess, alpha),
    )


def similar(method: str, share: float, *, beta: float = _ALPHA, power: float = _POWER) -> AnswerNumbers:
    """Return how many testers show that fewer than `share` of people can tell two samples apart, if nobody can."""
    guess = guessing(method)
    _ask_between("The share of people who may tell", 0.0, share, 1.0)
    limit = chance_correct(share, guess)
    found = enough_answers(lambda n: power_below(n, limit, guess, beta), power)
    return _answer_numbers(
        f"that fewer than {100 * share:g} % of people can tell two samples apart by a {method} test, if nobody can",
        found,
        power,
        f"Exact binomial test against {float(limit):.3f} correct, one-sided {100 * beta:g} %.",
        maximum=maximum_count(found.numbers, limit, beta),
    )
