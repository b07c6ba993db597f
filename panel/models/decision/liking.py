"""How well do consumers like the prototypes, who is liked best, and how sure is that?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.consumers.answers_read import numeric_answers, questions_of
from panel.models.decision.panel_draws import DRAWS
from panel.stats.maps.people_draws import FEWEST_PEOPLE, people_draws
from panel.study.study import Study

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class LikingDraws:
    """Mean liking of the prototypes and draws of it.

    Parameters
    ----------
    prototypes
        Columns of `drawn`, those that consumers rated.
    rows
        `prototype estimate ci_low ci_high chance_best n`: adjusted for who rated what; `chance_best` is the chance to
        be the best liked of all.
    drawn
        (draws, prototypes).
    question
        What was asked.
    """

    prototypes: tuple[str, ...]
    rows: pd.DataFrame
    drawn: Floats
    question: str
    n_consumers: int


def draw_liking(
    study: Study, rng: np.random.Generator, *, question: str | None = None, level: float = 0.95, draws: int = DRAWS
) -> tuple[LikingDraws | None, str]:
    """Return the liking, drawn by taking whole consumers anew, or None and why there is none.

    Raises
    ------
    ModelError
        If `question` is named and is no liking question of the study.
    """
    if question is None and not questions_of(study, "liking"):
        return None, "No consumer was asked for liking, so the decision rests on the trained panel alone."
    try:
        answers = numeric_answers(study, "liking", question)
    except ModelError:
        if question is not None:
            raise
        return None, "The answers about liking could not be read, so they do not count. Look at the page Study."
    ratings = answers.frame.to_numpy(float)
    try:
        estimate, drawn = people_draws(ratings, draws, rng)
    except ValueError:
        return None, (
            f"Fewer than {FEWEST_PEOPLE} consumers rated two prototypes or more, or a prototype was never rated beside "
            "another, so liking does not count here."
        )
    tail = (1 - level) / 2
    low, high = np.quantile(drawn, [tail, 1 - tail], axis=0)
    best = np.bincount(drawn.argmax(axis=1), minlength=len(estimate)) / len(drawn)
    prototypes = tuple(str(name) for name in answers.frame.columns)
    rows = pd.DataFrame(
        {
            "prototype": pd.Series(prototypes, dtype="str"),
            "estimate": estimate,
            "ci_low": low,
            "ci_high": high,
            "chance_best": best,
            "n": np.isfinite(ratings).sum(axis=0),
        }
    )
    return LikingDraws(prototypes, rows, drawn, answers.question, answers.n_consumers), ""
