"""Letters for means: two means that share a letter have not been told apart."""

from __future__ import annotations

from string import ascii_lowercase

import numpy as np
from numpy.typing import NDArray


def letters_for(means: NDArray[np.float64], apart: NDArray[np.bool_]) -> list[str]:
    """Return the letters of each mean, `a` for the group that holds the largest.

    Insert and absorb (Piepho 2004, J. Comput. Graph. Stat. 13:456): two means share a letter exactly when they
    are not `apart` (k, k, symmetric).
    """
    k = len(means)
    groups: list[frozenset[int]] = [frozenset(range(k))]
    for i in range(k):
        for j in range(i + 1, k):
            if apart[i, j]:
                groups = _split(groups, i, j)
    order = {int(mean): place for place, mean in enumerate(np.argsort(-means, kind="stable"))}
    groups.sort(key=lambda group: sorted(order[member] for member in group))
    return ["".join(_letter(n) for n, group in enumerate(groups) if mean in group) for mean in range(k)]


def _split(groups: list[frozenset[int]], i: int, j: int) -> list[frozenset[int]]:
    """Split every group that holds both means, then drop groups that lie within another."""
    split: list[frozenset[int]] = []
    for group in groups:
        split += [group - {i}, group - {j}] if {i, j} <= group else [group]
    distinct = list(dict.fromkeys(split))
    return [group for group in distinct if group and not any(group < other for other in distinct)]


def _letter(number: int) -> str:
    """Return a, b, ... z, then a1, b1, ..."""
    turn, place = divmod(number, len(ascii_lowercase))
    return ascii_lowercase[place] + (str(turn) if turn else "")
