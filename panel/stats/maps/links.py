"""What a response goes with: one descriptor at a time, which descriptors stay apart, all together, a place on a plane.

Carroll (1972), Individual differences and multidimensional scaling, in Shepard et al. (eds), Multidimensional Scaling.
The vector model is y = a + b1 x1 + b2 x2; the circular one adds c (x1^2 + x2^2), which peaks at -b / (2 c) if c < 0.
All is linear in the response, so that many responses on the same points cost one product.

Partial least squares works one response at a time, for many responses and many orders of few rows at once. Only the
products between rows enter (m x m for m rows), never the p x p products of the columns: with few prototypes and many
descriptors that is the small side, and all responses and all orders of the rows share it. The scores are those of the
orthogonal scores algorithm: t_a = (I - P) K r_a, r_{a+1} = r_a - t_a (t_a' r_a) / (t_a' t_a), with K = XX', P the
projection on the scores before and r_1 = y. Sources: Wold, Ruhe, Wold and Dunn (1984), SIAM J Sci Stat Comput 5,
735-743; the products between rows: Rännar, Lindgren, Geladi and Wold (1994), J Chemometrics 8, 111-125.
"""

from __future__ import annotations

from functools import cache
from itertools import permutations
from math import factorial
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc, ndtri, stdtr, stdtrit

from panel.stats.arrays import Array, ratio

_NO_SPREAD = 1e-12


def single_links(X: ArrayLike, Y: ArrayLike) -> dict[str, Array]:
    """Regress each column of `Y` (rows x responses) on each column of `X` (rows x descriptors) alone.

    By name, arrays descriptors x responses, NaN where either does not vary: Pearson's `r`, the least squares `slope`
    with its `std_error` and the `p_value` of the t test that it is zero (n - 2 degrees of freedom), and its range
    `slope_low slope_high` when each row in turn is left out.
    """
    X, Y = np.asarray(X, float), np.asarray(Y, float)
    n = len(X)
    sxx, sxy, syy = _sums(X, Y)
    r = ratio(sxy, np.sqrt(sxx[:, None] * syy))
    df = n - 2
    spare = np.clip(1 - r**2, 0, None)
    with np.errstate(divide="ignore"):
        statistic = r * np.sqrt(df / spare)
    left_out = np.stack([_slopes(np.delete(X, row, axis=0), np.delete(Y, row, axis=0)) for row in range(n)])
    return {
        "r": r,
        "slope": ratio(sxy, sxx[:, None]),
        "std_error": np.sqrt(spare * ratio(syy, sxx[:, None]) / df),
        "p_value": 2 * stdtr(df, -np.abs(statistic)),
        "slope_low": left_out.min(axis=0),
        "slope_high": left_out.max(axis=0),
    }


def _williams_test(r12: ArrayLike, r13: ArrayLike, r23: ArrayLike, n: int) -> tuple[Array, Array]:
    """Return t and the two-sided p-value that variable 1 goes with 2 and with 3 equally closely; n - 3 df.

    Source: Williams (1959), Journal of the Royal Statistical Society B 21, 396-399, as Steiger (1980), Psychological
    Bulletin 87, 245-251, recommends it.
    """
    r12, r13, r23 = (np.asarray(r, float) for r in (r12, r13, r23))
    determinant = 1 - r12**2 - r13**2 - r23**2 + 2 * r12 * r13 * r23
    mean = (r12 + r13) / 2
    spread = 2 * (n - 1) / (n - 3) * np.clip(determinant, 0, None) + mean**2 * (1 - r23) ** 3
    t = (r12 - r13) * np.sqrt(ratio((n - 1) * (1 + r23), spread))
    return t, 2 * stdtr(n - 3, -np.abs(t))


def _sums(X: Array, Y: Array) -> tuple[Array, Array, Array]:
    """Return the sums of squares and products about the means; zero where a column is only rounding."""
    x, y = X - X.mean(axis=0), Y - Y.mean(axis=0)
    x, y = (np.where(_varies(about, whole), about, 0.0) for about, whole in ((x, X), (y, Y)))
    return (x**2).sum(axis=0), x.T @ y, (y**2).sum(axis=0)


