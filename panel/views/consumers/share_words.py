"""A share in words that nobody can call rounded up: count, base, per cent, and at most how many in ten."""

from __future__ import annotations

from panel.views.drawing.formats import format_share


def share_words(count: int, base: int) -> str:
    """Return `44 of 58 (75.8 %)`, the per cent cut, never rounded up; `0 of 0` has none."""
    told = f"{count} of {base}"
    return f"{told} ({format_share(count / base, 1)})" if base else told


def in_ten(count: int, base: int) -> str:
    """Return the most that may be said as so many in ten: `7 in 10` for 44 of 58; `none` below one in ten."""
    tens = 10 * count // base if base else 0
    return f"{tens} in 10" if tens else "none"


def share_interval(low: float, high: float) -> str:
    """Return an interval of shares in per cent, both ends cut: `63.4 to 85.0 %`."""
    return f"{format_share(low, 1).removesuffix(' %')} to {format_share(high, 1)}"
