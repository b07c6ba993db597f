"""What a sentence may name of a study: its prototypes by name or role, its product, its ingredients, its attributes."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING

from panel.claims.own_words import STUFF, Way, is_applied, kernel
from panel.claims.parts import (
    ENDS,
    FULL,
    OF_FILM,
    OF_PEOPLE,
    ONES,
    Tokens,
    entries_at,
    entry_at,
    known_words,
    number_at,
    plural_of,
    whole_words,
)
from panel.study.knowledge import shared_table
from panel.study.study import Study

if TYPE_CHECKING:
    from panel.claims.as_described import Telling
    from panel.claims.claim import Reading


@dataclass(frozen=True, eq=False, slots=True)
class Names:
    """What can be named, by the words that name it.

    `roles` gives for a family of role words (previous, benchmark ...) the prototypes it fits; `product_types` the kinds
    of product the study is about, empty where it does not say; `purpose` what words of its purpose begin with; `dose`
    the amount the panel got; `ways` how attributes of its own are told; `moments` what may have happened before it was
    judged, and which form of its verb that is, and the stages of judging; `people` who took part, the longest words
    first; `chosen` what people would rather do with the one they chose, and what follows it; `units` what was counted:
    strokes; `tellings` how attributes are told in the terms of their definitions.
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
    tellings: tuple[Telling, ...] = ()


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


def stage_at(
    tokens: Tokens, place: int, moments: Mapping[Tokens, tuple[tuple[str, str], ...]]
) -> tuple[int, str] | None:
    """Return how many tokens name a stage of judging, and which: during rub-out, at the pick-up stage."""
    if tokens[place] not in ("on", "at", "in", "during", "upon"):
        return None
    start = place + 1 + (tokens[place + 1 : place + 2] in (("the",), ("our",)))
    for end in range(len(tokens), start, -1):
        for stage, kind in moments.get(tokens[start:end], ()):
            if kind == STAGE:
                return end + (tokens[end : end + 1] in (("stage",), ("phase",), ("test",))) - place, stage
    return None


STAGE = "stage"  # what is neither done nor waited for, and told of by its name


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


_BEFORE_NOUN = frozenset(("the", "its", "in", "for", "on", "same", "lowest", "highest", "least", "most", "low", "high"))
_AFTER_NOUN = frozenset((":", "is", "was", "equal", "unchanged", "reduced", "lower", "higher", "rated", "scored"))


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

    def is_noun(self, place: int, length: int) -> bool:
        """Return whether words that may be a verb are a noun by what is beside them: its glide, glide is the same."""
        before, after = self.word_at(place - 1), self.word_at(place + length)
        return before in _BEFORE_NOUN or (before in ("", *ENDS) and after in _AFTER_NOUN)

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


# Words that a study states for an attribute.


def may_stand(words: Tokens, family: str, own: frozenset[str] = frozenset()) -> bool:
    """Return whether words may be stated to stand for something: some of them no table knows as anything else.

    `own`: what the words have in common by which the study names and defines it; those may be of the body as well.
    """
    if any(_of_health(word) and kernel(word) not in own for word in words):
        return False
    text, counted = " ".join(words), (number_at(words, n) for n, word in enumerate(words) if word != "one")
    refused = any(re.search(whole_words(phrase), text) for phrase in _refused_for_all()[0])
    if refused or not all(map(str.isalpha, words)) or any(number is not None for number in counted):
        return False
    if not _refused_for_all()[1].isdisjoint(map(kernel, words)) or all(map(_is_stuff, words)):
        return False
    of_others = [
        (length, entry.part) for place in range(len(words)) for length, entry in entries_at(words, place)
        if entry.part not in _BESIDE and entry.family not in ("", family)
    ]  # fmt: skip
    compares = any(entry_at((word,), 0, part)[0] or word.endswith("less") for word in words for part in _JUDGING)
    return not compares and not any(part != "verb" or length == len(words) for length, part in of_others)


def _of_health(word: str) -> bool:
    """Return whether a word speaks of health, of the body or of the stuff itself, by its table or its ending."""
    return kernel(word) in _not_stated() or _OF_MEDICINE.search(word) is not None


@cache
def _not_stated() -> frozenset[str]:
    return frozenset(map(kernel, shared_table("claim_not_stated_en")["word"]))


_OF_MEDICINE = re.compile(
    r"(?:itis|osis|emia|aemia|algia|ectomy|therapy|ologist|icide|pathy)$|^(?:anti|derm|micro|neuro|cardio)"
)


@cache
def _refused_for_all() -> tuple[tuple[str, ...], frozenset[str]]:
    """Return the refused phrases, and what the forms of those have in common that are one word of an effect."""
    rows = shared_table("claim_refused_en")
    phrases, effects = (
        rows.loc[chosen, "phrase"].str.casefold().tolist()
        for chosen in (~rows["category"].isin(_MAY_BE_PART), rows["category"].isin(_OF_EFFECTS))
    )
    return tuple(phrases), frozenset(kernel(phrase) for phrase in effects if phrase.isalpha())


def _is_stuff(word: str) -> bool:
    """Return whether a word names what was put on, of which there may be more or less: cream, water."""
    return word in STUFF or any(entry_at((word,), 0, part)[0] for part in ("product", "product_type", "function"))


_OF_EFFECTS = ("medicine", "physiology", "safety", "undefined word", "environment and origin")
_MAY_BE_PART = ("where it was used", "rounded up")  # the foot slips about
_BESIDE = frozenset((
    "function", "aside", "site", "event", "unit", "product", "product_type", "product_place", "rubbing",
))  # fmt: skip
_JUDGING = ("fraction", "more", "less", "most", "least", "not", "free", "than", "nothing", "too", "beats", "credit")