def _varies(about: Array, whole: Array) -> NDArray[np.bool_]:
    size = np.abs(whole).max(axis=0, initial=0.0) * np.sqrt(len(whole))
    return np.linalg.norm(about, axis=0) > _NO_SPREAD * size


def _slopes(X: Array, Y: Array) -> Array:
    sxx, sxy, _ = _sums(X, Y)
    return ratio(sxy, sxx[:, None])


# May one descriptor be named as what an attribute goes with? Only if nothing else explains the same data as well.
#
# Blends that differ in m independent ways carry m effects, however many of them were made. Where each of these
# effects is free to be what it likes, the responses point in any direction of an m-dimensional space, and a
# descriptor lies close to that direction by chance as often as two columns of m + 1 rows correlate. So a name is held
# to m + 1 rows, not to the number of blends: otherwise effects of swaps that happen to be in proportion would be
# taken for a property.


def p_over_moves(r: Array, moves: int) -> Array:
    """Return the two-sided p-values of correlations held to `moves` + 1 rows; NaN with fewer than two moves."""
    df = moves - 1
    if df < 1:
        return np.full(np.shape(r), np.nan)
    with np.errstate(divide="ignore"):
        t = np.abs(r) * np.sqrt(df / np.clip(1 - r**2, 0, None))
    return 2 * stdtr(df, -t)


