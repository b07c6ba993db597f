"""What a sentence may name of a study: its prototypes by name or role, its product, its ingredients, its attributes."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from panel.claims.words import Tokens, entries_at, families_of, phrases, words_of
from panel.study.knowledge import ingredients
from panel.study.study import Study


@dataclass(frozen=True, eq=False, slots=True)
class Names:
    """What can be named, by the words that name it.

    `roles` gives for a family of role words (previous, benchmark ...) the prototypes it fits; `product_types` the
    kinds of product the study is about, empty where it does not say.
    """

    prototypes: Mapping[Tokens, str]
    roles: Mapping[str, frozenset[str]]
    ingredients: Mapping[Tokens, str]
    product_types: frozenset[Tokens]
    titles: frozenset[Tokens]
    attributes: Mapping[Tokens, str]


def names_of(study: Study) -> Names:
    """Return everything that can be named in a sentence about this study."""
    prototypes, roles = _prototypes(study)
    types, titles = _product(study)
    attributes = {words_of(study.attribute_words(name)): family_of(study, name) for name in study.attributes}
    return Names(prototypes, roles, _ingredients(study), types, titles, attributes)


def family_of(study: Study, attribute: str) -> str:
    """Return what an attribute speaks of, in the words of the table; a word of its own where they do not know it."""
    name = study.attribute_words(attribute)
    whole = [entry for length, entry in entries_at(words_of(name), 0) if length == len(words_of(name))]
    found = {entry.family for entry in whole if entry.part in ("property", "verb")} or families_of(name)
    return next(iter(found)) if len(found) == 1 else f"attribute {attribute}"


def _prototypes(study: Study) -> tuple[dict[Tokens, str], dict[str, frozenset[str]]]:
    named = {words_of(own): own for own in study.prototypes}  # also those that are scored and not listed
    roles: dict[str, set[str]] = {}
    for row in study.table("prototypes").to_dict("records"):
        own = str(row["prototype"])
        named |= {words: own for words in (words_of(own), words_of(str(row["name"]))) if words}
        for text in (str(row["name"]), str(row["role"])):
            for family in _role_families(words_of(text)):
                roles.setdefault(family, set()).add(own)
    return named, {family: frozenset(found) for family, found in roles.items()}


def _role_families(tokens: Tokens) -> set[str]:
    return {entry.family for place in range(len(tokens)) for _, entry in entries_at(tokens, place, "role")}


def _product(study: Study) -> tuple[frozenset[Tokens], frozenset[Tokens]]:
    """Return the kinds of product the study says it is about, each with its last word, and its title without them."""
    title = words_of(str(study.facts.get("title", "")))
    for text in (title, words_of(str(study.facts.get("purpose", "")))):
        found = _longest_types(text)
        if found:
            break
    types = found | {phrase[-1:] for phrase in found}
    cut = title
    for phrase in sorted(found, key=len, reverse=True):
        cut = cut[: -len(phrase)] if cut[-len(phrase) :] == phrase else cut
    return frozenset(types), frozenset({cut} - {()})


def _longest_types(tokens: Tokens) -> set[Tokens]:
    found, place = set(), 0
    while place < len(tokens):
        length = next((n for n, _ in entries_at(tokens, place, "product_type")), 0)
        found |= {tokens[place : place + length]} if length else set()
        place += length or 1
    return found


def _ingredients(study: Study) -> dict[Tokens, str]:
    """Return every known INCI name by its words, whole, without its parentheses, and by the everyday name in them."""
    found: dict[Tokens, str] = {}
    own = [str(name) for name in study.table("formulas")["ingredient"].unique()]
    for name in [*(str(name) for name in ingredients()["ingredient"]), *own]:
        inside = re.search(r"\(([^)]*)\)\s*(\w*)", name)
        ways = [name, re.sub(r"\([^)]*\)", " ", name)]
        if inside:
            everyday = f"{inside[1]} {inside[2]}"
            ways += [everyday, " ".join(everyday.split()[-2:])]
        found |= {words_of(way): name for way in ways if len(words_of(way)) > 1 or words_of(way) == words_of(name)}
    return {words: name for words, name in found.items() if words not in phrases()}
