"""How does a table of scores, long or wide, become a study?"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from pandas.api.extensions import ExtensionArray

from panel.errors import StudyError
from panel.study.file_names import are_exchanged, asked_roles, twins
from panel.study.knowledge import ROLES, is_called, is_counted, is_reckoned, named_columns, stated_scale
from panel.study.naming import at_moment, counted_alone, measured_units, timed_words, with_headings_read
from panel.study.numbers_read import (
    TIMES,
    NumbersRead,
    measured,
    proposed_number,
    read_number_columns,
    read_numbers,
    unit_of_heading,
)
from panel.study.people import fill_last_name, note_on_people, number_of_people, served_place, who_judged
from panel.study.raw_table import READ_AS_SEEN, RawTable
from panel.study.sheet_keys import BLIND_CODE, refuse_several_studies
from panel.study.sittings import (
    are_sittings,
    dated_by_session,
    filled_down,
    is_clock,
    is_timed,
    moment_column,
    moments_of,
    note_on_days,
    sittings,
)
from panel.study.study import IMPORTED_ROW, REHEARSED, UNREAD_COLUMNS, RawFile, Study, natural_order
from panel.study.table_cells import NOT_WHOLE, is_mean_of, notes_beside, remarks_beside, why_not_scored
from panel.study.tables import TABLES
from panel.words import as_seen, counted, first_few, format_typed

_NAME_ROLES = ("assessor", "prototype", "attribute", "session", "replicate", "batch", "recorded_at")
_SAY_SO = "Say so if it holds scores: among the attributes, or by the option --score."
_SHOWN = 6  # names in a sentence before "and n more"


@dataclass(frozen=True, eq=False, slots=True)
class ImportedScores:
    """Scores read from somebody's file.

    Parameters
    ----------
    scores
        The scores table of a study: one row per score, also for empty ones.
    unread
        Cells that could not be read, where they stand in the file: columns `line column text reason`, and in
        `row` and `score_column` where they stand in the scores table (its header being line 1).
    notes
        What was done, one plain sentence each.
    layout
        Which column held what.
    scale
        The scale that the file states beside the table, where its headings state none; never of what has a unit.
    remarks
        What was written beside scores, and the line it stands on.
    """

    scores: pd.DataFrame
    unread: pd.DataFrame
    notes: tuple[str, ...]
    layout: ScoresLayout
    scale: tuple[int, int] | None = None
    remarks: tuple[Mapping[str, Any], ...] = ()


def read_scores(table: RawTable, layout: ScoresLayout) -> ImportedScores:
    """Read the scores of a table of texts; in a wide one without `attributes` every numeric column left over is one.

    StudyError if the layout does not fit the table.
    """
    if not layout.is_long and not layout.attributes:
        layout = replace(layout, attributes=_attribute_columns(table, layout))
    _check_layout(table, layout)
    if layout.fill_down:
        table = filled_down(table, _name_columns(layout), ", as was asked")
    score_columns = [layout.score] if layout.is_long else list(layout.attributes)
    numbers = read_number_columns(
        {column: table.column(column) for column in score_columns}, layout.decimal, words=True
    )
    position = _positions(table, layout)
    _refuse_nameless(table, layout, numbers)
    refuse_several_studies(table, {*layout.columns().values(), *layout.attributes})
    scores = _long_scores(table, layout, numbers, position)
    _refuse_exchanged(table, scores)
    unread = _unread(table, layout, numbers, position)
    if layout.moment:
        scores, unread = _as_asked(scores, unread, numbers)
    scores, dated = dated_by_session(scores)
    notes = (
        *table.notes,
        *dated,
        *_notes_on_names(table, layout),
        *_notes_on_times(scores),
        *_notes_on_twins(scores, layout),
        *_notes_on_scales(scores, layout, table.scale),
        *_notes_on_numbers(numbers),
        *_notes_on_rehearsal(table),
        *_notes_on_shape(table, layout, scores, unread),
    )
    used = {*layout.columns().values(), *layout.attributes, BLIND_CODE}
    remarks = tuple(remarks_beside(table, [column for column in table.header if column not in used]))
    return ImportedScores(scores, unread, notes, layout, table.scale, remarks)


def study_from_scores(
    imported: ImportedScores,
    raw_file: RawFile,
    title: str,
    scale_min: float | None = None,
    scale_max: float | None = None,
    benchmark: str = "",
) -> Study:
    """Return a study made of imported scores; its prototypes, attributes and assessors are those that occur.

    Prototypes stand in the natural order of their names: the first row of a randomised sheet says nothing. The file is
    kept unchanged.

    Parameters
    ----------
    scale_min, scale_max
        Lowest and highest possible score, the same for all that was rated; where unknown what headings state counts.
    benchmark
        The prototype the others are compared with; empty if there is none. StudyError if it was not scored.
    """
    scores = imported.scores
    tables = {
        "prototypes": _listed("prototypes", natural_order(name for name in scores["prototype"].unique() if name)),
        "attributes": with_headings_read(_listed("attributes", scores["attribute"].unique())),
        "assessors": _listed("assessors", scores["assessor"].unique()),
        "scores": scores,
    }
    known = list(tables["prototypes"]["prototype"])
    if benchmark and benchmark not in known:
        raise StudyError(f"{benchmark} was not scored, so it cannot be the benchmark. Choose among {', '.join(known)}.")
    tables["prototypes"].loc[tables["prototypes"]["prototype"] == benchmark, "role"] = "benchmark"
    stated = _scales(scores, imported.layout, imported.scale)
    listed, unrated = tables["attributes"], counted_alone(tables["attributes"]["attribute"])
    for column, given, end in (("scale_min", scale_min, 0), ("scale_max", scale_max, 1)):
        ends = [float(stated[name][end]) if name in stated else np.nan for name in listed["attribute"]]
        rated = (listed["unit"] == "") & ~listed["attribute"].isin(unrated)
        listed[column] = ends if given is None else np.where(rated, float(given), ends)
    layout: dict[str, Any] = {role: held for role, held in asdict(imported.layout).items() if held}
    layout = {role: list(held) if isinstance(held, tuple) else held for role, held in layout.items()}
    record: dict[str, Any] = {"file": raw_file.name, "columns": layout, "done": [*imported.notes, *unrated.values()]}
    record |= {"remarks": list(imported.remarks)} if imported.remarks else {}
    unread = imported.unread.assign(table="scores", column=imported.unread["score_column"])
    return Study(tables, {"title": title, "import": record}, unread[list(UNREAD_COLUMNS)], (raw_file,))


def _positions(table: RawTable, layout: ScoresLayout) -> NumbersRead | None:
    if not layout.position:
        return None
    read = read_numbers(table.column(layout.position), layout.decimal)
    broken = np.flatnonzero(~np.isnan(read.values) & (read.values != np.round(read.values)))
    values = read.values.copy()
    values[broken] = np.nan
    return replace(read, values=values, reasons={**read.reasons, **dict.fromkeys(broken.tolist(), NOT_WHOLE)})


def _names(table: RawTable, column: str) -> ExtensionArray:
    """Return the cells of a column of names, as one sees them."""
    codes, distinct = pd.factorize(pd.Series(table.column(column), dtype="str"))
    return _texts([as_seen(cell) for cell in distinct], codes)


def _texts(texts: Sequence[str], places: np.ndarray) -> ExtensionArray:
    return pd.array(list(texts), dtype="str").take(places)


def _long_scores(
    table: RawTable, layout: ScoresLayout, numbers: dict[str, NumbersRead], position: NumbersRead | None
) -> pd.DataFrame:
    """Return the scores table: each row of the file in turn, in a wide one its attributes from left to right."""
    times, rows = len(numbers), len(numbers) * len(table.lines)
    columns: dict[str, Any] = {}
    for role in _NAME_ROLES:
        column = getattr(layout, role)
        if role == "attribute" and not layout.is_long:
            columns[role] = _texts(layout.attributes, np.tile(np.arange(times), len(table.lines)))
        elif column:
            columns[role] = _names(table, column).repeat(times)
    if layout.moment:
        told = zip(columns["attribute"], np.repeat(moments_of(table, layout.moment), times), strict=True)
        columns["attribute"] = pd.array([at_moment(attribute, moment) for attribute, moment in told], dtype="str")
    columns["score"] = np.column_stack([read.values for read in numbers.values()]).ravel()
    columns["position"] = np.repeat(position.values, times) if position else np.full(rows, np.nan)
    columns["raw_line"] = np.repeat(np.asarray(table.lines, dtype=float), times)
    columns["source"] = _texts([IMPORTED_ROW, REHEARSED], _rehearsed(table).astype(int).repeat(times))
    return _as_table("scores", columns, rows)


def _as_table(name: str, columns: Mapping[str, Any], rows: int) -> pd.DataFrame:
    """Return a table of a study with these columns, the others still to be filled in."""
    made = {}
    for column in TABLES[name].columns:
        blank, kind = (np.nan, "float64") if column.kind in ("number", "integer") else ("", "str")
        made[column.name] = pd.Series(columns.get(column.name, blank), index=range(rows), dtype=kind)
    return pd.DataFrame(made)


def _as_asked(
    scores: pd.DataFrame, unread: pd.DataFrame, numbers: Mapping[str, NumbersRead]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return scores and unread cells without the attributes that nobody was asked at a moment: these are no blanks."""
    given = ~np.column_stack([read.missing for read in numbers.values()]).ravel()
    kept = scores["attribute"].isin(scores["attribute"][given])
    row = kept.cumsum().to_numpy() + 1  # the header is the first
    at = [str(row[int(each) - 2]) for each in unread["row"]]
    return scores[kept].reset_index(drop=True), unread.assign(row=pd.array(at, dtype="str"))