def name_drivers(
    r: Array,
    p_seen: Array,
    p_named: Array,
    r_between: Array,
    moves: int,
    *,
    candidate: NDArray[np.bool_],
    possible: NDArray[np.bool_],
    refused: NDArray[np.bool_],
    level: float = 0.95,
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Name at most one column for each response, or say which cannot be told apart.

    Returns the number of the column named for each response, -1 where none may be, and (columns, responses) which are
    in the running: the best and every column that explains the response as well as it does; none where nothing stands
    out.

    A response has a best candidate if the candidate with the closest correlation stands out among all questions
    (`p_seen` below 1 - `level`). In the running with it are all `possible` columns, candidates or not, whose
    correlation is not clearly weaker (Williams' test of two correlations with one variable in common, two-sided at
    `level`, over `moves` + 1 rows). The best is named only if it runs alone, `p_named` is below 1 - `level` and it is
    not refused.

    Parameters
    ----------
    r
        (columns, responses) correlations.
    p_seen
        Their p-values over the rows there are, adjusted over all candidates and responses.
    p_named
        P-values of `p_over_moves`, adjusted over the questions asked beforehand; NaN for all others.
    r_between
        (columns, columns) correlations between the columns.
    moves
        In how many independent ways the rows differ.
    candidate
        (columns,) which columns may be named; the others only stand in the way of a name.
    possible
        (columns, responses) which correlations stand out taken singly.
    refused
        (columns, responses) where a name would be wrong for another reason.
    """
    alpha = round(1 - level, 12)
    closeness = np.nan_to_num(np.where(candidate[:, None], np.abs(r), -1.0), nan=-1.0)
    best = closeness.argmax(axis=0)
    response = np.arange(r.shape[1])
    with np.errstate(invalid="ignore"):
        seen = (p_seen[best, response] < alpha) & (closeness[best, response] >= 0)
        sure = p_named[best, response] < alpha
    in_running = _in_running(r, r_between, best, moves + 1, alpha, possible) & seen
    named = seen & sure & (in_running.sum(axis=0) == 1) & ~refused[best, response]
    return np.where(named, best, -1), in_running


def _in_running(
    r: Array, r_between: Array, best: NDArray[np.intp], rows: int, alpha: float, possible: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Return which columns are not clearly weaker than the best of each response, the best itself among them."""
    response = np.arange(r.shape[1])
    running = possible & ~np.isnan(r)
    if rows > 3:
        sign = np.sign(r)
        # All correlations with the response are turned positive, so the one between two columns turns with both signs.
        between = r_between[:, best] * sign * sign[best, response]
        t, p = _williams_test(np.abs(r[best, response]), np.abs(r), between, rows)
        with np.errstate(invalid="ignore"):
            running &= ~((t > 0) & (p < alpha))
    running[best, response] = True
    return running


# Correlations of the columns of two tables, and how large one has to be before chance is no longer a good reason.


_FEWEST_ROWS = 4  # below this there is no interval worth the name


def correlations(first: ArrayLike, second: ArrayLike) -> dict[str, Array]:
    """Correlate the p columns of `first` with the q columns of `second`, rows (prototypes) in the same order.

    NaN is a value that is not there: each pair of columns uses the rows known in both. Columns by name, all (p, q):
    Pearson's `estimate`, `n` rows known in both and two-sided `p_value` (Student's t), NaN where n is below four or a
    column does not vary.
    """
    X, Y = (np.atleast_2d(np.asarray(table, dtype=float).T).T for table in (first, second))
    both = np.isfinite(X)[:, :, None] & np.isfinite(Y)[:, None, :]
    n = both.sum(axis=0)
    dx, dy = _deviations(X[:, :, None], both, n), _deviations(Y[:, None, :], both, n)
    sxx, syy, sxy = (dx**2).sum(axis=0), (dy**2).sum(axis=0), (dx * dy).sum(axis=0)
    varies = (
        _correlation_varies(sxx, X[:, :, None], both)
        & _correlation_varies(syy, Y[:, None, :], both)
        & (n >= _FEWEST_ROWS)
    )
    scale = np.sqrt(np.where(varies, sxx * syy, 1.0))
    r = np.where(varies, np.clip(sxy / scale, -1.0, 1.0), np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        t = r * np.sqrt((n - 2) / (1 - r**2))
        p_value = np.where(varies, 2 * stdtr(n - 2, -np.abs(t)), np.nan)
    return {"estimate": r, "n": np.asarray(n, dtype=np.int64), "p_value": p_value}


_POINTS = 80
_quadrature = cache(np.polynomial.legendre.leggauss)
_REACH = 6.0  # over sqrt(n), in angles: twelve of their standard deviations
_STEPS, _NEAR, _FAR = 40, 1e-10, 2.0  # of the secants: of the deviate at the end, and of atanh(rho) in one step


def correlation_interval(r: ArrayLike, n: ArrayLike, alpha: ArrayLike) -> tuple[Array, Array]:
    """Return the ends of the exact interval of normal data: the rho at which an r so high, or low, has alpha / 2.

    It leaves out zero exactly where the t test of r is below alpha, as Fisher's interval by atanh(r) does not: that
    test is the case rho = 0 of the same distribution, r / sqrt(1 - r^2) = (z + chi_1 rho / sqrt(1 - rho^2)) / chi_2
    with n - 1 and n - 2 degrees of freedom. With chi_1 = s cos(a), chi_2 = s sin(a) the chance of an r below is the
    mean over the angle a of Student's t with 2 n - 3.

    References
    ----------
    Fisher (1915) Biometrika 10:507-521; Ruben (1966) J. R. Stat. Soc. B 28:513-525.
    """
    r, n, alpha = np.broadcast_arrays(*(np.asarray(each, dtype=float) for each in (r, n, alpha)))
    inside = np.isfinite(r) & (np.abs(r) < 1)
    ends = np.stack([np.where(np.abs(r) < 1, np.nan, r)] * 2)
    for place, sign in enumerate((1, -1)):  # the upper end of r is the lower one of -r, turned
        ends[place, inside] = sign * _lower_end(sign * r[inside], n[inside], alpha[inside])
    return ends[0], ends[1]


def _lower_end(r: Array, n: Array, alpha: Array) -> Array:
    """Solve by secants: as a normal deviate, the chance of an r so high is nearly linear in atanh(rho)."""
    seen, wanted = r / np.sqrt(1 - r**2), ndtri(alpha / 2)
    here = np.arctanh(r) + wanted / np.sqrt(n - 3)
    before, off_before = here - 0.1, ndtri(_chance_above(seen, np.sinh(here - 0.1), n)) - wanted
    for _ in range(_STEPS):
        off = ndtri(_chance_above(seen, np.sinh(here), n)) - wanted
        if (np.abs(off) < _NEAR).all():
            break
        slope = np.divide(here - before, off - off_before, out=np.zeros_like(here), where=off != off_before)
        before, off_before, here = here, off, here - np.clip(off * slope, -_FAR, _FAR)
    return np.asarray(np.tanh(here))


def _chance_above(seen: Array, true: Array, n: Array) -> Array:
    """Return P(R / sqrt(1 - R^2) > seen) at rho / sqrt(1 - rho^2) = true.

    The mean of Student's t of sqrt(2 n - 3) (true cos(a) - seen sin(a)), which turns within 1 / c of atan(true / seen),
    c = sqrt((2 n - 3) (seen^2 + true^2)): the points lie as close there, at sinh(u) / c.
    """
    c, turn = np.sqrt((2 * n - 3) * (seen**2 + true**2)) + 1, np.arctan2(np.where(seen < 0, -true, true), np.abs(seen))
    middle = np.arctan(np.sqrt((n - 3) / (n - 2)))
    low, high = np.maximum(middle - _REACH / np.sqrt(n), 0.0), np.minimum(middle + _REACH / np.sqrt(n), np.pi / 2)
    low, high = np.arcsinh(c * (low - turn))[:, None], np.arcsinh(c * (high - turn))[:, None]
    points, weights = _quadrature(_POINTS)
    u = low + (high - low) * (points + 1) / 2
    angle = np.clip(turn[:, None] + np.sinh(u) / c[:, None], 1e-300, np.pi / 2)
    sine, cosine, n = np.sin(angle), np.cos(angle), n[:, None]
    log_weight = (n - 3) * np.log(sine) + (n - 2) * np.log(cosine)
    weight = weights * np.cosh(u) * np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
    below = stdtr(2 * n - 3, np.sqrt(2 * n - 3) * (true[:, None] * cosine - seen[:, None] * sine))
    return np.asarray((weight * below).sum(axis=1) / weight.sum(axis=1))


def needed_correlation(n: ArrayLike, level: float = 0.95) -> Array:
    """Return the |r| that n rows need for p < 1 - level, two-sided, for one pair chosen beforehand; NaN below three.

    t / sqrt(n - 2 + t^2) with Student's t of n - 2 degrees of freedom.
    """
    df = np.asarray(n, dtype=float) - 2
    t = stdtrit(np.where(df > 0, df, np.nan), 0.5 + level / 2)
    return np.asarray(t / np.sqrt(df + t**2))


def _deviations(X: Array, both: NDArray[np.bool_], n: NDArray[np.int64]) -> Array:
    """Return deviations from the mean of the rows used, zero in the others."""
    used = np.where(both, X, 0.0)
    return np.where(both, used - used.sum(axis=0) / np.maximum(n, 1), 0.0)


def _correlation_varies(squares: Array, X: Array, both: NDArray[np.bool_]) -> NDArray[np.bool_]:
    size = np.where(both, np.abs(X), 0.0).max(axis=0, initial=0.0)
    return np.asarray(np.sqrt(squares) > _NO_SPREAD * size)


def fit_plane(points: Array, response: Array) -> dict[str, Any]:
    """Fit both models to the columns of `response` (n, m) on `points` (n, 2); n is at least 5.

    By name, (m,) or (m, 2): `intercept` and `slope` of the vector model, `r2` and `p_value` of its F test with 2 and
    n - 3 degrees of freedom; `curvature` c of the circular model, `peak` -b / (2 c), `circular_r2`, and
    `curvature_p_value` of t with n - 4.
    """
    n = len(points)
    vector = np.column_stack([np.ones(n), points])
    circular = np.column_stack([vector, (points**2).sum(axis=1)])
    total = ((response - response.mean(axis=0)) ** 2).sum(axis=0)
    first, left = _solved(vector, response)
    second, less = _solved(circular, response)
    total = np.where(total > 0, total, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        f = (total - left) / 2 / (left / (n - 3))
        t = np.sqrt(np.maximum(left - less, 0.0) / (less / (n - 4)))
        peak = -second[1:3] / (2 * second[3])
    return {
        "intercept": first[0],
        "slope": first[1:].T,
        "r2": 1 - left / total,
        "p_value": np.asarray(fdtrc(2, n - 3, f)),
        "curvature": second[3],
        "peak": peak.T,
        "circular_r2": 1 - less / total,
        "curvature_p_value": np.asarray(2 * stdtr(n - 4, -t)),
    }


def _solved(columns: Array, response: Array) -> tuple[Array, Array]:
    """Return coefficients and residual sums of squares."""
    coefficients = np.linalg.lstsq(columns, response, rcond=None)[0].astype(np.float64)
    return coefficients, ((response - columns @ coefficients) ** 2).sum(axis=0)


_ON_EDGE = 1e-12  # of the largest coordinate: so near a side of the hull a place is on it, but for rounding


def direction_interval(slopes: Array, centre: Array, level: float) -> tuple[float, float]:
    """Return the angles, in degrees from that of `centre` (2,), that hold the middle part of the drawn slopes.

    Angles run anticlockwise; the first of the two offsets is negative unless the draws lie to one side.
    """
    turn = np.arctan2(slopes[:, 1], slopes[:, 0]) - np.arctan2(centre[1], centre[0])
    offset = np.degrees((turn + np.pi) % (2 * np.pi) - np.pi)
    low, high = np.quantile(offset, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def inside_hull(points: Array, places: Array) -> NDArray[np.bool_]:
    """Return which `places` (m, 2) lie in the convex hull of the points (n, 2); none if these are on a line."""
    from scipy.spatial import ConvexHull, QhullError  # slow to load, and seldom needed

    try:
        sides = ConvexHull(points).equations  # outward normals and offsets, one row per side
    except QhullError:
        return np.zeros(len(places), dtype=bool)
    reach = np.abs(points).max()
    return np.asarray((places @ sides[:, :2].T + sides[:, 2] <= _ON_EDGE * reach).all(axis=1))


# A score this small beside K and y is rounding: nothing of the response is left for another component.
_NO_SCORE = 1e-10
# So many responses at a time stay in the processor's cache; more only wait for memory.
_TOGETHER = 2000
# Two orders of the rows give the same Q2 if it differs by no more than the arithmetic may.
_SAME_Q2 = 1e-9


def _leave_one_out(X: ArrayLike, Y: ArrayLike, n_components: int, *, scale: bool = True, ddof: int = 1) -> Array:
    """Return the prediction of each row from all others, (components, rows, responses); standardised in each fold."""
    X, Y = np.asarray(X, float), np.asarray(Y, float)
    folds = [np.arange(len(X)) != row for row in range(len(X))]
    products = []
    for row, kept in enumerate(folds):
        rows, new = _standardised(X[kept], X[[row]], scale, ddof)
        products.append((rows @ rows.T, new @ rows.T))
    predicted = np.empty((n_components, *Y.shape))
    for first in range(0, Y.shape[1], _TOGETHER):
        block = slice(first, first + _TOGETHER)
        together = np.ascontiguousarray(Y[:, block])
        for row, (kept, (K, K_new)) in enumerate(zip(folds, products, strict=True)):
            predicted[:, row, block] = _predictions(K, K_new, together[kept], n_components)[:, 0]
    return predicted


def q_squared(Y: ArrayLike, predicted: ArrayLike) -> Array:
    """Return Q2 = 1 - sum (y - predicted)^2 / sum (y - mean)^2 over the rows (the axis before the last).

    Predicting each row by the mean of the others gives 1 - (n / (n - 1))^2, below zero. NaN where nothing varies.
    """
    Y = np.asarray(Y, float)
    total = ((Y - Y.mean(axis=-2, keepdims=True)) ** 2).sum(axis=-2)
    varies = np.sqrt(total) > _NO_SPREAD * np.abs(Y).max(axis=-2, initial=0.0)
    left = ((Y - predicted) ** 2).sum(axis=-2)
    total, varies = np.broadcast_to(total, left.shape), np.broadcast_to(varies, left.shape)
    return 1 - np.divide(left, total, out=np.full(left.shape, np.nan), where=varies)


def permutation_test(X: ArrayLike, Y: ArrayLike, n_components: int, orders: NDArray[np.intp]) -> dict[str, Any]:
    """Test the leave-one-out Q2 of each response by giving its rows other places.

    The number of components is chosen by the largest Q2 anew in each order, so that choosing it costs nothing.
    `orders` (orders x rows) comes from `row_orders`; its first row is the true order.

    By name, one entry per response, how well held-out rows are predicted, and how often other orders do as well:

    q2
        (components, responses) Q2 with 1, 2 ... components.
    best, n_components
        The largest of them, and with how many components.
    p_value
        Share of the orders, the true one among them, whose largest Q2 is at least as large.
    floor
        Smallest p-value possible: the share of orders that cannot be told from the true one.
    chance
        The largest Q2 that one order in twenty exceeds.
    orders, arrangements
        How many orders were tried, and how many different ones there are.
    """
    X, Y = np.asarray(X, float), np.asarray(Y, float)
    n, q = Y.shape
    placed = Y[orders].transpose(1, 0, 2).reshape(n, -1)
    every = q_squared(placed, _leave_one_out(X, placed, n_components)).reshape(n_components, len(orders), q)
    largest = every.max(axis=0)
    best = largest[0]
    with np.errstate(invalid="ignore"):
        as_good, alike = largest >= best - _SAME_Q2, np.abs(largest - best) <= _SAME_Q2
    known = ~np.isnan(best)
    return {
        "q2": every[:, 0],
        "best": best,
        "n_components": np.where(known, np.nan_to_num(every[:, 0]).argmax(axis=0) + 1, 0),
        "p_value": np.where(known, as_good.mean(axis=0), np.nan),
        "floor": np.where(known, alike.mean(axis=0), np.nan),
        "chance": np.quantile(largest, 0.95, axis=0),
        "orders": len(orders),
        "arrangements": _arrangements(X),
    }


def row_orders(n: int, draws: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Return orders of `n` rows, the true one first: all n! if those are no more than `draws`, else `draws` drawn."""
    if factorial(n) <= draws:
        return np.array(list(permutations(range(n))), dtype=np.intp)
    drawn = rng.permuted(np.tile(np.arange(n), (draws, 1)), axis=1)
    return np.vstack([np.arange(n), drawn])


def _arrangements(X: ArrayLike) -> int:
    """Return in how many different ways responses can be given to the rows of `X`, rows that are alike being one."""
    _, counts = np.unique(np.asarray(X, float).round(9), axis=0, return_counts=True)
    ways = factorial(int(counts.sum()))
    for count in counts:
        ways //= factorial(int(count))
    return ways


def _standardised(X: Array, X_new: Array, scale: bool, ddof: int) -> tuple[Array, Array]:
    """Centre and scale both by the columns of `X`; a column of `X` that does not vary becomes zero."""
    mean = X.mean(axis=0)
    centred = X - mean
    deviation = np.sqrt((centred**2).sum(axis=0) / max(len(X) - ddof, 1))
    flat = ~(deviation > _NO_SPREAD * np.abs(X).max(axis=0, initial=0.0))
    by = np.where(flat, 1.0, deviation) if scale else np.ones_like(deviation)
    return np.where(flat, 0.0, centred) / by, (X_new - mean) / by


def _predictions(K: Array, K_new: Array, Y: Array, n_components: int) -> Array:
    """Return predictions (components, new rows, responses) from the products between the rows."""
    mean = Y.mean(axis=0)
    left = Y - mean
    smallest = (_NO_SCORE * np.linalg.norm(K)) ** 2 * _dots(left, left)
    scores: list[tuple[Array, Array, Array]] = []
    predicted = np.zeros((len(K_new), Y.shape[1])) + mean
    steps = np.empty((n_components, *predicted.shape))
    for component in range(n_components):
        t, t_new = K @ left, K_new @ left
        for before, before_new, size in scores:
            share = ratio(_dots(before, t), size, 0.0)
            t -= share * before
            t_new -= share * before_new
        size = _dots(t, t)
        size = np.where(size > smallest, size, 0.0)
        loading = ratio(_dots(t, left), size, 0.0)
        if component < n_components - 1:
            left -= loading * t
        predicted += loading * t_new
        scores.append((t, t_new, size))
        steps[component] = predicted
    return steps


def _dots(first: Array, second: Array) -> Array:
    """Return the sum of products of each pair of columns."""
    return np.asarray(np.einsum("ij,ij->j", first, second))
