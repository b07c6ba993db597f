"""When each score of a file was given, and by whom: which column holds the session, the replicate, the moment?"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import chain
from typing import TYPE_CHECKING

import pandas as pd

from panel.errors import StudyError
from panel.study.facts import dates_in, days_as_one, days_in_each
from panel.study.file_names import are_people, attributes_among, crossed, is_scored, known_sensations, sitting
from panel.study.knowledge import (
    fits,
    heading_words,
    headings_called,
    is_called,
    is_reckoned,
    named_columns,
    plain_names,
)
from panel.study.naming import at_moment, is_stage, says_when
from panel.study.numbers_read import TIMES, measured, unit_of_heading
from panel.study.sheet_keys import Sheet, score_columns
from panel.words import as_seen, counted, first_few

if TYPE_CHECKING:
    from panel.study.raw_table import RawTable


def sittings(table: RawTable, held: Mapping[str, str], fixed: Collection[str] = ()) -> dict[str, str]:
    """Return the columns of the session and the replicate, where those that are called so do not tell; empty for none.

    A column called so that it may be, with a number or day for each time a prototype was tried: without it rows repeat
    each other, with it none does, and each of its values stands for several prototypes of a person: a turn stands for
    one. A numbered round comes before a day of which it has several: who made one up stays in it.
    """
    if not {"assessor", "prototype"} <= set(held):
        return {}
    names = [role for role in ("assessor", "prototype", "attribute", "moment", "session") if role in held]
    rows = pd.DataFrame({role: list(map(as_seen, table.column(held[role]))) for role in names})
    rows = rows.where(rows != "").ffill().fillna("")  # a name may stand on the first of its rows
    free = [n for n in table.header if n not in held.values() and n not in table.unnamed]
    unsure = [name for name in free if is_called(name, "unsure")]
    if "session" in held and "session" not in fixed and is_called_day(held["session"], rows["session"]):
        numbered = [*unsure, *([held["replicate"]] if "replicate" in held and "replicate" not in fixed else [])]
        for name in numbered:
            round_ = rows.assign(session=list(map(as_seen, table.column(name))))
            rounds = bool(_made_up(round_["session"], rows["session"])) and all(
                map(_ROUND.fullmatch, round_["session"])
            )
            if rounds and _tried_again(round_):
                return {"session": name, "replicate": held["replicate"] if held.get("replicate", name) != name else ""}
    if "replicate" in held or not rows.duplicated().any():
        return {}
    dated = [] if "session" in held else [name for name in free if are_sittings(name, table.column(name))]
    found = [
        name for name in [*unsure, *dated] if _tried_again(rows.assign(number=list(map(as_seen, table.column(name)))))
    ]
    return {"session" if found[0] in dated else "replicate": found[0]} if len(found) == 1 else {}


_MOST_MOMENTS, _LOOKED_AT = 12, 1000
_MOSTLY = 0.8  # share of the moments at which a sample is judged, in the middle of them


def is_clock(cells: Iterable[str]) -> bool:
    """Return True if a column holds times of day."""
    filled = set(map(as_seen, cells)) - {""}
    return bool(filled) and all(map(_CLOCK.fullmatch, filled))


_CLOCK = re.compile(r"\d{1,2}:\d{2}(?::\d{2})?")


def is_timed(table: RawTable, column: str) -> bool:
    """Return True if a column holds times that something took: `Dry (s)`, and neither `Time (min)` nor one for all."""
    what, unit = measured(column)
    design = any(is_called(what, role) for role in ("session", "person", "moment", "recorded_at", "conditions"))
    return unit in TIMES and not design and len({*table.column(column)} - {""}) > _TWICE


def moment_column(table: RawTable, held: Mapping[str, str], fixed: Collection[str] = ()) -> str:
    """Return the column that says when each row was judged, called so or with times of use; empty for none.

    Without it rows repeat each other, with it most do not, and a sample is judged at most of its moments.
    """
    taken = {column for role, column in held.items() if role in fixed or role not in ("moment", "session")}
    called = [held["moment"]] if "moment" in held else []
    free = [name for name in table.header if name not in {*taken, *called}]
    few = (name for name in free if len({*table.column(name)[:_LOOKED_AT]}) <= _MOST_MOMENTS)  # most hold scores
    free = called + [name for name in few if _are_moments(name, {*table.column(name)})]
    own = [role for role in ("assessor", "prototype", "session", "replicate") if {held.get(role)} - {None, *free}]
    if not free or not {"assessor", "prototype"} <= set(own):
        return ""
    rows = pd.DataFrame({role: list(map(as_seen, table.column(held[role]))) for role in own})
    whole = rows.assign(attribute=list(map(as_seen, table.column(held["attribute"])))) if "attribute" in held else rows
    twice = int(whole.duplicated().sum())
    for name in free:
        at = rows.assign(moment=list(map(as_seen, table.column(name))))
        several = 1 < (number := at["moment"][at["moment"] != ""].nunique()) <= _MOST_MOMENTS
        apart = 2 * int(whole.assign(moment=at["moment"]).duplicated().sum()) < twice
        if several and apart and at.drop_duplicates().groupby(own).size().median() >= _MOSTLY * number:
            return name
    return ""


def moments_of(table: RawTable, column: str) -> list[str]:
    """Return the moment of each row: what stands in it, a bare number with the unit or the word of its heading."""
    heading, unit = measured(column)[0], measured(column)[1] or unit_of_heading(column)
    unit = unit or ("min" if heading_words(column).startswith("minute") else "")
    cells = map(as_seen, table.column(column))
    return [(f"{cell} {unit}" if unit else f"{heading} {cell}") if _BARE.fullmatch(cell) else cell for cell in cells]


def _are_moments(heading: str, cells: Collection[str]) -> bool:
    """Return True if distinct cells are times such as `2 min`, or numbers below a time that do not count rounds."""
    filled = {*map(as_seen, cells)} - {""}
    if filled and all(says_when(cell, timed=True) for cell in filled):
        return True
    timed = unit_of_heading(heading) in TIMES or heading_words(heading) in _TIME_ALONE
    return timed and all(map(_BARE.fullmatch, filled)) and filled != {str(n + 1) for n in range(len(filled))}


_TIME_ALONE = frozenset(("time", "zeit", "temps", "tiempo", "tempo"))
_BARE = re.compile(r"\d+(?:[.,]\d+)?")


def _tried_again(rows: pd.DataFrame) -> bool:
    """Return True if no row repeats another, and what the last column says stands for several of a person; or slips."""
    others = [column for column in rows if column != "prototype"]
    last = rows.columns[-1] if "number" in rows else "session"
    once = bool((rows[last] != "").all()) and not rows.duplicated().any()
    tried = rows.groupby(others)["prototype"].nunique()
    return once and bool((tried > 1).mean() >= _MOSTLY)


def is_called_day(name: str, cells: Iterable[str]) -> bool:
    """Return True if a column holds days: `2025-03-07`, `Tue 6/5`, `14-Jan-25`, or weekdays below `Day`."""
    filled = {as_seen(cell) for cell in cells}
    weekdays = any(fits(each, heading_words(name), plain_names(name)) for each in headings_called("session")[1])
    return "" not in filled and (weekdays or all(map(_DAY.fullmatch, filled)))


def are_sittings(name: str, cells: Sequence[str]) -> bool:
    """Return True if a column holds days, or names of sittings such as `day 1`."""
    return is_called_day(name, cells) or sitting([*dict.fromkeys(map(as_seen, cells))]) == "session"


_ROUND = re.compile(r"(?:[^\W\d]+\.? ?)?\d{1,2}|[IVX]{1,4}")  # 1, Round 1, R1, II
_WRITTEN = (
    r"\d{1,2}/\d{1,2}(?:/\d{2,4})?|\d{1,2}\.\d{1,2}\.(?:\d{2,4})?|\d{4}-\d\d?-\d\d?"
    r"|\d{1,2}[-. ]{1,2}[^\W\d]{3,10}\.?(?:[- ]\d{2,4})?"
)
_WEEKDAY = r"[^\W\d]{2,10}\.?,? "
_DAY = re.compile(rf"(?:{_WEEKDAY})?(?:{_WRITTEN})(?: \d\d?:\d\d.*)?|{_WEEKDAY}\d{{1,2}}\.\d{{1,2}}")  # not 3.5


def _made_up(rounds: Iterable[str], days: Iterable[str]) -> str:
    """Return which rounds were held on other days than their own too; empty where none was, or days are shared."""
    held = pd.crosstab(list(map(as_seen, rounds)), list(map(as_seen, days)))
    if len(held) < _TWICE or held.idxmax(axis=1).nunique() < len(held):
        return ""
    each = (held > 0).sum(axis=1)
    return first_few([f"{name} on {n} days" for name, n in each.items() if n > 1])


_TWICE = 2


def note_on_days(table: RawTable, session: str, unused: Iterable[str]) -> Iterator[str]:
    """Return that a column of days was left out for one of rounds, and which of these were made up on another day."""
    for name in unused if session else ():
        cells = table.column(name)
        if is_called_day(name, cells) and (several := _made_up(table.column(session), cells)):
            yield (
                f"{session!r} was read as the session, and not {name!r} ({several}): what somebody made up on another "
                "day stays in its own."
            )


def sittings_of_sheets(sheets: list[Sheet]) -> list[Sheet]:
    """Return sheets called `greasy rep 1` with the replicate in a column, and called `greasy`.

    The day that stands above the headings of each is that of its scores.
    """
    sheets = _with_days_above(sheets)
    for pairs in crossed([sheet.name for sheet in sheets if not dates_in(sheet.name)]):  # 14 March 2026 is one day
        for side in (0, 1):
            role = sitting([pair[side] for pair in pairs.values()])
            if role and role not in named_columns(sheets[0].header):
                return [
                    replace(
                        sheet,
                        name=pairs[sheet.name][1 - side],
                        header=(role, *sheet.header),
                        rows=tuple((pairs[sheet.name][side], *row) for row in sheet.rows),
                    )
                    for sheet in sheets
                ]
    return sheets


def dated_by_session(scores: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Return scores with the day that the name of their session holds, if only one can be meant; and that said.

    A row that says when it was recorded keeps that.
    """
    undated = scores["recorded_at"] == ""
    sessions = scores.loc[undated, "session"].unique()
    named = {name: days for name, days in days_in_each(scores["session"].unique()).items() if name in sessions}
    told = {name: days[0] for name, days in named.items() if len(days) == 1}
    read = first_few([f"{day} of {name!r}" for name, day in told.items()])
    notes = [f"Days were read from the names of the sessions: {read}."] * bool(told)
    if unsure := [repr(name) for name in named if name not in told]:
        notes.append(_exchanged(f"in session {first_few(unsure)}"))
    if not told:
        return scores, notes
    days = pd.Series([told.get(name, "") for name in scores["session"]], dtype="str")
    return scores.assign(recorded_at=days.where(undated, scores["recorded_at"])), notes


