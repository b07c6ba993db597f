"""Which mixed model the scores of a panel call for, and the arrays it is fitted to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.stats.arrays import Array, Codes
from panel.stats.mixed.moments import missing_patterns
from panel.stats.mixed.strata import ASSESSOR, INTERACTION, SITTING

TERM_WORDS = {ASSESSOR: "assessor", INTERACTION: "assessor x prototype", SITTING: "assessor x session"}


@dataclass(frozen=True, eq=False, slots=True)
class PanelDesign:
    """Attributes that share one model, with the arrays of that model.

    Parameters
    ----------
    attributes, prototypes
        Names of the columns of `response` and of the first columns of `fixed`.
    response
        (n, q) scores, NaN where missing.
    fixed
        (n, p) columns: one per prototype, then sum-to-zero contrasts of the sessions and of the covariates.
    factors
        What is fixed beside the prototype: `session` and the covariates that are in the model.
    terms
        Random terms in the numbering of `panel.stats.mixed.strata`.
    groups
        Group numbers (n,) of each random term.
    cube
        The scores as (assessors, prototypes, sessions, repetitions, q) where every cell is filled alike, else None.
    dropped
        Fixed factors that are left out, in part or whole, because the ones before already say the same.
    """

    attributes: tuple[str, ...]
    prototypes: tuple[str, ...]
    assessors: tuple[str, ...]
    response: Array
    fixed: Array
    terms: tuple[int, ...]
    groups: list[Codes]
    cube: Array | None
    factors: tuple[str, ...]
    dropped: tuple[str, ...]

    def only(self, chosen: NDArray[np.bool_]) -> PanelDesign:
        """Return the design of the `chosen` attributes alone."""
        return replace(
            self,
            attributes=tuple(np.array(self.attributes, dtype=object)[chosen]),
            response=self.response[:, chosen],
            cube=None if self.cube is None else self.cube[..., chosen],
        )

    @property
    def sentence(self) -> str:
        """The model in words."""
        fixed = ", ".join(("prototype", *self.factors))
        random = ", ".join(TERM_WORDS[term] for term in self.terms)
        return f"score = {fixed} (fixed) + {random} (random) + residual"


@dataclass(frozen=True, eq=False, slots=True)
class ScoreArray:
    """Scores as one row per sitting-down to one sample, one column per attribute."""

    assessor: Codes
    prototype: Codes
    session: Codes
    assessors: tuple[str, ...]
    prototypes: tuple[str, ...]
    sessions: tuple[str, ...]
    attributes: tuple[str, ...]
    scores: Array
    covariates: Mapping[str, Codes]


def score_array(
    scores: pd.DataFrame,
    prototypes: tuple[str, ...],
    attributes: tuple[str, ...],
    covariates: Mapping[str, pd.Series] | None = None,
) -> ScoreArray:
    """Spread the long scores: rows are assessor x prototype x session x replicate, columns the attributes.

    Scores that share all of these are repetitions and get rows of their own. `covariates` are further facts of each
    sample, by name, one label per row of `scores`.
    """
    codes, levels = {}, {}
    for column in ("assessor", "prototype", "session", "replicate", "attribute"):
        order = {"prototype": prototypes, "attribute": attributes}.get(column)
        labels = scores[column]
        names = list(order) if order is not None else list(labels.unique())
        codes[column] = pd.Index(names).get_indexer(pd.Index(labels))
        levels[column] = tuple(str(name) for name in names)
    sample = np.zeros(len(scores), dtype=np.int64)
    for column in ("assessor", "prototype", "session", "replicate"):
        sample = sample * len(levels[column]) + codes[column]
    attribute = codes["attribute"]
    repeat = _times_seen(sample * len(attributes) + attribute)
    key = sample * (int(repeat.max(initial=0)) + 1) + repeat
    _, first, row = np.unique(key, return_index=True, return_inverse=True)
    spread = np.full((len(first), len(attributes)), np.nan)
    spread[row.reshape(-1), attribute] = scores["score"].to_numpy(dtype=float)
    return ScoreArray(
        codes["assessor"][first],
        codes["prototype"][first],
        codes["session"][first],
        levels["assessor"],
        levels["prototype"],
        levels["session"],
        levels["attribute"],
        spread,
        {name: pd.factorize(labels)[0][first] for name, labels in (covariates or {}).items()},
    )


def _times_seen(key: Codes) -> Codes:
    """Return how often each key stood in the rows before."""
    order = np.argsort(key, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(key[order]) != 0]) if len(key) else np.zeros(0, dtype=np.intp)
    seen = np.empty(len(key), dtype=np.intp)
    seen[order] = np.arange(len(key)) - np.repeat(starts, np.diff(np.r_[starts, len(key)]))
    return seen


def panel_designs(array: ScoreArray) -> Iterator[PanelDesign]:
    """Yield the attributes grouped by the model their scores call for."""
    present = np.isfinite(array.scores)
    alike: dict[tuple[bytes, tuple[int, ...], bool], list[int]] = {}
    for column in range(len(array.attributes)):
        rows = present[:, column]
        scored = np.bincount(array.prototype[rows], minlength=len(array.prototypes)) > 0
        terms, with_session = _terms(array, rows)
        alike.setdefault((scored.tobytes(), terms, with_session), []).append(column)
    for (held, terms, with_session), columns in alike.items():
        yield _design(array, np.array(columns), np.frombuffer(held, dtype=bool), terms, with_session)


def _terms(array: ScoreArray, rows: np.ndarray) -> tuple[tuple[int, ...], bool]:
    """Return the random terms these rows can tell apart, and whether sessions enter the model.

    Assessor x prototype needs some pair scored more than once; assessor x session needs somebody with two
    sessions and a sitting with two samples. Sessions that one person attended alone are no sessions of the panel: what
    they have in common is that person's.
    """
    assessor, prototype, session = array.assessor[rows], array.prototype[rows], array.session[rows]
    pair = assessor * len(array.prototypes) + prototype
    sitting = assessor * len(array.sessions) + session
    terms = [ASSESSOR]
    if len(np.unique(pair)) < len(pair):
        terms.append(INTERACTION)
    attended = len(np.unique(sitting))
    with_session = 1 < len(np.unique(session)) < attended
    if len(np.unique(assessor)) < attended < len(sitting):
        terms.append(SITTING)
    return tuple(terms), with_session


def _design(
    array: ScoreArray, columns: Codes, held: np.ndarray, terms: tuple[int, ...], with_session: bool
) -> PanelDesign:
    rows = np.isfinite(array.scores[:, columns]).any(axis=1)
    response = array.scores[np.ix_(rows, columns)]
    kept = np.flatnonzero(held)
    prototype = np.searchsorted(kept, array.prototype[rows])
    names, assessor = np.unique(array.assessor[rows], return_inverse=True)
    person = assessor.reshape(-1)
    attended = np.unique(array.session[rows], return_inverse=True)[1].reshape(-1)
    session = attended if with_session else np.zeros_like(attended)
    factors = {"session": session} if with_session else {}
    factors |= {name: codes[rows] for name, codes in array.covariates.items()}
    fixed, dropped = _fixed_columns(prototype, factors, response)
    code = {
        ASSESSOR: person,
        INTERACTION: person * len(kept) + prototype,
        SITTING: person * (int(attended.max(initial=0)) + 1) + attended,
    }
    return PanelDesign(
        attributes=tuple(array.attributes[column] for column in columns),
        prototypes=tuple(array.prototypes[place] for place in kept),
        assessors=tuple(array.assessors[place] for place in names),
        response=response,
        fixed=fixed,
        terms=terms,
        groups=[code[term] for term in terms],
        cube=_cube(response, person, prototype, session) if not dropped and not array.covariates else None,
        factors=tuple(factors),
        dropped=dropped,
    )


def _fixed_columns(prototype: Codes, factors: Mapping[str, Codes], response: Array) -> tuple[Array, tuple[str, ...]]:
    """Return prototype columns and the contrasts of the factors that every attribute can tell from those before."""
    columns, dropped = np.eye(int(prototype.max()) + 1)[prototype], []
    patterns = [rows for rows, _ in missing_patterns(response)]
    for name, codes in factors.items():
        each = np.eye(int(codes.max()) + 1)[codes]
        contrasts = each[:, :-1] - each[:, -1:]
        proposed = np.hstack([columns, contrasts])
        if _full_rank(proposed, patterns):
            columns = proposed
            continue
        dropped.append(name)
        for contrast in contrasts.T:
            proposed = np.column_stack([columns, contrast])
            columns = proposed if _full_rank(proposed, patterns) else columns
    return columns, tuple(dropped)


def _full_rank(columns: Array, patterns: list[NDArray[np.bool_]]) -> bool:
    """Return whether no column follows from the others, for every pattern of missing scores."""
    return all(
        np.linalg.matrix_rank(columns[rows].T @ columns[rows], hermitian=True) == columns.shape[1] for rows in patterns
    )


def _cube(response: Array, assessor: Codes, prototype: Codes, session: Codes) -> Array | None:
    """Return the scores as (assessors, prototypes, sessions, repetitions, q) if all cells are filled alike."""
    if not np.isfinite(response).all():
        return None
    shape = tuple(int(codes.max()) + 1 for codes in (assessor, prototype, session))
    cell = np.ravel_multi_index((assessor, prototype, session), shape)
    counts = np.bincount(cell, minlength=int(np.prod(shape)))
    if counts.min() != counts.max():
        return None
    order = np.argsort(cell, kind="stable")
    return response[order].reshape(*shape, int(counts[0]), response.shape[1])
