"""How numbers, shares, p-values, intervals, lists and counts are written: the only place that formats.

Measured numbers have fixed digits; a number that somebody typed in (a margin, minutes, a limit) is written as it was
typed. Shares are rounded to nearest, unless they stand for a claim: what favours it and a lower limit are never rounded
up (`DOWN`), what speaks against it and an upper limit never down (`UP`).
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal

import numpy as np

NOTHING = "–"
_MINUS = "−"

Rounding = Literal["nearest", "down", "up"]
NEAREST: Rounding = "nearest"
DOWN: Rounding = "down"
UP: Rounding = "up"

_FUZZ = 1e-9  # a share such as 0.29 is stored as 0.28999...; without this, cutting digits would make 28 % of it
_NO_DECIMALS_FROM = 1000.0  # an interval that reaches so far is not known to a decimal
FEW = 3
"""So many names are written out in a row; of more, the first so many and the count."""


def format_number(value: float | None, digits: int = 1, rounding: Rounding = NEAREST) -> str:
    """Return `value` with `digits` decimals and a true minus sign; an en dash where there is no number."""
    if value is None or math.isnan(value):
        return NOTHING
    number = float(value)
    if math.isinf(number):
        return "∞" if number > 0 else f"{_MINUS}∞"
    scaled = number * 10.0**digits
    if rounding != NEAREST:
        number = (math.floor(scaled + _FUZZ) if rounding == DOWN else math.ceil(scaled - _FUZZ)) / 10.0**digits
    elif abs(abs(scaled) % 1 - 0.5) < _FUZZ:  # -1.75 is -1.8, on whichever side of it the sums came out
        number = math.copysign(math.ceil(abs(scaled) - 0.5 + _FUZZ), number) / 10.0**digits
    text = f"{number:.{digits}f}"
    if not any(digit in text for digit in "123456789"):
        text = text.lstrip("-")
    return text.replace("-", _MINUS)


def format_change(value: float | None, digits: int = 1) -> str:
    """Return a difference with its sign, plus or minus; zero has none."""
    text = format_number(value, digits)
    return f"+{text}" if text[0] not in (_MINUS, NOTHING) and any(digit in text for digit in "123456789∞") else text


def format_typed(value: object) -> str:
    """Return a value with the digits somebody typed, so that it can be found again: P1, 330, −0.5, 120000."""
    if isinstance(value, float) and math.isfinite(value):
        return np.format_float_positional(value, trim="-").replace("-", _MINUS)
    return str(value).replace("-", _MINUS) if isinstance(value, int | np.integer) else str(value)


def format_window(low: float, high: float, digits: int | None = None, unit: str = "") -> str:
    """Return limits in words, as they were typed or with `digits`: `38 or less`, `55 s or more`, `30 to 40`."""
    first, last = (_limit(end, digits) if end == end else "" for end in (low, high))
    if not first and not last:
        return NOTHING
    if first and last:
        return f"{first} to {last}{unit}"
    return f"{first}{unit} or more" if first else f"{last}{unit} or less"


def _limit(end: float, digits: int | None) -> str:
    return format_typed(float(end)) if digits is None or end == round(end) else format_number(end, digits)


def format_p(p_value: float | None) -> str:
    """Return a p-value: `< 0.001`, else three decimals, a fourth where three would round it onto 0.050."""
    if p_value is None or math.isnan(p_value):
        return NOTHING
    p = float(p_value)
    if p < 0.001:
        return "< 0.001"
    if p > 0.9995:
        return "> 0.999"
    return f"{p:.4f}" if f"{p:.3f}" == "0.050" and p != 0.05 else f"{p:.3f}"


def chance_words(chance: float) -> str:
    """Return a chance in per cent; never 0 or 100, which draws cannot show."""
    if math.isnan(chance):
        return NOTHING
    if chance < 0.01:
        return "< 1 %"
    return "> 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def luck_words(row: Mapping[Any, Any], write: Callable[[float], str]) -> str:
    """Return an `estimate` picked as large beside what is left of it, `shrunken`, and the chance `wrong_sign`."""
    seen, left = (write(row[name]) for name in ("estimate", "shrunken"))
    wrong = chance_words(row["wrong_sign"])
    return f"{seen} as estimated, {left} with luck taken out; chance that its sign is wrong {wrong}"


def p_words(p_value: float | None) -> str:
    """Return a p-value for a sentence: `p = 0.012`, `p < 0.001`."""
    text = format_p(p_value)
    return f"p {text}" if text[0] in "<>" else f"p = {text}"


def p_after_holm(p_value: float | None) -> str:
    """Return a p-value that was adjusted for its family, for a sentence: `p after Holm = 0.012`."""
    return f"p after Holm{p_words(p_value)[1:]}"


def format_interval(low: float | None, high: float | None, digits: int = 1) -> str:
    """Return an interval as `low to high`, open ends said to be open; an en dash where there is none."""
    if low is None or high is None or math.isnan(low) or math.isnan(high):
        return NOTHING
    if max((abs(end) for end in (low, high) if math.isfinite(end)), default=0.0) >= _NO_DECIMALS_FROM:
        digits = 0
    first = "no lower limit" if low == -math.inf else _end(low, format_number(low, digits))
    return f"{first} to {'no upper limit' if high == math.inf else _end(high, format_number(high, digits))}"


def with_interval(
    value: float,
    low: float,
    high: float,
    digits: int = 1,
    write: Callable[[float, int], str] = format_number,
) -> str:
    """Return a number with its interval in brackets, `5.1 (4.2 to 6.0)`; the number alone where it has none."""
    told, ends = write(value, digits), format_interval(low, high, digits)
    return told if ends == NOTHING else f"{told} ({ends})"


def from_to(low: object, high: object) -> str:
    """Return two ends in words, `6 to 9`; one of them where they are the same."""
    return f"{low}" if low == high else f"{low} to {high}"


def _end(value: float, text: str) -> str:
    """Return the end of an interval; one that only rounding puts at zero says on which side of zero it lies."""
    if not value or any(digit in text for digit in "123456789"):
        return text
    return f"{'above' if value > 0 else 'below'} {text}"


def format_share(share: float | None, digits: int = 0, rounding: Rounding = NEAREST) -> str:
    """Return a share (0 to 1) in per cent; `rounding` says whether it may be rounded up or down."""
    if share is None or math.isnan(share):
        return NOTHING
    return f"{format_number(100 * share, digits, rounding)} %"


def cut_share(share: float) -> str:
    """Return a share (0 to 1) that stands for a claim, in whole per cent, cut: 0.797 is 79 %."""
    return format_share(share, rounding=DOWN)


def format_shares(low: float | None, high: float | None, digits: int = 0) -> str:
    """Return an interval of shares in per cent: its lower end never rounded up, its upper end never down."""
    if low is None or high is None or math.isnan(low) or math.isnan(high):
        return NOTHING
    return f"{_end(low, format_number(100 * low, digits, DOWN))} to {format_number(100 * high, digits, UP)} %"


def typed_share(share: float) -> str:
    """Return a share (0 to 1) that somebody set, in per cent as it was typed: `80 %`, `12.5 %`."""
    return f"{format_typed(round(100 * float(share), 9))} %"


def counted_share(count: int, base: int, rounding: Rounding = NEAREST) -> str:
    """Return `44 of 58 (75.9 %)`; `0 of 0` has no per cent."""
    told = f"{count:,} of {base:,}"
    return f"{told} ({format_share(count / base, 1, rounding)})" if base else told


def format_list(names: Sequence[str]) -> str:
    """Return names as in speech: `a`, `a and b`, `a, b and c`; an en dash for none."""
    if not names:
        return NOTHING
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def quoted(words: str) -> str:
    """Return words in quotes where a comma in them would read as two things in a list."""
    return f"“{words}”" if "," in words else words


def first_few(names: Sequence[object], most: int = FEW) -> str:
    """Return names as in speech, of many only the first: `P1, P2 and P3`, `P1, P2, P3 and 4 more`."""
    shown, rest = [str(name) for name in names[:most]], len(names) - most
    return format_list([*shown, f"{rest:,} more"] if rest > 0 else shown) if names else ""


def counted(number: int, noun: str, plural: str = "") -> str:
    """Return a count with its noun: `1 score`, `1,200 scores`."""
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


_AFTER_A_NOUN = re.compile(
    r" (?:of|on|in|at|to|off|over|under|from|for|with|between|through|against|across|around|round|into|onto|after"
    r"|before|until|till|when|while|that|which|left|needed|used|taken)\b"
)
_PLURAL = re.compile(r"[a-z]{2,}(?<![suia])s$", re.IGNORECASE)  # not gloss, callus, basis


def less_of(what: str) -> str:
    """Return `fewer` before what is counted, strokes until even or white marks; `less` before all else."""
    return "fewer" if _PLURAL.search(_AFTER_A_NOUN.split(what, maxsplit=1)[0]) else "less"


def scale_units(size: float) -> str:
    """Return a size on the scale of the scores as it was typed: `8 scale units`, `1 scale unit`."""
    return f"{format_typed(size)} scale unit{'' if size == 1 else 's'}"


def all_of(number: int, noun: str, plural: str = "") -> str:
    """Return all of some things as in speech: `the attribute`, `both attributes`, `all 14 attributes`."""
    if number == 1:
        return f"the {noun}"
    return f"{'both' if number == 2 else f'all {number:,}'} {plural or noun + 's'}"


def level_words(level: float) -> str:
    """Return the name of an interval with its level: `95 % interval`."""
    return f"{level_digits(level)} interval"


def level_digits(level: float) -> str:
    """Return the level of an interval in per cent, with no more digits than tell it from 100."""
    return f"{100 * level:.{4 if level < 0.9999 else 7}g} %"


def when_words(moment: str) -> str:
    """Return a moment as people write it: `2026-02-03 14:00`."""
    return moment.replace("T", " ")


def capital(text: str) -> str:
    """Return text with a capital first letter, the rest as it is; pH and the like stay."""
    return text if text[1:2].isupper() else text[:1].upper() + text[1:]


# Text from a study made fit to be shown: nothing in it can steer a terminal, a page, a reader or a printer.


_SHOWN_INSTEAD = "\N{REPLACEMENT CHARACTER}"
_BREAKS = {"\n": " ", "\r": " ", "\t": " ", "\x0b": " ", "\x0c": " ", "\u2028": " ", "\u2029": " "}
# Control signs, lone surrogates, private and unassigned code points; a file for the archive may hold none of them.
_REFUSED = {"Cc", "Cs", "Co", "Cn"}
# Signs that turn the direction of writing and so can make a text read as another one; marks do it to signs alone.
_OVERRIDING = {*"\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"}
_TURNING = _OVERRIDING | {*"\u200e\u200f\u061c"}
_INVISIBLE = {*"\u200b\u2060\ufeff\u00ad"}


def plain_text(text: object) -> str:
    """Return text on one line with every sign that is no letter, mark or blank shown as `\ufffd`; invisible ones go."""
    words = str(text)
    return words if words.isascii() and words.isprintable() else "".join(map(_sign, words))


def as_seen(text: str) -> str:
    """Return a text as one sees it: accents composed, one blank for any gap, nothing invisible but what turns words."""
    if text.isascii() and text.isprintable() and "  " not in text:
        return text.strip()
    composed = unicodedata.normalize("NFC", text)
    seen = (sign for sign in composed if sign in _OVERRIDING or unicodedata.category(sign) != "Cf")
    return " ".join("".join(seen).split())


def _sign(sign: str) -> str:
    if sign in _BREAKS:
        return _BREAKS[sign]
    if sign in _INVISIBLE:
        return ""
    if sign in _TURNING or unicodedata.category(sign) in _REFUSED:
        return _SHOWN_INSTEAD
    return sign
