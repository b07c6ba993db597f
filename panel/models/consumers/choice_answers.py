"""Who chose what between two samples, or found the odd one? The answers of tests with a forced choice, as counts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from panel.study.named_rows import named_rows
from panel.study.study import Study

METHOD_OF = MappingProxyType(
    {"triangle": "triangle", "duo_trio": "duo-trio", "three_afc": "3-AFC", "tetrad": "tetrad", "paired": "paired"}
)
"""Kind of answer to the method in the words of `panel.stats.answers.discrimination`."""

NO_PREFERENCE = "no preference"
RIGHT, WRONG = "1", "0"
BY_NAME = ("preference", "paired")
_BEFOREHAND = ("expected", "looks", "margin")
TEST = ["question", "kind", "prototype", "versus"]
_COLUMNS = [*TEST, "assessor", "session", "replicate", "chosen", "first"]
_UNREAD = [*TEST, "assessor", "session", "answer", "why"]


@dataclass(frozen=True, eq=False, slots=True)
class ChoicesRead:
    """The answers that could be read, one row each, and those that could not.

    Parameters
    ----------
    frame
        `question kind prototype versus assessor session replicate chosen first`. `chosen` is 1 where `prototype` was
        chosen, or where the answer was right; 0 where `versus` was, or it was wrong; NaN for no preference. `first` is
        1 where `prototype` was tried first, 0 where `versus` was, NaN where that is not known.
    unread
        `question kind prototype versus assessor session answer why`.
    """

    frame: pd.DataFrame
    unread: pd.DataFrame


def read_choices(study: Study, kinds: Sequence[str]) -> ChoicesRead:
    """Return the answers of these kinds.

    A pair is named one way, whichever of the two stands first in the row: what is expected to be chosen, if that is
    recorded, before the other; else the benchmark second; else in the order of the study.
    """
    rows = named_rows(study, "answers")
    rows = rows.loc[rows["kind"].isin(kinds)].reset_index(drop=True)
    texts = rows["answer"].astype("str").str.strip()
    by_name = rows["kind"].isin(BY_NAME)
    first_named = np.where(by_name, texts == rows["prototype"], texts == RIGHT)
    second_named = np.where(by_name, texts == rows["versus"], texts == WRONG)
    undecided = ((rows["kind"] == "preference") & (texts.str.lower() == NO_PREFERENCE)).to_numpy()
    why = np.select(
        [
            (rows["versus"] == "") | (rows["versus"] == rows["prototype"]),
            first_named | second_named | undecided,
            by_name,
        ],
        ["the other prototype is not named in the column versus", "", "names neither of the two prototypes"],
        "neither 1 (right) nor 0 (wrong)",
    )
    chosen = np.where(first_named, 1.0, np.where(second_named, 0.0, np.nan))
    first = rows["position"].map({1.0: 1.0, 2.0: 0.0}).to_numpy(dtype=float)
    turned = _turned(study, rows)
    named = rows.assign(
        prototype=np.where(turned, rows["versus"], rows["prototype"]),
        versus=np.where(turned, rows["prototype"], rows["versus"]),
        chosen=np.where(turned & by_name, 1 - chosen, chosen),
        first=np.where(turned, 1 - first, first),
        why=why,
    )
    blank = (texts == "").to_numpy()
    return ChoicesRead(
        frame=named.loc[why == "", _COLUMNS].reset_index(drop=True),
        unread=named.loc[(why != "") & ~blank, _UNREAD].reset_index(drop=True),
    )


def _turned(study: Study, rows: pd.DataFrame) -> np.ndarray:
    """Return where the two prototypes of a row change places."""
    named = study.in_order(str(name) for name in [*rows["prototype"], *rows["versus"]])
    order = {name: place for place, name in enumerate(named)}
    expected = {
        (question, kind): str(question_facts(study, str(question), str(kind)).get("expected", ""))
        for question, kind in rows[["question", "kind"]].drop_duplicates().itertuples(index=False)
    }

    benchmark = study.benchmark

    def rank(row: tuple[str, str], name: str) -> tuple[bool, bool, int]:
        return name != expected[row], name == benchmark, order[name]

    each = zip(zip(rows["question"], rows["kind"], strict=True), rows["prototype"], rows["versus"], strict=True)
    return np.array([rank(row, one) > rank(row, other) for row, one, other in each], dtype=bool)


def question_facts(study: Study, question: str, kind: str) -> Mapping[str, Any]:
    """Return what the study records about a question in its fact `questions`; empty if nothing.

    What was recorded after the unblinding (`recorded_on` later than the fact `unblinded_on`) is marked `late` and loses
    what only counts beforehand: `expected`, `looks` and `margin`.
    """
    recorded = study.facts.get("questions")
    entries: Iterable[Any] = recorded if isinstance(recorded, list) else ()
    for entry in entries:
        if isinstance(entry, Mapping) and entry.get("question") == question and entry.get("kind", kind) == kind:
            unblinded = str(study.facts.get("unblinded_on") or "")
            late = bool(unblinded) and str(entry.get("recorded_on") or "") > unblinded
            kept = {name: value for name, value in entry.items() if not (late and name in _BEFOREHAND)}
            return kept | {"late": late}
    return {}


def share_fact(facts: Mapping[str, Any], name: str, most: float = 1.0) -> float | None:
    """Return a recorded share above 0 and below `most`; None if there is none or it is no such number."""
    value = facts.get(name)
    fits = isinstance(value, int | float) and not isinstance(value, bool) and 0 < value < most
    return float(value) if fits and value is not None else None


def by_person(rows: pd.DataFrame) -> pd.DataFrame:
    """Return `assessor right n`, one row each, of the answers with a choice."""
    decided = rows.loc[rows["chosen"].notna()]
    counted = decided.groupby("assessor", sort=False)["chosen"].agg(right="sum", n="size")
    return counted.reset_index()


def unread_notes(unread: pd.DataFrame) -> list[str]:
    """Return one note for each reason why answers could not be used."""
    return [
        f"{len(rows)} {'answer' if len(rows) == 1 else 'answers'} could not be used: {why}, such as "
        f"{rows['answer'].iloc[0]!r} of {rows['assessor'].iloc[0]}."
        for why, rows in unread.groupby("why", sort=False)
    ]
