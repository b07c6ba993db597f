"""How numbers are written for a person: minus sign, digits, p-values, intervals, shares."""

from __future__ import annotations

import math

NOTHING = "–"
MINUS = "−"

# Shares such as 0.29 are stored as 0.28999...; without this, cutting digits would make 28 % of them.
_FUZZ = 1e-9


def format_number(value: float | None, digits: int = 1) -> str:
    """Return `value` with `digits` decimals and a true minus sign; an en dash where there is no number."""
    if _missing(value):
        return NOTHING
    number = float(value)  # type: ignore[arg-type]  # _missing has turned None away
    if math.isinf(number):
        return "∞" if number > 0 else f"{MINUS}∞"
    text = f"{number:.{digits}f}"
    if not any(digit in text for digit in "123456789"):
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def format_change(value: float | None, digits: int = 1) -> str:
    """Return a difference with its sign, plus or minus; zero has none."""
    text = format_number(value, digits)
    positive = not _missing(value) and not text.startswith(MINUS) and any(digit in text for digit in "123456789")
    return f"+{text}" if positive else text


def format_p(p_value: float | None) -> str:
    """Return a p-value: `< 0.001`, else three decimals, a fourth where three would round it onto 0.050."""
    if _missing(p_value):
        return NOTHING
    p = float(p_value)  # type: ignore[arg-type]  # _missing has turned None away
    if p < 0.001:
        return "< 0.001"
    if p > 0.9995:
        return "> 0.999"
    return f"{p:.4f}" if f"{p:.3f}" == "0.050" and p != 0.05 else f"{p:.3f}"


def p_words(p_value: float | None) -> str:
    """Return a p-value for a sentence: `p = 0.012`, `p < 0.001`."""
    text = format_p(p_value)
    return f"p {text}" if text[0] in "<>" else f"p = {text}"


def format_interval(low: float | None, high: float | None, digits: int = 1) -> str:
    """Return an interval as `low to high`; an en dash where there is none."""
    if _missing(low) or _missing(high):
        return NOTHING
    return f"{format_number(low, digits)} to {format_number(high, digits)}"


def format_share(share: float | None, digits: int = 0) -> str:
    """Return a share (0 to 1) in per cent, cut, never rounded up: 0.797 is 79 %, not 80 %."""
    if _missing(share):
        return NOTHING
    scale = 10.0**digits
    cut = math.floor(float(share) * 100 * scale + _FUZZ) / scale  # type: ignore[arg-type]  # not None here
    return f"{format_number(cut, digits)} %"


def format_list(names: list[str] | tuple[str, ...]) -> str:
    """Return names as in speech: `a`, `a and b`, `a, b and c`; an en dash for none."""
    if not names:
        return NOTHING
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _missing(value: float | None) -> bool:
    return value is None or math.isnan(value)
