"""In which order does a person list names: P2 before P10, 017 before 023, whatever stood first in a randomised file?"""

from __future__ import annotations

import re
from collections.abc import Iterable

_DIGITS = re.compile("([0-9]+)")


def natural_order(names: Iterable[str]) -> list[str]:
    """Return the distinct names in natural order: texts without regard to case, whole numbers in them by size."""
    return sorted(dict.fromkeys(names), key=_key)


def _key(name: str) -> tuple[list[tuple[str, int, str]], str]:
    parts = [*_DIGITS.split(name.casefold()), ""]  # text and number in turn, beginning with a text
    pairs = ((text.strip(" _-"), digits.lstrip("0")) for text, digits in zip(parts[::2], parts[1::2], strict=True))
    return [(text, len(digits), digits) for text, digits in pairs], name
