"""How many people agreed with a sentence about a prototype? Each counts once; who does not know stays in the base."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panel.study.numbers_read import read_numbers
from panel.study.scores_used import named_rows
from panel.study.study import Study

LEAST_AGREED = 4  # of 5: agree, agree strongly
DONT_KNOW = frozenset(("don't know", "do not know", "dont know", "don’t know", "no opinion"))


@dataclass(frozen=True, slots=True)
class Counted:
    """How many of how many agreed; `dont_know` of them do not know, `unread` answers could not be read.

    `served` people were given the sample in those sittings, 0 where no servings are recorded.
    """

    agreed: int
    base: int
    dont_know: int
    unread: int
    repeated: int
    served: int
    sessions: tuple[str, ...]


def count_agreed(study: Study, prototype: str, question: str) -> Counted:
    """Count the answers to one agreement question; each person once, the last answer counts."""
    answers = named_rows(study, "answers")
    own = answers.loc[
        (answers["kind"] == "agreement")
        & (answers["question"] == question)
        & (answers["prototype"] == prototype)
        & (answers["answer"].str.strip() != "")
    ]
    last = own.drop_duplicates("assessor", keep="last")
    texts = last["answer"].str.strip()
    unknown = texts.str.casefold().isin(DONT_KNOW).to_numpy(dtype=bool)
    values = np.full(len(texts), np.nan)
    values[~unknown] = read_numbers(list(texts[~unknown])).values
    agreed = int((values >= LEAST_AGREED).sum())
    unread = int((~unknown & ~np.isfinite(values)).sum())
    sessions = tuple(str(name) for name in last["session"].unique())
    served = _served(study, prototype, sessions)
    return Counted(agreed, len(last), int(unknown.sum()), unread, len(own) - len(last), served, sessions)


def _served(study: Study, prototype: str, sessions: tuple[str, ...]) -> int:
    servings = study.table("servings")
    given = servings.loc[(servings["prototype"] == prototype) & servings["session"].isin(sessions), "assessor"]
    return int(given.nunique())