def _name_columns(layout: ScoresLayout) -> dict[str, str]:
    """Return role to column of what every score must name, where the file has it."""
    held = layout.columns()
    return {role: held[role] for role in ("assessor", "prototype", "session", "attribute") if role in held}


def _refuse_nameless(table: RawTable, layout: ScoresLayout, numbers: Mapping[str, NumbersRead]) -> None:
    """Raise StudyError if a row with a score does not say whose it is, or of what: it would be counted as somebody."""
    scored = np.zeros(len(table.lines), dtype=bool)
    for read in numbers.values():
        scored |= ~read.missing
    for role, column in _name_columns(layout).items():
        blank = np.asarray(_names(table, column) == "", dtype=bool)
        if blank.all() and role == "session":
            continue
        rows = np.flatnonzero(blank & scored).tolist()
        if not rows:
            continue
        advice = f"Write the {role} into each of these rows"
        if (~blank[: rows[0]]).any():
            advice += f", or say that a blank means the {role} above (--fill-down; on the page a tick)"
        raise StudyError(
            f"{table.name}: {counted(len(rows), 'row')} with scores name no {role} (column {column!r}, line "
            f"{first_few([table.lines[row] for row in rows])}). {advice}; scores that name none are not analysed."
        )


def _refuse_exchanged(table: RawTable, scores: pd.DataFrame) -> None:
    """Raise StudyError if people, prototypes and attributes would plainly be called by each other's names."""
    roles = ("assessor", "prototype", "attribute")
    axes = [list(filter(None, scores[role].unique())) for role in roles]
    if are_exchanged(axes, roles):
        told = [f"{first_few(names)} as {role}s" for names, role in zip(axes, roles, strict=True)]
        raise StudyError(
            f"{table.name}: it would be read with {'; '.join(told)}. Write Assessor, Prototype and Attribute above the "
            "columns that name them, or into the names of sheets and blocks."
        )


