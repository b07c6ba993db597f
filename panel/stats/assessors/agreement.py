"""How one assessor's picture of the prototypes goes with everybody else's, and whether it tells them apart at all.

Agreement rests on tables of means, (q, a, p): q attributes, a assessors, p prototypes, NaN where not scored. A table
with holes is split into rows and columns by least squares; without holes these are the plain means.

Each assessor's own analysis of variance: prototype and, where a person sat in several sessions, session as well: two-
way without interaction, so that a better or worse day is not taken for scatter. Everything by least squares, so cells
may be empty or unequal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panel.stats.arrays import Array, Codes, ratio
from panel.stats.comparing.group_means import VarianceTables, one_way
from panel.stats.mixed.moments import missing_patterns

_NOTHING_TOLD = 1e-9  # eigenvalue, relative, below which the columns are only apart by rounding


@dataclass(frozen=True, eq=False, slots=True)
class Agreement:
    """Each assessor against the others; every array (q, a) unless said otherwise, NaN where it cannot be had.

    Parameters
    ----------
    own, others
        (q, a, p) the person's means and the others', less their average over the prototypes that both scored.
    correlation, slope
        Of the person's means with, and on, the mean of the others' means.
    spread
        Variance of the person's own means, over `prototypes` - 1.
    others_square
        Sum of squares of the others' means about their mean, over the prototypes the person scored.
    scatter
        Mean square of the person's means about the line of that slope, over `prototypes` - 2.
    level
        The person's mean less the panel's; the sum over the assessors is zero.
    interaction
        Sum of squares of what the person sees differently, means less row and column of the additive table.
    prototypes
        Number of prototypes the person scored.
    """

    own: Array
    others: Array
    correlation: Array
    slope: Array
    spread: Array
    others_square: Array
    scatter: Array
    level: Array
    interaction: Array
    prototypes: Array

    @property
    def share(self) -> Array:
        """The person's share of all that is seen differently."""
        return ratio(self.interaction, np.nansum(self.interaction, axis=-1, keepdims=True))


def agreement(means: Array) -> Agreement:
    """Return how each assessor of `means` (q, a, p) goes with the others."""
    others = column_effects(means, of_others=True)
    both = np.isfinite(means) & np.isfinite(others)
    own, others = _centred(np.where(both, means, np.nan)), _centred(np.where(both, others, np.nan))
    cross, own_square, others_square = (np.nansum(part, axis=-1) for part in (own * others, own**2, others**2))
    count = both.sum(axis=-1).astype(float)
    slope = ratio(cross, others_square)
    scatter = np.nansum((own - slope[..., None] * others) ** 2, axis=-1)
    columns = column_effects(means)[..., None, :]
    rows = _mean(means - columns)
    left = np.nansum((means - rows[..., None] - columns) ** 2, axis=-1)
    return Agreement(
        own=own,
        others=others,
        correlation=ratio(cross, np.sqrt(own_square * others_square)),
        slope=slope,
        spread=ratio(own_square, count - 1),
        others_square=others_square,
        scatter=ratio(scatter, count - 2),
        level=rows - _mean(rows)[..., None],
        interaction=np.where(np.isfinite(rows), left, np.nan),
        prototypes=count,
    )


def column_effects(table: Array, *, of_others: bool = False) -> Array:
    """Return the least-squares column effects of additive tables (..., a, p), sum zero over the columns that have any.

    From the normal equations after the rows are eliminated; columns that share no row with the rest keep the level of
    their own part. `of_others`: those of all rows but one, for each row in turn, (..., a, p); NaN where no other has
    the column.
    """
    there = np.isfinite(table)
    weight = there.astype(float)
    n_row = np.maximum(weight.sum(axis=-1), 1)[..., None]
    filled = np.where(there, table, 0.0)
    deviation = np.where(there, filled - filled.sum(axis=-1, keepdims=True) / n_row, 0.0)
    left = weight[..., None] * (np.eye(table.shape[-1]) - (weight / n_row)[..., None, :])
    if of_others:
        others = (
            part.sum(axis=axis, keepdims=True) - part for part, axis in ((deviation, -2), (left, -3), (weight, -2))
        )
        return _solved_effects(*others)
    return _solved_effects(deviation.sum(axis=-2), left.sum(axis=-3), weight.sum(axis=-2))


def _solved_effects(right: Array, left: Array, n_column: Array) -> Array:
    """Return the effects from the sums of the parts of the rows."""
    effect = np.einsum("...ij,...j->...i", np.linalg.pinv(left, rtol=_NOTHING_TOLD, hermitian=True), right)
    held = n_column > 0
    mean = (effect * held).sum(axis=-1, keepdims=True) / np.maximum(held.sum(axis=-1, keepdims=True), 1)
    return np.where(held, effect - mean, np.nan)


