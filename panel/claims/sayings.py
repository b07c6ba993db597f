"""The sentence from the statement: how the public says that one prototype has more or less of something."""

from __future__ import annotations

from collections.abc import Sequence

from panel.claims.names import Names, family_of
from panel.claims.said import counted, listed, number
from panel.study.knowledge import claim_sayings
from panel.study.study import Study

WAYS = ("less", "more", "as_much", "absent", "least", "most", "low")
_OWN = {
    "less": "less {}", "more": "more {}", "as_much": "the same {} as", "absent": "no {}", "least": "the least {}",
    "most": "the most {}", "low": "low {}",
}  # fmt: skip


def saying(study: Study, attribute: str, way: str) -> str:
    """Return how the public says it of an attribute (one of `WAYS`); empty where there is no such way."""
    table = claim_sayings().set_index("family")
    family = family_of(study, attribute)
    if family in table.index:
        return str(table.loc[family, way])
    return _OWN[way].format(study.attribute_words(attribute))


def public_name(study: Study, names: Names, prototype: str) -> str:
    """Return how the public may be told which prototype is meant: by a role that only it has, else by name."""
    if names.roles.get("previous") == {prototype}:
        return f"our previous {product_words(names)}"
    if names.roles.get("untreated") == {prototype}:
        return "untreated skin"
    table = study.table("prototypes")
    found = [str(name) for name in table.loc[table["prototype"] == prototype, "name"]]
    return found[0] if found and found[0] else prototype


def product_words(names: Names) -> str:
    """Return what kind of product the study is about; formula where it does not say."""
    return max((" ".join(words) for words in sorted(names.product_types)), key=len, default="formula")


def compared(
    study: Study, names: Names, attribute: str, direction: str, others: Sequence[str], *, slightly: bool = False
) -> str:
    """Return `less greasy than our previous hand cream`."""
    others = [public_name(study, names, other) for other in others]
    how = "slightly " if slightly else ""
    return f"{how}{saying(study, attribute, direction)} than {listed(others)}"


def alike(study: Study, names: Names, attribute: str, other: str) -> str:
    """Return `as soft as our previous hand cream`; empty where the property has no such way of saying it."""
    words = saying(study, attribute, "as_much")
    return f"{words} {public_name(study, names, other)}" if words else ""


def absent(study: Study, attribute: str, minutes: float) -> str:
    """Return `non-greasy 2 minutes after rubbing in`; empty where the property has no such way of saying it."""
    words = saying(study, attribute, "absent")
    return f"{words} {time_words(minutes)} after rubbing in" if words else ""


def time_words(minutes: float) -> str:
    """Return a time in the largest unit that makes it whole: `20 minutes`, `8 hours`, `7 days`."""
    for unit, size in (("day", 1440), ("hour", 60)):
        if minutes >= size and minutes % size == 0:
            return counted(int(minutes // size), unit)
    return f"{number(minutes)} minute{'' if minutes == 1 else 's'}"
