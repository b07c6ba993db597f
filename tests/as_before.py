"""What came out before, written down line by line, to set beside what comes out now.

This says that something changed, not that it is right; that is for the other tests. After a change that is wanted,
`python -m tests.views.as_told`, `python -m tests.models.as_answered` or `python -m tests.claims.as_judged` writes it
anew, and the difference is read before it is kept.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

SAME = 1e-6  # of a sum of numbers, or of 1: other processors add in another order, mixed models end a little elsewhere
_NUMBERS = " numbers: "


def summed(name: str, values: Any) -> str:
    """Return a line with how many numbers there are and two sums: of all, and one that knows their order."""
    every = np.ravel(np.asarray(values, dtype=float))
    kept = np.where(np.isfinite(every), every, 0.0)
    return f"{name}{_NUMBERS}{np.isfinite(every).sum()} {kept.sum():.9g} {kept @ np.cos(np.arange(kept.size)):.9g}"


def differing(before: list[str], now: list[str]) -> list[tuple[str, str]]:
    """Return the lines that differ; sums of numbers may in their last digits."""
    most = max(len(before), len(now))
    filled = [each + [""] * (most - len(each)) for each in (before, now)]
    return [(one, other) for one, other in zip(*filled, strict=True) if one != other and not _same_sums(one, other)]


def _same_sums(one: str, other: str) -> bool:
    (name, _, numbers), (same, _, others) = one.partition(_NUMBERS), other.partition(_NUMBERS)
    pairs = list(zip(numbers.split(), others.split(), strict=False))
    close = (math.isclose(float(a), float(b), rel_tol=SAME, abs_tol=SAME) for a, b in pairs)
    return name == same and len(pairs) == len(("how many", "sum", "in order")) and all(close)


def read_lines(folder: Path, study: str) -> list[str]:
    """Return the lines that came out before."""
    return _file(folder, study).read_text(encoding="utf-8").removesuffix("\n").split("\n")


def write_lines(folder: Path, study: str, lines: Iterable[str]) -> None:
    """Keep the lines that come out now, none of which has a line break in it."""
    folder.mkdir(exist_ok=True)
    _file(folder, study).write_text("\n".join(lines) + "\n", encoding="utf-8")


def _file(folder: Path, study: str) -> Path:
    return folder / f"{study.replace(' ', '_')}.txt"
