"""What is in a block that somebody pasted from a spreadsheet, and how do formulas stand side by side?

A block may have headings or none, tabs, semicolons or commas between its cells, decimal commas, per cent signs, and may
lie on its side. What a heading means is taken where it is certain, proposed where it is near, and kept otherwise.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import pandas as pd

from panel.errors import StudyError
from panel.study.editing import known_numbers, put_table, texts_of_table
from panel.study.file_names import is_number
from panel.study.formulas import canonical_ingredient
from panel.study.knowledge import is_called, is_reckoned
from panel.study.naming import known_by_cells, of_the_study
from panel.study.numbers_read import measured, read_numbers
from panel.study.raw_table import NOT_READ, decode, filled_rows, is_workbook, likely_delimiter, rows_of_file
from panel.study.study import RawFile, Study
from panel.study.table_cells import columns_of, known_column, known_columns, nearest_column, number_text
from panel.study.tables import TABLES
from panel.words import counted, first_few

_MOST_CELLS = 200_000
_TOTALS = frozenset(("total", "totals", "sum", "summe", "gesamt", "somme", "suma", "totale"))


@dataclass(frozen=True, eq=False, slots=True)
class Pasted:
    """A block as rows of a table.

    Parameters
    ----------
    texts
        The rows as texts; columns named as in the table where that is certain, else as they were pasted.
    notes
        What was done, one sentence each.
    unknown
        Headings that name no column, each with the column it may mean; empty where none is near.
    """

    texts: pd.DataFrame
    notes: tuple[str, ...] = ()
    unknown: Mapping[str, str] = field(default_factory=dict)

    def unknown_in_words(self, name: str) -> list[str]:
        """Return a sentence for each heading that names no column of the table `name`."""
        return [
            f"{name} has no column {words!r}; it is kept, and nothing reads it."
            + (f" Perhaps {near} is meant: give it that name." if near else "")
            for words, near in self.unknown.items()
        ]

    def mapped(self, choices: Mapping[str, str]) -> pd.DataFrame:
        """Return the rows with unknown headings replaced by the columns that somebody chose for them.

        Raises
        ------
        StudyError
            If two headings would become one column.
        """
        names = [choices.get(column) or column for column in self.texts.columns]
        twice = next((name for name in names if names.count(name) > 1), "")
        if twice:
            raise StudyError(f"Two pasted columns would become {twice}. Choose another column for one of them.")
        return self.texts.set_axis(names, axis=1)


def _cells_of_block(text: str) -> list[list[str]]:
    """Return the cells of a pasted block, all rows equally long, empty ones left out; StudyError if there are none."""
    if not text.strip():
        raise StudyError("Nothing was pasted. Copy the cells in the spreadsheet and paste them here.")
    lines = text.strip("\r\n")
    delimiter = "\t" if "\t" in lines else likely_delimiter(lines)
    rows = list(filled_rows(csv.reader(io.StringIO(lines, newline=""), delimiter=delimiter), _typed).values())
    if len(rows) * len(rows[0]) > _MOST_CELLS:
        raise StudyError(f"More than {_MOST_CELLS} cells were pasted; bring the file in as a workbook instead.")
    if delimiter == ",":
        _refuse_cut_numbers(rows)
    return rows


def _typed(cell: str) -> str:
    return cell.replace("\u00a0", " ").strip()


def read_block(block: str | RawFile, name: str, study: Study | None = None, sheet: str = "") -> Pasted:
    """Return a pasted block, or a sheet of a file (the first one if none is named), as rows of the table `name`.

    Parameters
    ----------
    study
        The study it is for: its prototypes are recognised as headings of formulas.

    Raises
    ------
    StudyError
        If it cannot be told which cell belongs into which column; the text says what to do.
    """
    notes: tuple[str, ...] = ()
    if isinstance(block, RawFile) and is_workbook(block):
        sheets, notes = rows_of_file(block, sheet)
        rows = list(filled_rows(sheets[0][1] if sheets else ()).values())
        if not rows:
            raise StudyError(f"{block.name} holds no filled sheet.")
        left = [other for other, _ in sheets[1:]]
        notes += (f"Sheet {sheets[0][0]!r} was read. {NOT_READ}: {', '.join(left)}.",) if left else ()
    else:
        rows = _cells_of_block(block if isinstance(block, str) else decode(block.content, block.name)[0])
    read = read_rows(rows, name, study)
    return replace(read, notes=(*notes, *read.notes))


def _refuse_cut_numbers(rows: Sequence[Sequence[str]]) -> None:
    """Raise StudyError if rows have more cells than there are headings: a decimal comma may have cut a number."""
    if len(rows) > 1 and rows[0][-2:-1] != [""] and not rows[0][-1] and any(row[-1].isdecimal() for row in rows[1:]):
        longer = [place for place, row in enumerate(rows, start=1) if row[-1]]
        raise StudyError(
            f"Rows have more cells than there are headings: row {first_few(longer)} (blank lines not counted). If the "
            "cells hold decimal commas, put semicolons between them or the cells in quotation marks."
        )


def read_rows(rows: list[list[str]], name: str, study: Study | None = None) -> Pasted:
    """Return rows of cells, all equally long, as rows of the table `name`: as `read_block`."""
    study = study or Study({})
    rows, notes = _below_titles(rows, name)
    if name == "formulas" and (wide := _side_by_side(rows, study)) is not None:
        return replace(wide, notes=(*notes, *wide.notes))
    if _known(name, [row[0] for row in rows]) > _known(name, rows[0]):
        rows = [list(row) for row in zip(*rows, strict=True)]
        notes.append("The block lies on its side: its rows were read as columns.")
    if name == "readings":
        rows, done = _readings(rows, study)
        notes += done
    if _known(name, rows[0]):
        return _with_headings(rows, name, notes, study)
    _refuse_strange_headings(rows, name)
    known = [column.name for column in columns_of(name)]
    if len(rows[0]) > len(known):
        raise StudyError(
            f"The block has {len(rows[0])} columns and no headings; {name} has {len(known)}: {', '.join(known)}. "
            "Copy it together with its headings."
        )
    header = known[: len(rows[0])]
    notes.append(f"No headings were pasted: the columns were taken in the order of the table, {', '.join(header)}.")
    return Pasted(_frame(rows, header), tuple(notes))


def _below_titles(rows: list[list[str]], name: str) -> tuple[list[list[str]], list[str]]:
    """Return the rows from the headings on, where shorter lines stand above them, and that said."""
    named = [_known(name, row) for row in rows[:_TITLES]]
    heads = named.index(max(named))
    filled = [sum(map(bool, row)) for row in rows[: heads + 1]]
    if max(filled[:-1], default=filled[-1]) >= filled[-1]:
        return rows, []
    above = first_few([" ".join(filter(None, row)) for row in rows[:heads]])
    return rows[heads:], [f"Above the headings stands: {above}."]


_TITLES = 30  # lines that an instrument may write above its table


def _refuse_strange_headings(rows: Sequence[Sequence[str]], name: str) -> None:
    """Raise StudyError if the first row holds no number and stands above numbers: headings that name no column."""
    if any(map(is_number, rows[0])):
        return
    for head, *below in zip(*rows, strict=True):
        filled = list(filter(None, below))
        if head and len(filled) > 1 and all(map(is_number, filled)):
            known = ", ".join(column.name for column in columns_of(name))
            raise StudyError(
                f"{first_few([cell for cell in rows[0] if cell])} name no column of {name}; its columns are {known}. "
                "Give the columns these names."
            )


def _readings(rows: list[list[str]], study: Study) -> tuple[list[list[str]], list[str]]:
    """Return readings whose measures or prototypes stand side by side below each other, means left out; and notes."""
    heads, notes = known_columns("readings", rows[0]), []
    reckoned = [i for i, head in enumerate(heads) if not head and is_reckoned(rows[0][i])]
    whose = heads.index("prototype") if "prototype" in heads else 0
    means = [row for row in rows[1:] if row[whose] not in study.prototypes and _is_mean(row[whose])]
    if means:
        notes.append(f"Rows with means or totals were left out: {first_few([row[whose] for row in means])}.")
    body = [row for row in rows[1:] if row not in means]
    apart = {"measure", "prototype"} - set(heads)
    side = [
        i
        for i, head in enumerate(heads)
        if not head and i not in reckoned and any(map(is_number, (row[i] for row in body)))
    ]
    if "value" in heads or len(apart) != 1 or not side:
        return [rows[0], *body], notes
    if reckoned:
        notes.append(f"Columns with means or totals were left out: {first_few([rows[0][i] for i in reckoned])}.")
    own = [i for i in range(len(heads)) if i not in side and i not in reckoned]
    said = {i: measured(rows[0][i]) if "measure" in apart else (rows[0][i],) for i in side}
    header = [*(rows[0][i] for i in own), *(("measure", "unit") if "measure" in apart else ("prototype",)), "value"]
    notes.append(f"Columns were put below each other: {first_few([rows[0][i] for i in side])} as {apart.pop()}.")
    return [header, *([*(row[i] for i in own), *said[i], row[i]] for i in side for row in body if row[i])], notes


def _is_mean(name: str) -> bool:
    return is_reckoned(name) or is_called(name, "reckoned_alone")


def _with_headings(rows: Sequence[Sequence[str]], name: str, notes: Sequence[str], study: Study) -> Pasted:
    header, unknown, unit = [], {}, ""
    columns = [column.name for column in columns_of(name)]
    certain = known_by_cells(columns, rows, known_columns(name, rows[0]), study)
    for place, (heading, found) in enumerate(zip(rows[0], certain, strict=True)):
        words = heading or f"column {place + 1}"
        if found:
            header.append(found)
        else:
            header.append(words)
            if any(row[place] for row in rows[1:]):
                unknown[words] = nearest_column(name, heading, taken=certain) if heading else ""
    twice = next((column for column in header if header.count(column) > 1), "")
    if twice:
        raise StudyError(f"Two pasted columns are both {twice}. Keep one of them, or give one another heading.")
    texts, told = of_the_study(_frame(rows[1:], header), name, study)
    done = [*notes, *told]
    if name == "formulas" and ("prototype" not in texts or (texts["prototype"] == "").any()):
        _refuse_nameless(texts, rows[0])
    empty = [column for column in texts if column not in certain and not texts[column].any()]
    amounts = [head for head in unknown if _without_unit(head, ())[1]]
    if name == "formulas" and len(amounts) == 1 and "percent" not in header:
        texts, unit = texts.rename(columns={amounts[0]: "percent"}), _without_unit(amounts[0], ())[1]
        unknown.pop(amounts[0])
    if name == "formulas" and {"prototype", "ingredient", "percent"} <= {*texts}:
        sign = _sign(Study({}), texts[["percent"]])
        for prototype in texts["prototype"].unique():
            own = texts["prototype"] == prototype
            cells = _as_percent(prototype, unit, texts.loc[own, "percent"].tolist(), sign, done)
            cells = _filled_up(Study({}), prototype, cells, texts.loc[own, "ingredient"].tolist(), sign)
            texts.loc[own, "percent"] = cells
    return Pasted(texts.drop(columns=empty), tuple(done), unknown)


def _refuse_nameless(texts: pd.DataFrame, heads: Sequence[str]) -> None:
    """Raise StudyError: rows of formulas do not say of which prototype they are."""
    if "prototype" not in texts:
        raise StudyError(
            f"No column names the prototypes: the headings are {first_few([head for head in heads if head], 8)}. Write "
            "Ingredient above the ingredients and the name of each prototype above its amounts, or Prototype above a "
            "column of their names."
        )
    rows = [place + 2 for place in range(len(texts)) if not texts["prototype"].iloc[place]]
    raise StudyError(f"{counted(len(rows), 'row')} of formulas name no prototype (line {first_few(rows)}). Write it.")


def _known(name: str, cells: Sequence[str]) -> int:
    """Return how many of the cells are headings of a table."""
    return sum(map(bool, known_columns(name, [cell for cell in dict.fromkeys(cells) if cell])))


def _frame(rows: Sequence[Sequence[str]], header: Sequence[str]) -> pd.DataFrame:
    return pd.DataFrame([list(row) for row in rows], columns=list(header), dtype="str")


# Formulas side by side: an ingredient a row, a prototype a column.


_INGREDIENT, _PHASE, _KIND = "ingredient", "phase", "kind"
_ABOUT = (_INGREDIENT, _PHASE, _KIND)
_NOT_YET = "?"
"""Stands where an ingredient is listed without an amount; an empty cell means that it is not in the formula."""
_FILLS_UP = re.compile(r"(?:q\.?\s?s\.?|ad)(?:\s*(?:ad|to)?\s*100\s*%?)?|(?:to|ad)\s*100\s*%?", re.IGNORECASE)


def formula_grid(study: Study, prototypes: Sequence[str] = ()) -> pd.DataFrame:
    """Return all formulas as texts: a row for each ingredient, a column for each prototype.

    Nothing is lost in it: an ingredient that stands twice in a formula has two rows; one without an amount has `?`.

    Parameters
    ----------
    prototypes
        The columns; those of the study if none are named.
    """
    lines = texts_of_table(study, "formulas")
    about = [*_ABOUT, *_further(lines)]
    named = lines["prototype"].tolist()
    columns = list(dict.fromkeys([*(prototypes or study.prototypes), *named]))
    rows: dict[tuple[str, ...], dict[str, str]] = {}
    times: dict[tuple[str, ...], int] = {}
    for line in lines.to_dict("records"):
        what = tuple(str(line[column]) for column in about)
        number = times[(str(line["prototype"]), *what)] = times.get((str(line["prototype"]), *what), -1) + 1
        rows.setdefault((*what, str(number)), {})[str(line["prototype"])] = str(line["percent"]) or _NOT_YET
    cells = [[*what[:-1], *(held.get(name, "") for name in columns)] for what, held in rows.items()]
    return pd.DataFrame(cells, columns=[*about, *columns], dtype="str")


def put_formulas(study: Study, grid: pd.DataFrame) -> Study:
    """Return the study with its formulas replaced by those of a grid; `q.s.` fills a formula up to 100 %.

    Raises
    ------
    StudyError
        If `q.s.` stands twice in a formula, or the other amounts do not leave anything to fill up.
    """
    given = grid.fillna("").astype("str")
    prototypes = columns_of_grid(study, given)
    about = [column for column in given if column not in prototypes]
    sign = _sign(study, given[prototypes])
    parts = []
    for prototype in prototypes:
        cells = _filled_up(study, prototype, given[prototype].str.strip().tolist(), given[_INGREDIENT].tolist(), sign)
        part = given[about].assign(prototype=prototype, percent=["" if cell == _NOT_YET else cell for cell in cells])
        parts.append(part[[cell != "" for cell in cells]])
    known = list(TABLES["formulas"].column_names)
    texts = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=known, dtype="str")
    return put_table(study, "formulas", texts[[c for c in dict.fromkeys((*known, *texts)) if c in texts]])


def _sign(study: Study, cells: pd.DataFrame) -> str:
    """Return the decimal sign of the amounts that are new in a grid; empty where they do not show one, or show both."""
    known = known_numbers(study, "formulas", "percent")
    fresh = [cell for column in cells for cell in cells[column] if cell not in known and not _FILLS_UP.fullmatch(cell)]
    read = read_numbers(fresh)
    mixed = len(read_numbers(fresh, read.decimal).reasons) > len(read.reasons)
    return read.decimal if read.decided and not mixed else ""


def columns_of_grid(study: Study, grid: pd.DataFrame) -> list[str]:
    """Return the columns of a grid of formulas that are prototypes: all that do not say what an ingredient is."""
    about = {*_ABOUT, *_further(texts_of_table(study, "formulas"))}
    return [str(column) for column in grid if column not in about]


def _further(lines: pd.DataFrame) -> list[str]:
    return [str(column) for column in lines if column not in TABLES["formulas"].column_names]


def _filled_up(
    study: Study, prototype: str, cells: Sequence[str], ingredients: Sequence[str], sign: str = ""
) -> list[str]:
    """Return the amounts of one formula with `q.s.` replaced by what is missing to 100 %, with this decimal sign.

    StudyError if `q.s.` stands twice, another amount is missing or not read, or nothing is left to fill up.
    """
    places = [place for place, cell in enumerate(cells) if _FILLS_UP.fullmatch(cell)]
    if not places:
        return list(cells)
    if len(places) > 1:
        raise StudyError(
            f"In the formula of {prototype} {first_few([ingredients[place] for place in places])} are both filled up "
            "to 100 % (q.s.). Write an amount for all but one."
        )
    total = total_of(study, cells, sign)
    if math.isnan(total):
        alone = ((what, cell) for what, cell in zip(ingredients, cells, strict=True) if cell)
        odd = [f"{cell!r} of {what}" for what, cell in alone if math.isnan(total_of(study, [cell], sign))]
        raise StudyError(
            f"The formula of {prototype} cannot be filled up: an amount in it is missing or not read ({first_few(odd)})"
            ". Write it first."
        )
    if round(total, _DIGITS) >= 100:
        raise StudyError(
            f"The formula of {prototype} is at {total:g} % without {ingredients[places[0]]}; nothing is left."
        )
    rest = number_text(round(100 - total, _DIGITS)).replace(".", sign or ".")
    return [rest if place in places else cell for place, cell in enumerate(cells)]


_ROUNDED = 0.005  # by how much a sum of rounded shares, or parts of a thousand, may miss the whole
_DIGITS = 6  # of an amount that is filled up: finer than any balance


def total_of(study: Study, cells: Sequence[str], sign: str = "") -> float:
    """Return the sum of the amounts of a formula without what is filled up, in per cent; NaN if one is not read."""
    known = known_numbers(study, "formulas", "percent")
    fresh = [cell for cell in cells if cell and cell not in known and not _FILLS_UP.fullmatch(cell)]
    read = read_numbers(fresh, sign)
    if _NOT_YET in cells or read.reasons or read.missing.any():
        return math.nan
    return math.fsum([*read.values.tolist(), *(known[cell] for cell in cells if cell in known)])


def with_swap(study: Study, grid: pd.DataFrame, base: str, new: str, removed: str, added: str) -> pd.DataFrame:
    """Return a grid with one more formula: the same as `base`, but all of `removed` replaced by as much of `added`.

    Raises
    ------
    StudyError
        If the base has no such ingredient or no formula, or the new one has a formula already.
    """
    if base not in columns_of_grid(study, grid) or not grid[base].any():
        raise StudyError(f"{base} has no formula that could be changed. Write it first.")
    if not new.strip() or (new in grid and (new in _ABOUT or grid[new].any())):
        raise StudyError(f"Give the new formula the name of a prototype that has none yet, not {new!r}.")
    rows = [place for place, name in enumerate(grid[_INGREDIENT]) if name == removed and grid[base].iloc[place]]
    if not rows or removed == added or not added.strip():
        raise StudyError(f"Choose an ingredient of {base} to take out and another one to put in.")
    changed = grid.reset_index(drop=True)
    amounts = changed[base].tolist()
    new_rows = []
    for place in rows:
        line = changed.loc[place].to_dict() | {_INGREDIENT: added, **dict.fromkeys(columns_of_grid(study, grid), "")}
        there = [
            i for i, name in enumerate(changed[_INGREDIENT]) if name == added and not amounts[i] and len(rows) == 1
        ]
        if there:
            amounts[there[0]] = amounts[place]
        else:
            new_rows.append((line, amounts[place]))
        amounts[place] = ""
    changed[new] = amounts
    extra = pd.DataFrame([{**line, new: amount} for line, amount in new_rows], columns=changed.columns, dtype="str")
    return pd.concat([changed, extra], ignore_index=True) if len(extra) else changed


def _side_by_side(rows: list[list[str]], study: Study) -> Pasted | None:
    """Return formulas pasted side by side, either way round, as lines of the table; None if they are not."""
    known = set(study.prototypes)
    heads = [known_column("formulas", cell) for cell in rows[0]]
    for i, called in enumerate(known_columns("formulas", rows[0])):
        cells = [row[i] for row in rows[1:] if row[i]]
        if called == "prototype" and ({*cells} <= known or not any(map(_is_amount, cells))):
            heads[i] = called  # `Product` above names of the study, or words; `Lotion` may stand above amounts
    if heads.count("ingredient") == 1 and not {"prototype", "percent"} & set(heads):
        return _lines(rows, heads, [], known)
    if ("prototype" in heads and not {"ingredient", "percent"} & set(heads)) or _are_ingredients(rows[0][1:]):
        turned = [list(row) for row in zip(*rows, strict=True)]
        heads = ["ingredient", *[""] * (len(turned[0]) - 1)]
        return _lines(turned, heads, ["The block lies on its side: a row of it is a prototype."], known)
    if not any(heads) and len(rows[0]) > 1 and (set(rows[0][1:]) & known or not rows[0][0]):
        return _lines(rows, ["ingredient", *[""] * (len(rows[0]) - 1)], [], known)
    first_is_words = not any(heads) and _are_ingredients([row[0] for row in rows])
    if first_is_words and len(rows[0]) - 1 == len(study.prototypes):
        header = ["ingredient", *study.prototypes]
        note = f"No headings were pasted: the columns were taken as {', '.join(study.prototypes)}."
        return _lines([header, *rows], ["ingredient", *[""] * len(study.prototypes)], [note])
    return None


def _are_ingredients(cells: Sequence[str]) -> bool:
    """Return True if most of the cells are known ingredients."""
    names = [cell for cell in cells if cell]
    return len(names) > 1 and 2 * sum(canonical_ingredient(name) is not None for name in names) > len(names)


def _lines(
    rows: Sequence[Sequence[str]], heads: Sequence[str], notes: Sequence[str], known: Collection[str] = ()
) -> Pasted:
    """Return a block with an ingredient a row and a prototype a column as lines of the table of formulas."""
    done, heads = list(notes), list(heads)
    at = heads.index("ingredient")
    totals = [row for row in rows[1:] if row[at].strip(" :").casefold() in _TOTALS or not row[at]]
    body: list[Sequence[str]] = [row for row in rows[1:] if row not in totals]
    if totals:
        done.append(f"{counted(len(totals), 'row')} without an ingredient or with a total left out.")
    filled = [i for i, h in enumerate(heads) if not h and any(row[i] for row in body)]
    worded = [i for i in filled if rows[0][i] not in known and not any(_is_amount(row[i]) for row in body)]
    if kind := _kinds(rows[0], worded if "kind" not in heads else [], body, done):
        heads[kind[0]], body = "kind", kind[1]
    if left := [rows[0][i] or f"column {i + 1}" for i in worded if not heads[i]]:
        done.append(f"Left out, for no amount stands in it: {first_few(left)}.")
    held = _headed(rows[0], [i for i in filled if i not in worded], known, done)
    places = {name: i for i, (name, _) in held.items()}
    if "" in places:
        raise StudyError("A column of the block has amounts and no heading. Write the prototype above it.")
    if len(places) < len(held):
        raise StudyError("Two columns of the block have the same prototype as heading. Give each its own name.")
    about = {head: i for i, head in enumerate(heads) if head}
    lines = []
    empty = Study({})
    sign = _sign(empty, _frame([[row[place] for place in places.values()] for row in body], list(places)))
    for prototype, place in places.items():
        cells = [row[place] for row in body]
        cells = _as_percent(prototype, held[place][1], cells, sign, done)
        cells = _filled_up(empty, prototype, cells, [row[at] for row in body], sign)
        kept = [(row, cell) for row, cell in zip(body, cells, strict=True) if cell and not _is_zero(cell)]
        lines += [
            {"prototype": prototype, **{head: row[i] for head, i in about.items()}, "percent": cell}
            for row, cell in kept
        ]
    done.append(f"Formulas side by side: {counted(len(places), 'prototype')}, {counted(len(body), 'ingredient')}.")
    columns = [column for column in TABLES["formulas"].column_names if column in ("prototype", "percent", *about)]
    texts = pd.DataFrame(lines, columns=columns, dtype="str")
    known = {name: canonical_ingredient(name) or name for name in texts["ingredient"].unique()}
    if renamed := [f"{name} as {inci}" for name, inci in known.items() if inci != name]:
        done.append(f"Ingredients written by their INCI name: {first_few(renamed)}.")
    return Pasted(texts.assign(ingredient=texts["ingredient"].map(known).astype("str")), tuple(done))


def _is_amount(cell: str) -> bool:
    return cell == _NOT_YET or bool(_FILLS_UP.fullmatch(cell)) or is_number(cell.strip("%<>~ "))


def _kinds(
    heads: Sequence[str], worded: Sequence[int], body: Sequence[Sequence[str]], done: list[str]
) -> tuple[int, list[Sequence[str]]] | None:
    """Return the column of words that says what ingredients do, and the rows with it in the words of the table."""
    choices = TABLES["formulas"].column("kind").choices

    def meant(cell: str) -> str:
        return next((kind for kind in choices if re.search(rf"\b{kind}s?\b", cell, re.IGNORECASE)), "")

    for i in worded:
        if any(meant(row[i]) for row in body):
            other = list(dict.fromkeys(row[i] for row in body if row[i] and not meant(row[i])))
            blank = f"; not {first_few(other)}, which {'stays' if len(other) == 1 else 'stay'} blank" if other else ""
            done.append(f"{heads[i]!r} was read as what each does in the formula{blank}.")
            return i, [[meant(cell) if n == i else cell for n, cell in enumerate(row)] for row in body]
    return None


_UNIT = re.compile(
    r"(?P<name>.*?\S)(?:\s+|(?=[(\[]))[(\[]?(?P<unit>%.*|wt\.?\s*%.*|gew\.?-?\s*%.*|k?g\b.*|mg\b.*|grams?|parts?|teile|parties|partes)[)\]]?",
    re.IGNORECASE,
)


def _without_unit(heading: str, known: Collection[str]) -> tuple[str, str]:
    """Return a heading without the unit behind it, and the unit; a name of the study is no unit."""
    found = None if heading in known else _UNIT.fullmatch(heading)
    sure = found and ("%" in found["unit"] or found["name"] in known or heading.endswith((")", "]")))
    return (found["name"].strip(), found["unit"].rstrip(")]")) if found and sure else (heading, "")


def _headed(
    heads: Sequence[str], filled: Sequence[int], known: Collection[str], done: list[str]
) -> dict[int, tuple[str, str]]:
    """Return prototype and unit of each filled column; where one has per cent and grams, the per cent, and say so."""
    known = {*known, *(name for name, unit in (_without_unit(heads[i], known) for i in filled) if unit)}
    held = {i: _without_unit(heads[i], known) for i in filled}
    share = {name for name, unit in held.values() if not unit or "%" in unit}
    spare = [i for i, (name, unit) in held.items() if unit and "%" not in unit and name in share]
    if spare:
        done.append(f"Left out beside the per cent: {first_few([heads[i] for i in spare])}.")
    return {i: head for i, head in held.items() if i not in spare}


def _as_percent(prototype: str, unit: str, cells: list[str], sign: str, done: list[str]) -> list[str]:
    """Return amounts in grams, parts, shares of 1 or parts of 1000 as per cent of their sum, and say so."""
    read = read_numbers(cells, sign)
    total = math.nan if read.reasons else math.fsum(read.values[~read.missing])
    if ("%" in unit or not unit) and not min(abs(total - 1), abs(total / 1000 - 1)) < _ROUNDED:
        return cells
    if not total > 0:
        raise StudyError(f"The amounts of {prototype} are not all numbers. Write them all, or write per cent.")
    done.append(f"Amounts of {prototype} (sum {f'{total:g} {unit}'.strip()}) became per cent of their sum.")
    shares = [round(value / total * 100, _DIGITS) for value in read.values]
    return [number_text(share).replace(".", sign or ".") for share in shares]


def _is_zero(cell: str) -> bool:
    read = read_numbers([cell])
    return not read.reasons and (math.isnan(read.values[0]) or read.values[0] == 0)


# What do the empty cells of a block leave as it is?


def cells_kept(study: Study, name: str, block: pd.DataFrame) -> list[str]:
    """Return one sentence on the empty cells of a block that leave what the study holds, none if there are none."""
    key = list(TABLES[name].key) if name in TABLES else []
    given = block.fillna("").astype("str").apply(lambda column: column.str.strip())
    if not key or name == "formulas" or not {*key} <= {*given}:
        return []
    held = texts_of_table(study, name).drop_duplicates(key, keep="last").set_index(key)
    kept = [
        f"{column} of {' '.join(named) if isinstance(named, tuple) else named}"
        for named, row in given.set_index(key).iterrows()
        for column, cell in row.items()
        if not cell and named in held.index and column in held and held.loc[named, column]
    ]
    said = "To empty cells, bring the whole table (--whole; on the page: this is the whole table)."
    return [f"Empty cells leave what the study holds: {first_few(kept, _MOST_KEPT)}. {said}"] if kept else []


_MOST_KEPT = 6  # cells that are named