def _with_days_above(sheets: list[Sheet]) -> list[Sheet]:
    said = [" ".join(sheet.notes) for sheet in sheets]
    above = days_in_each(said)
    held = {"recorded_at", "session"} & {*named_columns(sheets[0].header)} if sheets else ()
    if len(sheets) < _TWICE or held or not {*said} <= {*above}:
        return sheets
    days = [above[notes] for notes in said]
    unsure = first_few([repr(sheet.name) for sheet, day in zip(sheets, days, strict=True) if len(day) > 1])
    if unsure:
        return [
            replace(sheets[0], notes=(*sheets[0].notes, _exchanged(f"above the headings of {unsure}"))),
            *sheets[1:],
        ]
    return [_dated(sheet, day[0]) for sheet, day in zip(sheets, days, strict=True)]


def _exchanged(where: str) -> str:
    return (
        f"Day and month may be exchanged {where}, so no day was kept: write it there as 2026-03-14, or state it in the "
        "fact `dates`."
    )


def _dated(sheet: Sheet, day: str) -> Sheet:
    rows = tuple((day, *row) for row in sheet.rows)
    note = f"The day above the headings of {sheet.name!r} is that of its scores: {day}."
    return replace(sheet, header=("Recorded at", *sheet.header), rows=rows, notes=(*sheet.notes, note))


