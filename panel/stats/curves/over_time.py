"""What is read off the course of an intensity over time: the peak, when it comes, how long it lasts, the areas.

Terms as in ASTM E1909. Between two points the course is taken as straight. Where the peak is a plateau, its time is
that of its first point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from panel.errors import ModelError
from panel.stats.answers.binomial import minimum_count
from panel.stats.arrays import Array


@dataclass(frozen=True, slots=True)
class IntensityCourse:
    """The quantities of one course, in the units of its time and intensity; NaN where there is none.

    Parameters
    ----------
    largest, time_to_largest, plateau
        Largest intensity (Imax), when it is first reached (Tmax), and how long it lasts.
    duration
        From the onset (last zero before the first intensity, else the first point) to the end (first zero after the
        last intensity, else the last point).
    area, area_before, area_after
        Area under the course, and its parts before and after `time_to_largest`.
    rate_up, rate_down
        Slope from the onset to the peak, and from the end of the plateau to the end.
    ended
        Whether the course came back to zero; if not, duration, areas and `rate_down` end with the recording.
    """

    largest: float
    time_to_largest: float
    plateau: float
    duration: float
    area: float
    area_before: float
    area_after: float
    rate_up: float
    rate_down: float
    ended: bool


def intensity_course(time: ArrayLike, intensity: ArrayLike) -> IntensityCourse:
    """Return what one course comes down to.

    Raises
    ------
    ModelError
        If there are fewer than two points, times do not grow, or an intensity is below zero.
    """
    t, y = np.asarray(time, dtype=float), np.asarray(intensity, dtype=float)
    if len(t) < 2 or len(t) != len(y) or not (np.isfinite(t).all() and np.isfinite(y).all()):
        raise ModelError("a course needs two points or more, each with a time and an intensity.")
    if not (np.diff(t) > 0).all():
        raise ModelError("two points of a course have the same time.")
    if (y < 0).any():
        raise ModelError("an intensity lies below zero.")
    felt = np.flatnonzero(y > 0)
    nothing = float("nan")
    if not len(felt):
        return IntensityCourse(0.0, nothing, nothing, 0.0, 0.0, 0.0, 0.0, nothing, nothing, ended=True)
    peak = int(y.argmax())
    last = peak + int(np.argmin(np.r_[y[peak:] == y[peak], False])) - 1
    onset, end = max(int(felt[0]) - 1, 0), min(int(felt[-1]) + 1, len(t) - 1)
    before, after = _area(t[: peak + 1], y[: peak + 1]), _area(t[peak:], y[peak:])
    return IntensityCourse(
        largest=float(y[peak]),
        time_to_largest=float(t[peak]),
        plateau=float(t[last] - t[peak]),
        duration=float(t[end] - t[onset]),
        area=before + after,
        area_before=before,
        area_after=after,
        rate_up=_slope(t, y, onset, peak),
        rate_down=_slope(t, y, last, end),
        ended=bool(y[end] == 0),
    )


def course_at(time: ArrayLike, intensity: ArrayLike, at: ArrayLike) -> Array:
    """Return the intensity at the times `at`: 0 after the end of a course that came back to zero, else NaN outside."""
    t, y, at = (np.asarray(values, dtype=float) for values in (time, intensity, at))
    found = np.interp(at, t, y, left=np.nan, right=np.nan)
    return np.asarray(np.where((at > t[-1]) & (y[-1] == 0), 0.0, found))


def _area(t: Array, y: Array) -> float:
    return float(np.sum(np.diff(t) * (y[1:] + y[:-1]) / 2))


def _slope(t: Array, y: Array, first: int, last: int) -> float:
    return float((y[last] - y[first]) / (t[last] - t[first])) if last > first else float("nan")


# Which sensation is dominant when, in what share of the evaluations, and how large must a share be to beat chance?
#
# Pineau et al. (2009), Food Qual. Prefer. 20:450 (from memory): with k sensations to choose from, chance is 1 / k.


Codes = NDArray[np.intp]

NORMAL_FROM = 5.0  # n P0 (1 - P0) above which the normal formula is near enough (the same source)


def standardised(times: ArrayLike, sensations: ArrayLike, end: float, grid: ArrayLike) -> Codes:
    """Return which sensation is dominant at each point of the grid, from 0 (first choice) to 1 (end).

    Parameters
    ----------
    times, sensations
        Moments at which another sensation became dominant, in order, and its number; of two at one moment the later
        counts.
    end
        The moment at which nothing was felt any more.

    Raises
    ------
    ModelError
        If nothing was chosen, the times go back, or the end is not after the first choice.
    """
    t, chosen = np.asarray(times, dtype=float), np.asarray(sensations, dtype=np.intp)
    if not len(t) or (np.diff(t) < 0).any():
        raise ModelError("no sensation was chosen, or the times are out of order.")
    if not end > t[0] or t[-1] > end:
        raise ModelError("it does not end after the first and the last choice.")
    at = (t - t[0]) / (end - t[0])
    return np.asarray(chosen[np.searchsorted(at, np.asarray(grid, dtype=float), side="right") - 1])


def significance_line(n: ArrayLike, k: int, level: float = 0.95) -> tuple[Array, NDArray[np.bool_]]:
    """Return the share that n evaluations must reach to lie above chance, and whether it is exact.

    P0 + z sqrt(P0 (1 - P0) / n) where n P0 (1 - P0) exceeds 5, else the exact binomial count over n (above 1 where
    even all of n would not do).
    """
    n = np.asarray(n, dtype=float)
    chance = 1 / k
    normal = chance + ndtri(level) * np.sqrt(chance * (1 - chance) / n)
    exact = n * chance * (1 - chance) <= NORMAL_FROM
    return np.where(exact, minimum_count(n, chance, 1 - level) / n, normal), exact
