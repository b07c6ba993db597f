"""All answers of one kind at once: questions by consumers by prototypes, for what is counted question by question."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.consumers.answers_read import KIND_WORDS, LIMITS, Kind
from panel.study.named_rows import named_rows
from panel.study.numbers_read import read_numbers
from panel.study.study import Study

Floats = NDArray[np.float64]
DONT_KNOW = ("don't know", "dont know", "do not know", "no opinion")


@dataclass(frozen=True, eq=False, slots=True)
class AnswerGrid:
    """The answers of one kind.

    Parameters
    ----------
    values
        (questions, consumers, prototypes): whole numbers on the scale of the kind, NaN where there is none. Where
        somebody answered more than once the first answer stands, since categories have no mean.
    dont_know
        The same shape: True where somebody said so.
    questions, people, prototypes
        What the axes stand for: questions and people as they appear, prototypes in the order of the study.
    unread
        `assessor prototype question answer`: answers that are there and could not be read.
    n_repeated
        Answers left aside because an earlier one of the same person stands.
    """

    values: Floats
    dont_know: NDArray[np.bool_]
    questions: tuple[str, ...]
    people: tuple[str, ...]
    prototypes: tuple[str, ...]
    unread: pd.DataFrame
    n_repeated: int

    def matched(self, wide: pd.DataFrame) -> Floats:
        """Return a table of other answers, consumers by prototypes, with the rows and columns of this grid."""
        return wide.reindex(index=list(self.people), columns=list(self.prototypes)).to_numpy(dtype=float)

    def notes(self) -> list[str]:
        """Return what to know about how the answers were read."""
        told = []
        if len(self.unread):
            first = self.unread.iloc[0]
            told.append(
                f"{_counted(len(self.unread))} could not be read and {'is' if len(self.unread) == 1 else 'are'} left "
                f"out, such as {first['answer']!r} of {first['assessor']} to {first['question']}."
            )
        if self.n_repeated:
            told.append(
                f"{_counted(self.n_repeated)} came after an earlier answer of the same person to the same question "
                "for the same prototype; the first one counts."
            )
        return told


def answer_grid(study: Study, kind: Kind) -> AnswerGrid:
    """Return all answers of `kind`; ModelError if the study has none, or none that could be read."""
    answers = named_rows(study, "answers")
    own = answers.loc[answers["kind"] == kind]
    if own.empty:
        raise ModelError(
            f"The study has no {KIND_WORDS[kind]} answers. Add them to the table answers with the kind {kind!r}, one "
            "row for each consumer, prototype and question."
        )
    value, dont_know, bad = _read(own["answer"], *LIMITS[kind], allowed=kind == "agreement")
    used = np.isfinite(value) | dont_know
    if not used.any():
        raise ModelError(
            f"None of the {len(own)} {KIND_WORDS[kind]} answers could be read as a whole number from "
            f"{LIMITS[kind][0]:.0f} to {LIMITS[kind][1]:.0f}. Check the column answer of the table answers."
        )
    kept = own.loc[used]
    codes, axes = zip(*(pd.factorize(kept[name]) for name in ("question", "assessor", "prototype")), strict=True)
    questions, people, found = (tuple(str(name) for name in axis) for axis in axes)
    prototypes = study.in_order(found)
    to_place = np.array([prototypes.index(name) for name in found])
    shape = len(questions), len(people), len(prototypes)
    cell = np.ravel_multi_index((codes[0], codes[1], to_place[codes[2]]), shape)[::-1]
    values, unknown = np.full(shape, np.nan), np.zeros(shape, dtype=bool)
    values.flat[cell] = value[used][::-1]  # of several answers the last one written stays: the first given
    unknown.flat[cell] = dont_know[used][::-1]
    distinct = int(np.count_nonzero(np.bincount(cell, minlength=1)))
    unread = own.loc[bad, ["assessor", "prototype", "question", "answer"]].reset_index(drop=True)
    return AnswerGrid(values, unknown, questions, people, prototypes, unread, len(cell) - distinct)


def _read(
    texts: pd.Series, low: float, high: float, *, allowed: bool
) -> tuple[Floats, NDArray[np.bool_], NDArray[np.bool_]]:
    """Return the answers as numbers, which say 'don't know', and which are there but neither."""
    code, distinct = pd.factorize(texts)
    words = [str(text).strip() for text in distinct]
    bare = [word.casefold().replace("\u2019", "'").replace("\u2018", "'") for word in words]
    unknown = np.array([allowed and word in DONT_KNOW for word in bare], dtype=bool)
    read = read_numbers(["" if skip else word for word, skip in zip(words, unknown, strict=True)])
    value = read.values.copy()
    value[~((value >= low) & (value <= high) & (value == np.rint(value)))] = np.nan
    return value[code], unknown[code], (np.isnan(value) & ~unknown & ~read.missing)[code]


def _counted(number: int) -> str:
    return "1 answer" if number == 1 else f"{number} answers"
