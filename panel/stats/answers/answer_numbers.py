"""How many answers are enough? The chance of success climbs in teeth as people are added, so there are two answers.

With whole counts the chance can fall when one more person is asked. `first` is the smallest number that reaches the
wanted chance; from `always` on, no number falls below it again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from panel.errors import ModelError

Floats = NDArray[np.float64]

START = 64
MOST_ASKED = 65_536
CLEARANCE = 0.6  # no number below the target may lie in the upper two fifths of what was searched


@dataclass(frozen=True, eq=False, slots=True)
class EnoughAnswers:
    """`first` reaches the wanted chance, no number from `always` on misses it; the chances of each number searched.

    `numbers` runs from 1 in steps of 1, `chances` belongs to it.
    """

    first: int
    always: int
    numbers: NDArray[np.int64]
    chances: Floats

    def chance(self, n: int) -> float:
        """Return the chance of success with n answers."""
        return float(self.chances[n - 1])


def enough_answers(chance: Callable[[NDArray[np.int64]], Floats], wanted: float = 0.8) -> EnoughAnswers:
    """Return the numbers of answers at which the chance of success reaches `wanted`.

    Parameters
    ----------
    chance
        Chance of success for an array of numbers of answers. It must rise towards 1, teeth apart.
    wanted
        Such as 0.8.

    Raises
    ------
    ModelError
        If `wanted` lies outside 0 to 1, or 65,536 answers do not do.
    """
    if not 0 < wanted < 1:
        raise ModelError("The wanted chance of success must lie between 0 and 1. Choose a value such as 0.8.")
    most = START
    while most <= MOST_ASKED:
        numbers = np.arange(1, most + 1)
        chances = np.asarray(chance(numbers), dtype=float)
        missed = np.flatnonzero(chances < wanted)
        always = int(numbers[missed[-1]]) + 1 if len(missed) else 1
        if always <= CLEARANCE * most:
            first = int(numbers[np.flatnonzero(chances >= wanted)[0]])
            return EnoughAnswers(first, always, numbers, chances)
        most *= 2
    raise ModelError(
        f"Even {MOST_ASKED:,} answers would not show this with a chance of {wanted:g}: the true value lies too close "
        "to the limit. Ask for a larger difference, or a wider margin."
    )
