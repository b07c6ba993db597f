"""Each assessor's own analysis of variance: does this one person, alone, tell the prototypes apart?

Prototype and, where a person sat in several sessions, session as well: two-way without interaction, so that a better
or worse day is not taken for scatter. Everything by least squares, so cells may be empty or unequal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panel.stats.arrays import Array, Codes
from panel.stats.comparing.group_means import f_tail, one_way
from panel.stats.mixed.moments import missing_patterns

_ONLY_ROUNDING = 1e-24  # sum of squares, relative to that of the scores: rounding leaves about 1e-31


@dataclass(frozen=True, eq=False, slots=True)
class OwnTables:
    """Own tables of a assessors for q responses; (q, a) unless said otherwise.

    Parameters
    ----------
    between, within
        Sums of squares of the prototypes (after sessions) and of what is left.
    df, df_error
        Their degrees of freedom.
    means
        (q, a, p) prototype means at the average of the person's sessions; NaN where not scored.
    sittings
        (q, a, s) session effects, sum zero in each person; NaN where absent or not to be told from the prototypes.
    counts
        (q, a, p) number of scores.
    residual
        (n, q) what is left of each score, NaN where it is missing.
    """

    between: Array
    within: Array
    df: Array
    df_error: Array
    means: Array
    sittings: Array
    counts: Array
    residual: Array

    @property
    def mean_square(self) -> Array:
        """Mean square of what is left, the person's own repeatability variance; NaN where nothing was repeated."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.where(self.df_error > 0, self.within / self.df_error, np.nan))

    @property
    def statistic(self) -> Array:
        """F of the prototypes; NaN where it is not defined, infinite where the scores repeat exactly."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(self.between / self.df / self.mean_square)

    @property
    def p_value(self) -> Array:
        """Upper tail probability of F."""
        return f_tail(self.statistic, self.df, self.df_error)


def own_tables(response: Array, assessor: Codes, prototype: Codes, session: Codes | None = None) -> OwnTables:
    """Return the own tables of `response` (n, q), NaN where missing; the codes (n,) count from 0.

    Session effects that a person's prototypes already say (all of one prototype in one session) are left out.
    """
    if session is None or session.max() == 0:
        return _without_sessions(response, assessor, prototype)
    q, a = response.shape[1], int(assessor.max()) + 1
    p, s = int(prototype.max()) + 1, int(session.max()) + 1
    between, within, df, df_error = (np.zeros((q, a)) for _ in range(4))
    means, sittings, counts = np.full((q, a, p), np.nan), np.full((q, a, s), np.nan), np.zeros((q, a, p))
    residual = np.full(response.shape, np.nan)
    for person in range(a):
        own = np.flatnonzero(assessor == person)
        for rows, chosen in missing_patterns(response[own]):
            if not rows.any():
                continue
            at = own[rows]
            table = _one_person(response[np.ix_(at, chosen)], prototype[at], session[at])
            between[chosen, person], within[chosen, person] = table.between, table.within
            df[chosen, person], df_error[chosen, person] = table.df, table.df_error
            means[chosen[:, None], person, np.unique(prototype[at])] = table.means.T
            sittings[chosen[:, None], person, np.unique(session[at])] = table.sittings.T
            counts[chosen, person] = np.bincount(prototype[at], minlength=p)
            residual[np.ix_(at, chosen)] = table.residual
    return OwnTables(between, within, df, df_error, means, sittings, counts, residual)


def _without_sessions(response: Array, assessor: Codes, prototype: Codes) -> OwnTables:
    """Return the own tables as one-way tables."""
    a, p = int(assessor.max()) + 1, int(prototype.max()) + 1
    tables = [one_way(response[assessor == person], prototype[assessor == person], p) for person in range(a)]
    residual = np.empty_like(response)
    for person, table in enumerate(tables):
        residual[assessor == person] = table.residual
    between, within, df, df_error = (
        np.stack([getattr(table, name) for table in tables], axis=1) for name in ("between", "within", "df", "df_error")
    )
    counts = np.stack([table.counts for table in tables], axis=1)
    within = np.where(within > _ONLY_ROUNDING * (between + within), within, 0.0)
    sittings = np.where(counts.sum(axis=2, keepdims=True) > 0, 0.0, np.nan)
    means = np.stack([table.means for table in tables], axis=1)
    return OwnTables(between, within, np.maximum(df, 0), df_error, means, sittings, counts, residual)


@dataclass(frozen=True, eq=False, slots=True)
class _OneTable:
    """One person's table for the responses that share a pattern of missing scores."""

    between: Array
    within: Array
    df: int
    df_error: int
    means: Array
    sittings: Array
    residual: Array


def _one_person(scores: Array, prototype: Codes, session: Codes) -> _OneTable:
    """Analyse the scores (n, q) of one person, none missing."""
    centre = scores.mean(axis=0)
    y = scores - centre
    products, sessions = _indicators(prototype), _indicators(session)
    contrasts = sessions[:, :-1] - sessions[:, -1:]
    kept = _estimable(products, contrasts)
    full = np.hstack([products, contrasts[:, kept]])
    coefficients = np.linalg.lstsq(full, y, rcond=None)[0]
    fitted = full @ coefficients
    blank = np.hstack([np.ones((len(y), 1)), contrasts[:, kept]])
    without = blank @ np.linalg.lstsq(blank, y, rcond=None)[0]
    between, within = ((fitted - without) ** 2).sum(axis=0), ((y - fitted) ** 2).sum(axis=0)
    within = np.where(within > _ONLY_ROUNDING * (y**2).sum(axis=0), within, 0.0)
    first = coefficients[products.shape[1] :]
    effects = np.vstack([first, -first.sum(axis=0)]) if kept.all() else np.full((sessions.shape[1], y.shape[1]), np.nan)
    means = coefficients[: products.shape[1]] + centre
    df, df_error = full.shape[1] - blank.shape[1], len(y) - full.shape[1]
    return _OneTable(between, within, df, df_error, means, effects, y - fitted)


def _estimable(products: Array, contrasts: Array) -> np.ndarray:
    """Return which session contrasts add to what the prototypes say."""
    both = np.hstack([products, contrasts])
    if np.linalg.matrix_rank(both) == both.shape[1]:
        return np.ones(contrasts.shape[1], dtype=bool)
    kept = np.zeros(contrasts.shape[1], dtype=bool)
    for column in range(len(kept)):
        kept[column] = True
        tried = np.hstack([products, contrasts[:, kept]])
        kept[column] = np.linalg.matrix_rank(tried) == tried.shape[1]
    return kept


def _indicators(codes: Codes) -> Array:
    names, place = np.unique(codes, return_inverse=True)
    return np.asarray(np.eye(len(names))[place.reshape(-1)])
