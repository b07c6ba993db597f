"""What is an evidence file made of? One content model that every form of it (PDF, DOCX, HTML, XLSX) is written from."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from panel.answers import Answers, NoAnswer, Question
from panel.study.scores_used import scores_used
from panel.study.shown import Source, Table, shown
from panel.study.study import Study
from panel.views.told import Picture, Told

_Kind = Literal[
    "paragraph", "points", "subheading", "gap", "caution", "sentence", "verdict", "contents", "sign-off", "elsewhere"
]
"""What words are: running text; sentences one under the other; a heading within a section; something a reader will look
for that is not there; what to mind; a claim as it is to stand on the pack; the verdict on it; the place of the list of
contents; room for a signature (role, what is stated by signing, who has the role); tables of the workbook only."""


@dataclass(frozen=True, slots=True)
class Words:
    """Something made of words."""

    kind: _Kind
    texts: tuple[str, ...]


def said(kind: _Kind, *texts: str) -> Words:
    """Return words of a kind."""
    return Words(kind, texts)


@dataclass(frozen=True, eq=False, slots=True)
class TextTable:
    """A table that holds words, as they stand in the study, or rows of a table of numbers with their printed ids."""

    title: str
    shown: pd.DataFrame
    ids: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class Numbers:
    """A table of numbers: as a person reads it, and unrounded.

    Parameters
    ----------
    code
        Letters that begin the id of each of its numbers.
    title
        What the table holds.
    shown
        Texts, one row for each entry of `shown_ids`.
    shown_ids
        Id of each row shown; where a row holds several rows of `full`, what their ids have in common.
    full
        The unrounded numbers.
    key
        Columns of `full` that name a row.
    full_ids
        Id of each row of `full`; a number's id is that, a hyphen and its column.
    method
        How the numbers were computed, in a sentence.
    sources
        Which rows of the study each row rests on.
    printed
        False for a table that stands in the workbook only.
    on_paper
        Places of the rows shown on paper, where those are not all.
    """

    code: str
    title: str
    shown: pd.DataFrame
    shown_ids: tuple[str, ...]
    full: pd.DataFrame
    key: tuple[str, ...]
    full_ids: tuple[str, ...]
    method: str
    sources: tuple[Source, ...]
    printed: bool = True
    on_paper: tuple[int, ...] | None = None

    @property
    def printed_ids(self) -> tuple[str, ...]:
        """Short id of each row shown, as it stands on paper: the letters of the table and the place of the row."""
        return tuple(printed_id(self.code, place) if name else "" for place, name in enumerate(self.shown_ids))

    @property
    def number_columns(self) -> tuple[str, ...]:
        """Columns of `full` that hold numbers, other than those that name a row."""
        kinds = pd.api.types
        return tuple(
            str(name)
            for name, cells in self.full.items()
            if name not in self.key and kinds.is_numeric_dtype(cells) and not kinds.is_bool_dtype(cells)
        )


Block = Words | Picture | TextTable | Numbers


@dataclass(frozen=True, eq=False, slots=True)
class Section:
    """One part of the evidence file: its number, its heading, what stands in it, and whether it begins a page."""

    number: str
    heading: str
    blocks: tuple[Block, ...]
    on_new_page: bool = False

    @property
    def title(self) -> str:
        """Its heading, behind its number where it has one."""
        return f"{self.number}. {self.heading}" if self.number else self.heading

    @property
    def gaps(self) -> tuple[str, ...]:
        """What is missing in this part."""
        return tuple(block.texts[0] for block in self.blocks if isinstance(block, Words) and block.kind == "gap")


@dataclass(frozen=True, eq=False, slots=True)
class Report:
    """An evidence file before it is written in any form.

    Parameters
    ----------
    title
        Title of the study.
    mark
        Words that stand on every page, such as that the data are invented; empty for a real study.
    data_as_of
        The day of the last score or answer (ISO 8601); empty where the study does not say.
    made_on
        The day on which the file is made (ISO 8601).
    data_hash
        SHA-256 over everything an analysis can see of the study.
    version
        Name and version of the program.
    summary
        The whole case on two pages.
    claims
        A page for each claim.
    sections
        The annex: the parts of the checklist, in order.
    """

    title: str
    mark: str
    data_as_of: str
    made_on: str
    data_hash: str
    version: str
    summary: Section
    claims: tuple[Section, ...]
    sections: tuple[Section, ...]

    @property
    def all_sections(self) -> tuple[Section, ...]:
        """The summary, the claims and the parts of the annex."""
        return (self.summary, *self.claims, *self.sections)

    @property
    def tables(self) -> tuple[Numbers, ...]:
        """Every table of numbers, in order, each once."""
        found = (block for section in self.all_sections for block in section.blocks if isinstance(block, Numbers))
        return tuple({table.code: table for table in found}.values())

    def gaps(self) -> Iterator[tuple[Section, str]]:
        """Yield every part with something that is missing in it."""
        for section in self.all_sections:
            for gap in section.gaps:
                yield section, gap


# Which rows of the study does a number rest on? Said once per table, by its columns.


_DIRECT, _THROUGH_THE_MODEL, _SET_ASIDE = "direct", "through the model", "set aside, not used"
_ORDER = (_DIRECT, _THROUGH_THE_MODEL, _SET_ASIDE)


def source_rows(study: Study, source: Source, row: Mapping[str, Any]) -> pd.DataFrame:
    """Return the rows of the study behind a row of answers: `file line use` and the columns of the table.

    Scores that the analysis uses have their corrected values; those set aside come last, as they came in. Columns that
    are empty throughout are left out. `line` counts the header as 1.
    """
    frame, aside = _frame(study, source.table)
    chosen = pd.Series(data=True, index=frame.index)
    for column, values in source.only.items():
        chosen &= frame[column].isin(values)
    for own, column in source.same.items():
        if own in row:
            chosen &= frame[column].astype("str") == str(row[own])
    rows = frame.loc[chosen]
    named = _named(source, row)
    direct = rows["prototype"].isin(named) if named and "prototype" in rows else pd.Series(data=True, index=rows.index)
    use = direct.map({True: _DIRECT, False: _THROUGH_THE_MODEL}).mask(rows.index.isin(aside), _SET_ASIDE)
    kept = [name for name in rows.columns if rows[name].notna().any() and (rows[name].astype("str") != "").any()]
    place = {"file": f"{source.table}.csv", "line": rows.index.to_numpy() + 2, "use": use}
    together = pd.concat([pd.DataFrame(place, index=rows.index), rows[kept]], axis=1)
    return together.sort_values("use", key=lambda uses: uses.map(_ORDER.index), kind="stable", ignore_index=True)


def _frame(study: Study, table: str) -> tuple[pd.DataFrame, pd.Index]:
    """Return a table of the study, and which of its rows are set aside; blanks among the scores are no scores."""
    if table != "scores":
        return study.table(table), pd.Index([])
    used = scores_used(study)
    aside = pd.Index(used.set_aside["row"].to_numpy() - 2)
    return pd.concat([used.frame, study.scores.loc[aside]]).sort_index(), aside


def _named(source: Source, row: Mapping[str, Any]) -> set[str]:
    names = {str(row[column]) for column in source.direct if column in row}
    if source.group is not None and source.group[0] in row:
        names |= set(source.group[1].get(str(row[source.group[0]]), ()))
    return names


# What is each number called, so that it can be asked for? `D-AF_GREASE-P4-P1-estimate`: table, row, column.
#
# A name may hold anything, so within a part a hyphen is written `~`, a blank `.`, and every other sign that is not a
# letter, a digit or an underscore as `%` and its code. Different names give different parts.


_PLAIN = {"-": "~", " ": "."}


def _id_part(text: object) -> str:
    """Return a name as a part of an id; different names give different parts."""
    words = f"{text:g}" if isinstance(text, float) and text.is_integer() else str(text)
    if words.replace("_", "").isalnum():
        return words
    kept = _PLAIN | {sign: sign for sign in words if sign.isalnum() or sign == "_"}
    return "".join(kept.get(sign, f"%{ord(sign):X}%") for sign in words)


def _row_id(code: str, names: Iterable[object]) -> str:
    return "-".join([code, *map(_id_part, names)])


def _row_ids(code: str, frame: pd.DataFrame, key: Sequence[str]) -> tuple[str, ...]:
    """Return the id of each row of a table; rows that the key does not tell apart are counted with `+2`, `+3` ..."""
    seen: dict[str, int] = {}
    found = []
    for names in frame[list(key)].itertuples(index=False, name=None):
        name = _row_id(code, names)
        seen[name] = seen.get(name, 0) + 1
        found.append(name if seen[name] == 1 else f"{name}+{seen[name]}")
    return tuple(found)


def number_id(row: str, column: object) -> str:
    """Return the id of one number."""
    return f"{row}-{_id_part(column)}"


# On paper a row is called by the letters of its table and its place, such as `D12`: short, and the same for the same
# study.


_PRINTED = re.compile(r"([A-Z]+)([1-9]\d*)(?:-(.+))?")


def printed_id(code: str, place: int) -> str:
    """Return the id of a row on paper; `place` counts from 0."""
    return f"{code}{place + 1}"


def read_printed_id(name: str) -> tuple[str, int, str] | None:
    """Return letters, place from 0, and what follows a hyphen, of an id on paper; None for another text."""
    found = _PRINTED.fullmatch(name)
    return (found[1], int(found[2]) - 1, found[3] or "") if found else None


# How does a result become a table of the evidence file: texts to read, unrounded numbers, an id for each?


def numbers(
    code: str,
    title: str,
    shown: pd.DataFrame,
    full: pd.DataFrame,
    key: Sequence[str],
    method: str,
    *sources: Source,
    rows: Iterable[Sequence[object]] | None = None,
    printed: bool = True,
) -> Numbers:
    """Return a table with the ids of its rows.

    Parameters
    ----------
    key
        Columns of `full` that name a row, those that `shown` goes down by first.
    rows
        What names each row of `shown`, where it does not have the rows of `full` one by one.
    """
    full = full.reset_index(drop=True)
    ids = shown_ids = _row_ids(code, full, key)
    if rows is not None:  # what the ids behind each row shown have in common; nothing for a row such as a total
        names = [_row_id(code, row) for row in rows]
        shown_ids = tuple(name if any(f"{own}-".startswith(f"{name}-") for own in ids) else "" for name in names)
    shown = shown.reset_index(drop=True)
    return Numbers(code, title, shown, shown_ids, full, tuple(key), ids, method, sources, printed)


def numbers_of(answers: Answers, question: Question[Any], table: Table) -> Numbers | NoAnswer:
    """Return a described table of an answer with the ids of its rows; why there is none where there is none."""
    found = answers.ask(question)
    if isinstance(found, NoAnswer):
        return found
    full = table.of(found)
    if full.empty and table.none:
        return NoAnswer(table.none)
    return numbers(
        table.code,
        table.titled(found),
        shown(table, found, answers.names),
        full,
        table.key,
        found.method,
        *table.behind(found),
        rows=None if table.across is None else [(name,) for name in dict.fromkeys(full[table.key[0]])],
        printed=table.printed,
    )


# Small ways to put a part of the evidence file together: a table or why it is not there, a fact, a picture, points.


def or_gap(found: Numbers | NoAnswer) -> Block:
    """Return a table, or what stands in its place: a gap, or that the study was not about it."""
    return not_there(found) if isinstance(found, NoAnswer) else found


def not_there(found: NoAnswer) -> Block:
    """Return what is said in place of a result: a gap, or that the study was not about it."""
    return said("paragraph", found.why) if found.not_part else said("gap", found.why)


def points(lines: Iterable[str]) -> tuple[Block, ...]:
    """Return sentences as a list; nothing for none."""
    told = tuple(line for line in lines if line)
    return (said("points", *told),) if told else ()


def told_blocks(told: Told, *tables: Numbers | NoAnswer) -> Iterator[Block]:
    """Yield what is told of an answer: its sentences, its picture, the tables given, and how it was computed."""
    yield said("paragraph", told.headline)
    if told.picture is not None:
        yield told.picture
    sentences = [item for each in told.drawers for item in each.items if isinstance(item, str)]
    yield from points([*told.mind, *sentences])
    yield from map(or_gap, tables)
    yield from points([told.result.method, *told.result.notes, *told.cannot])


def fact(study: Study, name: str) -> str:
    """Return what people typed for a fact of the study; empty if nothing."""
    value = study.facts.get(name)
    if isinstance(value, list | tuple):
        return "; ".join(str(item) for item in value if str(item).strip())
    if isinstance(value, dict):
        return "; ".join(f"{key}: {_told(item)}" for key, item in value.items())
    return str(value).strip() if value is not None else ""


def _told(item: object) -> str:
    return " to ".join(str(part) for part in item) if isinstance(item, list | tuple) else str(item)