def session_meant(name: str) -> str:
    """Return which session a name means: `1` for `Session 1`, `S1`, `1st sitting` or `Session 1 14/03/2026`."""
    bare = as_seen(name)
    for date in dates_in(bare):
        bare = bare.replace(date, " ")
    bare = bare.strip(" ,;:()[]-_").casefold()
    found = _NUMBERED_SESSION.fullmatch(bare)
    if not found:
        return bare or name
    word = found["before"] or found["after"] or "s"
    return found["number"] if word == "s" or is_called(word, "session") else bare


_NUMBERED_SESSION = re.compile(
    r"(?:(?P<before>[^\W\d_]+)[ ._#-]*)?0*(?P<number>\d+)(?:\.0)?(?:(?:st|nd|rd|th|\.)?[ ._-]+(?P<after>[^\W\d_]+))?"
)


def sessions_alike(known: Iterable[str], others: Iterable[str]) -> dict[str, str]:
    """Return which of the other names of sessions mean one that is known, or stands before it, by another name."""
    first: dict[str, str] = {}
    for name in filter(None, known):
        first.setdefault(session_meant(name), name)
    told = {name: first.setdefault(session_meant(name), name) for name in dict.fromkeys(filter(None, others))}
    return {name: other for name, other in told.items() if name != other}


