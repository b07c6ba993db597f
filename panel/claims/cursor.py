"""The place reached in the tokens of one sentence, what was found up to there, and what the next words name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from panel.claims.names import Names
from panel.claims.reading import Chunk, Moment, Share
from panel.claims.words import Entry, Tokens, entries_at

OURS = frozenset(("our", "the", "its"))


@dataclass(eq=False)
class Cursor:
    """The tokens and names of one sentence, the place reached, and everything found up to there."""

    tokens: Tokens
    names: Names
    place: int = 0
    core: list[Chunk] = field(default_factory=list)
    chunks: list[Chunk] = field(default_factory=list)
    comparators: list[frozenset[str]] = field(default_factory=list)
    subjects: list[str] = field(default_factory=list)
    shares: list[Share] = field(default_factory=list)
    bases: list[float] = field(default_factory=list)
    moments: list[Moment] = field(default_factory=list)
    ages: str = ""
    contains: list[str] = field(default_factory=list)
    credits: list[str] = field(default_factory=list)
    replaced: tuple[str, str, float] | None = None
    left_over: list[str] = field(default_factory=list)
    order: list[str] = field(default_factory=list)

    def entry(self, part: str, place: int | None = None) -> tuple[int, Entry]:
        """Return the longest phrase of this part at a place (the one reached), 0 tokens where there is none."""
        return next(entries_at(self.tokens, self.place if place is None else place, part), (0, Entry("")))

    def words(self, length: int) -> str:
        """Return the next words as text."""
        return " ".join(self.tokens[self.place : self.place + length])

    def take(self, length: int, entry: Entry) -> bool:
        """Take the next words as what they are."""
        self.chunks.append(Chunk(entry.part, self.words(length), entry.family, entry.asked_as, entry.value))
        self.place += length
        return True

    def before_people(self, place: int) -> bool:
        """Return whether people are named at a place, with an article or none."""
        while place < len(self.tokens) and self.tokens[place] in (*OURS, "of"):
            place += 1
        return bool(self.entry("people", place)[0] or self.entry("agree", place)[0])

    def comparator(self) -> bool:
        """Take words that name one prototype by name or role, with the product it is; leave them where they do not."""
        place = self.place
        while place < len(self.tokens) and (self.tokens[place] in OURS or self.tokens[place] in ("with", "for")):
            place += 1
        fitting: frozenset[str] | None = None
        alone = False
        while True:
            length, named, whole = self.one_name(place)
            if not length:
                break
            alone = alone or whole
            if named is not None:
                fitting = named if fitting is None else fitting & named
            place += length
        if not fitting or not alone or self.role_words(place) > 1:
            return False
        self.comparators.append(fitting)
        self.place = place
        return True

    def role_words(self, end: int) -> int:
        """Return how many words of a role stand from the place reached to `end`; two may name another prototype."""
        return sum(self.entry("role", place)[0] > 0 for place in range(self.place, end))

    def one_name(self, place: int) -> tuple[int, frozenset[str] | None, bool]:
        """Return how many tokens at a place help to name a prototype, and which it may be (None: a product word).

        The last is False for a word that needs a product after it, as `previous` does.
        """
        length, prototype = longest(self.names.prototypes, self.tokens, place)
        if length:
            return length, frozenset((prototype,)), True
        length, role = self.entry("role", place)
        if length and role.family in self.names.roles:
            return length, self.names.roles[role.family], role.value == 1
        return self.product_at(place), None, True

    def product_at(self, place: int) -> int:
        """Return how many tokens at a place name the product in general, or its kind as the study states it."""
        types = self.names.product_types
        for length, _ in entries_at(self.tokens, place, "product_type"):
            phrase = self.tokens[place : place + length]
            if phrase in types or (not types and length == 1):
                return length
        title = max((len(t) for t in self.names.titles if self.tokens[place : place + len(t)] == t), default=0)
        return title or self.entry("product", place)[0]


def longest(named: Mapping[Tokens, str], tokens: Tokens, place: int) -> tuple[int, str]:
    """Return the longest of the names that stands at a place: its number of tokens and what it names."""
    fitting = [words for words in named if words and tokens[place : place + len(words)] == words]
    best = max(fitting, key=len, default=())
    return len(best), named.get(best, "")
