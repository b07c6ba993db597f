"""How is a prototype, an attribute, a person or a batch given another name, or taken out, everywhere at once?

A name that stands under a seal stays: in a stamped claim, a decision, a sealed serving plan, a locked session.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pandas as pd

from panel.errors import StudyError
from panel.study.editing import LISTS, put_table
from panel.study.people import new_codes, people_in
from panel.study.study import Study
from panel.study.table_cells import texts_of_frame
from panel.words import counted

_ALSO = MappingProxyType({"prototype": ("versus", "chosen", "runner_up"), "attribute": (), "assessor": (), "batch": ()})
"""What a name is to the other columns that hold one."""
_NAME_KEYED_FACTS = MappingProxyType(
    {"stability": "prototype", "benchmark_levels": "attribute", "tolerance": "attribute", "batch_sd": "attribute"}
)
_ARTICLE = MappingProxyType({"prototype": "a", "attribute": "an", "assessor": "an", "batch": "a"})
_NAME_LISTS = MappingProxyType({"dominance_attributes": "attribute"})
_CHOSEN_ANSWERS = ("preference", "paired")


def rename(study: Study, kind: str, old: str, new: str) -> Study:
    """Return the study with a prototype, attribute, assessor or batch renamed wherever it is named.

    Raises
    ------
    StudyError
        If there is none of this name, the new name is empty or taken, or the old one stands under a seal: in a
        stamped claim, a decision, a sealed serving plan or a locked session, which stay as they are.
    """
    new = new.strip()
    _refuse_unknown(study, kind, old)
    if not new:
        raise StudyError(f"Write the new name of the {kind} {old}.")
    if new != old and new in _names_of(study, kind):
        raise StudyError(f"There is {_ARTICLE[kind]} {kind} {new} already; two would become one. Choose another name.")
    if sealed := _under_seal(study, kind, old):
        raise StudyError(
            f"{old} cannot be renamed: it stands under a seal ({', '.join(sealed)}). Give it a name in words instead."
        )
    tables = {name: _renamed(frame, kind, old, new) for name, frame in study.tables.items()}
    return replace(study, tables=tables, facts=_renamed_facts(study.facts, kind, old, new))


def people_by_code(study: Study) -> Study:
    """Return the study with a code for everybody who has none, wherever the name stands; imported files keep theirs.

    StudyError where two names may be one person: with codes nobody would see it any more.
    """
    codes, known = new_codes(study), people_in(study)
    for person in codes:
        if twin := next((each for each in known if each != person and folded_name(each) == folded_name(person)), ""):
            raise StudyError(
                f"{person!r} and {twin!r} may be one person; with codes nobody would see it any more. Do first what "
                "the check says of them: make them one, or give one another name."
            )
    for person, code in codes.items():
        study = rename(study, "assessor", person, code)
    return study


def folded_name(name: str) -> str:
    """Return a name without what a slip of the keyboard adds: capitals, accents, blanks, hyphens, leading zeros."""
    name = re.sub(r"(?<=\d)\.0$", "", name)  # a number that a spreadsheet gave a decimal
    plain = "".join(filter(str.isalnum, unicodedata.normalize("NFKD", name.casefold())))
    head = re.sub("(?<=[aou])e", "", plain.rstrip("0123456789"))
    return head + (plain[len(plain.rstrip("0123456789")) :].lstrip("0") or "0" * (plain[-1:] == "0"))


def delete(study: Study, kind: str, name: str, why: str) -> Study:
    """Return the study without a prototype, attribute, assessor or batch, and without what was prepared for it.

    Raises
    ------
    StudyError
        If no reason is given, there is none of this name, or something was collected or put on record about it: that
        stays, and so does the name.
    """
    _refuse_unknown(study, kind, name)
    if not why.strip():
        raise StudyError(f"Write why {name} is taken out; the reason is kept in the journal.")
    counts = {table: int(_naming_rows(frame, kind, name).sum()) for table, frame in study.tables.items()}
    held = {table: rows for table, rows in counts.items() if rows and table not in _PREPARED}
    if held or _under_seal(study, kind, name):
        told = ", ".join(f"{counted(rows, 'row')} of {table}" for table, rows in held.items()) or "a sealed plan"
        raise StudyError(
            f"{name} stays: there are {told} about it. Set its scores aside with a reason, or leave it out of a choice."
        )
    after = study
    for table, rows in counts.items():
        if rows:
            header, columns = texts_of_frame(table, study.tables[table], study.unread)
            texts = pd.DataFrame(dict(zip(header, columns, strict=True)), columns=header, dtype="str")
            gone = _naming_rows(study.tables[table], kind, name).to_numpy()
            after = put_table(after, table, texts[~gone].reset_index(drop=True))
    return replace(after, facts=_facts_without(after.facts, kind, name))


_PREPARED = ("prototypes", "batches", "formulas", "attributes", "assessors", "servings")


def _names_of(study: Study, kind: str) -> list[str]:
    listing = study.table(LISTS[kind])[kind]
    used = [frame[kind] for name, frame in study.tables.items() if kind in frame and name != "corrections"]
    return list(dict.fromkeys(str(name) for column in (listing, *used) for name in column.unique() if name))


def _refuse_unknown(study: Study, kind: str, name: str) -> None:
    if kind not in LISTS:
        raise StudyError(f"A {kind!r} has no name that stands in several tables; it is one of {', '.join(LISTS)}.")
    names = _names_of(study, kind)
    if name not in names:
        raise StudyError(f"The study has no {kind} {name!r}; it has {', '.join(names) or 'none'}.")


def _naming_rows(frame: pd.DataFrame, kind: str, name: str) -> pd.Series:
    """Return which rows of a table name it."""
    found = pd.Series(data=False, index=frame.index)
    for column in (kind, *_ALSO[kind]):
        if column in frame:
            found |= frame[column] == name
    if kind == "prototype" and {"kind", "answer"} <= set(frame):
        found |= frame["kind"].isin(_CHOSEN_ANSWERS) & (frame["answer"] == name)
    if kind == "prototype" and "competitors" in frame:
        found |= frame["competitors"].map(lambda cell: name in [word.strip() for word in str(cell).split(";")])
    if {"key", "old", "new"} <= set(frame):
        found |= frame["key"].map(lambda cell: f"{kind}={name}" in [word.strip() for word in str(cell).split(";")])
    return found


def _under_seal(study: Study, kind: str, name: str) -> list[str]:
    """Return what names it under a seal, which a new name would break."""
    found = []
    for table, frame in study.tables.items():
        sealed = [frame[column] != "" for column in ("stamp", "seal") if column in frame]
        if sealed and (pd.concat(sealed, axis=1).any(axis=1) & _naming_rows(frame, kind, name)).any():
            found.append(table)
    servings = study.table("servings")
    sealed_plan = any(study.facts.get(fact) for fact in ("key", "locked_sessions"))
    if sealed_plan and kind in servings and (servings[kind] == name).any():
        found.append("the serving plan")
    return found


def _renamed(frame: pd.DataFrame, kind: str, old: str, new: str) -> pd.DataFrame:
    rows = _naming_rows(frame, kind, old)
    if not rows.any():
        return frame
    changed = {}
    for column in (kind, *_ALSO[kind]):
        if column in frame:
            changed[column] = frame[column].where(frame[column] != old, new)
    if kind == "prototype" and {"kind", "answer"} <= set(frame):
        chosen = frame["kind"].isin(_CHOSEN_ANSWERS) & (frame["answer"] == old)
        changed["answer"] = frame["answer"].where(~chosen, new)
    for column, was, will in (("competitors", old, new), ("key", f"{kind}={old}", f"{kind}={new}")):
        if column in frame and (column == "key" or kind == "prototype"):
            changed[column] = frame[column].map(lambda cell, was=was, will=will: _word_replaced(cell, was, will))
    return frame.assign(**{column: cells.astype("str") for column, cells in changed.items()})


def _word_replaced(cell: str, old: str, new: str) -> str:
    parts = str(cell).split(";")
    return ";".join(part.replace(old, new) if part.strip() == old else part for part in parts)


def _renamed_facts(facts: Mapping[str, Any], kind: str, old: str, new: str) -> dict[str, Any]:
    columns = {kind, *_ALSO[kind]}
    changed = dict(facts)
    for name, value in facts.items():
        if name == "benchmark" and kind == "prototype":
            changed[name] = new if value == old else value
        elif _NAME_KEYED_FACTS.get(name) == kind and isinstance(value, Mapping):
            changed[name] = {new if key == old else key: held for key, held in value.items()}
        elif _NAME_LISTS.get(name) == kind and isinstance(value, list):
            changed[name] = [new if word == old else word for word in value]
        elif isinstance(value, list):
            changed[name] = [_renamed_entry(entry, columns, old, new) for entry in value]
    return changed


def _renamed_entry(entry: Any, columns: Iterable[str], old: str, new: str) -> Any:
    if not isinstance(entry, Mapping):
        return entry
    return {key: new if key in columns and held == old else held for key, held in entry.items()}


def _facts_without(facts: Mapping[str, Any], kind: str, name: str) -> dict[str, Any]:
    """Return the facts without those that were stated about what is gone."""
    columns = {kind, *_ALSO[kind]}
    kept = {fact: value for fact, value in facts.items() if not (fact == "benchmark" and value == name)}
    for fact, value in kept.items():
        if _NAME_KEYED_FACTS.get(fact) == kind and isinstance(value, Mapping):
            kept[fact] = {key: held for key, held in value.items() if key != name}
        elif _NAME_LISTS.get(fact) == kind and isinstance(value, list):
            kept[fact] = [word for word in value if word != name]
        elif fact == "planned_differences" and isinstance(value, list):
            kept[fact] = [
                entry
                for entry in value
                if not (isinstance(entry, Mapping) and any(entry.get(column) == name for column in columns))
            ]
    return kept