def _rehearsed(table: RawTable) -> np.ndarray:
    """Return which rows say that they come from a rehearsal: no way of bringing them in may lose that."""
    column = next((name for name in table.header if name.strip().casefold() == "source"), None)
    if column is None:
        return np.zeros(len(table.lines), dtype=bool)
    return np.asarray(pd.Series(_names(table, column)).str.casefold() == REHEARSED, dtype=bool)


def _unread(
    table: RawTable, layout: ScoresLayout, numbers: dict[str, NumbersRead], position: NumbersRead | None
) -> pd.DataFrame:
    """Return the cells that could not be read, in the order of the file."""
    times = len(numbers)
    found = [
        (place, offset, column, "score", reason)
        for offset, (column, read) in enumerate(numbers.items())
        for place, reason in read.reasons.items()
    ]
    if position:
        found += [(place, 0, layout.position, "position", reason) for place, reason in position.reasons.items()]
    cells = [
        (str(table.lines[place]), column, table.column(column)[place], reason, str(place * times + offset + 2), where)
        for place, offset, column, where, reason in sorted(found)
    ]
    columns = ["line", "column", "text", "reason", "row", "score_column"]
    return pd.DataFrame(cells, columns=columns, dtype="str")


def _listed(name: str, names: Iterable[str]) -> pd.DataFrame:
    """Return a table with one row for each name that occurs and with all its columns still to be filled in."""
    distinct = [found for found in dict.fromkeys(names) if found]
    return _as_table(name, {TABLES[name].key[0]: distinct}, len(distinct))


