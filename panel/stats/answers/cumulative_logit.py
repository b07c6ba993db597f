"""Do ordered answers (1 to 9) shift with fixed effects, when only their order counts? A cumulative logit model.

P(y <= c) = 1 / (1 + exp(-(t_c - x b - s v))), with thresholds t_c, fixed columns x without an intercept, and where
wanted one random intercept v ~ N(0, 1) times s for each person (McCullagh 1980, J. R. Stat. Soc. B 42:109; Agresti
2010, Analysis of Ordinal Categorical Data). The integral over v is taken by Gauss-Hermite nodes set around the mode of
each person (Liu & Pierce 1994, Biometrika 81:624).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logsumexp

from panel.errors import ModelError
from panel.stats.arrays import Array, Codes

_NODES = 10
_MODE_STEPS = 30
_MODE_REACHED = 1e-9
_SLOPE = 1e-4  # of the log-likelihood in any parameter, below which the fit has settled
_STEP = 1e-4  # for the second derivatives, from differences of the slopes
_LEAST_SURE = 10.0  # logits; so large a standard error is the sign of an answer that goes with one effect only


@dataclass(frozen=True, eq=False, slots=True)
class _CumulativeLogit:
    """A fitted model: `thresholds` (c - 1,), `coefficients` (p,), `sd` of the persons, on the logit scale.

    `covariance` is that of (thresholds, coefficients, sd), without the last where there are no persons. `settled` is
    False where the fit did not find its end, for instance because an effect goes with one answer only.
    """

    thresholds: Array
    coefficients: Array
    sd: float
    covariance: Array
    log_likelihood: float
    settled: bool

    @property
    def coefficient_covariance(self) -> Array:
        """Covariance (p, p) of the coefficients alone."""
        own = slice(len(self.thresholds), len(self.thresholds) + len(self.coefficients))
        return np.asarray(self.covariance[own, own])


def fit_cumulative_logit(
    answer: Codes, fixed: Array, person: Codes | None = None, nodes: int = _NODES
) -> _CumulativeLogit:
    """Fit the model by maximum likelihood.

    Parameters
    ----------
    answer
        (n,) ordered answers as whole numbers; values that never occur are passed over.
    fixed
        (n, p) columns of full rank, without an intercept: the thresholds are the intercepts.
    person
        (n,) whose answer it is, for a random intercept; None for a model without.
    nodes
        Nodes of the integral over each person's intercept.

    Raises
    ------
    ModelError
        If fewer than two different answers were given.
    """
    from scipy.optimize import minimize  # slow to load, and seldom needed

    levels, code = np.unique(answer, return_inverse=True)
    if len(levels) < 2:
        raise ModelError("Every answer is the same, so there is nothing that could shift.")
    integral = _Integral(code.reshape(-1), np.asarray(fixed, dtype=float), person, nodes)
    start = _start(integral)
    found = minimize(
        integral.steps,
        start,
        jac=True,
        method="BFGS",
        options={"gtol": _SLOPE / 10, "hess_inv0": _first_curvature(integral, start)},
    )
    natural = _natural(found.x, integral.n_thresholds)
    if person is not None:
        natural[-1] = abs(natural[-1])
    value, slope = integral.natural(natural)
    c, p = integral.n_thresholds, integral.fixed.shape[1]
    information = _curvature(integral, natural)
    regular = bool(np.isfinite(information).all()) and np.linalg.eigvalsh(information)[0] > 0
    covariance = np.linalg.inv(information) if regular else np.full_like(information, np.nan)
    sure = regular and bool(np.diagonal(covariance)[: c + p].max() < _LEAST_SURE**2)
    return _CumulativeLogit(
        thresholds=natural[:c],
        coefficients=natural[c : c + p],
        sd=float(natural[-1]) if person is not None else 0.0,
        covariance=np.asarray(covariance, dtype=float),
        log_likelihood=float(value),
        settled=bool(np.abs(slope).max() < _SLOPE * max(1.0, abs(value) / 100)) and sure,
    )


def _start(rows: _Integral) -> Array:
    """Return thresholds at the logits of the cumulative shares, no effects, and persons that differ by one logit."""
    share = np.cumsum(np.bincount(rows.answer))[:-1] / len(rows.answer)
    threshold = np.log(share / (1 - share))
    own = np.r_[threshold[0], np.log(np.diff(threshold)), np.zeros(rows.fixed.shape[1])]
    return np.asarray(own if rows.person is None else np.r_[own, 1.0])


def _first_curvature(rows: _Integral, start: Array) -> Array:
    """Return the inverse of the expected information at the start, as if persons did not differ: it saves steps.

    With no effects every answer has the same chances, so that sums over rows are sums of the columns.
    """
    c, p = rows.n_thresholds, rows.fixed.shape[1]
    below = expit(_natural(start, c)[:c])
    slope = below * (1 - below)
    share = np.diff(np.r_[0.0, below, 1.0])
    moved = np.zeros((c + 1, c))  # of each answer's chance with each threshold
    moved[np.arange(c), np.arange(c)], moved[np.arange(1, c + 1), np.arange(c)] = slope, -slope
    steps = np.tril(np.ones((c, c))) @ np.diag(np.r_[1.0, np.exp(start[1:c])])  # thresholds in the steps
    among = moved.T @ (moved / share[:, None])
    together = among.sum(axis=1)
    information = np.eye(len(start)) * max(len(rows.starts), 1)
    information[:c, :c] = len(rows.answer) * steps.T @ among @ steps
    information[:c, c : c + p] = -np.outer(steps.T @ together, rows.fixed.sum(axis=0))
    information[c : c + p, :c] = information[:c, c : c + p].T
    information[c : c + p, c : c + p] = together.sum() * rows.fixed.T @ rows.fixed
    inverse = np.linalg.inv(information)
    return np.asarray(inverse + inverse.T) / 2


def _natural(parameters: Array, c: int) -> Array:
    """Return (thresholds, coefficients, sd) from the parameters of the search, where c thresholds are steps in log."""
    return np.r_[np.cumsum(np.r_[parameters[0], np.exp(parameters[1:c])]), parameters[c:]]


def _curvature(integral: _Integral, at: Array) -> Array:
    """Return minus the second derivatives of the log-likelihood, from central differences of its slopes."""
    steps = _STEP * np.eye(len(at))
    slopes = [(integral.natural(at + step)[1] - integral.natural(at - step)[1]) / (2 * _STEP) for step in steps]
    return np.asarray(-(np.array(slopes) + np.array(slopes).T) / 2)


class _Integral:
    """The log-likelihood and its slopes; it remembers the modes of the persons from one call to the next."""

    def __init__(self, answer: Codes, fixed: Array, person: Codes | None, nodes: int) -> None:
        """Sort the rows by person; `starts` are the first rows of each."""
        self.answer, self.fixed, self.person, self.n_thresholds = answer, fixed, None, int(answer.max())
        self.starts: Codes = np.zeros(0, dtype=np.intp)
        if person is not None:
            order = np.argsort(person, kind="stable")
            self.answer, self.fixed = answer[order], fixed[order]
            self.person = np.unique(np.asarray(person)[order], return_inverse=True)[1].reshape(-1)
            self.starts = np.flatnonzero(np.r_[True, np.diff(self.person) != 0])
        self.x, weight = np.polynomial.hermite.hermgauss(nodes)
        self.log_weight = np.log(weight) + self.x**2
        self.mode = np.zeros(len(self.starts))

    def steps(self, parameters: Array) -> tuple[float, Array]:
        """Return minus log-likelihood and slopes in the parameters of the search."""
        c = self.n_thresholds
        value, slope = self.natural(_natural(parameters, c))
        above = np.cumsum(slope[:c][::-1])[::-1]  # a step moves every threshold from there on
        own = np.r_[above[:1], above[1:] * np.exp(parameters[1:c]), slope[c:]]
        return -value, -own

    def natural(self, parameters: Array) -> tuple[float, Array]:
        """Return log-likelihood and slopes in thresholds, coefficients and sd."""
        c = self.n_thresholds
        edges = np.r_[-np.inf, parameters[:c], np.inf]
        shift = self.fixed @ parameters[c : c + self.fixed.shape[1]]
        upper, lower = edges[self.answer + 1] - shift, edges[self.answer] - shift
        if self.person is None:
            log_p, by_upper, by_lower = _log_share(upper, lower)
            return float(log_p.sum()), self._gathered(by_upper, by_lower)
        sd = float(parameters[-1])
        self._find_modes(upper, lower, sd)
        spread = 1 / np.sqrt(self._bend(upper, lower, sd))
        v = self.mode[:, None] + np.sqrt(2) * spread[:, None] * self.x  # persons by nodes
        own = sd * v[self.person]
        log_p, by_upper, by_lower = _log_share(upper[:, None] - own, lower[:, None] - own)
        joint = np.add.reduceat(log_p, self.starts) - v**2 / 2 + self.log_weight
        by_person = logsumexp(joint, axis=1)
        weight = np.exp(joint - by_person[:, None])[self.person]
        value = by_person.sum() + (np.log(spread) - np.log(np.pi) / 2).sum()
        along_sd = -(weight * (by_upper + by_lower) * v[self.person]).sum()
        return float(value), np.r_[
            self._gathered((weight * by_upper).sum(axis=1), (weight * by_lower).sum(axis=1)), along_sd
        ]

    def _gathered(self, by_upper: Array, by_lower: Array) -> Array:
        """Return slopes in thresholds and coefficients from those in each row's two edges."""
        c = self.n_thresholds
        upper = np.bincount(self.answer, by_upper, c + 1)[:c]
        lower = np.bincount(self.answer, by_lower, c + 1)[1:]
        return np.r_[upper + lower, -self.fixed.T @ (by_upper + by_lower)]

    def _find_modes(self, upper: Array, lower: Array, sd: float) -> None:
        """Newton's steps to the mode of each person's intercept; the density is log-concave."""
        starts, person = self.starts, self.person
        for _ in range(_MODE_STEPS):
            own = sd * self.mode[person]
            slope = -sd * np.add.reduceat(1 - expit(upper - own) - expit(lower - own), starts) - self.mode
            step = slope / self._bend(upper, lower, sd)
            self.mode = self.mode + np.clip(step, -2, 2)
            if np.abs(step).max() < _MODE_REACHED:
                break

    def _bend(self, upper: Array, lower: Array, sd: float) -> Array:
        """Return minus the second derivative of each person's log density at its mode."""
        own = sd * self.mode[self.person]
        above, below = expit(upper - own), expit(lower - own)
        return np.asarray(1 + sd**2 * np.add.reduceat(above * (1 - above) + below * (1 - below), self.starts))


def _log_share(upper: Array, lower: Array) -> tuple[Array, Array, Array]:
    """Return log(F(upper) - F(lower)) of the logistic distribution and its slopes in both edges, without cancelling."""
    gap = np.exp(lower - upper)
    log_p = -np.logaddexp(0, -upper) - np.logaddexp(0, lower) + np.log1p(-gap)
    apart = gap / (1 - gap)
    return log_p, expit(-upper) + apart, -expit(lower) - apart