def disagreement(means: Array) -> tuple[Array, Array]:
    """Return the mean square left of `means` (q, a, p) after assessors, prototypes and each assessor's slope on them.

    Beside it, (q,) too, its degrees of freedom: what is seen differently beyond a wider or narrower use of the scale.

    In a table without holes (a - 1)(p - 2) degrees of freedom (Brockhoff, Schlich & Skovgaard 2015, Food Qual.
    Prefer. 39:156-166); otherwise as many as there are cells less what was fitted.
    """
    rest = _beyond_slopes(means, column_effects(means)[..., None, :]).sum(axis=(-1, -2))
    there = np.isfinite(means)
    columns = there.any(axis=-2).sum(axis=-1)
    return _disagreement(rest, there.sum(axis=(-1, -2)), there.any(axis=-1).sum(axis=-1), columns)


def disagreement_without_each(means: Array) -> tuple[Array, Array]:
    """Return the disagreement of the others, without each assessor in turn; arrays (q, a)."""
    each = _beyond_slopes(means, column_effects(means, of_others=True))
    rest = each.sum(axis=-1) - np.diagonal(each, axis1=1, axis2=2)
    there = np.isfinite(means)
    cells, scored = there.sum(axis=-1), there.any(axis=-1)
    columns = (there.sum(axis=1, keepdims=True) > there).sum(axis=-1)
    other_cells, others = (part.sum(axis=1, keepdims=True) - part for part in (cells, scored.astype(int)))
    return _disagreement(rest, other_cells, others, columns)


def _beyond_slopes(means: Array, effects: Array) -> Array:
    """Return the squares left of each assessor's means beyond the slope on each of the `effects` (..., e, p)."""
    weight = np.isfinite(means).astype(float)
    own = np.nan_to_num(_centred(means))
    known = np.nan_to_num(effects)
    to_cells = np.swapaxes(weight, -1, -2)
    square = known**2 @ to_cells - (known @ to_cells) ** 2 / np.maximum(weight.sum(axis=-1), 1)[..., None, :]
    cross = known @ np.swapaxes(own, -1, -2)
    whole = (own**2).sum(axis=-1)[..., None, :]
    left = whole - ratio(cross**2, square, 0.0)
    return np.where(square > 0, np.maximum(left, 0.0), 0.0)


def _disagreement(rest: Array, cells: Codes, people: Codes, columns: Codes) -> tuple[Array, Array]:
    df = (cells - 2 * people - columns + 2).astype(float)
    return ratio(rest, df), df


def _centred(values: Array) -> Array:
    """Return values less their mean along the last axis, NaN kept."""
    return values - _mean(values)[..., None]


def _mean(values: Array) -> Array:
    """Return the mean of what is there along the last axis; NaN where nothing is."""
    there = np.isfinite(values)
    return ratio(np.where(there, values, 0.0).sum(axis=-1), there.sum(axis=-1))


_ONLY_ROUNDING = 1e-24  # sum of squares, relative to that of the scores: rounding leaves about 1e-31


def own_tables(
    response: Array, assessor: Codes, prototype: Codes, session: Codes | None = None
) -> tuple[VarianceTables, Array]:
    """Return the own tables of the prototypes after sessions, and session effects, of `response` (n, q).

    NaN is a missing score; the codes (n,) count from 0. Means are at the average of the person's sessions. The session
    effects (q, a, s) have sum zero in each person; NaN where absent or not to be told from the prototypes: those that a
    person's prototypes already say (all of one prototype in one session) are left out.
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
            table, effects = _one_person(response[np.ix_(at, chosen)], prototype[at], session[at])
            between[chosen, person], within[chosen, person] = table.between, table.within
            df[chosen, person], df_error[chosen, person] = table.df, table.df_error
            means[chosen[:, None], person, np.unique(prototype[at])] = table.means.T
            sittings[chosen[:, None], person, np.unique(session[at])] = effects.T
            counts[chosen, person] = np.bincount(prototype[at], minlength=p)
            residual[np.ix_(at, chosen)] = table.residual
    return VarianceTables(between, within, df, df_error, means, counts, residual), sittings


def _without_sessions(response: Array, assessor: Codes, prototype: Codes) -> tuple[VarianceTables, Array]:
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
    return VarianceTables(between, within, np.maximum(df, 0), df_error, means, counts, residual), sittings


def _one_person(scores: Array, prototype: Codes, session: Codes) -> tuple[VarianceTables, Array]:
    """Analyse the scores (n, q) of one person, none missing; means and session effects are (groups, q)."""
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
    df, df_error = (np.asarray(float(n)) for n in (full.shape[1] - blank.shape[1], len(y) - full.shape[1]))
    return VarianceTables(between, within, df, df_error, means, products.sum(axis=0), y - fitted), effects


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