def _notes_on_twins(scores: pd.DataFrame, layout: ScoresLayout) -> list[str]:
    """Return of whom or what every name is there with the same few signs behind it, which may be replicates."""
    if layout.replicate or scores.duplicated(["assessor", "prototype", "attribute", "session"]).any():
        return []
    named = {role: natural_order(filter(None, scores[role].unique())) for role in ("prototype", "assessor")}
    return [
        f"{first_few(names)} were read as {len(names)} {role}s. If {' and '.join(ends)} behind them are replicates, "
        "write them into a column of their own, called Replicate."
        for role, names in named.items()
        if (ends := twins(names))
    ]


_MOST_SLIPS = 0.2  # share of the scores outside a stated scale; with more it is the heading that is wrong


def _scales(
    scores: pd.DataFrame, layout: ScoresLayout, said: tuple[int, int] | None = None, *, within: bool = True
) -> dict[str, tuple[int, int]]:
    """Return the scale that each attribute's heading states, else what the file `said`, if all but slips lie in it.

    Those in which more lie outside if not `within`.
    """
    found, measured = {}, measured_units(scores["attribute"].unique())
    for name, given in scores.groupby("attribute", sort=False)["score"]:
        scale = stated_scale(str(name))[1]
        if not scale and name not in measured and not is_counted(str(name)):
            scale = stated_scale(layout.score)[1] or said
        outside = ~given.dropna().between(*scale) if scale else given
        if scale and (outside.sum() <= _MOST_SLIPS * len(outside)) == within:
            found[str(name)] = scale
    return found


def _notes_on_scales(scores: pd.DataFrame, layout: ScoresLayout, said: tuple[int, int] | None) -> list[str]:
    """Return which scales the headings state, and which of them the scores contradict."""
    told = [f"{name!r} {low} to {high}" for name, (low, high) in _scales(scores, layout).items()]
    wrong = [f"{name!r} {low} to {high}" for name, (low, high) in _scales(scores, layout, said, within=False).items()]
    notes = [f"Scale read from the headings: {_some(told)}."] if told else []
    return [*notes, f"Scale stated, but scores lie outside, so not taken: {_some(wrong)}."] if wrong else notes


def _notes_on_times(scores: pd.DataFrame) -> list[str]:
    timed = {name: timed_words(stated_scale(name)[0])[1] for name in scores["attribute"].unique()}
    told = [f"{name!r} is {format_typed(minutes)} min" for name, minutes in timed.items() if not np.isnan(minutes)]
    units = [f"{name!r} is in {unit}" for name, unit in measured_units(timed).items()]
    notes = [f"Minutes after use were read from the names: {_some(told)}."] if told else []
    return [*notes, f"Measured, not rated, so the scale is not theirs: {_some(units)}."] if units else notes


