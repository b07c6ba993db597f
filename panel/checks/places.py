"""How a finding says where it is and how many there are: one by one up to three, gathered beyond."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

MOST_SHOWN = 3
"""So many cases are named one by one; of more, the first so many and the count."""

MOST_PLACES = 12
"""So many findings of one kind are made at most when cases are gathered by place; of more, one finding."""


def counted(number: int, noun: str, plural: str = "") -> str:
    """Return a number with its noun, such as `1 score` or `1,200 scores`."""
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


def listed(names: Sequence[object], most: int = MOST_SHOWN) -> str:
    """Return names in a row, such as `P1, P2, P3 and 4 more`."""
    shown = ", ".join(str(name) for name in names[:most])
    rest = len(names) - most
    return f"{shown} and {rest:,} more" if rest > 0 else shown


def told(cell: object) -> str:
    """Return a cell of a table as the user would write it: P1, 330, 33.05, 120000."""
    if isinstance(cell, float):
        return np.format_float_positional(cell, trim="-") if np.isfinite(cell) else str(cell)
    return str(cell)


def gathered(places: np.ndarray, where: Callable[[int], str]) -> Iterator[tuple[str, np.ndarray]]:
    """Yield the text of `where` and the case numbers of each finding to be made.

    Up to three cases give one finding each. More are gathered by place, and into one finding if there are more
    than twelve places.

    Parameters
    ----------
    places
        For each case the code of its place, such as the attribute or the assessor.
    where
        Returns the place of one case in words.
    """
    cases = np.arange(len(places))
    if len(cases) <= MOST_SHOWN:
        groups = [cases[i : i + 1] for i in cases]
    else:
        distinct, first = np.unique(places, return_index=True)
        in_order = distinct[np.argsort(first)]
        many = len(distinct) > MOST_PLACES
        groups = [cases] if many else [np.flatnonzero(places == place) for place in in_order]
    for group in groups:
        yield _where_all(group, where), group


def _where_all(group: np.ndarray, where: Callable[[int], str]) -> str:
    shown = "; ".join(where(int(case)) for case in group[:MOST_SHOWN])
    rest = len(group) - MOST_SHOWN
    return f"{shown}; and {rest:,} more" if rest > 0 else shown
