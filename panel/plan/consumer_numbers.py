"""How many consumers does it take to show what is to be shown about liking, agreement and preference?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import nctdtr, stdtrit

from panel.errors import ModelError
from panel.stats.answers.binomial import (
    Counts,
    EnoughAnswers,
    Floats,
    chance_correct,
    enough_answers,
    maximum_count,
    minimum_count,
    power_above,
    power_below,
    power_different,
    power_parity,
    wilson_interval,
)
from panel.stats.answers.discrimination import guessing
from panel.stats.comparing.equivalence import detection_power
from panel.stats.comparing.power import equivalence_power

# How many answers are enough: the record that every such question is answered with.
#
# Counts are exact, so the chance of success climbs in teeth: the first number that reaches it, and the number from
# which
# on it is never missed again, are both given.


POWER = 0.8
ALPHA = 0.05

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


def answer_numbers(
    question: str,
    found: EnoughAnswers,
    power: float,
    method: str,
    *,
    minimum: Counts | None = None,
    maximum: Counts | None = None,
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


def ask_between(what: str, low: float, value: float, high: float) -> None:
    """Raise ModelError if a share does not lie between two others."""
    if not low < value < high:
        raise ModelError(f"{what} must lie between {100 * low:g} and {100 * high:g} %, and it is {100 * value:g} %.")


# How many consumers does it take to show what is to be shown about liking, agreement and preference?


LIKING_SD = 2.0
"""Standard deviation of one person's difference in liking, 9-point scale; common practice, no source."""

MAJORITY = 0.5

_SMOOTH = "Exact for normally distributed differences (noncentral t)."


def liking_difference(difference: float, sd: float = LIKING_SD, *, power: float = POWER) -> AnswerNumbers:
    """Return how many people show a mean difference in liking, both samples tried by each (two-sided 5 %)."""
    _above_zero(difference, sd)

    def chance(n: Counts) -> Floats:
        df = np.maximum(n - 1, 1)
        found = detection_power(difference, sd / np.sqrt(n), df, stdtrit(df, 1 - ALPHA / 2))
        return np.where(n > 1, found, 0.0)

    return answer_numbers(
        f"a mean difference in liking of {difference:g} (standard deviation of differences {sd:g})",
        enough_answers(chance, power),
        power,
        f"Paired t test, two-sided 5 %. {_SMOOTH}",
    )


def liking_alike(margin: float, sd: float = LIKING_SD, *, power: float = POWER) -> AnswerNumbers:
    """Return how many people show that two samples are liked alike within a margin, if there is no difference."""
    _above_zero(margin, sd)

    def chance(n: Counts) -> Floats:
        return np.where(n > 1, equivalence_power(margin, sd / np.sqrt(n), np.maximum(n - 1, 1)), 0.0)

    return answer_numbers(
        f"liking alike within {margin:g} (standard deviation of differences {sd:g}), if there is no difference",
        enough_answers(chance, power),
        power,
        f"Two one-sided t tests, each 5 %. {_SMOOTH}",
    )


def liking_not_worse(margin: float, sd: float = LIKING_SD, *, power: float = POWER) -> AnswerNumbers:
    """Return how many people show that a sample is liked not worse than another by a margin, if it is liked equally."""
    _above_zero(margin, sd)

    def chance(n: Counts) -> Floats:
        df = np.maximum(n - 1, 1)
        return np.where(n > 1, 1 - nctdtr(df, margin * np.sqrt(n) / sd, stdtrit(df, 1 - ALPHA)), 0.0)

    return answer_numbers(
        f"liking not worse by {margin:g} (standard deviation of differences {sd:g}), if there is no difference",
        enough_answers(chance, power),
        power,
        f"One-sided t test, 5 %. {_SMOOTH}",
    )


def agreed_numbers(share: float, bar: float = MAJORITY, *, power: float = POWER) -> AnswerNumbers:
    """Return how many people show that more than a share `bar` agree, if `share` of all users do (one-sided 5 %)."""
    ask_between("The true share", bar, share, 1.0)
    found = enough_answers(lambda n: power_above(n, bar, share, ALPHA), power)
    return answer_numbers(
        f"that more than {100 * bar:g} % agree, if {100 * share:g} % of all users do",
        found,
        power,
        f"Exact binomial test against {100 * bar:g} %, one-sided 5 %.",
        minimum=minimum_count(found.numbers, bar, ALPHA),
    )


def agreed_width(share: float, numbers: Counts | list[int], level: float = 0.95) -> pd.DataFrame:
    """Return `n share ci_low ci_high width`: how exactly a share will be known (Wilson's interval)."""
    n = np.asarray(numbers, dtype=np.int64)
    low, high = wilson_interval(share * n, n, level)
    return pd.DataFrame({"n": n, "share": share, "ci_low": low, "ci_high": high, "width": high - low})


