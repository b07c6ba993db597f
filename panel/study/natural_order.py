"""In which order do names stand that people number: L2 before L10?"""

from __future__ import annotations

import re
from collections.abc import Iterable

_DIGITS = re.compile(r"([0-9]+)")


def natural_order(names: Iterable[str]) -> list[str]:
    """Return the different names in natural order: numbers inside them by size, letters whatever their case."""
    return sorted(dict.fromkeys(names), key=_natural)


def _natural(name: str) -> tuple[list[tuple[int, str]], str]:
    # split puts what is between the numbers at even places, so that like is always compared with like
    parts = _DIGITS.split(name.casefold())
    return [(int(part), "") if place % 2 else (0, part) for place, part in enumerate(parts)], name