def as_chosen(tokens: Tokens, done: tuple[Tokens, Tokens]) -> Tokens:
    """Return a sentence on what people would rather do with one, in the words they were asked, as a preference."""
    verb, rest = done
    for place in range(len(tokens)) if verb else ():
        rather = tokens[place + 1 : place + 2] in (("rather",), ("sooner",))
        start = place + 1 + rather + len(verb)
        if tokens[place] != "would" or tokens[place + 1 + rather : start] != verb:
            continue
        if "home" in tokens[start:]:
            return tokens  # keep it in the workshop and at home
        at = next((n for n in range(start, len(tokens) - len(rest) + 1) if tokens[n : n + len(rest)] == rest), -1)
        if at >= 0:
            after = tokens[at + len(rest) :]
            after = after[after[:2] == ("rather", "than") and not rather :]  # would take it on a ride rather than
            return (*tokens[: place + 1], "rather", "use", *tokens[start:at], *after)
    return tokens


def set_straight(tokens: Tokens, names: Names) -> Tokens:
    """Return a sentence in straight words: without who is spoken to, P4 lower than P1 for below it, the old one."""
    told = _in_order(_without_address(_without_own_tags(as_chosen(tokens, names.chosen), names)), names)
    kept = list[str]()
    for place, word in enumerate(told):
        before, after = told[max(0, place - 1) : place], told[place + 1 : place + 2]
        beside = longest(names.prototypes, told, place + 1)[0] and _ends_name(told, place, names)
        if word in _RANKED and beside:
            kept += [_RANKED[word], "than"]
        elif word == "any" and _asked_how_much(told, place):
            continue
        elif before == ("the",) and {*told[max(0, place - 2) : place - 1]} & _BESIDE and {*after} <= ENDS:
            product = any(entry_at(told, n, part)[0] for n in range(place) for part in ("product", "product_type"))
            kept += [word, "one"] if product and (word == "new" or entry_at((word,), 0, "role")[0]) else [word]
        else:
            kept.append(word)
    return tuple(kept)


def _in_order(tokens: Tokens, names: Names) -> Tokens:
    """Return a sentence that names first what it tells of: found P4 scored lower for gave P4 lower marks."""
    for place, word in enumerate(tokens):
        end = place + 1 + longest(names.prototypes, tokens, place + 1)[0]
        if word in _GIVING and end > place + 1 and tokens[end : end + 1] in (("lower",), ("higher",)):
            marks = {*tokens[end + 1 : end + 2]} <= _MARKS_GIVEN
            return (
                (*tokens[:place], "found", *tokens[place + 1 : end], "scored", *tokens[end:][:1], *tokens[end + 2 :])
                if marks
                else tokens
            )
        if word in ("took", "takes") and end > place + 1 and tokens[place - 1 : place] == ("it",):
            return (*tokens[: place - 1], *tokens[place + 1 : end], word, *tokens[end:])
    return tokens


_GIVING, _MARKS_GIVEN = frozenset(("gave", "give", "awarded")), frozenset(("marks", "scores", "ratings", "points"))
_RANKED = MappingProxyType({"below": "lower", "above": "higher"})
_BESIDE = frozenset(("than", "against", "with", "versus", "vs"))


def _ends_name(tokens: Tokens, place: int, names: Names) -> bool:
    """Return whether the name of a prototype stands right before a place."""
    return any(longest(names.prototypes, tokens, start)[0] == place - start for start in range(place))


def _asked_how_much(tokens: Tokens, place: int) -> bool:
    """Return whether it is asked whether there is any more of it, with nothing denied: is it any faster?"""
    more = any(entry_at(tokens, place + 1, part)[0] for part in ("comparative", "degree_comparative", "more", "less"))
    start = max((n + 1 for n in range(place) if tokens[n] in FULL), default=0)
    denied = any(word in ("no", "not", "never", "nor") or word.endswith("n't") for word in tokens[start:place])
    return more and not denied and next((word for word in tokens[place:] if word in FULL), "") == "?"


def _without_own_tags(tokens: Tokens, names: Names) -> Tokens:
    """Return a sentence without tags that are only what the product is called: #newhandcream."""
    own = {
        f"{new}{''.join(kind)}" for kind in names.product_types for new in ("", "new", "our", "ournew", "the", "this")
    }
    tags = {n + more for n, pair in enumerate(pairwise(tokens)) if pair[0] == "#" and pair[1] in own for more in (0, 1)}
    return tuple(word for n, word in enumerate(tokens) if n not in tags)


def _without_address(tokens: Tokens) -> Tokens:
    """Return a sentence without a greeting, or who is spoken to, between its beginning or end and a mark.

    Not where it counts, or names who judged: ten assessors, students.
    """
    for place in range(len(tokens)):
        length = entry_at(tokens, place, "address")[0]
        end = place + length
        start = max((n + 1 for n in range(place) if tokens[n] in FULL), default=0)
        stop = next((n for n in range(end, len(tokens)) if tokens[n] in FULL), len(tokens))
        who = (n for n in range(start, stop) if not place <= n < end)
        if not length or any(_counts_or_judged(tokens, n) for n in who):
            continue
        if place == start and tokens[end : end + 1] in ((",",), ("!",)):
            return _without_address((*tokens[:place], *tokens[end + 1 :]))
        if tokens[place - 1 : place] == (",",) and {*tokens[end : end + 1]} <= FULL:
            return _without_address((*tokens[: place - 1], *tokens[end:]))
    return tokens


def _counts_or_judged(tokens: Tokens, place: int) -> bool:
    known = any(entry_at(tokens, place, part)[0] for part in ("people", "panel", "agree", "percent", "majority"))
    return known or number_at(tokens, place) not in (None, 1)
