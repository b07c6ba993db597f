"""One sentence read whole: what every word of it does, and which words nothing accounts for."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

LETTERS = {
    "property": "P", "comparative": "C", "superlative": "S", "verb": "V", "degree": "D", "degree_comparative": "E",
    "degree_superlative": "G", "more": "M", "less": "L", "most": "T", "least": "B", "not": "N", "absolute_not": "n",
    "free": "F", "low": "H", "high": "K", "as": "A", "nothing": "U",
}  # fmt: skip
_COMPARED = r"(?:[ML]P|C|V[ML]D|[ML]DV|VE|EV)"
PATTERNS = {
    "comparative": rf"{_COMPARED}",
    "not comparative": rf"N{_COMPARED}|VNE|VN[ML]D",
    "parity": r"APA|VADA",
    "not parity": r"NAPA|NVADA|VNADA",
    "positive": r"P|VD|DV",
    "negated": r"NP|NVD|NDV",
    "absent": r"nP|PF",
    "low": r"HP",
    "high": r"KP",
    "superlative": r"S|TP|BP|VG|GV",
    "nothing": rf"U{_COMPARED}|UV",
    "bare": r"V",
    "none": r"",
}
UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some words of a sentence and what they do in it."""

    part: str
    words: str
    family: str = ""
    asked_as: str = ""
    value: float = float("nan")


@dataclass(frozen=True, slots=True)
class Share:
    """A share a sentence quotes: `of` is the count it is out of (100 for per cent); `least` where it says more than.

    `least` is `more than`, `at least` or empty; `fraction` is True where a word such as most or half says it.
    """

    count: float
    of: float
    least: str
    words: str
    fraction: bool = False

    @property
    def share(self) -> float:
        """Between 0 and 1."""
        return self.count / self.of if self.of else float("nan")


@dataclass(frozen=True, slots=True)
class Moment:
    """A time a sentence quotes, in minutes: `at` a time, `within` it, or `for` as long; `later` has no minutes."""

    kind: str
    minutes: float
    words: str


@dataclass(frozen=True, eq=False, slots=True)
class Reading:
    """What a sentence says, part by part; `left_over` holds the words that nothing accounts for.

    `order` holds those and the parts of the statement as they follow each other: a question in words of its own is
    known by it.
    """

    core: tuple[Chunk, ...] = ()
    chunks: tuple[Chunk, ...] = ()
    comparators: tuple[frozenset[str], ...] = ()
    subjects: tuple[str, ...] = ()
    shares: tuple[Share, ...] = ()
    bases: tuple[float, ...] = ()
    moments: tuple[Moment, ...] = ()
    ages: str = ""
    contains: tuple[str, ...] = ()
    credits: tuple[str, ...] = ()
    replaced: tuple[str, str, float] | None = None
    left_over: tuple[str, ...] = ()
    order: tuple[str, ...] = ()
    read: bool = field(default=True)

    @property
    def degree(self) -> str:
        """What kind of thing is said of the property; `unreadable` where its words make no single statement."""
        fitting = (name for name, pattern in PATTERNS.items() if re.fullmatch(pattern, self.letters))
        found = next(fitting, UNREADABLE)
        return found if len(self.families) <= 1 else UNREADABLE

    @property
    def letters(self) -> str:
        """The parts of the statement as letters, in their order."""
        return "".join(LETTERS[chunk.part] for chunk in self.core)

    @property
    def families(self) -> frozenset[str]:
        """What the sentence speaks of; one family where it says one thing."""
        return frozenset(chunk.family for chunk in self.core if chunk.family)

    @property
    def family(self) -> str:
        """What the sentence speaks of; empty where that is nothing, or several things."""
        return next(iter(self.families)) if len(self.families) == 1 else ""

    @property
    def asked_as(self) -> frozenset[str]:
        """The words for it, in the terms of questions."""
        return frozenset(chunk.asked_as for chunk in self.core if chunk.asked_as)

    @property
    def sign(self) -> int:
        """1 where the property or degree means more of it, -1 where less; the not of a negation left aside."""
        sign = 1
        for chunk in self.core:
            if chunk.part in ("less", "least") or chunk.value == -1:
                sign = -sign
        return sign

    def has(self, part: str) -> bool:
        """Return whether some words do this in the sentence."""
        return any(chunk.part == part for chunk in self.chunks)

    def words_for(self, part: str) -> list[str]:
        """Return the words that do this in the sentence."""
        return [chunk.words for chunk in self.chunks if chunk.part == part]

    def families_for(self, part: str) -> frozenset[str]:
        """Return what the words that do this speak of."""
        return frozenset(chunk.family for chunk in self.chunks if chunk.part == part)
