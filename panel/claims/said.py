"""How the sentences about a claim write numbers: shares are cut and never rounded up, minus is a minus."""

from __future__ import annotations

import math
from collections.abc import Sequence

_FUZZ = 1e-9  # a share such as 0.29 is stored as 0.28999...


def number(value: float, digits: int = 1) -> str:
    """Return a number with `digits` decimals, without a decimal part where it is whole."""
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text.replace("-", "−")


def percent(share: float) -> str:
    """Return a share (0 to 1) in whole per cent, cut: 0.797 is 79 %."""
    return f"{math.floor(100 * share + _FUZZ)} %"


def p_value(value: float) -> str:
    """Return a p-value for a sentence, never rounded onto 0.05 from either side."""
    if value < 0.001:
        return "p < 0.001"
    if value > 0.9995:
        return "p > 0.999"
    text = f"{value:.3f}"
    return f"p = {value:.4f}" if text == "0.050" and value != 0.05 else f"p = {text}"


def interval(low: float, high: float, digits: int = 1) -> str:
    """Return an interval; an end that these data leave open is said to be so."""
    ends = ("no lower limit", "no upper limit")
    low_words, high_words = (
        number(end, digits) if math.isfinite(end) else words for end, words in zip((low, high), ends, strict=True)
    )
    return f"{low_words} to {high_words}"


def counted(n: int, one: str, many: str = "") -> str:
    """Return a count with its noun: `1 assessor`, `3 assessors`."""
    return f"{n} {one}" if n == 1 else f"{n} {many or one + 's'}"


def listed(names: Sequence[str]) -> str:
    """Return names as in speech."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
