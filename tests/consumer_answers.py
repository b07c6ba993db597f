"""Small studies of consumer answers for tests."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from panel.study.study import Study

# Constructed: likings of those who find too little, just about right, and too much (27 people)
TOO_LITTLE = (5, 6, 5, 4, 6, 5)
RIGHT = (8, 7, 8, 9, 7, 8, 8, 7, 8, 8, 7, 9)
TOO_MUCH = (6, 7, 6, 5, 7, 6, 6, 6, 7)


def answers(rows: Iterable[tuple[str, str, str, str, object]]) -> pd.DataFrame:
    """Return a table of answers from (assessor, prototype, question, kind, answer)."""
    frame = pd.DataFrame(list(rows), columns=["assessor", "prototype", "question", "kind", "answer"])
    return frame.astype("str")


def study_of(rows: Iterable[tuple[str, str, str, str, object]], facts: Mapping[str, Any] | None = None, **tables: Any):
    """Return a study with these answers."""
    return Study({"answers": answers(rows), **tables}, dict(facts or {}))


def constructed(question: str = "thickness", prototype: str = "P1") -> list[tuple[str, str, str, str, object]]:
    """Return the constructed data: 2 too little, 3 just about right, 5 too much."""
    rows: list[tuple[str, str, str, str, object]] = []
    people = [(2, liking) for liking in TOO_LITTLE] + [(3, liking) for liking in RIGHT]
    people += [(5, liking) for liking in TOO_MUCH]
    for number, (side, liking) in enumerate(people):
        rows.append((f"C{number:02d}", prototype, question, "just_about_right", side))
        rows.append((f"C{number:02d}", prototype, "overall liking", "liking", liking))
    return rows


def ticked(table: np.ndarray, term: str = "light") -> list[tuple[str, str, str, str, object]]:
    """Return check-all answers from a table, people by prototypes; NaN is no answer."""
    return [
        (f"C{person:03d}", f"P{sample + 1}", term, "check_all", int(value))
        for (person, sample), value in np.ndenumerate(table)
        if not np.isnan(value)
    ]


def agreed(counts: Mapping[object, int], statement: str = "soft", prototype: str = "P1"):
    """Return agreement answers: how many people gave each answer."""
    people = [answer for answer, count in counts.items() for _ in range(count)]
    return [(f"C{number:03d}", prototype, statement, "agreement", answer) for number, answer in enumerate(people)]
