"""Names as whole numbers, and what can be asked of rows of them: groups, membership, matching."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True, eq=False, slots=True)
class Names:
    """A column of names as codes: `of[code[i]]` is the name in row i; codes count from 0 by first appearance."""

    code: np.ndarray
    of: pd.Index

    @classmethod
    def read(cls, column: pd.Series) -> Names:
        """Return the names of a column; the empty name is a name like any other."""
        codes, names = pd.factorize(column)
        return cls(codes.astype(np.int64), pd.Index(names))

    @property
    def blank(self) -> np.ndarray:
        """True where the name is empty."""
        return np.asarray(self.of == "", dtype=bool)[self.code]

    def codes_of(self, column: pd.Series) -> np.ndarray:
        """Return the codes that these names have here, -1 for names that are not among them."""
        return self.of.get_indexer(pd.Index(column)).astype(np.int64)

    def told(self, codes: np.ndarray) -> list[str]:
        """Return the names of the codes, each once."""
        return [str(self.of[code]) for code in dict.fromkeys(codes.tolist())]

    def __len__(self) -> int:
        return len(self.of)


def grouped(*codes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the group of each row and the first row of each group; groups are equal in all the codes.

    Codes are 0 or more. Groups are numbered from 0 by first appearance.
    """
    group = pd.factorize(codes[0])[0].astype(np.int64)
    for code in codes[1:]:
        width = int(code.max(initial=0)) + 1
        group = pd.factorize(group * width + code)[0].astype(np.int64)
    first = np.flatnonzero(np.diff(np.maximum.accumulate(group), prepend=-1)) if len(group) else group
    return group, first


def distinct(*codes: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return the different rows of the codes, in order of appearance."""
    _, first = grouped(*codes)
    return tuple(code[first] for code in codes)


def among(rows: tuple[np.ndarray, ...], others: tuple[np.ndarray, ...]) -> np.ndarray:
    """Return True for each of the rows that is also one of the others."""
    group, first = grouped(*(np.concatenate(pair) for pair in zip(others, rows, strict=True)))
    number = len(others[0])
    return first[group[number:]] < number


def matched(left: np.ndarray, right: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return all pairs of a row on the left and a row on the right with the same code, as two columns of rows."""
    width = int(max(left.max(initial=-1), right.max(initial=-1))) + 1
    order, counts = np.argsort(right, kind="stable"), np.bincount(right, minlength=width)
    times = counts[left]
    of_left = np.repeat(np.arange(len(left)), times)
    within = np.arange(len(of_left)) - np.repeat(np.cumsum(times) - times, times)
    starts = np.cumsum(counts) - counts
    return of_left, order[starts[left[of_left]] + within]


def common(by: tuple[np.ndarray, ...], what: np.ndarray, whole: tuple[np.ndarray, ...]) -> tuple[np.ndarray, ...]:
    """Return the rows (by, what) that occur more than half as often as their `by` occurs among the rows of `whole`."""
    group, first = grouped(*by, what)
    of_all, _ = grouped(*(np.concatenate(pair) for pair in zip(whole, by, strict=True)))
    number = len(whole[0])
    total = np.bincount(of_all[:number], minlength=int(of_all.max(initial=-1)) + 1)[of_all[number:]]
    often = first[2 * np.bincount(group) > total[first]]
    return tuple(code[often] for code in (*by, what))


def or_none(position: np.ndarray) -> np.ndarray:
    """Return codes for numbers such as positions, 0 for none."""
    return pd.factorize(position)[0].astype(np.int64) + 1
