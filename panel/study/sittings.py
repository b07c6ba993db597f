"""When each score or answer of a file was given: which column holds session, replicate, moment; one row each person."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import chain

import pandas as pd

from panel.errors import StudyError
from panel.study.file_names import are_people, crossed, is_scored, sitting
from panel.study.knowledge import (
    asked_kind,
    fits,
    heading_words,
    headings_called,
    is_called,
    is_product,
    named_columns,
    people_asked,
    plain_names,
)
from panel.study.naming import choices, is_tried_as, says_when
from panel.study.numbers_read import TIMES, measured, unit_of_heading
from panel.study.people import names_people, person_column
from panel.study.raw_table import RawTable
from panel.study.sheet_keys import (
    Sheet,
    as_product,
    kind_column,
    product_column,
    refuse_other_products,
    score_columns,
)
from panel.study.study import natural_order
from panel.study.table_cells import with_questions, without_other_rows
from panel.words import as_seen, first_few


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
    dated = [] if "session" in held else [name for name in free if is_called_day(name, table.column(name))]
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
    """Return True if no row repeats another, and each value of the last column stands for several of a person."""
    others = [column for column in rows if column != "prototype"]
    last = rows.columns[-1] if "number" in rows else "session"
    once = bool((rows[last] != "").all()) and not rows.duplicated().any()
    return once and bool(rows.groupby(others)["prototype"].nunique().min() > 1)


def is_called_day(name: str, cells: Iterable[str]) -> bool:
    """Return True if a column holds days: `2025-03-07`, `Tue 6/5`, `14-Jan-25`, or weekdays below `Day`."""
    filled = {as_seen(cell) for cell in cells}
    weekdays = any(fits(each, heading_words(name), plain_names(name)) for each in headings_called("session")[1])
    return "" not in filled and (weekdays or all(map(_DAY.fullmatch, filled)))


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
    """Return sheets called `greasy rep 1` with the replicate in a column, and called `greasy`."""
    for pairs in crossed([sheet.name for sheet in sheets]):
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


# Times written as minutes and seconds.


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
    of_day = any(is_called(cell, role) for cell in other for role in ("recorded_at", "session"))
    return not of_day and len(other) <= _HEADINGS and len(cells) - len(other) >= max(2, len(other))


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


def prototypes_across(sheet: Sheet, laid_out: Sequence[Sequence[str]]) -> Sheet:
    """Return a sheet with a column for each prototype, called DS-10, DS-11 ..., with what was scored in a column.

    That is what its title or its name says. The sheet itself where a column names prototypes, attributes or scores, or
    nobody is named, or the columns have no such names: a letter such as Q may stand for questions, R for replicates.
    """
    held = named_columns(sheet.header)
    scored = score_columns(sheet, set())
    codes = [_CODE.fullmatch(head) for head in scored]
    stems = {code[1].casefold() for code in codes if code}
    title = _title_above(sheet.name, laid_out)
    known = {"prototype", "attribute", "score"} & {*held}
    if known or "assessor" not in held or len(scored) < 2 or None in codes or len(stems) != 1 or not title:
        return sheet
    if {stem.strip(" ._-") for stem in stems} & _ITEMS:
        return sheet
    rows = tuple((title, *row) for row in sheet.rows)
    note = f"{title!r} was read as what was scored, and {first_few(scored)} as prototypes: nothing else names them."
    return replace(sheet, header=("attribute", *sheet.header), rows=rows, notes=(*sheet.notes, note))


def parted_by_groups(heads: Sequence[str], groups: Sequence[str]) -> tuple[list[str], list[str]] | None:
    """Return headings of which those that stand twice say below which group, and that said; None where none need it.

    The groups are no prototypes where a column names these, and no people where one does or they are none; where all
    have the same columns they may be sittings.
    """
    twice = {head for head in heads if head and heads.count(head) > 1}
    within = {
        group: {head for head, of in zip(heads, groups, strict=True) if of == group} for group in {*groups} - {""}
    }
    named = named_columns(dict.fromkeys(heads))
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


# A survey with one row for each person, whatever a row of the file is.


_WHICH = r"(?:which|what|welche[srn]?|quel(?:le)?s?|cual|que|quale|che) "


def _with_choices_spelled(table: RawTable, prototypes: Sequence[str]) -> tuple[RawTable, list[str]]:
    """Return a table in which what was chosen or tried is spelled as the study spells it, and where one was chosen."""
    chosen, _, named_in = choices(table, prototypes)
    for name in named_in:
        table = as_product(table, name, prototypes, called=True)
    return table, chosen


def one_row_each(
    table: RawTable, person: str, prototypes: Sequence[str], about: str
) -> tuple[RawTable, str, list[str]]:
    """Return a survey with one row per person, the column of the person, and the prototypes if a column named them."""
    table, chosen = _with_choices_spelled(without_other_rows(with_questions(table)), prototypes)
    named = named_columns(table.header)
    words = {name: heading_words(name) for name in table.header}
    asks = [name for name in words if asked_kind(name) or is_tried_as(name) or name in chosen]
    which = [
        n for n in words if n not in asks and re.match(_WHICH, words[n]) and any(map(is_product, words[n].split()))
    ]
    asks += [name for name in words if name.strip().endswith("?")]
    own = product_column(table, prototypes, asks)
    prototype = own or named.get("prototype") or next(iter(which), "") or kind_column(table, asks)
    if not prototype or len(set(table.column(prototype))) >= len(table.lines):
        return table, person, []
    table = as_product(table, prototype, prototypes, called=prototype == named.get("prototype") or prototype in which)
    refuse_other_products(table, prototype, about, prototypes)
    cells = {name: list(map(as_seen, table.column(name))) for name in table.header}
    when = [named["session"]] if named.get("session") and len(set(cells[named["session"]])) > 1 else []
    pairs = {name: set(zip(*(cells[each] for each in (name, prototype, *when)), strict=True)) for name in words}
    who = named.get("assessor", "") if named.get("assessor") != prototype else ""
    who = who or next(iter(people_asked([n for n in words if n not in (*which, prototype)])), "")
    person = person or who or next(iter(names_people(table, prototype, pairs)), "")
    if not person and len({*cells[prototype]}) == 1:
        person = person_column(table, [name for name in words if name != prototype])
    if not person:
        say = "Say which column holds the person; by command: --assessor COLUMN."
        raise StudyError(f"{table.name} has a row for each {prototype}. {say}")
    spelled: dict[str, str] = {}  # one person may be typed with other capitals
    cells[person] = [spelled.setdefault(cell.casefold(), cell) for cell in cells[person]]
    answer, question = named.get("score", ""), named.get("attribute", "")
    of_row = [prototype, question] if answer and question else [prototype]  # a row may be one answer
    twice = len(set(zip(cells[person], *(cells[each] for each in of_row), strict=True))) < len(table.lines)
    of_row += when if twice else []
    place = _places(table, list(zip(*(cells[name] for name in (person, *of_row)), strict=True)))
    first = {key[0]: row for key, row in reversed(place.items())}
    people = sorted(first, key=first.__getitem__)
    columns: dict[str, Sequence[str]] = {person: people}
    rest = [name for name in table.header if name not in (person, *of_row)]
    for name in [answer] if answer and question else rest:
        for of in dict.fromkeys(key[1:] for key in place):
            rows = [place.get((who, *of)) for who in people]
            head = ": ".join(of if name == answer else (*of, name))
            columns[head] = ["" if row is None else cells[name][row] for row in rows]
    lines = [table.lines[first[who]] for who in people]
    made = RawTable(table.name, tuple(columns), tuple(columns.values()), lines, table.notes)
    return made, person, natural_order(dict.fromkeys(cells[prototype]))


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
