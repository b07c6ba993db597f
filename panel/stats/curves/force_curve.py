"""What is read off the curve of a probe that is pushed into a sample, or shears it, and is drawn back.

Force above zero resists the probe, force below zero pulls at it. Between two points the curve is taken as straight, so
that areas above and below zero are exact also where the curve crosses zero between points.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from panel.errors import ModelError
from panel.stats.curves.least_squares import Array

_FEWEST_POINTS = 3


@dataclass(frozen=True, eq=False, slots=True)
class ForceCurve:
    """Peaks and areas of one curve; areas in unit of force x unit of `along`.

    Parameters
    ----------
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
    """

    peak_force: float
    peak_at: float
    area_to_peak: float
    area_above: float
    pull_force: float
    pull_at: float
    area_below: float
    crossings: Array
    start_share: float
    along: Array


def read_force_curve(position: ArrayLike, force: ArrayLike, *, time: bool = False) -> ForceCurve:
    """Return the quantities of a curve of force by position of the probe or, with `time`, by time.

    Positions may run forth and back: areas are taken along the way travelled, so that pushing in and pulling out both
    count as work done. Definitions: common usage in texture analysis, from memory.

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
    return ForceCurve(
        peak_force=float(F[peak]),
        peak_at=float(along[peak]),
        area_to_peak=float(above[:peak].sum()),
        area_above=float(above.sum()),
        pull_force=float(-F[lowest]) if pulls else 0.0,
        pull_at=float(along[lowest]) if pulls else float("nan"),
        area_below=float(below[peak:].sum()),
        crossings=zero_crossings(along, F),
        start_share=float(F[0] / F[peak]),
        along=along,
    )


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
