"""Small studies of forced choices for tests: counts in, a study out."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd

from panel.study.study import Study


def right_rows(kind: str, right: int, n: int, **columns: Any) -> pd.DataFrame:
    """Return `right` right and n - right wrong answers, one per person."""
    start = int(columns.pop("start", 0))
    row = {"prototype": "P4", "versus": "P8", "question": kind, "session": "1", "replicate": "", "position": np.nan}
    people = [f"C{number:03d}" for number in range(start, start + n)]
    return pd.DataFrame(
        row | {"kind": kind, "assessor": people, "answer": ["1"] * right + ["0"] * (n - right)} | columns
    )


def named_rows(kind: str, answers: Iterable[str], **columns: Any) -> pd.DataFrame:
    """Return one answer per person that names a prototype of the pair P4 and P1."""
    chosen = list(answers)
    row = {"prototype": "P4", "versus": "P1", "question": kind, "session": "1", "replicate": "", "position": np.nan}
    people = [f"C{number:03d}" for number in range(len(chosen))]
    return pd.DataFrame(row | {"kind": kind, "assessor": people, "answer": chosen} | columns)


def votes(mine: int, other: int, undecided: int = 0) -> list[str]:
    """Return preferences for P4, for P1, and for neither."""
    return ["P4"] * mine + ["P1"] * other + ["no preference"] * undecided


def choice_study(*parts: pd.DataFrame, questions: list[dict[str, Any]] | None = None, **facts: Any) -> Study:
    """Return a study with these answers."""
    prototypes = pd.DataFrame(
        {"prototype": ["P1", "P4", "P8"], "name": "", "role": ["benchmark", "prototype", "prototype"]}
    )
    tables = {"prototypes": prototypes, "answers": pd.concat(parts, ignore_index=True)}
    return Study(tables, facts | ({"questions": questions} if questions else {}))
