"""How far one assessor departs from what the others lead one to expect, and how rarely chance alone does so.

Somebody who feels what the others feel gives means m_j = level + s * t_j + own differences + scatter, t_j being the
true differences and s the person's use of the scale. The others' means x_j stand for t_j only as far as they are
reliable: the slope of m on x is then expected at s * reliability, and less the more weakly the prototypes differ.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import betainc, betaincc, fdtr, fdtrc, polygamma, psi, stdtr

from panel.stats.arrays import Array, ratio
from panel.stats.assessors.agreement import Agreement, column_effects
from panel.stats.comparing.group_means import VarianceTables
from panel.stats.mixed.inference import Estimates

SCALE_SD = 0.2
"""Standard deviation of honest use of the scale, between people and again between attributes of one person: two and a
half of it span the 0.5 to 1.5 that panel leaders commonly accept (common practice, no source)."""

_LEAST_SCALE = 0.5
"""Nobody is expected to use less of the scale than this, or who feels nothing would be right to feel nothing."""


@dataclass(frozen=True, eq=False, slots=True)
class Departures:
    """Every array (q, a) unless said otherwise, NaN where not judged.

    Parameters
    ----------
    std_error, df
        Of the slope on the others' means, from what is seen differently in the panel and the own scatter.
    expected
        Slope expected of somebody who feels what the others feel.
    lower
        Chance of a slope this low or lower in such a person.
    turn
        How far the slope of the same person with the scale reversed lies below the expected one, in standard errors.
    flatter
        Chance of own means that differ so little.
    stranger
        Chance of so much scatter of the own means about the line on the others'.
    scale, scale_error
        (a,) use of the scale over all judged attributes, 1 being the panel's, and its standard error.
    """

    std_error: Array
    df: Array
    expected: Array
    lower: Array
    turn: Array
    flatter: Array
    stranger: Array
    scale: Array
    scale_error: Array


def departures(
    found: Agreement,
    reliability: Array,
    judged: np.ndarray,
    panel: tuple[Array, Array],
    others: tuple[Array, Array],
    extra: tuple[Array, Array],
    together: Array,
) -> Departures:
    """Return the departures of each assessor.

    Parameters
    ----------
    found
        Agreement of each assessor with the others.
    reliability
        (q, a) of the others' means, 0 to 1.
    judged
        (q, a) whether the others tell the prototypes apart, so that agreement can be judged at all.
    panel, others
        Mean square of disagreement, and its df, with everybody in it, (q,), and with each assessor left out, (q, a).
    extra
        (q, a) variance of a person's means by which the own scatter exceeds the panel's (zero if it does not), and
        its degrees of freedom.
    together
        (q, q) correlations of what is left of the scores of one sample, for the error of a scale over attributes.
    """
    base, base_df = (part[:, None] for part in panel)
    variance = base + extra[0]
    df = variance**2 / (base**2 / base_df + extra[0] ** 2 / np.maximum(extra[1], 1))
    n_others = np.isfinite(found.slope).sum(axis=1, keepdims=True) - 1
    differ = np.where(found.others_square > 0, found.others_square, np.nan)
    by_chance = variance * (1 + 1 / np.maximum(n_others, 1)) / differ
    square = by_chance + (reliability * SCALE_SD) ** 2
    usable = judged & np.isfinite(found.slope) & np.isfinite(square) & (df > 0)
    weight = np.where(usable, reliability**2 / square, 0.0)
    towards = np.where(usable, reliability * found.slope / square, 0.0)
    elsewhere, doubt = _scale_elsewhere(weight, towards)
    expected = reliability * elsewhere
    error = np.sqrt(square + (reliability * doubt) ** 2)
    df_own = np.maximum(found.prototypes - 1, 1)  # who scored one prototype is not usable
    true_square = np.minimum(elsewhere, 1.0) ** 2 * reliability * found.others_square / df_own
    flat = found.spread / (variance + true_square)
    with np.errstate(divide="ignore", invalid="ignore"):
        return Departures(
            std_error=np.sqrt(by_chance),
            df=np.broadcast_to(df, by_chance.shape),
            expected=np.where(usable, expected, np.nan),
            lower=np.where(usable, stdtr(df, (found.slope - expected) / error), np.nan),
            turn=np.where(usable, 2 * expected / error, np.nan),
            flatter=np.where(usable, fdtr(df_own, df, flat), np.nan),
            stranger=_stranger(found, others, extra, n_others),
            scale=np.where(weight.any(axis=0), towards.sum(axis=0) / weight.sum(axis=0), np.nan),
            scale_error=_scale_error(found.others, weight, reliability, by_chance, together),
        )


def _scale_error(others: Array, weight: Array, reliability: Array, by_chance: Array, together: Array) -> Array:
    """Return the standard error (a,) of a scale over all judged attributes.

    The errors of two slopes go together as far as the scores of one sample do, and as the two attributes order the
    prototypes alike. Never less than if they did not: correlations are themselves uncertain.
    """
    direction = np.where(np.isfinite(others), others, 0.0)
    length = np.sqrt((direction**2).sum(axis=-1, keepdims=True))
    direction = ratio(direction, length, 0.0)
    alike = np.einsum("kap,lap->kla", direction, direction) * together[:, :, None]
    alike[np.arange(len(together)), np.arange(len(together))] = 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        pull = np.where(weight > 0, weight / reliability * np.sqrt(by_chance), 0.0)
        variance = weight.sum(axis=0) + np.einsum("ka,kla,la->a", pull, alike, pull)
        return np.asarray(np.sqrt(np.maximum(variance, weight.sum(axis=0))) / weight.sum(axis=0))


def _scale_elsewhere(weight: Array, towards: Array) -> tuple[Array, Array]:
    """Return a person's use of the scale judged by the other attributes, and its standard deviation, both (q, a).

    Starting from 1 with SCALE_SD, so that few or weak attributes leave it near 1.
    """
    known = weight.sum(axis=0) - weight + SCALE_SD**-2
    found = (towards.sum(axis=0) - towards + SCALE_SD**-2) / known
    return np.maximum(found, _LEAST_SCALE), known**-0.5


def _stranger(found: Agreement, others: tuple[Array, Array], extra: tuple[Array, Array], n_others: Array) -> Array:
    """Return the upper tail of the person's scatter about the line, given the others' and the own repeatability.

    The others' mean is itself uncertain, which adds slope^2 / n to the scatter about a line on it.
    """
    usual = (others[0] + extra[0]) * (1 + np.minimum(found.slope**2, 1.0) / np.maximum(n_others, 1))
    defined = np.isfinite(found.scatter) & np.isfinite(usual) & (found.prototypes > 2)
    df, df_error = np.where(defined, found.prototypes - 2, 1.0), np.where(defined, others[1], 1.0)
    return np.where(defined, fdtrc(df, df_error, np.where(defined, found.scatter / usual, 1.0)), np.nan)


# Does an assessor repeat as well as the others do?
#
# An assessor's own residual variance over that of the others is F distributed if both are one variance: in data with
# equal cells this is Cochran's test of the largest variance and the k statistic of ASTM E691 in another dress, k^2 =
# a F / (F + a - 1) for a assessors.


_ALLOWED = 1.3
"""Honest people differ in scatter by about a third (common practice, no source); only more than that is looked for."""


@dataclass(frozen=True, eq=False, slots=True)
class Repeats:
    """Ratios of standard deviations, the person's over the others'; (q, a), `overall` ones (a,); NaN without repeats.

    Parameters
    ----------
    ratio
        For each attribute.
    p_value
        Upper tail of each attribute, beyond the person's ratio on the other attributes if that is above 1.
    overall, overall_p
        The ratio over all attributes by the mean share (`panel.stats.assessors.departures`), and the upper tail beyond
        _ALLOWED.
    independent
        How many independent attributes the q amount to: scores of one sample go together.
    """

    ratio: Array
    p_value: Array
    overall: Array
    overall_p: Array
    independent: float


def repeats(own: VarianceTables) -> Repeats:
    """Return how each assessor repeats against the others."""
    within, df = np.where(own.df_error > 0, own.within, 0.0), own.df_error
    others_df = df.sum(axis=1, keepdims=True) - df
    others = ratio(within.sum(axis=1, keepdims=True) - within, others_df)
    f = ratio(own.mean_square, others)
    known = np.isfinite(f)
    weight = np.where(known, df, 0.0)
    weighed = np.where(known, df * np.where(known, f, 0.0), 0.0)
    elsewhere = ratio(weighed.sum(axis=0) - weighed, weight.sum(axis=0) - weight)
    usual = np.where(np.isfinite(elsewhere), np.maximum(elsewhere, 1.0), 1.0)
    independent = _independent_attributes(own)
    overall, _, upper = mean_share(within, df, independent / len(f), _ALLOWED)
    return Repeats(
        ratio=np.sqrt(f),
        p_value=_upper(f / usual, df, others_df),
        overall=overall,
        overall_p=upper,
        independent=independent,
    )


def _independent_attributes(own: VarianceTables) -> float:
    """Return q^2 over the sum of the squared correlations of the residuals, from 1 to q.

    A mean of q variances of equal size scatters as if over so many independent ones. Squared correlations are freed
    of what chance adds, 1 / df.
    """
    df = np.maximum(own.df_error.sum(axis=1), 2.0)
    chance = 1 / np.minimum(df[:, None], df[None, :])
    square = np.clip((residual_correlations(own) ** 2 - chance) / (1 - chance), 0.0, 1.0)
    np.fill_diagonal(square, 1.0)
    return float(len(square) ** 2 / square.sum())


def residual_correlations(own: VarianceTables) -> Array:
    """Return the correlations (q, q) of the residuals of one sample, zero where an attribute leaves none."""
    filled = np.where(np.isfinite(own.residual), own.residual, 0.0)
    cross = filled.T @ filled
    size = np.sqrt(np.outer(np.diagonal(cross), np.diagonal(cross)))
    return ratio(cross, size, 0.0)


def _upper(f: Array, df: Array, df_error: Array) -> Array:
    known = np.isfinite(f) & (df > 0) & (df_error > 0)
    filled = (np.where(known, part, 1.0) for part in (df, df_error, f))
    return np.where(known, fdtrc(*filled), np.nan)


# Does an assessor's level wander over the sessions in a way the others' does not?


def drift(sittings: Array, extra: tuple[Array, Array]) -> Estimates:
    """Return each assessor's change per session beyond the others'.

    The yardstick is how much the others' sittings scatter about an additive table of assessors and sessions, so that
    ordinary good and bad days are no drift.

    Parameters
    ----------
    sittings
        (q, a, s) session effects in order of time, NaN where absent.
    extra
        (q, a) variance of a person's session effect by which the own scatter exceeds the panel's (zero if it does
        not), and its degrees of freedom.
    """
    a, s = sittings.shape[1:]
    apart = sittings - column_effects(sittings, of_others=True)
    there = np.isfinite(apart)
    attended = there.sum(axis=-1)
    time = np.where(there, np.arange(s, dtype=float), 0.0)
    time = np.where(there, time - ratio(time.sum(axis=-1), attended)[..., None], 0.0)
    square = (time**2).sum(axis=-1)
    slope = ratio((time * np.where(there, apart, 0.0)).sum(axis=-1), square)
    without = np.where(np.eye(a, dtype=bool)[:, :, None], np.nan, sittings[:, None])
    variance, df = _scatter(without)
    usual = variance * (1 + ratio(np.ones_like(variance), np.isfinite(without).any(axis=-1).sum(axis=-1)))
    total = usual + extra[0]
    freedom = total**2 / (usual**2 / df + extra[0] ** 2 / np.maximum(extra[1], 1))
    return Estimates(slope, np.sqrt(ratio(total, square)), freedom)


def _scatter(tables: Array) -> tuple[Array, Array]:
    """Return the residual mean square of additive tables (..., a, s) and its degrees of freedom."""
    there = np.isfinite(tables)
    rest = tables - column_effects(tables)[..., None, :]
    level = ratio(np.where(there, rest, 0.0).sum(axis=-1), there.sum(axis=-1))
    rest = np.where(there, rest - level[..., None], 0.0)
    people, columns = there.any(axis=-1).sum(axis=-1), there.any(axis=-2).sum(axis=-1)
    df = (there.sum(axis=(-1, -2)) - people - columns + 1).astype(float)
    df = np.where(df > 0, df, np.nan)
    return (rest**2).sum(axis=(-1, -2)) / df, df


# One assessor's share of a sum of squares, over several attributes at once.
#
# If all a assessors scatter alike, an assessor's share of the sum of squares on one attribute is beta distributed
# with (d / 2, D / 2), d own and D others' degrees of freedom: Cochran's test of the largest variance. The mean share
# over attributes has the same mean and, the more independent attributes there are, a smaller variance; the beta
# distribution with that mean and variance stands for it.


def mean_share(squares: Array, df: Array, independent: float, allowed: float = 1.0) -> tuple[Array, Array, Array]:
    """Return how an assessor's share, on average over the attributes, compares with an equal one.

    Arrays (a,): the ratio of the person's standard deviation to the others', and the lower and the upper tail.

    Parameters
    ----------
    squares, df
        (q, a) sums of squares and their degrees of freedom; a cell without any counts for nothing.
    independent
        Share of the attributes, 0 to 1, that are as good as independent.
    allowed
        Ratio of standard deviations up to which more is nothing out of the ordinary, for the upper tail.
    """
    held = np.isfinite(squares) & (df > 0)
    own, d = np.where(held, squares, 0.0), np.where(held, df, 0.0)
    total, whole = own.sum(axis=1, keepdims=True), d.sum(axis=1, keepdims=True)
    held &= (total > 0) & (whole > d)
    count = held.sum(axis=0)
    share = _mean(ratio(own, total), held)
    beyond = _mean(ratio(own, own + allowed**2 * (total - own)), held)
    expected = _mean(ratio(d, whole), held)
    size = np.maximum(independent * count, 1.0) * (_mean(np.broadcast_to(whole / 2, d.shape), held) + 1) - 1
    known = (count > 0) & (expected > 0)
    alpha, beta = (np.where(known, part * size, 1.0) for part in (expected, 1 - expected))
    with np.errstate(divide="ignore", invalid="ignore"):
        odds = share / (1 - share) * (1 - expected) / expected
    return (
        np.where(known, np.sqrt(odds), np.nan),
        np.where(known, betainc(alpha, beta, np.where(known, share, 0.5)), np.nan),
        np.where(known, betaincc(alpha, beta, np.where(known, beyond, 0.5)), np.nan),
    )


def _mean(values: Array, held: np.ndarray) -> Array:
    return ratio(np.where(held, values, 0.0).sum(axis=0), held.sum(axis=0))


# Variances of several responses on few degrees of freedom each, moderated by what they have in common.
#
# Smyth (2004), Stat. Appl. Genet. Mol. Biol. 3(1):3: the variances are taken as draws from a scaled inverse chi-square
# distribution with d_0 degrees of freedom; each is then drawn towards the common value s_0^2 as far as they are alike,
# and rests on d_0 more degrees of freedom. Where they differ more than chance lets them, d_0 is small and little moves.
# The prior is estimated: with a dozen responses on 4 degrees of freedom a test at 1 % errs in about 1.4 of 100.


_FEWEST_VARIANCES = 3  # variances from which something in common can be judged
_STEPS = 50
_SAME = 1e-12  # relative step at which the inverse of the trigamma function is found


def moderated_variances(
    variance: Array, df: Array, independent: float | None = None
) -> tuple[Array, Array, float, float]:
    """Return variances (q,) on `df` (q,) moderated by each other; those that cannot be had stay as they are.

    Parameters
    ----------
    independent
        How many of the responses count as independent, which limits the degrees of freedom: by default all of them.

    Returns
    -------
    variance, df
        Moderated variances and their degrees of freedom.
    prior, prior_df
        s_0^2 and d_0, the latter infinite where the variances are alike.
    """
    held = np.isfinite(variance) & (variance > 0) & (df > 0)
    if held.sum() < _FEWEST_VARIANCES:
        return variance, df, np.nan, 0.0
    half = df[held] / 2
    log = np.log(variance[held]) - psi(half) + np.log(half)
    beyond_chance = float(log.var(ddof=1) - polygamma(1, half).mean())
    most = float((independent if independent is not None else held.sum()) * df[held].mean())
    if beyond_chance > 0:
        prior_df = 2 * _inverse_trigamma(beyond_chance)
        prior = float(np.exp(log.mean() + psi(prior_df / 2) - np.log(prior_df / 2)))
    else:
        prior_df, prior = np.inf, float(np.average(variance[held], weights=df[held]))
    added = min(prior_df, most)
    drawn = (added * prior + df * variance) / (added + df)
    total = np.minimum(added + df, np.maximum(most, df))
    return np.where(held, drawn, variance), np.where(held, total, df), prior, prior_df


def _inverse_trigamma(value: float) -> float:
    """Return the argument at which the trigamma function has this value, by Newton on its reciprocal."""
    at = 0.5 + 1 / value
    for _ in range(_STEPS):
        there = float(polygamma(1, at))
        step = there * (1 - there / value) / float(polygamma(2, at))
        at += step
        if abs(step) < _SAME * at:
            break
    return at
