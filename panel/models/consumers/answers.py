"""What did the consumers answer to one question, as numbers: consumers by prototypes, and what could not be read."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.checks.confounds import Confounds, answer_confounds
from panel.errors import ModelError
from panel.plan.codes import first_opening
from panel.stats.answers.binomial import wilson_interval
from panel.stats.arrays import Array, Codes, ratio
from panel.stats.comparing.multiplicity import LEVEL
from panel.study.numbers_read import read_numbers
from panel.study.scores_used import ANSWER_ENDS, answer_points, named_rows
from panel.study.study import Study, those_in
from panel.words import counted

Kind = Literal["liking", "just_about_right", "check_all", "agreement"]
KIND_WORDS = {kind: kind.replace("_", "-") for kind in get_args(Kind)}
"""What answers of each kind are called."""
_NOT_WHOLE, _NOT_A_NUMBER = "not a whole number", "not a number"
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
    n_consumers
        How many consumers gave an answer that was read.
    n_repeated
        How many times a consumer answered more than once for a prototype.
    """

    frame: pd.DataFrame
    rows: pd.DataFrame
    question: str
    questions: tuple[str, ...]
    unread: pd.DataFrame
    n_consumers: int
    n_repeated: int


def questions_of(study: Study, kind: Kind) -> tuple[str, ...]:
    """Return the questions of one kind in the order they appear in the answers; without any, an empty tuple."""
    answers = named_rows(study, "answers")
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
            f"The study has no {KIND_WORDS[kind]} answers. Bring a survey that asks for them, or add rows of the "
            f"kind {kind!r} to the table answers."
        )
    asked = questions[0] if question is None else question
    if asked not in questions:
        raise ModelError(
            f"There is no {KIND_WORDS[kind]} question {asked!r} in this study. Choose among {', '.join(questions)}."
        )
    own = answers.loc[(answers["kind"] == kind) & (answers["question"] == asked)]
    value, why = _values(own["answer"], *ANSWER_ENDS[kind])
    there = np.isfinite(value)
    if not there.any():
        raise ModelError(
            f"None of the {len(own)} answers to {asked!r} could be read as a number from {ANSWER_ENDS[kind][0]:.0f} to "
            f"{ANSWER_ENDS[kind][1]:.0f}. Check the column answer of the table answers."
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
        n_repeated=n_repeated,
    )