def _notes_on_names(table: RawTable, layout: ScoresLayout) -> Iterator[str]:
    for role in _NAME_ROLES:
        if column := getattr(layout, role):
            distinct = pd.array(table.column(column), dtype="str").unique()
            if changed := {as_seen(cell) for cell in distinct if cell != as_seen(cell)}:
                yield f"{READ_AS_SEEN} in column {column!r}: {_some(changed)}."


def _notes_on_rehearsal(table: RawTable) -> list[str]:
    rows, of = int(_rehearsed(table).sum()), len(table.lines)
    return [f"{rows} of {of} rows come from a rehearsal; with them the study supports no claim."] if rows else []


def _notes_on_numbers(numbers: dict[str, NumbersRead]) -> list[str]:
    """Return what was noticed about the numbers, the columns with the same peculiarity together."""
    by_note: dict[str, list[str]] = {}
    for column, read in numbers.items():
        for note in read.notes:
            by_note.setdefault(note, []).append(column)
    notes = [f"{note[0].upper()}{note[1:]}: {_some(columns)}." for note, columns in by_note.items()]
    if unclear := [column for column, read in numbers.items() if read.ambiguous]:
        notes.append(
            f"Cells that can be read in two ways, such as 1,234 or 1.234, were not read: {_some(unclear)}. "
            "Say whether the comma is the decimal sign."
        )
    return notes


def _notes_on_shape(table: RawTable, layout: ScoresLayout, scores: pd.DataFrame, unread: pd.DataFrame) -> list[str]:
    empty = int(scores["score"].isna().sum())
    blank = f"{empty} of them {'is' if empty == 1 else 'are'} empty or could not be read"
    notes = [f"{counted(len(table.lines), 'row')} gave {counted(len(scores), 'score')}; {blank}."]
    if not layout.is_long:
        notes.insert(
            0, f"Attribute columns put below each other: {len(layout.attributes)} ({_some(list(layout.attributes))})."
        )
    held = [f"{role} from {column!r}" for role, column in layout.columns().items()]
    notes.insert(0, f"Columns used: {', '.join(held)}.")
    unreadable = [f"Cells that could not be read as numbers: {len(unread)}."] if len(unread) else []
    return [*notes, *unreadable, *_notes_on_unused(table, layout)]


def _notes_on_unused(table: RawTable, layout: ScoresLayout) -> list[str]:
    """Return which columns were left out, and why those that could be scores; a doubtful one is asked about."""
    used = {*layout.columns().values(), *layout.attributes}
    unused = [column for column in table.header if column not in used]
    notes = [f"Columns that were not used: {_some(unused)}."] if unused else []
    notes += [
        *note_on_people(table, layout.assessor),
        *note_on_days(table, layout.session, unused),
        *notes_beside(table, layout.attributes, unused),
    ]
    for column in unused if not layout.is_long else ():
        read = read_numbers(table.column(column), words=True)
        share, filled = read.share, int((~read.missing).sum())
        why = _why_no_scores(table, layout, column)
        texts = {cell for cell in table.column(column) if cell.strip()} or {""}
        likely = sum(proposed_number(text) is not None for text in texts) / len(texts)
        if share >= _MOSTLY and why and column not in (*table.unnamed, BLIND_CODE):
            notes.append(f"The column {column!r} {why}. {_SAY_SO}")
        elif (share >= _SOME or likely >= _MOSTLY) and not why:
            notes.append(
                f"Only {round(share * filled)} of {filled} cells of the column {column!r} are numbers, so it was not "
                f"used. Correct the others. {_SAY_SO}"
            )
    return notes


def _some(names: list[str] | set[str]) -> str:
    listed = sorted(names) if isinstance(names, set) else list(names)
    rest = f" and {len(listed) - _SHOWN} more" if len(listed) > _SHOWN else ""
    return ", ".join(listed[:_SHOWN]) + rest


# Which column of a table of scores holds what? A guess from names and contents, for the user to correct.


_MOMENT = re.compile(r"\d{4}-\d\d?-\d\d?|\d\d?[./]\d\d?[./]\d\d|\d\d?:\d\d")
_SOME = 0.2  # share of numbers from which a column that is left out is asked about
_MOSTLY = 0.8  # share of the filled cells that must be numbers for a column of scores; the rest is reported


