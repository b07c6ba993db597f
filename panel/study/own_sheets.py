"""Columns of somebody's own sheet known by their cells, and rows of what a study has several of: whose are they?"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence

import pandas as pd

from panel.study.naming import says_when
from panel.study.study import Study
from panel.study.table_cells import columns_of
from panel.words import as_seen, counted, first_few

_MOSTLY = 0.8  # share of the cells of a column that must be names of the study
_OWNERS = {"prototype": "prototypes", "attribute": "attributes"}
_AT = re.compile(r"(?P<of>.*\S)(?:,\s*(?P<at>[^,]+)|\s*[(\[](?P<within>[^()\[\]]+)[)\]])")
_END = re.compile(r"(?P<point>-?\d+(?:[.,]\d+)?)(?:\s*(?:=|:|means?\b|is\b|bedeutet\b|signifie\b|significa\b).*)?")


def known_by_cells(name: str, rows: Sequence[Sequence[str]], certain: Sequence[str], study: Study) -> list[str]:
    """Return the column of a table that each heading names, also as its cells tell.

    A column of which the cells are prototypes, or attributes, of the study is that column, whatever stands above it:
    what its heading alone made one is then the name in words. Two headings that are points of a scale are its ends.
    """
    found, columns = list(certain), [column.name for column in columns_of(name)]
    for role in (role for role in _OWNERS if role in columns):
        names, cells = _names(study, role), list(zip(*rows[1:], strict=True))
        short = {_folded(each) for each in _short(study, role)}
        by_short, by_any = ([n for n, own in enumerate(cells) if _are_of(own, of)] for of in (short, names))
        places = by_short or by_any
        if len(places) == 1 and found[places[0]] in ("", "name"):
            held = found.index(role) if role in found else None
            found[places[0]] = role
            if held is not None:
                found[held] = "name" if "name" in columns and "name" not in found else ""
    return _with_ends(found, columns, rows[0])


def _folded(cell: str) -> str:
    return as_seen(cell).casefold()


def _short(study: Study, role: str) -> list[str]:
    return [str(each) for each in study.listed(_OWNERS[role], role)[0]]


def _names(study: Study, role: str) -> Mapping[str, list[str]]:
    """Return what prototypes or attributes of a study are called, in small letters, each to the short names it is of.

    An attribute may be called without its moment: `Tightness` of `Tightness, after rinsing`.
    """
    called: dict[str, list[str]] = {}
    short = _short(study, role)
    for each, name in zip(short, study.listed(_OWNERS[role], "name")[0], strict=True):
        at = _AT.fullmatch(each)
        words = [str(name), at["of"] if at and says_when(at["at"] or at["within"]) else ""]
        for word in dict.fromkeys(map(_folded, words)):
            called.setdefault(word, []).append(each)
    return {word: of for word, of in called.items() if word} | {_folded(each): [each] for each in short}


def _are_of(cells: Sequence[str], names: Collection[str]) -> bool:
    return bool(cells) and sum(_folded(cell) in names for cell in cells) >= _MOSTLY * len(cells)


def _with_ends(found: list[str], columns: Sequence[str], heads: Sequence[str]) -> list[str]:
    """Return the columns with two headings such as `0` and `10 means` as the words at the ends of the scale."""
    points = {n: told for n, head in enumerate(heads) if not found[n] and (told := _END.fullmatch(head.strip()))}
    if len(points) == len({"low_end", "high_end"} & {*columns} - {*found}) == 2:
        low, high = sorted(points, key=lambda n: float(points[n]["point"].replace(",", ".")))
        found[low], found[high] = "low_end", "high_end"
    return found


def of_the_study(texts: pd.DataFrame, name: str, study: Study) -> tuple[pd.DataFrame, list[str]]:
    """Return rows by the short names of the study, one of an attribute for each of its moments, and notes.

    A note says where none of the attributes is one of the study's: they would stand beside its own.
    """
    for role in (role for role in _OWNERS if role in texts):
        names = _names(study, role)
        short = [of[0] if len(of := names.get(_folded(cell), [])) == 1 else cell for cell in texts[role]]
        texts = texts.assign(**{role: pd.array(short, dtype="str")})
    if name != "attributes" or "attribute" not in texts:
        return texts, []
    own, names, notes = _short(study, "attribute"), _names(study, "attribute"), []
    several = {of: names[_folded(of)] for of in texts["attribute"] if len(names.get(_folded(of), ())) > 1}
    if several:
        texts = pd.concat([_spread(row, several) for _, row in texts.iterrows()], ignore_index=True)
        texts = texts.fillna("").astype("str")
        told = "; ".join(f"{of} for {first_few(at)}" for of, at in several.items())
        notes.append(f"What stands once was taken for each of its moments: {told}.")
    new = [each for each in texts["attribute"] if each not in own]
    if own and len(new) == len(texts):
        notes.append(
            f"None of these is an attribute of the study: {counted(len(new), 'attribute')} would stand beside its own, "
            f"{first_few(own)}. Write the names of the study into a column called Attribute."
        )
    return texts, notes


def _spread(row: pd.Series, several: Mapping[str, Sequence[str]]) -> pd.DataFrame:
    """Return a row for each moment of its attribute; what each is called in words stays."""
    at = several.get(row["attribute"], [row["attribute"]])
    made = pd.DataFrame([row] * len(at)).assign(attribute=list(at))
    return made.drop(columns="name", errors="ignore") if row["attribute"] in several else made
