"""Estimates drawn towards their common mean as far as their own scatter says that luck made them differ.

Estimate p of a family is y_p ~ N(theta_p, v_p) and theta_p ~ N(mu, t2); mu is flat or known. The share of the true
variance in what is seen, t2 / (v + t2) with v the mean of the v_p, is uniform beforehand and averaged over afterwards,
so that what is not known of the spread stays in the answer. Source: Daniels (1999), Canadian Journal of Statistics 27,
567-578 (the uniform shrinkage prior); the model is Lindley's, in Efron and Morris (1975), Journal of the American
Statistical Association 70, 311-319. Several families, such as attributes, teach each other what shares are usual: the
prior of each is the mean of the uniform one and of what the others say (an empirical Bayes step, without itself).

Draws of the true values are for chances that must come true whatever the spread is: for them the families' ratios
t2 / v lie about a common centre, normal in their logarithm, and t, the spread in units of the error, is flat far out
and avoids nought at the centre (Gelman, 2006, Bayesian Analysis 1, 515-534, and Chung and others, 2013, Psychometrika
78, 685-709); the error variance is drawn with it. Errors of one
prototype belong together over the families, as the same people judged them, and so may true values, so all families of
a prototype are drawn in at once (Everson and Morris, 2000, Journal of the Royal Statistical Society B 62, 399-412).
Spreads and correlations of true values are learned apart (Barnard, McCulloch and Meng, 2000, Statistica Sinica 10,
1281-1311). The papers are cited from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, ndtr

from panel.stats.arrays import Array

_STEPS, _ROUNDS, _VARIANCES = 60, 2, 5
_LARGEST_DF = 1e8
_SHARE = (np.arange(_STEPS) + 0.5) / _STEPS
_UNIFORM_SHARE = np.full(_STEPS, 1 / _STEPS)
_LOG_RATIO = np.log(_SHARE / (1 - _SHARE))
_RATIO_SD = 0.5  # of the logarithm of t2 / v, between families
# (centres, steps) of the shares, about each centre, and how likely a centre is beforehand: density (1 - share)^-1.5
_ABOUT_CENTRE = np.exp(-(((_LOG_RATIO - _LOG_RATIO[1::2, None]) / _RATIO_SD) ** 2) / 2) / (_SHARE * (1 - _SHARE))
_ABOUT_CENTRE = _ABOUT_CENTRE / _ABOUT_CENTRE.sum(axis=1, keepdims=True)
_LOG_CENTRE = -1.5 * np.log(1 - _SHARE[1::2])
_OF_EACH_SPREAD = 10  # draws
_STUDIES_AT_ONCE, _PAIRS_AT_ONCE = 16, 64  # so that what is worked out for them stays in the cache
_PRIOR_ROWS = 5  # of the correlations of what is seen, as if true values had none
_NOTHING = 1e-12  # a variance this small beside the others is none
_UNKNOWN = 1e9  # so many times the others' variance: not seen at all


@dataclass(frozen=True, eq=False, slots=True)
class _Spread:
    """What a family of estimates says of the spread of the true values; `...` stands for families.

    Parameters
    ----------
    between
        (..., steps) variances between true values.
    weight
        (..., steps) how likely each is; they add up to 1.
    pull
        (..., steps, k) weight of the own estimate against the common mean: 0 shrinks wholly, 1 not at all.
    left
        (..., steps, k) variances of the true values about that, the common mean being known.
    centre, centre_variance
        (..., steps) the common mean and its variance.
    """

    between: Array
    weight: Array
    pull: Array
    left: Array
    centre: Array
    centre_variance: Array


def _find_spread(
    estimate: Array, variance: Array, centre: float | None = None, df: Array | None = None, *, pooled: bool = False
) -> _Spread:
    """Return the spread behind estimates (k,) or (..., families, k) with these variances; NaN: not estimated.

    `centre` is the mean of the true values where it is known, such as 0 for effects. `pooled`: shares about a common
    centre, in place of uniform ones.
    `df` (...) are the degrees of freedom behind the variances of a family: what is picked as large is picked where they
    came out small, so that they are averaged over too, with the prior 1 / v (Box and Tiao 1973, Bayesian Inference in
    Statistical Analysis, 7.2).
    """
    outer = tuple(range(estimate.ndim - variance.ndim))
    there = np.isfinite(variance) & np.isfinite(estimate).all(axis=outer)
    number = np.maximum(there.sum(axis=-1, keepdims=True), 1)
    own = np.where(there, variance, 0.0)[..., None, :] * _multiples(df)
    between = own.sum(axis=-1) / number * np.tile(_SHARE / (1 - _SHARE), own.shape[-2] // _STEPS)
    total = own + between[..., None]
    with np.errstate(divide="ignore", invalid="ignore"):
        precision = np.where(there[..., None, :] & (total > 0), 1 / total, 0.0)
        pull = np.where(total > 0, between[..., None] / total, 1.0)
    known = precision.sum(axis=-1)
    safe = np.where(known > 0, known, 1.0)
    start = np.where(there, estimate, 0.0).sum(axis=-1, keepdims=True) / number if centre is None else centre
    value = np.where(there, estimate - start, 0.0)
    weighed, squares = (np.matvec(precision, each) for each in (value, value**2))
    log = 0.5 * np.log(np.where(precision > 0, precision, 1.0)).sum(axis=-1) - 0.5 * squares
    mean, mean_variance = np.zeros_like(weighed) + start, np.zeros_like(known)
    if centre is None:
        mean, mean_variance = mean + weighed / safe, np.where(known > 0, 1 / safe, 0.0)
        log = log - 0.5 * np.log(safe) + 0.5 * weighed**2 / safe
    weight = (_pooled if pooled else _learned)(np.exp(log - log.max(axis=-1, keepdims=True)))
    return _Spread(between, weight, pull, pull * own, mean, mean_variance)


def _multiples(df: Array | None) -> Array:
    """Return (..., steps, 1) multiples of the variances: every share beside every variance that is as likely."""
    if df is None:
        return np.ones((_STEPS, 1))
    known = np.where(np.isfinite(df), np.minimum(df, _LARGEST_DF), _LARGEST_DF)[..., None]
    drawn = known / chdtri(known, (np.arange(_VARIANCES) + 0.5) / _VARIANCES)
    return np.repeat(drawn, _STEPS, axis=-1)[..., None]


def _learned(likelihood: Array) -> Array:
    """Return the weights (..., families, steps), each family's prior learned from the others."""
    of_share = _of_share(likelihood)
    weight = of_share * _UNIFORM_SHARE
    weight = weight / weight.sum(axis=-1, keepdims=True)
    for _ in range(_ROUNDS if likelihood.ndim > 1 else 0):
        weight = of_share * (_UNIFORM_SHARE + weight.sum(axis=-2, keepdims=True) - weight)
        weight = weight / weight.sum(axis=-1, keepdims=True)
    return _with_variances(weight, likelihood)


