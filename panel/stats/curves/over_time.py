"""What is read off the course of an intensity over time: the peak, when it comes, how long it lasts, the areas.

Terms as in ASTM E1909. Between two points the course is taken as straight. Where the peak is a plateau, its time is
that of its first point.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from panel.errors import ModelError
from panel.stats.arrays import Array, Codes


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


DRAWS = 999
SAME = 1e-12  # two sums of the same numbers in another order


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


def chance_line(held: Sequence[Array], level: float, rng: np.random.Generator, draws: int = DRAWS) -> float:
    """Return the rate that some sensation reaches at some time in 1 - level of the panels in which names mean nothing.

    In each draw every person's sensations change names among themselves, the same in all of a person's evaluations, so
    that what a person does over time and the repeats stay together; kept is the highest rate over times and
    sensations. One line for all of them: the chance that chance alone passes it anywhere is at most 1 - level.

    Parameters
    ----------
    held
        For each person (times, sensations), the share of that person's evaluations in which each is dominant.
    """
    shares = np.stack(held)
    people, _, k = shares.shape
    highest = np.empty(draws)
    for draw in range(draws):
        names = np.argsort(rng.random((people, k)), axis=1)
        mixed = np.take_along_axis(shares, names[:, None, :], axis=2)
        highest[draw] = mixed.mean(axis=0).max()
    return float(np.sort(highest)[min(int(np.ceil(level * (draws + 1))), draws) - 1])


def difference_p(
    ours: Array, theirs: Array, rng: np.random.Generator, *, paired: bool, draws: int = DRAWS
) -> tuple[Array, Array]:
    """Return the difference of two mean courses and its p-value, adjusted over all times and sensations at once.

    People are the units. Paired, the two courses of a person change places; else people change groups. The p-value is
    the share of draws whose largest difference anywhere is as large as the one seen (Westfall and Young's maximum,
    one step; from memory).

    Parameters
    ----------
    ours, theirs
        (people, times, sensations).
    """
    observed = ours.mean(axis=0) - theirs.mean(axis=0)
    everybody, n = np.concatenate([ours, theirs]), len(ours)
    reached = np.ones(observed.shape)
    for _ in range(draws):
        if paired:
            sign = rng.choice((-1.0, 1.0), size=n)
            drawn = np.tensordot(sign, ours - theirs, axes=1) / n
        else:
            order = rng.permutation(len(everybody))
            drawn = everybody[order[:n]].mean(axis=0) - everybody[order[n:]].mean(axis=0)
        reached += np.abs(drawn).max() >= np.abs(observed) - SAME
    return observed, reached / (draws + 1)