# Times written as minutes and seconds.


_TWO_ROWS = "The headings stand in two rows, one of attributes, one of the moments they were judged at."
_STOP_WATCH = re.compile(r"(\d{1,3}):([0-5]\d)(?::([0-5]\d)(?:\.0+)?)?")
_SAYS_MINUTES = re.compile(
    r"\bm{1,2}(?:in)?\s?[:.]\s?s{1,2}(?:ec|ek)?\b|\bmin(?:utes?|uten)? (?:and|und) se[ck]\w*", re.IGNORECASE
)
_HEADINGS = 3  # cells at most above the times of a column

Rows = list[list[str]]


def in_seconds(laid_out: Sequence[tuple[str, Rows]]) -> tuple[list[tuple[str, Rows]], list[str]]:
    """Return sheets in which times below `min:s` are seconds and headings of such columns say so, and that said."""
    made: list[tuple[str, Rows]] = []
    told: dict[bool, list[str]] = {}
    for name, rows in laid_out:
        width = max(map(len, rows), default=0)
        cells = {i: [row[i].strip() for row in rows if i < len(row) and row[i].strip()] for i in range(width)}
        short = [cell for row in rows if len({*row} - {""}) <= _HEADINGS for cell in row]
        timed = [i for i in cells if _are_times(cells[i]) and any(map(_SAYS_MINUTES.search, [*short, *cells[i]]))]
        if not timed:
            made.append((name, rows))
            continue
        times = [found for i in timed for cell in cells[i] if (found := _STOP_WATCH.fullmatch(cell))]
        typed = _typed(times)
        told.setdefault(typed, [f"{times[0][0]} is {_seconds(times[0], typed=typed)} s"]).append(repr(name))
        read = [[_as_seconds(cell, typed=typed, timed=i in timed) for i, cell in enumerate(row)] for row in rows]
        for i in _beside_ratings(cells, timed):
            at = _heading_above(rows, i)
            read[at][i] += "" if _SAYS_MINUTES.search(rows[at][i]) or unit_of_heading(rows[at][i]) else _IN_SECONDS
        made.append((name, read))
    where = {typed: f" in {first_few(names)}" * (names != ["''"]) for typed, (_, *names) in told.items()}
    return made, [f"Times{where[t]} were read as minutes and seconds: {first}." for t, (first, *_) in told.items()]


