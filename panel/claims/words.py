"""The words of a sentence: cut into tokens, whatever its case, hyphens or line breaks, and looked up in the tables."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from panel.study.knowledge import claim_words

Tokens = tuple[str, ...]
_TOKEN = re.compile(r"\d+(?:[.,]\d+)*|[^\W\d_][^\W_]*(?:'[^\W_]+)*|\S")
_APOSTROPHES = dict.fromkeys(map(ord, "’ʼ‘`´"), "'")
_DASHES = dict.fromkeys(map(ord, "‐‑‒–—−"), "-")
_SIGNS = _APOSTROPHES | _DASHES | {ord("&"): " and "}
SILENT = frozenset(".,;:!()\"“”„«»'-*†")
"""Marks that say nothing; every other sign is a word that has to be accounted for."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What one phrase of the table is: its part in a sentence, what it speaks of, and its sign or number."""

    part: str
    family: str = ""
    asked_as: str = ""
    value: float = float("nan")


def tokens_of(text: str) -> Tokens:
    """Return the words, numbers and signs of a text; hyphens inside words split them, silent marks stay."""
    plain = unicodedata.normalize("NFKC", text.translate(_SIGNS)).translate(_SIGNS).casefold()
    return tuple(_TOKEN.findall(re.sub(r"(?<=\w)-(?=\w)", " ", plain)))


def words_of(text: str) -> Tokens:
    """Return the tokens of a text without its silent marks."""
    return tuple(token for token in tokens_of(text) if token not in SILENT)


@cache
def phrases(language: str = "en") -> Mapping[Tokens, tuple[Entry, ...]]:
    """Return the table of words by the tokens of each phrase."""
    found: dict[Tokens, tuple[Entry, ...]] = {}
    for row in claim_words(language).to_dict("records"):
        value = float(row["value"]) if row["value"] else float("nan")
        entry = Entry(str(row["part"]), str(row["family"]), str(row["asked_as"]), value)
        key = words_of(str(row["phrase"]))
        found[key] = (*found.get(key, ()), entry)
    return MappingProxyType(found)


@cache
def known_words(language: str = "en") -> frozenset[str]:
    """Return every word that stands in some phrase of the table."""
    return frozenset(word for phrase in phrases(language) for word in phrase)


@cache
def longest_phrase(language: str = "en") -> int:
    """Return the number of words of the longest phrase."""
    return max(map(len, phrases(language)))


def entries_at(tokens: Tokens, place: int, part: str = "") -> Iterator[tuple[int, Entry]]:
    """Give what may stand at a place, the longest phrase first: its number of tokens and what it is."""
    table = phrases()
    for length in range(min(longest_phrase(), len(tokens) - place), 0, -1):
        for entry in table.get(tokens[place : place + length], ()):
            if not part or entry.part == part:
                yield length, entry


def number_at(tokens: Tokens, place: int) -> float | None:
    """Return the number at a place, in digits or in words; None where there is none."""
    if place >= len(tokens):
        return None
    token = tokens[place]
    if token[0].isdigit():
        thousands = re.fullmatch(r"\d{1,3}(?:,\d{3})+", token)
        text = token.replace(",", "") if thousands else token.replace(",", ".")
        try:
            return float(text)
        except ValueError:
            return None
    return next((entry.value for _, entry in entries_at(tokens, place, "number")), None)


def families_of(text: str) -> frozenset[str]:
    """Return what the properties and verbs of a text speak of, as the name of an attribute does."""
    tokens, place, found = words_of(text), 0, set()
    while place < len(tokens):
        length, entry = next(
            ((n, e) for n, e in entries_at(tokens, place) if e.part in ("property", "verb")), (1, Entry(""))
        )
        found |= {entry.family} - {""}
        place += length
    return frozenset(found)
