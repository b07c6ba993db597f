"""Text from a study made fit for every form of the report: nothing in it can steer a page, a reader or a printer."""

from __future__ import annotations

import unicodedata

SHOWN_INSTEAD = "\N{REPLACEMENT CHARACTER}"
_BREAKS = {"\n": " ", "\r": " ", "\t": " ", "\x0b": " ", "\x0c": " ", "\u2028": " ", "\u2029": " "}
# Control signs, lone surrogates, private and unassigned code points; a file for the archive may hold none of them.
_REFUSED = {"Cc", "Cs", "Co", "Cn"}
# Signs that turn the direction of writing and so can make a text read as another one.
_TURNING = {*"\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c"}
_INVISIBLE = {*"\u200b\u2060\ufeff\u00ad"}


def plain_text(text: object) -> str:
    """Return text on one line with every sign that is no letter, mark or blank shown as `\ufffd`; invisible ones go."""
    words = str(text)
    return words if words.isascii() and words.isprintable() else "".join(map(_sign, words))


def _sign(sign: str) -> str:
    if sign in _BREAKS:
        return _BREAKS[sign]
    if sign in _INVISIBLE:
        return ""
    if sign in _TURNING or unicodedata.category(sign) in _REFUSED:
        return SHOWN_INSTEAD
    return sign


def with_breaks(text: str, longest: int) -> str:
    """Return text in which a word longer than a line may be broken, by invisible signs at even distances."""
    return " ".join(_broken(word, longest) if len(word) > longest else word for word in text.split(" "))


def _broken(word: str, longest: int) -> str:
    step = max(longest, 1)
    return "\u200b".join(word[start : start + step] for start in range(0, len(word), step))