@dataclass(frozen=True, slots=True)
class ScoresLayout:
    """Which column of a file holds what; an empty text means that there is none. Assessor and prototype are needed.

    With `attribute` and `score` the table is long, a row is one score; else `attributes` hold the scores, one attribute
    each. `decimal` is `.` or `,`, or empty to let each column decide; `fill_down` takes a blank name for the one above.
    """

    assessor: str = ""
    prototype: str = ""
    attribute: str = ""
    score: str = ""
    attributes: tuple[str, ...] = ()
    moment: str = ""
    replicate: str = ""
    session: str = ""
    position: str = ""
    batch: str = ""
    recorded_at: str = ""
    decimal: str = ""
    fill_down: bool = False

    @property
    def is_long(self) -> bool:
        """True if a row of the file is one score."""
        return bool(self.attribute and self.score)

    def columns(self) -> dict[str, str]:
        """Return role to column for the roles that are filled; `attributes` and `decimal` are not among them."""
        return {role: getattr(self, role) for role in ROLES if getattr(self, role)}


def guess_layout(table: RawTable, fixed: Mapping[str, str] | None = None, scored: Sequence[str] = ()) -> ScoresLayout:
    """Return the likeliest layout of a table of scores; what cannot be guessed is left empty.

    `fixed` is role (a field of `ScoresLayout`) to column, for what is known, `scored` are columns that hold scores: the
    one of a long table, in a wide one beside those that are found, as is a column of numbers named as attribute.
    StudyError if there is no such column, or if one that is named would not be used.
    """
    known = {role: table.renamed.get(column, column) for role, column in (fixed or {}).items() if column}
    more = [table.renamed.get(column, column) for column in scored]
    known |= {"score": more[0]} if len(more) == 1 else {}
    fixed = dict(known)
    for role, column in [*known.items(), *(("score", column) for column in more)]:
        if role not in ROLES:
            raise StudyError(f"{role!r} is not something a column can hold; it can hold {', '.join(ROLES)}.")
        table.column(column)
    free = [c for c in table.header if c not in {*known.values(), *more, *table.unnamed}]
    numbers = _numeric_columns(table, free)
    known = {**named_columns(free, numbers), **known}
    who_judged(table, known, fixed)
    cells = {column: table.column(column) for column in free if column not in known.values()}
    known = {**asked_roles(cells, numbers), **known}
    if "session" in known and "session" not in fixed and is_clock(table.column(known["session"])):
        del known["session"]
    if "moment" not in fixed:
        at = moment_column(table, known, fixed)
        known = {role: column for role, column in known.items() if role != "moment" and column != at}
        known |= {"moment": at} if at else {}
    free = [column for column in table.header if column not in known.values()]
    numbers = [column for column in numbers if column in free]
    if "attribute" in known and "score" not in known:
        known |= _scores_left(table, known, numbers)
    texts = [column for column in free if column not in numbers and not is_called(column, "comment")]
    fill_last_name(table, known, [name for name in texts if not are_sittings(name, table.column(name))])
    who_judged(table, known, fixed)
    number_of_people(table, known)
    known |= served_place(table, known)
    held: dict[str, Any] = {**known, **sittings(table, known, fixed)}
    if {"attribute", "score"} <= set(known) and len(more) < 2:
        return ScoresLayout(**held)
    for role in {"attribute", "score"} & set(held):
        del held[role]
        if role in fixed and fixed[role] not in more:
            more.append(fixed[role])
    if fixed.get("attribute", "") in more and not _numeric_columns(table, [fixed["attribute"]]):
        one = (
            "several columns hold them" if len(scored) > 1 else "no column holds them: name it as the one of the scores"
        )
        raise StudyError(f"{table.name}: {fixed['attribute']!r} is to name what each score is of, but {one}.")
    layout = ScoresLayout(**held)
    found = {*_attribute_columns(table, layout), *more}
    layout = replace(layout, attributes=tuple(column for column in table.header if column in found))
    return _long_after_all(table, layout, texts)


