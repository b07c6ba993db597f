"""How many answers are enough: the record that every such question is answered with.

Counts are exact, so the chance of success climbs in teeth: the first number that reaches it, and the number from which
on it is never missed again, are both given.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.stats.answers.answer_numbers import EnoughAnswers
from panel.stats.answers.binomial_tests import Counts

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
