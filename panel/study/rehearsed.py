"""Was this study rehearsed? Marks that a program drew are no evidence, and no later step may take them for it."""

from __future__ import annotations

from dataclasses import replace

from panel.study.locked_sessions import LOCKED_FACT
from panel.study.study import Study
from panel.study.tables_collected import COLLECTED

REHEARSAL_FACT = "rehearsal"
REHEARSED = "rehearsal"
"""Source of a rehearsed score."""

_IN_A_RECORD = b'"rehearsal":true'
_ABOUT_SCORES = ("corrections", "unblindings", "reactions")
_REAL = ("readings", "curves")  # what instruments said stays true in a rehearsal
_FACTS_OF_SCORES = (LOCKED_FACT, "deviations")


def is_rehearsed(study: Study) -> bool:
    """Return True if the study is a rehearsal, or holds anything that comes from one.

    The study says so itself, a score names it as its source, or one of the records it keeps was rehearsed: any of the
    three is enough.
    """
    if study.facts.get(REHEARSAL_FACT) or (study.scores["source"].str.strip().str.casefold() == REHEARSED).any():
        return True
    return any(_IN_A_RECORD in file.content for file in study.raw_files)


def to_rehearse(study: Study) -> Study:
    """Return a copy of a study to rehearse in: marked as a rehearsal, without anything that people said so far."""
    dropped = {table.name for table in COLLECTED if table.name not in _REAL} | set(_ABOUT_SCORES)
    facts = {name: value for name, value in study.facts.items() if name not in _FACTS_OF_SCORES}
    title = str(facts.get("title") or "").strip()
    facts |= {REHEARSAL_FACT: True, "title": f"Rehearsal of {title}" if title else "Rehearsal"}
    tables = {name: frame for name, frame in study.tables.items() if name not in dropped}
    return replace(study, tables=tables, facts=facts, unread=study.unread.iloc[:0], raw_files=())
