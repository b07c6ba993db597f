"""A survey export: one row per person, which column asks what about which prototype, and the answers in it."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pandas as pd

from panel.errors import StudyError
from panel.study.editing import put_block
from panel.study.raw_table import RawTable
from panel.study.study import Study, natural_order
from panel.study.table_cells import named_columns
from panel.words import as_seen

_CODE = re.compile(r"(?<!\w)[A-Za-z]{0,3}\d{1,4}(?!\w)")
_KINDS = {  # words of a heading that say what kind of question it is; common practice, no source
    "just_about_right": r"\bjar\b|just|too (?:much|little)|genau richtig",
    "liking": r"lik(?:e|ing)|overall|gef[aä]ll|appr[eé]ci|gusta|piac",
    "agreement": r"agree|zustimm|d.accord|acuerdo|accordo",
}
KINDS = (*_KINDS, "check_all")
_HALVES = re.compile(r"\s*(?:[:|/]|\s[-\u2013\u2014])\s+")  # between what is asked and of what
_ENDS = re.compile(r"\((?:[^()]*/[^()]*|[^()]*\d\s*(?:-|\u2013|to)\s*\d[^()]*)\)\s*$")  # the scale, after the question
_ABOUT_RIGHT = {  # how just-about-right answers are worded, as points of 1 to 5; common practice, no source
    **dict.fromkeys(("much too little", "far too little", "much too weak"), "1"),
    **dict.fromkeys(("too little", "not enough", "a little too little", "too weak"), "2"),
    **dict.fromkeys(("just right", "just about right", "about right", "genau richtig"), "3"),
    **dict.fromkeys(("too much", "a little too much", "too strong"), "4"),
    **dict.fromkeys(("much too much", "far too much", "much too strong"), "5"),
}
_COLUMNS = ("column", "prototype", "question", "kind")


def one_row_each(table: RawTable, person: str = "") -> tuple[RawTable, tuple[str, ...]]:
    """Return a survey with one row per person, and the prototypes if a column named them: then `P1: liking` and so on.

    Raises
    ------
    StudyError
        If a row does not say whose it is or of what, or a person has two rows for a prototype.
    """
    named = named_columns(table.header)
    prototype = named.get("prototype", "")
    if not prototype or len(set(table.column(prototype))) >= len(table.lines):
        return table, ()
    person = person or named.get("assessor", "")
    if not person:
        raise StudyError(f"{table.name} has a row for each {prototype}. Say which column holds the person.")
    answer, question = named.get("score", ""), named.get("attribute", "")
    about = [prototype, question] if answer and question else [prototype]  # a row may be one answer
    cells = {name: list(map(as_seen, table.column(name))) for name in table.header}
    place = _places(table, list(zip(*(cells[name] for name in (person, *about)), strict=True)))
    first = {key[0]: row for key, row in reversed(place.items())}
    people = sorted(first, key=first.__getitem__)
    columns: dict[str, Sequence[str]] = {person: people}
    for name in [answer] if len(about) > 1 else [name for name in table.header if name not in (person, prototype)]:
        for of in dict.fromkeys(key[1:] for key in place):
            rows = [place.get((who, *of)) for who in people]
            head = ": ".join(of if name == answer else (*of, name))
            columns[head] = ["" if row is None else cells[name][row] for row in rows]
    lines = [table.lines[first[who]] for who in people]
    made = RawTable(table.name, tuple(columns), tuple(columns.values()), lines, table.notes)
    return made, tuple(natural_order(dict.fromkeys(cells[prototype])))


def _places(table: RawTable, keys: Sequence[tuple[str, ...]]) -> dict[tuple[str, ...], int]:
    """Return the row of each person and prototype, both named and there once."""
    place: dict[tuple[str, ...], int] = {}
    for row, key in enumerate(keys):
        if "" in key or key in place:
            twice = f"is a second one of {key[0]} for {key[1]}"
            what = twice if key in place else "does not say whose it is, or of what"
            raise StudyError(
                f"Line {table.lines[row]} of {table.name} {what}. Correct it, or make a file of each session."
            )
        place[key] = row
    return place


def survey_columns(table: RawTable, prototypes: Sequence[str] = ()) -> pd.DataFrame:
    """Return for each column what it seems to ask: `column prototype question kind`, to be confirmed.

    The prototype is a name of the study, else a short code such as P1 or 417 that several headings hold, else the half
    of a heading that stands beside a question asked more than once, as in `Light cream - Liking`; `kind` is empty
    where the column seems to ask nothing.
    """
    codes = [code for name in table.header for code in _CODE.findall(_ENDS.sub("", name))]
    several = {code for code in codes if codes.count(code) > 1}
    known = sorted(prototypes or several or _named_in_halves(table.header) or codes, key=len, reverse=True)
    named = re.compile("|".join(rf"(?<!\w){re.escape(name)}(?!\w)" for name in known) or r"(?!)")
    rows = []
    for name, cells in zip(table.header, table.columns, strict=True):
        found = named.search(name)
        question = re.sub(r"[\W_]+", " ", _ENDS.sub(" ", named.sub(" ", name))).strip()
        rows.append((name, found[0] if found else "", question, _kind(name, cells) if found else ""))
    return pd.DataFrame(rows, columns=list(_COLUMNS), dtype="str")


def _named_in_halves(header: Sequence[str]) -> set[str]:
    """Return what stands beside a question that is asked of several: on the side where no heading words a question."""
    halves = [half for name in header if len(half := _HALVES.split(name.strip())) == 2]
    asked = [[half[1 - side] for half in halves] for side in (0, 1)]
    side = max((0, 1), key=lambda one: sum(bool(_kind(words, ("?",))) for words in asked[one]))
    return {half[side] for half in halves if asked[side].count(half[1 - side]) > 1}


def _kind(heading: str, cells: Sequence[str]) -> str:
    for kind, words in _KINDS.items():
        if re.search(words, heading, re.IGNORECASE):
            return kind
    return "check_all" if {cell.strip() for cell in cells} <= {"", "0", "1"} else ""


def _answer(cell: str, kind: str) -> str:
    """Return an answer as the study keeps it: a worded just-about-right answer as its point of 1 to 5."""
    words = cell.strip()
    return _ABOUT_RIGHT.get(" ".join(words.casefold().split()), words) if kind == "just_about_right" else words


def survey_study(table: RawTable, asked: pd.DataFrame, person: str, title: str) -> Study:
    """Return a study with the answers of a survey; blanks are no answers.

    Parameters
    ----------
    asked
        `column prototype question kind`, of which those with a kind are read.
    person
        Column with the code of the person; empty: the rows are numbered C001, C002 and so on.

    Raises
    ------
    StudyError
        If no column is read, one lacks its prototype or question, two ask the same, or a person has two rows.
    """
    read = asked.loc[asked["kind"] != ""]
    if read.empty:
        raise StudyError("No column is read. Say of one at least which kind of question it is.")
    bare = read.loc[(read["prototype"].str.strip() == "") | (read["question"].str.strip() == ""), "column"]
    if len(bare):
        raise StudyError(f"The column {bare.iloc[0]} needs a prototype and a question.")
    twice = read.loc[read.duplicated(["prototype", "question", "kind"]), "column"]
    if len(twice):
        raise StudyError(f"The column {twice.iloc[0]} asks what another one asks. Give it another question.")
    people = list(table.column(person)) if person else [f"C{row + 1:03d}" for row in range(len(table.lines))]
    if "" in people or len(set(people)) < len(people):
        raise StudyError(f"The column {person} does not name each person once. Choose another one, or number the rows.")
    parts = [
        pd.DataFrame(
            {"assessor": people, "answer": [_answer(cell, row["kind"]) for cell in table.column(row["column"])]}
        )
        .assign(prototype=row["prototype"].strip(), question=row["question"].strip(), kind=row["kind"])
        .query("answer != ''")
        for _, row in read.iterrows()
    ]
    answers = pd.concat(parts, ignore_index=True).astype("str")
    study = Study({"prototypes": Study({}).table("prototypes")}, {"title": title})
    made = pd.DataFrame({"prototype": natural_order(dict.fromkeys(answers["prototype"]))}, dtype="str")
    study = put_block(study, "prototypes", made)
    study = put_block(study, "assessors", pd.DataFrame({"assessor": people, "kind": "consumer"}, dtype="str"))
    return put_block(study, "answers", answers)
