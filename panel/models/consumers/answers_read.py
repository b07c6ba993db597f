"""What did the consumers answer to one question, as numbers: consumers by prototypes, and what could not be read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.study.named_rows import named_rows
from panel.study.numbers_read import read_numbers
from panel.study.study import Study

Kind = Literal["liking", "just_about_right", "check_all", "agreement"]
LIMITS: dict[str, tuple[float, float]] = {  # lowest and highest answer of each kind
    "liking": (1.0, 9.0),
    "just_about_right": (1.0, 5.0),
    "check_all": (0.0, 1.0),
    "agreement": (1.0, 5.0),
}
KIND_WORDS = {
    "liking": "liking",
    "just_about_right": "just-about-right",
    "check_all": "check-all",
    "agreement": "agreement",
}
NOT_WHOLE, NOT_A_NUMBER = "not a whole number", "not a number"
_ROW_COLUMNS = ["assessor", "prototype", "answer", "session", "position", "replicate"]
_UNREAD_COLUMNS = ["assessor", "prototype", "question", "answer", "session", "why"]


@dataclass(frozen=True, eq=False, slots=True)
class AnswersRead:
    """The answers to one question as numbers.

    Parameters
    ----------
    frame
        Consumers (index `assessor`) by prototypes (columns, in the order of the study), NaN where there is no answer
        that could be read. Where somebody answered more than once for a prototype it is the mean.
    rows
        `assessor prototype answer session position replicate`: every answer that was read, one row each.
    question
        The question these are the answers to.
    questions
        All questions of this kind in the study, in the order they appear.
    unread
        `assessor prototype question answer session why`: answers that are there and could not be read, or lie outside
        the scale. A blank is no answer and is not listed.
    n_consumers, n_complete
        How many consumers gave an answer that was read, and how many of them gave one for every prototype.
    n_repeated
        How many times a consumer answered more than once for a prototype.
    """

    frame: pd.DataFrame
    rows: pd.DataFrame
    question: str
    questions: tuple[str, ...]
    unread: pd.DataFrame
    n_consumers: int
    n_complete: int
    n_repeated: int


def questions_of(study: Study, kind: Kind) -> tuple[str, ...]:
    """Return the questions of one kind in the order they appear in the answers; without any, an empty tuple."""
    answers = study.table("answers")
    return tuple(str(name) for name in answers.loc[answers["kind"] == kind, "question"].unique())


def numeric_answers(study: Study, kind: Kind, question: str | None = None) -> AnswersRead:
    """Return the answers to one question of `kind`; without `question` the first of that kind.

    Raises
    ------
    ModelError
        If the study has no answers of this kind, none to `question`, or none that could be read.
    """
    answers, questions = named_rows(study, "answers"), questions_of(study, kind)
    if not questions:
        raise ModelError(
            f"The study has no {KIND_WORDS[kind]} answers. Add them to the table answers with the kind {kind!r}, one "
            "row for each consumer and prototype."
        )
    asked = questions[0] if question is None else question
    if asked not in questions:
        raise ModelError(
            f"There is no {KIND_WORDS[kind]} question {asked!r} in this study. Choose among {', '.join(questions)}."
        )
    own = answers.loc[(answers["kind"] == kind) & (answers["question"] == asked)]
    value, why = _values(own["answer"], *LIMITS[kind])
    there = np.isfinite(value)
    if not there.any():
        raise ModelError(
            f"None of the {len(own)} answers to {asked!r} could be read as a number from {LIMITS[kind][0]:.0f} to "
            f"{LIMITS[kind][1]:.0f}. Check the column answer of the table answers."
        )
    rows = own.assign(answer=value).loc[there, _ROW_COLUMNS].reset_index(drop=True)
    frame, n_repeated = _table(study, rows)
    return AnswersRead(
        frame=frame,
        rows=rows,
        question=asked,
        questions=questions,
        unread=own.assign(why=why).loc[why != "", _UNREAD_COLUMNS].reset_index(drop=True),
        n_consumers=len(frame),
        n_complete=int(frame.notna().all(axis=1).sum()),
        n_repeated=n_repeated,
    )


def _values(texts: pd.Series, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the answers as numbers, NaN where there is none, and why those that are there cannot be used."""
    code, distinct = pd.factorize(texts.astype("str").str.strip())
    read = read_numbers([str(text) for text in distinct])
    value, why = read.values.copy(), np.full(len(distinct), "", dtype=object)
    for place in read.reasons:
        why[place] = NOT_A_NUMBER
    outside = np.isfinite(value) & ((value < low) | (value > high))
    why[outside] = f"outside {low:.0f} to {high:.0f}"
    broken = np.isfinite(value) & ~outside & (value != np.rint(value))
    why[broken] = NOT_WHOLE
    value[outside | broken] = np.nan
    return value[code], why[code]


def _table(study: Study, rows: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Return the means by consumer and prototype, and how many cells hold more than one answer."""
    person, people = pd.factorize(rows["assessor"])
    order = study.in_order(str(name) for name in rows["prototype"].unique())
    what = pd.Index(list(order)).get_indexer(pd.Index(rows["prototype"]))
    cell, size = person * len(order) + what, len(people) * len(order)
    count = np.bincount(cell, minlength=size).reshape(len(people), len(order))
    total = np.bincount(cell, rows["answer"].to_numpy(dtype=float), size).reshape(count.shape)
    mean = np.divide(total, count, out=np.full(count.shape, np.nan), where=count > 0)
    index = pd.Index(people, name="assessor", dtype="str")
    return pd.DataFrame(mean, index=index, columns=pd.Index(list(order), name="prototype")), int((count > 1).sum())