def _typed(times: Sequence[re.Match[str]]) -> bool:
    """Return True if a spreadsheet made hours of minutes: 1:37 became 1:37:00."""
    return any(time[3] for time in times) and all(time[3] in (None, "00") for time in times)


_IN_SECONDS = " (s)"


def _beside_ratings(cells: Mapping[int, Sequence[str]], timed: Sequence[int]) -> list[int]:
    """Return the columns of times if they stand beside as many of ratings, and are none of prototypes or people."""
    below = {i: own[min(_HEADINGS, len(own) // 2) :] for i, own in cells.items() if i not in timed}
    rated = [i for i, own in below.items() if is_scored(own) and not named_columns(cells[i][:_HEADINGS])]
    said = [i for i in timed if any(map(_SAYS_MINUTES.search, cells[i]))]
    return [i for i in timed if i not in said] if len(timed) <= len(rated) else []


def _heading_above(rows: Rows, place: int) -> int:
    """Return the row of the heading of a column of times: the nearest above them that does not say when."""
    column = [row[place].strip() if place < len(row) else "" for row in rows]
    first = next(n for n, cell in enumerate(column) if _STOP_WATCH.fullmatch(cell))
    above = [n for n in reversed(range(first)) if column[n]]
    return next((n for n in above if not says_when(column[n])), above[0] if above else first)


def long_in_seconds(table: RawTable, sheets: Sequence[tuple[str, Rows]] = ()) -> RawTable:
    """Return a table with a score a row in which what was timed is in seconds, and called so.

    `sheets` are those of the file, for the lines beside the table. StudyError if nothing says that minutes and seconds
    are meant.
    """
    held = named_columns(table.header)
    of, at = (held.get(role, "") for role in ("attribute", "score"))
    given = pd.Series(table.column(at) if of and at else (), dtype="str").str.strip()
    if not given.str.contains(":", regex=False).any():
        return table
    names, times = pd.Series(table.column(of), dtype="str"), given.str.fullmatch(_STOP_WATCH.pattern)
    filled, own = Counter(names[given != ""]), Counter(names[times])
    timed = names.isin([name for name, n in own.items() if n >= _MOSTLY * filled[name]])
    if not timed.any():
        return table
    named, cells = (
        {head: pd.Series(table.column(head), dtype="str") for head in table.header},
        list(names[timed].unique()),
    )
    lines = (cell for _, rows in sheets for row in rows if len({*row} - {""}) <= _HEADINGS for cell in row)
    said = chain(table.header, lines, *(column[timed].unique() for column in named.values()))
    if not any(map(_SAYS_MINUTES.search, said)):
        _refuse_unsaid(table.name, cells, given[times & timed].iloc[0], "behind them or into the line above the table")
    found = [time for cell in given[times & timed] if (time := _STOP_WATCH.fullmatch(cell))]
    seconds = [_seconds(each, typed=_typed(found)) for each in found]
    for head, column in named.items():
        bare = column.str.replace(_SAID_SO, "", regex=True)
        named[head] = column.mask(timed, bare + _IN_SECONDS if head == of else bare)
    named[at] = named[at].mask(times & timed, pd.Series(seconds, index=given.index[times & timed], dtype="str"))
    note = f"Times of {first_few(cells)} were read as minutes and seconds: {found[0][0]} is {seconds[0]} s."
    return replace(table, columns=tuple(map(tuple, named.values())), notes=(*table.notes, note))


_SAID_SO = re.compile(rf"\s*[(\[]?(?:{_SAYS_MINUTES.pattern})[)\]]?", re.IGNORECASE)


def _refuse_unsaid(name: str, timed: Sequence[str], first: str, where: str) -> None:
    raise StudyError(
        f"{name}: {first_few(timed)} hold times such as {first}: minutes and seconds, or of the day? Write min:s "
        f"{where}, or write the times in seconds."
    )


def headings_in_seconds(sheets: Sequence[tuple[str, Rows]], header: Collection[str]) -> Iterator[tuple[str, str]]:
    """Yield the cells of sheets that say minutes and seconds, each with the heading of a table that it became."""
    for cell in {cell.strip() for _, rows in sheets for row in rows for cell in row if _SAYS_MINUTES.search(cell)}:
        if (read := _SAYS_MINUTES.sub("s", cell)) in header:
            yield cell, read
    written = {cell.strip() for _, rows in sheets for row in rows for cell in row}
    for head in header:
        if head.endswith(_IN_SECONDS) and (bare := head.removesuffix(_IN_SECONDS)) in written - {*header}:
            yield bare, head


def _are_times(cells: Sequence[str]) -> bool:
    other = [cell for cell in cells if not _STOP_WATCH.fullmatch(cell)]
    if len(other) > _HEADINGS or len(cells) - len(other) < max(2, len(other)):
        return False
    return not any(is_called(cell, role) for cell in other for role in ("recorded_at", "session"))


def _as_seconds(cell: str, *, typed: bool, timed: bool) -> str:
    if timed and (found := _STOP_WATCH.fullmatch(cell.strip())):
        return _seconds(found, typed=typed)
    return _SAYS_MINUTES.sub("s", cell)


def _seconds(time: re.Match[str], *, typed: bool) -> str:
    first, second, third = (int(part or 0) for part in time.groups())
    return str(60 * first + second if typed or time[3] is None else 3600 * first + 60 * second + third)


def refuse_times(table: RawTable, scored: int) -> None:
    """Raise StudyError if more columns than are `scored` hold times such as 1:37, and nothing says what these are."""
    columns = {head: [*filter(None, map(as_seen, table.column(head)))] for head in table.header}
    timed = [head for head, cells in columns.items() if _are_times([head, *cells])]
    if len(timed) > max(1, scored):
        first = next(cell for cell in columns[timed[0]] if _STOP_WATCH.fullmatch(cell))
        _refuse_unsaid(table.name, timed, first, "into the line above them or into their headings")


# What was scored, where the columns are prototypes and nothing else names them.


def _title_above(name: str, rows: Sequence[Sequence[str]]) -> str:
    """Return what the first line of a sheet says where it fills one cell alone, else how the sheet was called."""
    first = next((given for row in rows if (given := {*map(as_seen, row)} - {""})), {""})
    usual = re.fullmatch(r"(?:sheet|tabelle|feuil\w*|hoja|foglio|blad|table)[ _]?\d*", name, re.IGNORECASE)
    return first.pop() if len(first) == 1 else "" if usual else name


_CODE = re.compile(r"([^\W\d]{1,4}[ ._-]?)(\d{1,4})[A-Za-z]?")
_ITEMS = frozenset(
    ("q", "f", "v", "item", "var", "frag", "att", "attr", "rep", "r", "s", "w", "t", "d", "day", "run", "h", "min")
)


def prototypes_across(sheets: list[Sheet], laid_out: Mapping[str, Rows]) -> list[Sheet]:
    """Return sheets with a column for each prototype, called DS-10, DS-11 ..., with what was scored in a column.

    That is the one of few texts that stand again and again for each person; on a sheet alone without such a column its
    title or its name says it. The sheets themselves where a column names prototypes, attributes or scores, or nobody
    is named, or the columns have no such names: a letter such as Q may stand for questions, R for replicates.
    """
    if sheets[1:] and not sitting([sheet.name for sheet in sheets]):
        return sheets
    return [_across(sheet, "" if sheets[1:] else _title_above(sheet.name, laid_out.get(sheet.name, [])))
            for sheet in sheets]  # fmt: skip


def _across(sheet: Sheet, title: str) -> Sheet:
    held = named_columns(sheet.header)
    scored = score_columns(sheet, set())
    if {"prototype", "attribute", "score"} & {*held} or "assessor" not in held or len(scored) < 2 or sitting(scored):
        return sheet
    codes = [_CODE.fullmatch(head) for head in scored]
    stems = {code[1].casefold().strip(" ._-") for code in codes if code}
    coded = None not in codes and len(stems) == 1 and not stems & _ITEMS
    if what := _what_was_scored(sheet, held, scored, coded=coded):
        note = f"{what!r} was read as what was scored, and {first_few(scored)} as prototypes."
        header = tuple("attribute" if head == what else head for head in sheet.header)
        return replace(sheet, header=header, notes=(*sheet.notes, note))
    if not coded or not title:
        return sheet
    rows = tuple((title, *row) for row in sheet.rows)
    note = f"{title!r} was read as what was scored, and {first_few(scored)} as prototypes: nothing else names them."
    return replace(sheet, header=("attribute", *sheet.header), rows=rows, notes=(*sheet.notes, note))


_NOT_SCORED = ("prototype", "product_kind", "conditions", "person", "assessor", "batch")


def _what_was_scored(sheet: Sheet, held: Mapping[str, str], scored: Sequence[str], *, coded: bool) -> str:
    """Return the column of texts that each person has all of, beside columns of codes or of what are no sensations.

    StudyError if there are several such columns beside codes.
    """
    found = []
    for head in (head for head in sheet.header if head not in {*held.values(), *scored}):
        rows = pd.DataFrame({"who": sheet.cells(held["assessor"]), "what": sheet.cells(head)})
        texts, people = list(rows["what"].unique()), rows.groupby("what")["who"].transform("nunique")
        several = len({*rows["who"]}) > 1 and 1 < len(texts) <= len(rows) / _TWICE
        whole = several and (people >= _MOSTLY * rows["who"].nunique()).mean() >= _MOSTLY  # some may be misspelt
        when = sitting(texts) or is_called_day(head, texts) or is_called(head, "comment") or is_scored(texts)
        when = when or any(is_called(word, role) for word in heading_words(head).split() for role in _NOT_SCORED)
        if whole and not when and (coded or known_sensations(texts) > known_sensations(scored)):
            found += [head] if attributes_among(scored, texts) == 1 else []
    if len(found) > 1:
        raise StudyError(
            f"It cannot be told which of the columns {first_few(found)} names what was scored. Write Attribute above it"
            "."
        )
    return found[0] if found else ""


def at_their_moments(heads: Sequence[str], groups: Sequence[str]) -> tuple[list[str], list[str]] | None:
    """Return headings with the moment above or below each, `Greasy film, 2 min`, and that said; None where none is.

    A stage such as `rub-out` is left above attributes that stand once. Beside people and prototypes only, or one of
    them above attributes that stand once: the other may be the name of the sheet.
    """
    alone = [is_called(head, "comment") or is_reckoned(head) for head in heads]
    groups = ["" if own else group for own, group in zip(alone, groups, strict=True)]
    pairs = [(head, group) for head, group in zip(heads, groups, strict=True) if group]
    named = len({"assessor", "prototype"} & _named_beside(heads, groups))
    once = len({head for head, _ in pairs}) == len(pairs)
    if not pairs or named < 2 - once:
        return None
    for side in (1, 0):
        names = [pair[side] for pair in pairs]
        timed = once and (side == 0 or any(map(is_stage, names)))
        if not sitting(names) and all(says_when(name, timed=timed) for name in names):
            other = [pair[1 - side] for pair in pairs]
            joined = iter([at_moment(*each) for each in zip(other, names, strict=True)])
            made = [next(joined) if group else head for head, group in zip(heads, groups, strict=True)]
            return made, [_TWO_ROWS]
    return _at_some_moments(heads, groups) if named > 1 else None


def _named_beside(heads: Sequence[str], groups: Sequence[str]) -> set[str]:
    """Return what headings below no other name; a word such as balm names prototypes."""
    beside = dict.fromkeys(head for head, group in zip(heads, groups, strict=True) if not group)
    return {*named_columns(beside), *("prototype" for head in beside if is_called(head, "product_kind"))}


def _at_some_moments(heads: Sequence[str], groups: Sequence[str]) -> tuple[list[str], list[str]] | None:
    """Return headings with the time above each, and the others as parted by what is none; None where these repeat."""
    timed = [says_when(group, timed=True) for group in groups]
    made = [at_moment(head, at) if is_ else head for head, at, is_ in zip(heads, groups, timed, strict=True)]
    rest = ["" if is_ else group for group, is_ in zip(groups, timed, strict=True)]
    left = first_few(list(dict.fromkeys(filter(None, rest))))
    parted, named = parted_by_groups(made, rest), [head for head in made if head]
    if not any(timed) or (parted is None and len({*named}) < len(named)):
        return None
    heads, notes = parted or (made, [f"The headings above the headings were left out: {left}."])
    return heads, [_TWO_ROWS, *notes]


def parted_by_groups(heads: Sequence[str], groups: Sequence[str]) -> tuple[list[str], list[str]] | None:
    """Return headings of which those that stand twice say below which group, and that said; None where none need it.

    The groups are no prototypes where a column names these, and no people where one does or they are none; where all
    have the same columns they may be sittings.
    """
    twice = {head for head in heads if head and heads.count(head) > 1}
    within = {
        group: {head for head, of in zip(heads, groups, strict=True) if of == group} for group in {*groups} - {""}
    }
    named = {*named_columns(dict.fromkeys(heads))} | _named_beside(heads, groups)
    of_prototypes = "prototype" in named or any(is_called(head, "code") for head in heads)
    if not twice or not of_prototypes or len({frozenset(own) for own in within.values()}) < 2:
        return None
    if "assessor" not in named and are_people(list(within)):
        return None
    made = [f"{head} ({of})" if head in twice and of else head for head, of in zip(heads, groups, strict=True)]
    left = first_few([group for group in dict.fromkeys(groups) if group and not within[group] & twice])
    new = first_few([name for name, old in zip(made, heads, strict=True) if name != old])
    notes = [f"Of several columns of one name each took what stands above it: {new}."]
    return made, notes + [f"The headings above the headings were left out: {left}."] * bool(left)


def filled_down(table: RawTable, held: Mapping[str, str], why: str) -> RawTable:
    """Return a table in which blanks in the columns `held`, by their roles, are the names above them, and that said."""
    columns, notes = list(table.columns), list(table.notes)
    for role, name in held.items():
        place = table.header.index(name)
        cells, above, used = [], "", 0
        for cell in columns[place]:
            above = cell if cell.strip() else above
            used += not cell.strip() and bool(above)
            cells.append(above)
        columns[place] = tuple(cells)
        if used:
            notes.append(f"The {role} above was used for {counted(used, 'row')} in which {name!r} is blank{why}.")
    return replace(table, columns=tuple(columns), notes=tuple(notes))


def with_days(table: RawTable) -> RawTable:
    """Return a table in which each row has its day: written above the first row of a block only, or in several ways."""
    for head, column in zip(table.header, table.columns, strict=True):
        filled = [place for place, cell in enumerate(column) if cell.strip()]
        days = [as_seen(column[place]) for place in filled]
        begun = [day for day, before in zip(days, ["", *days], strict=False) if day != before]
        blocks = 1 < len(begun) == len({*begun}) and 2 * len(filled) <= len(column) and filled[0] == 0
        if blocks and are_sittings(head, days):
            table = filled_down(table, {"session": head}, ", written where it begins")
    return days_as_one(table)
