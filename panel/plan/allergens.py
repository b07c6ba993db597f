"""Who must not get which prototype? What an assessor avoids, against what the formulas contain.

Where it cannot be told, nobody is served: a word that is not understood, or a prototype without a formula, blocks the
person concerned until somebody has settled it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from panel.study.knowledge import canonical_ingredient, ingredients
from panel.study.plan_knowledge import allergen_words
from panel.study.study import Study

_PAIR_COLUMNS = ("assessor", "prototype", "avoid", "ingredient", "reason")

_NOTHING = ("", "-", "none", "no", "nothing", "n/a", "no known", "none known")
_SHORTEST = 4  # letters of a word that is looked for inside names; "nut" would also find coconut


@dataclass(frozen=True, eq=False, slots=True)
class AllergenMatch:
    """What must not meet.

    Parameters
    ----------
    forbidden
        `assessor prototype avoid ingredient reason`: one row for each ingredient that forbids a pair.
    not_understood
        `assessor avoid`: words of the table of assessors that no ingredient or allergen answers to.
    not_known
        `prototype ingredient`: ingredients of which it is not known whether they hold an allergen; they forbid nothing.
    """

    forbidden: pd.DataFrame
    not_understood: pd.DataFrame
    not_known: pd.DataFrame


def match_allergens(study: Study, assessors: Iterable[str] | None = None, *, also: Iterable[str] = ()) -> AllergenMatch:
    """Return who must not get what.

    Parameters
    ----------
    assessors
        Whom to look at; by default everybody in the table of assessors, consumers too.
    also
        Further prototypes to be served, such as a warm-up; without a formula they are forbidden to whoever avoids
        something.
    """
    prototypes = list(dict.fromkeys([*study.prototypes, *(name for name in also if name)]))
    lines = study.table("formulas")
    lines = lines.loc[(lines["ingredient"] != "") & ~(lines["percent"] == 0), ["prototype", "ingredient"]]
    contents = [(prototype, name, _holds(name)) for prototype, name in lines.drop_duplicates().itertuples(index=False)]
    without = [name for name in prototypes if name not in set(lines["prototype"])]
    groups = _groups()
    forbidden: list[tuple[str, str, str, str, str]] = []
    strange = []
    for assessor, word in _avoided(study, assessors):
        forbidden += [(assessor, name, word, "", f"avoids {word}, and {name} has no formula") for name in without]
        allergens, names = _understood(word, groups)
        if not allergens and not names:
            strange.append((assessor, word))
            forbidden += [
                (assessor, name, word, "", f"avoids {word!r}, which is not understood") for name in prototypes
            ]
        for prototype, ingredient, held in contents:
            named = len(_bare(word)) >= _SHORTEST and _bare(word) in _bare(ingredient)
            if named or held & names or {groups.get(name) for name in held} & allergens:
                forbidden.append((assessor, prototype, word, ingredient, f"avoids {word}: {ingredient}"))
    unknown = [(prototype, ingredient) for prototype, ingredient, held in contents if not held]
    return AllergenMatch(
        forbidden=pd.DataFrame(forbidden, columns=list(_PAIR_COLUMNS), dtype="str").drop_duplicates(ignore_index=True),
        not_understood=pd.DataFrame(strange, columns=["assessor", "avoid"], dtype="str"),
        not_known=pd.DataFrame(unknown, columns=["prototype", "ingredient"], dtype="str"),
    )


def _avoided(study: Study, assessors: Iterable[str] | None) -> list[tuple[str, str]]:
    """Return each person and each word of what she avoids."""
    table = study.table("assessors")
    wanted = set(table["assessor"]) if assessors is None else set(assessors)
    return [
        (str(assessor), word)
        for assessor, cell in zip(table["assessor"], table["avoid"], strict=True)
        if assessor in wanted
        for word in _words(str(cell))
    ]


def _words(cell: str) -> list[str]:
    """Return the words of a cell: separated by ; and, unless that breaks the name of an ingredient, by , / and."""
    found = []
    for part in cell.split(";"):
        pieces = [part] if canonical_ingredient(part) else re.split(r"[,/&]|\band\b", part)
        found += [piece.strip() for piece in pieces if piece.strip().casefold() not in _NOTHING]
    return found


def _groups() -> dict[str, str]:
    """Return the allergen of each ingredient of the shared tables that has one."""
    known = ingredients()
    return {name: group for name, group in zip(known["ingredient"], known["allergen"], strict=True) if group}


def _holds(ingredient: str) -> set[str]:
    """Return the known ingredients that a line of a formula stands for: one, or those that a blend names."""
    one = canonical_ingredient(ingredient)
    if one:
        return {one}
    text = _bare(ingredient)
    return {name for name in ingredients()["ingredient"] if len(_bare(name)) > _SHORTEST and _bare(name) in text}


def _understood(word: str, groups: dict[str, str]) -> tuple[set[str], set[str]]:
    """Return the allergens and the ingredients that a word stands for; both empty if it is not understood."""
    bare = _bare(word)
    also_called = allergen_words()
    allergens = {group for group in groups.values() if _bare(group) == bare}
    for called, meant in zip(also_called["word"], also_called["allergen"], strict=True):
        if _bare(called) == bare:
            allergens |= set(meant.split("; "))
    ingredient = canonical_ingredient(word)
    if ingredient:
        # an ingredient that somebody reacts to stands for its whole group: one nut for all of them
        return allergens | ({groups[ingredient]} if ingredient in groups else set()), {ingredient}
    if allergens or len(bare) < _SHORTEST:
        return allergens, set()
    known = ingredients()
    names = {
        name
        for name, tags in zip(known["ingredient"], known["cautions"], strict=True)
        if bare in _bare(name) or bare in {_bare(tag) for tag in tags.split(";")}
    }
    return allergens, names


def _bare(text: str) -> str:
    """Return small letters and digits, without the plural s and without words such as allergy."""
    words = re.sub(r"\b(?:allergy|allergic|to|all|any|oils?|products?|derived)\b", " ", text.casefold())
    return "".join(re.sub(r"s\b", "", word) for word in re.findall(r"[a-z0-9]+", words))
