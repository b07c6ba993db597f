"""What a sentence may name of a study: its prototypes by name or role, its product, its ingredients, its attributes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from panel.claims.own_words import Way, is_applied
from panel.claims.parts import (
    ENDS,
    OF_FILM,
    OF_PEOPLE,
    ONES,
    Tokens,
    entries_at,
    known_words,
    plural_of,
)
from panel.study.study import Study

if TYPE_CHECKING:
    from panel.claims.claim import Reading


@dataclass(frozen=True, eq=False, slots=True)
class Names:
    """What can be named, by the words that name it.

    `roles` gives for a family of role words (previous, benchmark ...) the prototypes it fits; `product_types` the kinds
    of product the study is about, empty where it does not say; `purpose` what words of its purpose begin with; `dose`
    the amount the panel got; `ways` how attributes of its own are told; `moments` what may have happened before it was
    judged, and which form of its verb that is; `people` who took part, the longest words first; `chosen` what people
    would rather do with the one they chose, and what follows it; `units` what was counted: strokes.
    """

    prototypes: Mapping[Tokens, str]
    roles: Mapping[str, frozenset[str]]
    ingredients: Mapping[Tokens, str]
    product_types: frozenset[Tokens]
    titles: frozenset[Tokens]
    attributes: Mapping[Tokens, str]
    purpose: frozenset[str] = frozenset()
    dose: Tokens = ()
    ways: tuple[Way, ...] = ()
    moments: Mapping[Tokens, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    people: tuple[Tokens, ...] = ()
    chosen: tuple[Tokens, Tokens] = ((), ())
    units: frozenset[Tokens] = frozenset()


OF_STUDY = "attribute "  # and its name: what no table of words speaks of
_UNKNOWN_SHARE = 0.5  # of the words: more unknown than known is no English; a setting of ours, no source


def is_english(tokens: Tokens, names: Names) -> bool:
    """Return whether at least half of the words are ones that the tables or the study know."""
    words = [token for token in tokens if token[0].isalpha()]
    own = {word for phrase in (*names.ingredients, *names.prototypes) for word in phrase}
    unknown = sum(word not in known_words() and word not in own for word in words)
    return bool(words) and unknown <= _UNKNOWN_SHARE * len(words)


def public_name(study: Study, names: Names, prototype: str) -> str:
    """Return how the public may be told which prototype is meant: by a role that only it has, else by name."""
    for role in ("previous", "current"):
        if names.roles.get(role) == {prototype}:
            return f"our {role} {_product_words(names)}"
    if names.roles.get("untreated") == {prototype}:
        return "untreated skin"
    table = study.table("prototypes")
    found = [str(name) for name in table.loc[table["prototype"] == prototype, "name"]]
    return found[0] if found and found[0] else prototype


def rest_tested(names: Names, number: int) -> str:
    """Return how the public may be told of all the others of a test, whose names it does not know."""
    kind = _product_words(names)
    return f"the other {ONES[number - 1] if number <= len(ONES) else number} {plural_of(kind)} tested"


def _product_words(names: Names) -> str:
    """Return what kind of product the study is about; formula where it does not say."""
    return max((" ".join(words) for words in sorted(names.product_types)), key=len, default="formula")


# What a sentence says happened before something was judged.


def happened(reading: Reading) -> dict[str, str]:
    """Return what a sentence says happened before, and its words: rinsing, product drying, that it was applied."""
    own = {chunk.family: chunk.words for chunk in reading.chunks if chunk.part == "event"}
    beside = [
        chunk.words for chunk in reading.chunks if (chunk.part, chunk.family) in {("function", ""), ("later", "")}
    ]
    during = {words for kind, _, words in reading.moments if kind == "rubbing"}
    beside += [words for kind, _, words in reading.moments if kind != "use"]
    if any(kind == "later" for kind, _, _ in reading.moments):  # apply the balm, and 10 minutes later
        beside += [chunk.words for chunk in reading.chunks if chunk.family == "told"]
    applied = next((words for words in beside if words not in during and is_applied(words)), "")
    return own | ({"applied": applied} if applied else {})


def is_moment(said: str, own: str) -> bool:
    """Return whether what is said to have happened is, at least in general, what had: drying for towel drying."""
    return said == own or own.endswith(f" {said}") or said == f"skin {own}"


_BEING_FELT = frozenset(("is", "are", "was", "were", "be", "being"))


def as_felt(reading: Reading) -> bool:
    """Return whether people are said to have felt it: 89 % of users felt that it is not greasy."""
    felt = ("feel", "felt", "perceiv", "describ", "rated")
    told = [*reading.words_for("function"), *" ".join(chunk.words for chunk in reading.core).split()]
    described = [chunk.words for chunk in reading.chunks if chunk.part == "agree" or chunk.family == "as"]
    said = reading.has("agree") and not _BEING_FELT & set(told)  # not sticky, say most of them
    said = said or any("feeling" in chunk.words for chunk in reading.core if chunk.part == "not")  # no feeling of
    said = said or not {"feeling of", "sensation of", "sense of"}.isdisjoint(reading.words_for("function"))
    return said or any(word.startswith(felt) for words in described for word in words.split())


BY_PRODUCT = frozenset(("soaking in", "spreading"))  # what only the product does


def of_another(reading: Reading, asked: Reading, own: frozenset[str]) -> bool:
    """Return whether something is said of the skin that was asked of the product; of a film it may be said of both."""
    of = asked.said_of or ("" if asked.has("site") and asked.family not in BY_PRODUCT else "product")
    said, alike = {reading.said_of, of}, {"skin", *(own - {"body"})}
    alike |= {"product"} if asked.families <= OF_FILM else set()
    if asked.family == "thickness" and reading.has("site"):
        return True  # their skin has just the right thickness
    return asked.family not in OF_PEOPLE and "" not in said and len(said - alike) + bool(said & alike) > 1


@dataclass(eq=False)
class Words:
    """The words of one sentence, each with what it may be."""

    tokens: Tokens

    def word_at(self, place: int) -> str:
        """Return the word at a place; empty where none stands."""
        return self.tokens[place] if 0 <= place < len(self.tokens) else ""

    def parts_at(self, place: int) -> set[str]:
        """Return the parts that words from a place on may be."""
        return {entry.part for _, entry in entries_at(self.tokens, place)} if place >= 0 else set()

    def clause(self, at: int, ends: frozenset[str] = ENDS) -> range:
        """Return the places of the words of a clause, from mark to mark, that holds a place."""
        start = max((place for place in range(at) if self.tokens[place] in ends), default=-1) + 1
        marks = (place for place in range(at, len(self.tokens)) if self.tokens[place] in ends)
        return range(start, next(marks, len(self.tokens)))


def longest(named: Mapping[Tokens, str], tokens: Tokens, place: int) -> tuple[int, str]:
    """Return the longest of the names that stands at a place: its number of tokens and what it names."""
    ends = (end for end in range(len(tokens), place, -1) if tokens[place:end] in named)
    end = next(ends, place)
    return end - place, named.get(tokens[place:end], "")