def _values(texts: pd.Series, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the answers as numbers, NaN where there is none, and why those that are there cannot be used."""
    code, distinct = pd.factorize(texts.astype("str").str.strip())
    read = read_numbers([str(text) for text in distinct])
    value, why = read.values.copy(), np.full(len(distinct), "", dtype=object)
    for place in read.reasons:
        why[place] = _NOT_A_NUMBER
    outside = np.isfinite(value) & ((value < low) | (value > high))
    why[outside] = f"outside {low:.0f} to {high:.0f}"
    broken = np.isfinite(value) & ~outside & (value != np.rint(value))
    why[broken] = _NOT_WHOLE
    value[outside | broken] = np.nan
    return value[code], why[code]


def _table(study: Study, rows: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Return the means by consumer and prototype, and how many cells hold more than one answer."""
    person, people = pd.factorize(rows["assessor"])
    order = in_study_order(study.prototypes, rows["prototype"])
    what = pd.Index(order).get_indexer(pd.Index(rows["prototype"]))
    cell, size = person * len(order) + what, len(people) * len(order)
    count = np.bincount(cell, minlength=size).reshape(len(people), len(order))
    total = np.bincount(cell, rows["answer"].to_numpy(dtype=float), size).reshape(count.shape)
    index = pd.Index(people, name="assessor", dtype="str")
    means = pd.DataFrame(ratio(total, count), index=index, columns=pd.Index(order, name="prototype"))
    return means, int((count > 1).sum())


def kind_confounds(study: Study, kind: Kind) -> Confounds:
    """Return what the prototypes cannot be told from by the answers of one kind, all questions together."""
    rows = named_rows(study, "answers")
    return answer_confounds(rows.loc[rows["kind"] == kind], study.prototypes)


def lost_pairs(confounds: Confounds, prototypes: Sequence[str], first: Codes, second: Codes) -> NDArray[np.bool_]:
    """Return which pairs of places among `prototypes` cannot be told from session or position."""
    ends = zip(first, second, strict=True)
    return np.array([len(confounds.untold("", prototypes[one], prototypes[other])) > 0 for one, other in ends], bool)


def in_study_order(names: Iterable[str], column: pd.Series) -> tuple[str, ...]:
    """Return what occurs in a column: first the `names` in their order, then what is not among them, as it comes."""
    return tuple(dict.fromkeys((*those_in(names, column), *map(str, column.unique()))))


# All answers of one kind at once: questions by consumers by prototypes, for what is counted question by question.


@dataclass(frozen=True, eq=False, slots=True)
class AnswerGrid:
    """The answers of one kind.

    Parameters
    ----------
    values
        (questions, consumers, prototypes): whole numbers on the scale of the kind, NaN where there is none. Where
        somebody answered more than once the first answer stands, since categories have no mean.
    dont_know, strange
        The same shape: True where somebody said so, or said whether she agrees in a way that could not be read.
    questions, people, prototypes
        What the axes stand for: questions and people as they appear, prototypes in the order of the study.
    unread
        `assessor prototype question answer`: answers that are there and could not be read.
    n_repeated
        Answers left aside because an earlier one of the same person stands.
    """

    values: Array
    dont_know: NDArray[np.bool_]
    strange: NDArray[np.bool_]
    questions: tuple[str, ...]
    people: tuple[str, ...]
    prototypes: tuple[str, ...]
    unread: pd.DataFrame
    n_repeated: int

    def matched(self, wide: pd.DataFrame) -> Array:
        """Return a table of other answers, consumers by prototypes, with the rows and columns of this grid."""
        return wide.reindex(index=list(self.people), columns=list(self.prototypes)).to_numpy(dtype=float)

    def notes(self) -> list[str]:
        """Return what to know about how the answers were read."""
        told = []
        if len(self.unread):
            first = self.unread.iloc[0]
            stay = "counted as not agreeing" if self.strange.any() else "left out"
            stay = f"{'is' if len(self.unread) == 1 else 'are'} {stay}"
            told.append(
                f"{counted(len(self.unread), 'answer')} could not be read and {stay}, "
                f"such as {first['answer']!r} of {first['assessor']} to {first['question']}."
            )
        if self.n_repeated:
            told.append(
                f"{counted(self.n_repeated, 'answer')} came after an earlier answer of the same person to the same "
                "question for the same prototype; the first one counts."
            )
        return told


def answer_grid(study: Study, kind: Kind) -> AnswerGrid:
    """Return all answers of `kind`; ModelError if the study has none, or none that could be read."""
    answers = named_rows(study, "answers")
    own = answers.loc[answers["kind"] == kind]
    if own.empty:
        raise ModelError(
            f"The study has no {KIND_WORDS[kind]} answers. Bring a survey that asks for them, or add rows of the "
            f"kind {kind!r} to the table answers."
        )
    value, dont_know, bad = answer_points(own["answer"], *ANSWER_ENDS[kind], allowed=kind == "agreement")
    used = np.isfinite(value) | dont_know
    if not used.any():
        raise ModelError(
            f"None of the {len(own)} {KIND_WORDS[kind]} answers could be read as a whole number from "
            f"{ANSWER_ENDS[kind][0]:.0f} to {ANSWER_ENDS[kind][1]:.0f}. Check the column answer of the table answers."
        )
    stays = used | bad if kind == "agreement" else used  # who cannot be understood did not agree, and was asked
    kept = own.loc[stays]
    codes, axes = zip(*(pd.factorize(kept[name]) for name in ("question", "assessor", "prototype")), strict=True)
    questions, people, found = (tuple(str(name) for name in axis) for axis in axes)
    prototypes = in_study_order(study.prototypes, kept["prototype"])
    to_place = np.array([prototypes.index(name) for name in found])
    shape = len(questions), len(people), len(prototypes)
    cell = np.ravel_multi_index((codes[0], codes[1], to_place[codes[2]]), shape)[::-1]
    values, unknown, strange = np.full(shape, np.nan), np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    values.flat[cell] = value[stays][::-1]  # of several answers the last one written stays: the first given
    unknown.flat[cell], strange.flat[cell] = dont_know[stays][::-1], bad[stays][::-1]
    distinct = int(np.count_nonzero(np.bincount(cell, minlength=1)))
    unread = own.loc[bad, ["assessor", "prototype", "question", "answer"]].reset_index(drop=True)
    return AnswerGrid(values, unknown, strange, questions, people, prototypes, unread, len(cell) - distinct)


# What does the study say about its consumer questions: wording, ends, attribute, bar, and which one is untrue?


_BEFOREHAND = ("expected", "margin")


@dataclass(frozen=True, slots=True)
class QuestionFacts:
    """What the fact `questions` says about one question; empty, NaN or False where it says nothing.

    Parameters
    ----------
    words
        The wording as people saw it.
    low_end, high_end
        Words at the ends of the scale.
    attribute
        Short name of the scored attribute that goes with it.
    opposite
        True where a low answer goes with a high score of that attribute.
    foil
        True for a sentence that is untrue for the product and measures yes-saying.
    bar
        Share of people, 0 to 1, fixed beforehand that has to be passed.
    """

    words: str = ""
    low_end: str = ""
    high_end: str = ""
    attribute: str = ""
    opposite: bool = False
    foil: bool = False
    bar: float = float("nan")

    def side(self, *, high: bool) -> str:
        """Return what all say who answer on one side of just right: too thick, whose far end is far too thick."""
        end = self.high_end if high else self.low_end
        return re.sub(r"^.*?\b(?=(?:too|zu|trop|troppo|demasiado)\b)", "", end.strip())


def question_facts(study: Study, kind: str) -> dict[str, QuestionFacts]:
    """Return what the study says about its questions of one kind, by their short names, each fact as it is used."""
    return {
        name: QuestionFacts(
            **{about: str(entry.get(about, "")) for about in ("words", "low_end", "high_end", "attribute")},
            opposite=str(entry.get("attribute_runs", "")) == "opposite",
            foil=entry.get("foil") in (True, "yes", "true", "1", 1),
            bar=share_of_bar(entry.get("bar")),
        )
        for name, entry in recorded_questions(study, kind).items()
    }


def recorded_questions(study: Study, kind: str) -> dict[str, dict[str, Any]]:
    """Return what stands in the fact `questions` about those of one kind, by their short names.

    The fact is a list of `{question, kind, words, ...}`, or names with `{kind, words, ...}`; an entry without a kind
    holds for every kind, the first of a name counts. What cannot be read as such is left out. What was recorded after
    the unblinding (`recorded_on` later than the first opening of the key) is marked `late` and loses what only counts
    beforehand: `expected` and `margin`.
    """
    given = study.facts.get("questions", [])
    if isinstance(given, Mapping):
        entries = [{"question": name, **_entry(about)} for name, about in given.items()]
    else:
        entries = [_entry(about) for about in given] if isinstance(given, list | tuple) else []
    found: dict[str, dict[str, Any]] = {}
    unblinded = first_opening(study)
    for entry in entries:
        name = str(entry.get("question", ""))
        if name and name not in found and entry.get("kind", kind) == kind:
            late = bool(unblinded) and str(entry.get("recorded_on") or "") > unblinded
            kept = {about: value for about, value in entry.items() if not (late and about in _BEFOREHAND)}
            found[name] = kept | {"late": late}
    return found


def _entry(about: object) -> dict[str, Any]:
    return {str(name): value for name, value in about.items()} if isinstance(about, Mapping) else {}


def shares_of(count: Array, base: Array, counted_as: str = "count") -> dict[str, Array]:
    """Return the columns `count base share ci_low ci_high`, the interval Wilson's, of counts out of a base."""
    low, high = wilson_interval(count, base, LEVEL)
    return {counted_as: count, "base": base, "share": count / base, "ci_low": low, "ci_high": high}


def share_of_bar(bar: object) -> float:
    """Return a bar in per cent as a share, NaN where it is none: it has to lie between 0 and 100."""
    try:
        percent = float(bar)  # type: ignore[arg-type]  # what is no number raises, and is none
    except (TypeError, ValueError):
        return math.nan
    return percent / 100 if 0 < percent < 100 else math.nan
