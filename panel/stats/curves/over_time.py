"""What is read off a curve over time: an intensity that comes and goes, dominance, the force on a probe.

The terms of intensities are those of ASTM E1909; where the peak is a plateau, its time is that of its first point.
Between two points a curve is taken as straight, so that areas above and below zero are exact also where it crosses
zero between points. Force above zero resists the probe, force below zero pulls at it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from panel.errors import ModelError
from panel.stats.arrays import Array, Codes


def intensity_course(time: ArrayLike, intensity: ArrayLike) -> dict[str, float]:
    """Return what one course comes down to, by name, in the units of its time and intensity; NaN where there is none.

    Returns
    -------
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
    if not len(felt):
        names = ("largest", "time_to_largest", "plateau", "duration", "area", "area_before", "area_after")
        none = dict.fromkeys((*names, "rate_up", "rate_down"), 0.0) | {"ended": True}  # in the order of the others
        return none | dict.fromkeys(("time_to_largest", "plateau", "rate_up", "rate_down"), float("nan"))
    peak = int(y.argmax())
    last = peak + int(np.argmin(np.r_[y[peak:] == y[peak], False])) - 1
    onset, end = max(int(felt[0]) - 1, 0), min(int(felt[-1]) + 1, len(t) - 1)
    before, after = _area(t[: peak + 1], y[: peak + 1]), _area(t[peak:], y[peak:])
    return {
        "largest": float(y[peak]),
        "time_to_largest": float(t[peak]),
        "plateau": float(t[last] - t[peak]),
        "duration": float(t[end] - t[onset]),
        "area": before + after,
        "area_before": before,
        "area_after": after,
        "rate_up": _slope(t, y, onset, peak),
        "rate_down": _slope(t, y, last, end),
        "ended": bool(y[end] == 0),
    }


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


_FEWEST_POINTS = 3


def read_force_curve(position: ArrayLike, force: ArrayLike, *, time: bool = False) -> dict[str, Any]:
    """Return the quantities of a curve of force by position of the probe or, with `time`, by time.

    Positions may run forth and back: areas are taken along the way travelled, so that pushing in and pulling out both
    count as work done. Definitions: common usage in texture analysis, from memory.

    By name, areas in unit of force x unit of `along`:

    peak_force, peak_at
        The largest force, which is firmness, and where it is first reached.
    area_to_peak
        Area above zero from the start to the peak.
    area_above
        Area above zero of the whole stroke.
    pull_force, pull_at
        Size of the most negative force after the peak, which is stickiness, and where it is first reached; zero and
        NaN if the force never falls below zero.
    area_below
        Size of the area below zero after the peak, the work of adhesion.
    crossings
        Where the curve goes through zero, interpolated.
    start_share
        Force at the first point as a share of the peak: far from zero, the probe was not zeroed or already touched.
    along
        Way or time from the start, never falling; shape (n,).

    Raises
    ------
    ModelError
        With fewer than three points, gaps, time that runs backwards, or no force above zero.
    """
    x, F = np.asarray(position, dtype=float), np.asarray(force, dtype=float)
    _check(x, F, time=time)
    along = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(x)))])
    above, below = _signed_areas(along, F)
    peak = int(np.argmax(F))
    after = F[peak:]
    lowest = peak + int(np.argmin(after))
    pulls = F[lowest] < 0
    return {
        "peak_force": float(F[peak]),
        "peak_at": float(along[peak]),
        "area_to_peak": float(above[:peak].sum()),
        "area_above": float(above.sum()),
        "pull_force": float(-F[lowest]) if pulls else 0.0,
        "pull_at": float(along[lowest]) if pulls else float("nan"),
        "area_below": float(below[peak:].sum()),
        "crossings": zero_crossings(along, F),
        "start_share": float(F[0] / F[peak]),
        "along": along,
    }


def _signed_areas(along: ArrayLike, force: ArrayLike) -> tuple[Array, Array]:
    """Return the areas above and below zero (both as sizes) of each piece between two points; shape (n - 1,).

    Cutting off what lies below zero before the trapezoids are taken would be wrong wherever the curve crosses zero
    between two points.
    """
    x, F = np.asarray(along, dtype=float), np.asarray(force, dtype=float)
    width, first, second = np.diff(x), F[:-1], F[1:]
    crosses = first * second < 0
    # Of a piece that crosses zero, the part up to the crossing is |first| / (|first| + |second|) of its width.
    share = np.abs(first) / np.where(crosses, np.abs(first) + np.abs(second), 1.0)
    before, behind = share * width * np.abs(first) / 2, (1 - share) * width * np.abs(second) / 2
    whole = width * (first + second) / 2
    above = np.where(crosses, np.where(first > 0, before, behind), np.maximum(whole, 0.0))
    below = np.where(crosses, np.where(first < 0, before, behind), np.maximum(-whole, 0.0))
    return np.asarray(above), np.asarray(below)


def zero_crossings(along: ArrayLike, force: ArrayLike) -> Array:
    """Return where the force changes its sign, interpolated; a stretch at zero counts where it begins."""
    x, F = np.asarray(along, dtype=float), np.asarray(force, dtype=float)
    signed = np.flatnonzero(F != 0)
    turns = np.flatnonzero(F[signed[:-1]] * F[signed[1:]] < 0)
    left, right = signed[turns], signed[turns + 1]
    between = x[left] + (x[right] - x[left]) * F[left] / (F[left] - F[right])
    return np.asarray(np.where(right - left > 1, x[np.minimum(left + 1, x.size - 1)], between))


def _check(x: Array, F: Array, *, time: bool) -> None:
    if x.size < _FEWEST_POINTS or not np.all(np.isfinite(x) & np.isfinite(F)):
        raise ModelError(f"A force curve needs at least {_FEWEST_POINTS} points, each with its place and its force.")
    if time and np.any(np.diff(x) < 0):
        raise ModelError("The times of a force curve run backwards. Put its points in the order they were measured.")
    if F.max() <= 0:
        raise ModelError(
            "No force of the curve lies above zero. Resistance counts as positive: turn the sign of the force round."
        )
