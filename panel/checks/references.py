"""Do the tables agree: is a row named once, does every name exist, is every word allowed, is every code clear?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.checks.codes import Names, distinct, grouped, or_none
from panel.checks.finding import Finding
from panel.checks.places import MOST_SHOWN, counted, gathered, listed, told
from panel.study.study import Study
from panel.study.tables import TABLES

_PROTOTYPE_TABLES = ("batches", "formulas", "servings", "scores", "answers", "readings", "curves", "claims")

_REFERENCES = (
    ("prototypes", "prototype", (*((table, "prototype") for table in _PROTOTYPE_TABLES), ("claims", "versus"))),
    ("attributes", "attribute", (("scores", "attribute"), ("claims", "attribute"))),
    ("assessors", "assessor", tuple((table, "assessor") for table in ("servings", "scores", "answers"))),
    ("batches", "batch", (("scores", "batch"), ("readings", "batch"))),
)
"""A table and the column that lists names; the tables and columns that may use only these names."""


def check_references(study: Study) -> list[Finding]:
    """Return rows named twice, names that are listed nowhere, words not allowed, and ambiguous blind codes."""
    return [
        *_keys_repeated(study),
        *_names_not_listed(study),
        *_benchmark_not_listed(study),
        *_words_not_allowed(study),
        *_codes_used_twice(study),
    ]


def _keys_repeated(study: Study) -> list[Finding]:
    findings = []
    for name in study.tables:
        key = list(TABLES[name].key)
        if not key:
            continue
        cells = study.table(name)[key]
        if not cells.duplicated().any():
            continue
        whole = cells[(cells.notna() & (cells != "")).all(axis=1)]
        again = whole[whole.duplicated()]

        def where(case: int, name: str = name, again: pd.DataFrame = again) -> str:
            return f"{name}, row {again.index[case] + 2}: {', '.join(told(cell) for cell in again.iloc[case])}"

        for place, cases in gathered(np.zeros(len(again)), where):
            message = f"{counted(len(cases), 'row')} of {name} named like an earlier one (same {', '.join(key)})."
            advice = "Keep one row for each, or give the other its own name. The first one counts until then."
            findings.append(Finding("warning", "row_named_twice", place, message, advice))
    return findings


def _names_not_listed(study: Study) -> list[Finding]:
    findings = []
    for target, column, tables in _REFERENCES:
        known = set(study.table(target)[column].unique()) - {""} if target in study.tables else set()
        for table, name in tables:
            if known and table in study.tables:
                findings += _not_listed(study.table(table)[name], known, table, target)
    return findings


def _not_listed(used: pd.Series, known: set[str], table: str, target: str) -> list[Finding]:
    """Return a finding for each name that is used but not listed."""
    unknown = set(used.unique()) - known - {""}
    if not unknown:
        return []
    strange = used[used.isin(unknown)]
    codes, names = pd.factorize(strange)
    rows, counts = strange.index.to_numpy(), np.bincount(codes)
    first = rows[np.unique(codes, return_index=True)[1]]
    noun = target[:-1] if target != "batches" else "batch"
    alike = {_folded(name): name for name in sorted(known)}

    def where(case: int) -> str:
        return f"{table}, row {first[case] + 2}: {names[case]}"

    findings = []
    for place, cases in gathered(np.arange(len(names)), where):
        shown = listed([repr(names[case]) for case in cases])
        message = f"{shown}: no such {noun} in {target} ({counted(int(counts[cases].sum()), 'row')} of {table})."
        likely = [(names[case], alike.get(_folded(names[case]))) for case in cases[:MOST_SHOWN]]
        meant = [f"{name} as {known_name}" for name, known_name in likely if known_name]
        advice = f"Perhaps meant: {listed(meant)}. " if meant else ""
        advice += f"Correct the name, or add the {noun} to {target}."
        findings.append(Finding("warning", f"{noun}_not_listed", place, message, advice))
    return findings


def _folded(name: str) -> str:
    """Return a name without what a slip of the keyboard adds: capitals, blanks, hyphens, leading zeros."""
    plain = "".join(letter for letter in name.casefold() if letter.isalnum())
    head = plain.rstrip("0123456789")
    return head + plain[len(head) :].lstrip("0")


def _benchmark_not_listed(study: Study) -> list[Finding]:
    benchmark = study.benchmark
    tables = [name for name in ("prototypes", "formulas", "scores") if name in study.tables]
    if benchmark is None or any((study.table(name)["prototype"] == benchmark).any() for name in tables):
        return []
    message = f"The benchmark {benchmark!r} is none of the prototypes."
    advice = "Correct the benchmark in the facts of the study, or set the role in the table prototypes."
    return [Finding("warning", "benchmark_not_listed", "facts, benchmark", message, advice)]


def _words_not_allowed(study: Study) -> list[Finding]:
    findings = []
    for name in study.tables:
        for column in TABLES[name].columns:
            if not column.choices:
                continue
            words = study.table(name)[column.name]
            strange = set(words.unique()) - {"", *column.choices}
            if strange:
                place = f"{name}, column {column.name}"
                findings += _wrong_words(words[words.isin(strange)], place, column.choices)
    return findings


def _wrong_words(wrong: pd.Series, place: str, choices: tuple[str, ...]) -> list[Finding]:
    codes, words = pd.factorize(wrong)
    rows, counts = wrong.index.to_numpy(), np.bincount(codes)
    first = rows[np.unique(codes, return_index=True)[1]]
    findings = []
    for where, cases in gathered(np.arange(len(words)), lambda case: f"{place}, row {first[case] + 2}"):
        shown = listed([repr(words[case]) for case in cases])
        message = f"{shown}: not a word allowed there ({counted(int(counts[cases].sum()), 'cell')})."
        advice = f"Use one of: {', '.join(choices)}."
        findings.append(Finding("warning", "word_not_allowed", where, message, advice))
    return findings


def _codes_used_twice(study: Study) -> list[Finding]:
    """Return blind codes that stand for two prototypes in a session, or for two servings of one person."""
    if "servings" not in study.tables:
        return []
    servings = study.table("servings")
    servings = servings[((servings["code"] != "") & (servings["prototype"] != "")).to_numpy(dtype=bool)]
    use, first = grouped(Names.read(servings["session"]).code, Names.read(servings["code"]).code)
    twice = _used_twice(servings, use)
    session, code = servings["session"].to_numpy()[first[twice]], servings["code"].to_numpy()[first[twice]]

    def place(case: int) -> str:
        return f"servings, session {session[case]}, code {code[case]}"

    findings = []
    for where, cases in gathered(np.arange(len(twice)), place):
        meant = servings["prototype"].to_numpy()[use == twice[cases[0]]]
        names = list(dict.fromkeys(meant.tolist()))
        stands_for = " and ".join(names[:3]) if len(names) > 1 else f"two servings of {names[0]} to one person"
        message = f"A code used twice in a session cannot tell samples apart: it stands for {stands_for}."
        if len(cases) > 1:
            message = f"{len(cases):,} codes cannot tell samples apart. The first stands for {stands_for}."
        advice = "Give every prototype its own code in each session, and every serving of a person its own."
        findings.append(Finding("warning", "code_used_twice", where, message, advice))
    return findings


def _used_twice(servings: pd.DataFrame, use: np.ndarray) -> np.ndarray:
    """Return the uses (session and code) that have two prototypes, or two positions for one person."""
    prototype, assessor = Names.read(servings["prototype"]).code, Names.read(servings["assessor"]).code
    prototypes_of_use = np.bincount(distinct(use, prototype)[0])
    person, use_of_place, _ = distinct(assessor, use, or_none(servings["position"].to_numpy(dtype=float)))
    places, first = grouped(person, use_of_place)
    of_one_person = use_of_place[first[np.bincount(places) > 1]] if len(places) else use_of_place
    return np.union1d(np.flatnonzero(prototypes_of_use > 1), of_one_person)