def agreed_exactly(share: float, width: float, level: float = 0.95) -> int:
    """Return the fewest people with whom the interval of a share is at most so wide (Wilson's interval)."""
    ask_between("The true share", 0.0, share, 1.0)
    ask_between("The width", 0.0, width, 1.0)
    low, high = 1, 2
    while agreed_width(share, [high], level)["width"].iloc[0] > width:
        low, high = high, 2 * high
    table = agreed_width(share, list(range(low, high + 1)), level)
    return int(table.loc[table["width"] <= width, "n"].iloc[0])


def preferred_numbers(share: float, *, two_sided: bool = False, power: float = POWER) -> AnswerNumbers:
    """Return how many people show a preference, if `share` of all prefer the sample; both tried by each.

    One-sided: that more than half prefer it. Two-sided: that preferences are not equal, either way.
    """
    ask_between("The true share", MAJORITY, share, 1.0)
    how = power_different if two_sided else power_above
    found = enough_answers(lambda n: how(n, MAJORITY, share, ALPHA), power)
    side = "two" if two_sided else "one"
    return answer_numbers(
        f"a preference, if {100 * share:g} % of all prefer it ({side}-sided)",
        found,
        power,
        f"Exact binomial test against 50 %, {side}-sided 5 %. People without a preference are not among these; keep "
        "their answer and report it.",
        minimum=minimum_count(found.numbers, MAJORITY, ALPHA / 2 if two_sided else ALPHA),
    )


def parity_numbers(margin: float = 0.05, *, power: float = POWER) -> AnswerNumbers:
    """Return how many people show that preference lies within 50 % plus or minus a margin, if it is 50 %."""
    ask_between("The margin", 0.0, margin, 0.5)
    low, high = MAJORITY - margin, MAJORITY + margin
    found = enough_answers(lambda n: power_parity(n, low, high, MAJORITY, ALPHA), power)
    return answer_numbers(
        f"preference between {100 * low:g} and {100 * high:g} %, if it is 50 %",
        found,
        power,
        "Two exact one-sided binomial tests, each 5 %.",
        minimum=minimum_count(found.numbers, low, ALPHA),
        maximum=maximum_count(found.numbers, high, ALPHA),
    )


def unsurpassed_numbers(margin: float = 0.05, *, power: float = POWER) -> AnswerNumbers:
    """Return how many people show that more than 50 % minus a margin prefer the sample, if 50 % do."""
    ask_between("The margin", 0.0, margin, 0.5)
    low = MAJORITY - margin
    found = enough_answers(lambda n: power_above(n, low, MAJORITY, ALPHA), power)
    return answer_numbers(
        f"preference above {100 * low:g} %, if it is 50 %",
        found,
        power,
        f"Exact binomial test against {100 * low:g} %, one-sided 5 %; once for every relevant competitor.",
        minimum=minimum_count(found.numbers, low, ALPHA),
    )


def _above_zero(size: float, sd: float) -> None:
    if not (size > 0 and sd > 0):
        raise ModelError("The difference or margin, and the standard deviation, must be above zero.")


# How many testers who must choose does it take to tell two samples apart, or to show that few people can?


def told_apart(method: str, share: float, *, alpha: float = ALPHA, power: float = POWER) -> AnswerNumbers:
    """Return how many testers show that two samples can be told apart, if `share` of people can (others guess).

    Raises
    ------
    ModelError
        If the method is not known, or the share is not between 0 and 1.
    """
    guess = guessing(method)
    ask_between("The share of people who can tell", 0.0, share, 1.0)
    found = enough_answers(lambda n: power_above(n, guess, chance_correct(share, guess), alpha), power)
    return answer_numbers(
        f"that two samples can be told apart by a {method} test, if {100 * share:g} % of people can",
        found,
        power,
        f"Exact binomial test against {guess:.3f} correct by guessing, one-sided {100 * alpha:g} %.",
        minimum=minimum_count(found.numbers, guess, alpha),
    )


def similar(method: str, share: float, *, beta: float = ALPHA, power: float = POWER) -> AnswerNumbers:
    """Return how many testers show that fewer than `share` of people can tell two samples apart, if nobody can."""
    guess = guessing(method)
    ask_between("The share of people who may tell", 0.0, share, 1.0)
    limit = chance_correct(share, guess)
    found = enough_answers(lambda n: power_below(n, limit, guess, beta), power)
    return answer_numbers(
        f"that fewer than {100 * share:g} % of people can tell two samples apart by a {method} test, if nobody can",
        found,
        power,
        f"Exact binomial test against {float(limit):.3f} correct, one-sided {100 * beta:g} %.",
        maximum=maximum_count(found.numbers, limit, beta),
    )