def _scores_left(table: RawTable, known: Mapping[str, str], numbers: Sequence[str]) -> dict[str, str]:
    """Return the one column of numbers left as that of the scores, if it is none of an order beside answers in words.

    StudyError if only those answers can be the scores.
    """
    free = [column for column in table.header if column not in known.values()]
    answers = named_columns(column for column in free if not is_called(column, "comment")).get("score", "")
    found = [column for column in numbers if not (answers and why_not_scored(table, known, column))]
    if answers and not found:
        raise StudyError(
            f"{table.name}: the answers in {answers!r} are no numbers. Write the number of each answer into it, alone "
            "or before the word."
        )
    return {"score": found[0]} if len(found) == 1 else {}


def _long_after_all(table: RawTable, layout: ScoresLayout, texts: Sequence[str]) -> ScoresLayout:
    """Return a layout whose one column of scores is told apart by one column of texts, as a long one."""
    if len(layout.attributes) != 1 or not (layout.assessor and layout.prototype):
        return layout
    rows = pd.DataFrame({role: _names(table, column) for role, column in layout.columns().items()})
    names = [c for c in texts if not all(map(_MOMENT.match, filter(None, _names(table, c))))]
    parting = [c for c in names if not rows.assign(_=_names(table, c)).duplicated().any()]
    if len(parting) != 1 or not rows.duplicated().any():
        return layout
    return replace(layout, attribute=parting[0], score=layout.attributes[0], attributes=())


def _attribute_columns(table: RawTable, layout: ScoresLayout) -> tuple[str, ...]:
    """Return the columns of a wide table that hold scores: every numeric one that holds nothing else."""
    numeric = _numeric_columns(table, [column for column in table.header if column not in layout.columns().values()])
    scored = [column for column in numeric if not _why_no_scores(table, layout, column)]
    rated = [column for column in scored if measured(column)[1] not in TIMES]
    usual = {"", *(unit for unit, _ in Counter(map(unit_of_heading, rated)).most_common(1))}
    return tuple(column for column in scored if unit_of_heading(column) in usual or is_timed(table, column))


def _why_no_scores(table: RawTable, layout: ScoresLayout, column: str) -> str:
    """Return why a column of numbers is not taken for scores, from its heading and its contents; empty if it is."""
    if column in table.unnamed:
        return "has no name"
    if any(is_called(column, role) for role in ROLES if role not in ("attribute", "score")):
        return "is called like something that was found in another column"
    if is_reckoned(column) or is_mean_of(column, table.header):
        return "is called like a mean or a total"
    unit = unit_of_heading(column) if not is_timed(table, column) else ""
    if unit and layout.attributes and unit not in map(unit_of_heading, layout.attributes):
        return f"is in {unit}, unlike the scores"
    return why_not_scored(table, layout.columns(), column)


def _numeric_columns(table: RawTable, columns: list[str]) -> list[str]:
    """Return those of the columns whose filled cells are mostly numbers."""
    read = read_number_columns({column: table.column(column) for column in columns}, words=True)
    return [column for column in columns if read[column].share >= _MOSTLY]


def _check_layout(table: RawTable, layout: ScoresLayout) -> None:
    """Raise StudyError if a layout lacks something, names a column that is not there, or one column twice."""
    for role in ("assessor", "prototype"):
        if not getattr(layout, role):
            raise StudyError(
                f"{table.name}: say which column holds the {role}; its columns are {', '.join(table.header)}."
            )
    if not layout.is_long and not layout.attributes:
        raise StudyError(
            f"{table.name}: no column with scores was found; say which columns hold the attribute and the score."
        )
    used = [*layout.columns().values(), *(() if layout.is_long else layout.attributes)]
    for column in used:
        table.column(column)
        if used.count(column) > 1:
            raise StudyError(f"{table.name}: the column {column!r} cannot hold two things; choose one.")
    if layout.decimal not in ("", ".", ","):
        raise StudyError(f"The decimal sign is a point or a comma, not {layout.decimal!r}.")