def _pooled(likelihood: Array) -> Array:
    """Return the weights (..., families, steps) with the log ratios of all families about one unknown centre."""
    of_share = np.atleast_2d(_of_share(likelihood))
    seen = np.maximum(of_share @ _ABOUT_CENTRE.T, np.finfo(float).tiny)
    log = np.log(seen).sum(axis=-2, keepdims=True) + _LOG_CENTRE
    of_centre = np.exp(log - log.max(axis=-1, keepdims=True))
    weight = of_share * ((of_centre / seen) @ _ABOUT_CENTRE)
    weight = weight / weight.sum(axis=-1, keepdims=True)
    return _with_variances(weight.reshape(*likelihood.shape[:-1], _STEPS), likelihood)


def _of_share(likelihood: Array) -> Array:
    return np.asarray(likelihood.reshape(*likelihood.shape[:-1], -1, _STEPS).sum(axis=-2))


def _with_variances(weight: Array, likelihood: Array) -> Array:
    """Return the weights of the shares spread over the error variances, as likely as each is beside a share."""
    each = likelihood.reshape(*likelihood.shape[:-1], -1, _STEPS)
    whole = each.sum(axis=-2, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(whole > 0, each / whole, 0.0)
    return np.asarray((part * weight[..., None, :]).reshape(likelihood.shape))


def shrink(estimate: Array, variance: Array, df: Array | None = None, *, pooled: bool = False) -> tuple[Array, Array]:
    """Return the shrunken estimates (..., k) and the standard deviations left, both averaged over the spread.

    `pooled`: with spreads about a common centre, as `draw_shrunken` does, in place of uniform shares.
    """
    spread = _find_spread(estimate, variance, df=df, pooled=pooled)
    mean = _shrunken(estimate, spread)
    left = spread.left + (1 - spread.pull) ** 2 * spread.centre_variance[..., None]
    weight = spread.weight[..., None]
    whole = (weight * mean).sum(axis=-2)
    return whole, np.sqrt((weight * (left + (mean - whole[..., None, :]) ** 2)).sum(axis=-2))


def shrink_differences(
    estimate: Array,
    variance: Array,
    first: NDArray[np.intp],
    second: NDArray[np.intp],
    family: NDArray[np.intp],
    df: Array | None = None,
) -> tuple[Array, Array]:
    """Return the shrunken differences (m,) of pairs, and the chance that the sign seen is the wrong one.

    `estimate`, `variance` (families, k); `family`, `first`, `second` (m,) are places in them.
    """
    spread = _find_spread(estimate, variance, df=df)
    parts = (_shrunken(estimate, spread), spread.pull, spread.left)
    mean, pull, left = (np.ascontiguousarray(np.swapaxes(each, -1, -2)) for each in parts)
    seen = estimate[family, first] - estimate[family, second]
    found = np.empty((2, len(family)))
    for begin in range(0, len(family), _PAIRS_AT_ONCE):
        rows = slice(begin, begin + _PAIRS_AT_ONCE)
        f, one, other = family[rows], first[rows], second[rows]
        uneven = pull[f, one] - pull[f, other]
        left_at = uneven * uneven * spread.centre_variance[f] + left[f, one] + left[f, other]
        found[:, rows] = _signs(mean[f, one] - mean[f, other], left_at, spread.weight[f], seen[rows])
    return found[0], found[1]


def shrink_effects(estimate: Array, std_error: Array, df: float = _LARGEST_DF) -> tuple[Array, Array]:
    """Return effects (k,) of one family shrunken towards none, and the chance that the sign seen is the wrong one."""
    spread = _find_spread(estimate, std_error**2, 0.0, df=np.array(df))
    return _signs(_shrunken(estimate, spread).T, spread.left.T, spread.weight, estimate)


def own_variances(squared: Array) -> Array:
    """Return the variances v_p of k estimates from those of their differences, v_p + v_r, (..., k, k).

    What all estimates share, such as the level of the people asked, is in no difference and so in none of them.
    Least squares over all pairs; never below 0.
    """
    k = squared.shape[-1]
    there = ~np.eye(k, dtype=bool)
    of_each = np.where(there, squared, 0.0).sum(axis=-1)
    if k == 2:
        return np.asarray(of_each / 2)
    total = of_each.sum(axis=-1, keepdims=True) / (2 * (k - 1))
    return np.maximum((of_each - total) / (k - 2), 0.0)


def draw_shrunken(
    estimate: Array,
    variance: Array,
    errors: Array,
    correlation: Array,
    rng: np.random.Generator,
    *,
    df: Array | None = None,
    of_each_spread: int = _OF_EACH_SPREAD,
    with_new: bool = True,
) -> tuple[Array, Array]:
    """Return draws of the true values (n, ..., q, k) of q families, and of new ones with the same spread.

    `errors` (n, ..., q, k) are draws of the errors of the estimates (..., q, k), `correlation` (q, q) is theirs over
    the families, and `variance` (q, k) theirs, NaN where there is no estimate. `df` (q,) are the degrees of freedom
    behind `variance`, which `errors` take for known: what is not known of it is averaged over with the spread.
    `of_each_spread` draws at a time share spreads, error variances and correlations of true values, as likely as the
    estimates say. A draw of values and errors is moved by what it leaves of the estimates (Matheron's rule, in Journel
    and Huijbregts, 1978, Mining Geostatistics). Without `with_new` there are no new ones.
    """
    each = int(np.gcd(len(errors), of_each_spread))
    there = np.isfinite(variance).T
    between, multiple = _drawn_spread(estimate, variance, df, (len(errors) // each, *errors.shape[1:-1]), rng)
    root = np.swapaxes(_roots_between(estimate, variance, between, correlation, rng), -1, -2)
    true = np.swapaxes(root, -1, -2) @ root
    scale = np.sqrt(multiple)[..., None, :]
    weight = _error_covariances(variance, correlation) * (scale[..., None] * scale[..., None, :])
    weight += true[..., None, :, :]
    weight = np.linalg.inv(weight)
    to_centre = weight @ np.linalg.inv(weight.sum(axis=-3))[..., None, :, :]
    to_centre = to_centre.reshape(*between.shape[:-1], there.size, len(variance))  # from all that is left, in a row
    to_value = weight @ true[..., None, :, :]
    del weight
    centres = np.empty((each, *between.shape[:-1], 1, len(variance)))
    drawn = np.empty((each, *between.shape[:-1], *there.shape))
    errors_of = errors.reshape(each, *between.shape, errors.shape[-1])
    for value, centre, error in zip(drawn, centres, errors_of, strict=True):  # a turn at a time, to need little memory
        deviation = rng.standard_normal(value.shape) @ root
        left = np.swapaxes(estimate, -1, -2) - np.swapaxes(error, -1, -2) * scale - deviation
        left = np.where(there, left, 0.0)
        centre[..., 0, :] = np.vecmat(left.reshape(*left.shape[:-2], there.size), to_centre)
        value[:] = np.where(there, centre + deviation + np.vecmat(left - centre, to_value), np.nan)
    new = np.empty(drawn.shape if with_new else (0, *drawn.shape[1:]))
    for value, centre in zip(new, centres, strict=False):
        value[:] = centre + rng.standard_normal(value.shape) @ root
    as_errors = (-1, *errors.shape[1:])
    return np.swapaxes(drawn, -1, -2).reshape(as_errors), np.swapaxes(new, -1, -2).reshape(as_errors)


def _error_covariances(variance: Array, correlation: Array) -> Array:
    """Return the covariances (k, q, q) of the errors over the families; what is not there is as good as not known."""
    there, usual = np.isfinite(variance).T, np.nanmean(variance)
    own = np.sqrt(np.where(there, variance.T, 0.0))
    more = np.where(there, _NOTHING, _UNKNOWN) * usual + np.finfo(float).tiny
    return np.asarray(correlation * own[:, :, None] * own[:, None, :] + np.eye(len(variance)) * more[:, None, :])


def _drawn_spread(
    estimate: Array, variance: Array, df: Array | None, shape: tuple[int, ...], rng: np.random.Generator
) -> tuple[Array, Array]:
    """Return one variance between true values and one multiple of the error variance for each draw and family."""
    among = estimate.reshape(-1, *estimate.shape[-2:])
    starts = range(0, len(among), _STUDIES_AT_ONCE)
    blocks = [_find_spread(among[at : at + _STUDIES_AT_ONCE], variance, df=df, pooled=True) for at in starts]
    steps = np.cumsum(np.concatenate([block.weight for block in blocks]), axis=-1)
    steps = steps.reshape(*estimate.shape[:-1], steps.shape[-1])
    place = (rng.random(shape)[..., None] > steps[..., :-1]).sum(axis=-1)[..., None]
    between, multiple = (
        np.take_along_axis(np.broadcast_to(each, (*shape, steps.shape[-1])), place, axis=-1)[..., 0]
        for each in (blocks[0].between, _multiples(df)[..., 0])
    )
    return between, multiple


def _roots_between(
    estimate: Array, variance: Array, between: Array, correlation: Array, rng: np.random.Generator
) -> Array:
    """Return roots (m, ..., q, q) of covariances of true values with the variances `between` (m, ..., q).

    The correlations of what is seen are drawn from an inverse Wishart distribution about what errors alone would tie
    together; what the errors add is taken off.
    """
    q, usual = len(variance), np.nanmean(variance, axis=1)
    seen = estimate[..., np.isfinite(variance).all(axis=0)]
    rows = max(seen.shape[-1] - 1, 0)
    seen = seen - seen.sum(axis=-1, keepdims=True) / max(seen.shape[-1], 1)
    sd = np.sqrt((seen**2).sum(axis=-1, keepdims=True) / max(rows, 1))
    seen = seen / np.where(sd > 0, sd, 1.0)
    factor = np.tril(rng.standard_normal((*between.shape, q)), -1)
    factor[..., range(q), range(q)] = np.sqrt(rng.chisquare(rows + _PRIOR_ROWS + q - np.arange(q), between.shape))
    part = np.sqrt(usual / np.maximum(between + usual, np.finfo(float).tiny))
    untied = np.eye(q) + (correlation - np.eye(q)) * part[..., :, None] * part[..., None, :]
    factor = np.linalg.cholesky(np.linalg.inv(seen @ np.swapaxes(seen, -1, -2) + _PRIOR_ROWS * untied)) @ factor
    covariance = np.linalg.inv(factor @ np.swapaxes(factor, -1, -2))
    sd = np.sqrt((between + usual) / np.diagonal(covariance, axis1=-2, axis2=-1))
    covariance = covariance * sd[..., :, None] * sd[..., None, :] - correlation * np.sqrt(np.outer(usual, usual))
    values, vectors = np.linalg.eigh(covariance)
    values = np.maximum(values, _NOTHING * np.abs(values).max(axis=-1, keepdims=True) + np.finfo(float).tiny)
    root = vectors * np.sqrt(values)[..., None, :]
    return np.asarray(root * np.sqrt(between / (root**2).sum(axis=-1))[..., None])


def _shrunken(estimate: Array, spread: _Spread) -> Array:
    centre = spread.centre[..., None]
    return np.asarray(centre + spread.pull * (estimate[..., None, :] - centre))


def _signs(mean: Array, variance: Array, weight: Array, seen: Array) -> tuple[Array, Array]:
    """Return means (m,) over the spread, and the chance that the sign seen is wrong, from (m, steps) each."""
    with np.errstate(divide="ignore", invalid="ignore"):
        wrong = ndtr(-np.sign(seen)[:, None] * mean / np.sqrt(variance))
    known = np.isfinite(mean).all(axis=-1) & (variance > 0).all(axis=-1)
    return (weight * mean).sum(axis=-1), np.where(known, (weight * wrong).sum(axis=-1), np.nan)
