"""Which mixed model the scores of one attribute at several times call for, and the arrays it is fitted to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.stats.arrays import Array, Codes

TERM_WORDS = {
    "assessor": "assessor",
    "assessor_prototype": "assessor x prototype",
    "assessor_time": "assessor x time",
    "serving": "serving",
    "assessor_prototype_time": "assessor x prototype x time",
}


@dataclass(frozen=True, eq=False, slots=True)
class TimeDesign:
    """The arrays of one attribute over time.

    Parameters
    ----------
    cells
        `attribute minutes prototype place`: the fixed columns, prototype by time, time fastest.
    response, fixed, groups, terms
        Scores (n, 1), fixed columns (n, p): first the cells, then session contrasts; group numbers of each random term.
    """

    prototypes: tuple[str, ...]
    minutes: tuple[float, ...]
    cells: pd.DataFrame
    response: Array
    fixed: Array
    groups: list[Codes]
    terms: tuple[str, ...]
    with_session: bool
    notes: tuple[str, ...]

    @property
    def n_cells(self) -> int:
        """Number of prototypes times number of times."""
        return len(self.cells)

    @property
    def sentence(self) -> str:
        """The model in words."""
        fixed = "prototype x time, session" if self.with_session else "prototype x time"
        return f"score = {fixed} (fixed) + {', '.join(TERM_WORDS[term] for term in self.terms)} (random) + residual"


def time_design(frame: pd.DataFrame, times: pd.DataFrame, prototypes: tuple[str, ...]) -> TimeDesign:
    """Return the design for the attributes and minutes in `times`.

    Raises
    ------
    ModelError
        If fewer than two times, prototypes scored at all of them, or assessors are there.
    """
    rows = frame.loc[frame["attribute"].isin(times["attribute"])]
    rows = rows.assign(minutes=rows["attribute"].map(times.set_index("attribute")["minutes"]))
    minutes = tuple(float(value) for value in times["minutes"] if (rows["minutes"] == value).any())
    scored = rows.groupby("prototype")["minutes"].nunique()
    kept = tuple(name for name in prototypes if scored.get(name, 0) == len(minutes))
    notes = tuple(f"{name} was not scored at every time and is left out." for name in scored.index if name not in kept)
    rows = rows.loc[rows["prototype"].isin(kept)].reset_index(drop=True)
    if len(minutes) < 2 or len(kept) < 2 or rows["assessor"].nunique() < 2:
        raise ModelError("it takes two times, two prototypes scored at each of them, and two assessors.")
    names = {value: name for name, value in zip(times["attribute"], times["minutes"], strict=True)}
    cells = pd.DataFrame(
        [(names[value], value, name) for name in kept for value in minutes],
        columns=["attribute", "minutes", "prototype"],
    ).assign(place=range(len(kept) * len(minutes)))
    cell = _codes(rows["prototype"], kept) * len(minutes) + _codes(rows["minutes"], minutes)
    groups, terms = _random(rows)
    fixed = np.eye(len(cells))[cell]
    session = _session_contrasts(rows)
    both = np.hstack([fixed, session])
    with_session = bool(session.shape[1]) and np.linalg.matrix_rank(both) == both.shape[1]
    return TimeDesign(
        prototypes=kept,
        minutes=minutes,
        cells=cells,
        response=rows[["score"]].to_numpy(dtype=float),
        fixed=both if with_session else fixed,
        groups=groups,
        terms=terms,
        with_session=with_session,
        notes=notes,
    )


def _codes(values: pd.Series, order: tuple[object, ...]) -> Codes:
    return np.asarray(pd.Index(list(order)).get_indexer(pd.Index(values)))


def _random(rows: pd.DataFrame) -> tuple[list[Codes], tuple[str, ...]]:
    """Return group numbers of the random terms these rows can tell apart, from each other and from the residual."""
    columns = {
        "assessor": ["assessor"],
        "assessor_prototype": ["assessor", "prototype"],
        "assessor_time": ["assessor", "minutes"],
        "serving": ["assessor", "prototype", "session", "replicate"],
        "assessor_prototype_time": ["assessor", "prototype", "minutes"],
    }
    found: dict[str, Codes] = {}
    for term, names in columns.items():
        codes = np.asarray(rows.groupby(names, sort=False).ngroup(), dtype=np.intp)
        # one group per row is the residual; the same groups as another term are that term
        if codes.max() + 1 < len(rows) and not any(_same_groups(codes, other) for other in found.values()):
            found[term] = codes
    return list(found.values()), tuple(found)


def _same_groups(one: Codes, other: Codes) -> bool:
    pairs = len(np.unique(np.stack([one, other]), axis=1).T)
    return bool(pairs == one.max() + 1 == other.max() + 1)


def _session_contrasts(rows: pd.DataFrame) -> Array:
    codes = pd.factorize(rows["session"])[0]
    each = np.eye(int(codes.max()) + 1)[codes]
    return np.asarray(each[:, :-1] - each[:, -1:])
