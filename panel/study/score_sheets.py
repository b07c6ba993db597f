"""How does a file of scores, laid out as people lay it out, become one table with a name above each column?

Recognised are title rows, headings of two rows, a sheet for each session, prototypes or people as blocks of columns or
as single columns, and codes that a key in the same workbook resolves. What was done is said, what cannot be told asked.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from itertools import chain

from panel.errors import StudyError
from panel.study.file_names import (
    BAR,
    FEWEST_ROWS,
    apart,
    are_people,
    attributes_among,
    cards_as_table,
    crossed,
    group_row,
    heading_row,
    is_corner,
    is_number,
    is_scored,
    known_sensations,
    lies_on_its_side,
    names_both,
    parted,
    prototypes_among,
    role_of_sheets,
    roles_of_sheets,
    sitting,
    tables_below,
    with_blocks_named,
    without_question,
)
from panel.study.knowledge import is_called, is_reckoned, named_columns, said_missing, said_scale
from panel.study.people import with_order_beside
from panel.study.raw_table import UNNAMED, UPLOADED, Limits, RawTable, filled_rows, is_workbook, raw_table, rows_of_file
from panel.study.sheet_keys import (
    Sheet,
    ask_of_codes,
    ask_of_left_out,
    key_and_scores,
    of_means,
    resolved,
    score_columns,
)
from panel.study.sittings import (
    at_their_moments,
    headings_in_seconds,
    in_seconds,
    long_in_seconds,
    parted_by_groups,
    prototypes_across,
    refuse_times,
    sittings_of_sheets,
    with_days,
)
from panel.study.study import RawFile
from panel.study.table_cells import filled_in_order, is_mean_of_others, without_other_rows, without_units
from panel.words import as_seen, counted, first_few


def score_table(file: RawFile, sheet: str = "", heading: int = 0, limits: Limits = UPLOADED) -> RawTable:
    """Return the table of scores in a file, whatever its layout.

    Parameters
    ----------
    sheet
        Which sheet of a workbook; if none is named, all sheets with the same columns are put below each other.
    heading
        Line (from 1) on which the names of the columns stand; 0 finds it.

    Raises
    ------
    StudyError
        If there is no table in it, or it cannot be told what stands where; the text says what to do.
    """
    if (read_at_once := _large_and_plain(file, heading, limits)) is not None:
        return with_days(long_in_seconds(without_other_rows(read_at_once)))
    as_written, noticed = rows_of_file(file, sheet, heading)
    laid_out, timed = in_seconds(as_written)
    table = without_other_rows(_table(file, sheet, heading, limits, laid_out, (noticed, timed)))
    table = with_days(long_in_seconds(table, as_written))
    refuse_times(table, sum(map(is_scored, table.columns)))
    renamed = dict(headings_in_seconds(as_written, table.header)) if timed else {}
    return replace(_with_what_lines_say(table, laid_out), renamed=renamed)


def _with_what_lines_say(table: RawTable, laid_out: Sequence[tuple[str, list[list[str]]]]) -> RawTable:
    """Return a table with the scale that lines beside it state, and without the numbers that they call no answer."""
    short = (row for _, rows in laid_out for row in rows if len({*row} - {""}) <= _OF_A_LINE)
    lines = [seen for row in short for cell in row if (seen := as_seen(cell))]
    scale, line = said_scale(lines)
    notes = [*table.notes, *([f"Scale {scale[0]} to {scale[1]} read from the line {line!r}."] if scale else [])]
    columns = list(table.columns)
    for number, said in said_missing(lines).items():
        within = scale is not None and scale[0] <= int(number) <= scale[1]
        if not within and any(number in map(str.strip, column) for column in columns):
            columns = [["" if cell.strip() == number else cell for cell in column] for column in columns]
            notes.append(f"{number} was read as no value, as the line {said!r} says.")
    return replace(table, columns=tuple(columns), notes=tuple(notes), scale=scale)


_ABOVE = "Above the headings in line"
_OF_A_LINE = 3  # cells at most of a line that is no row


def _table(
    file: RawFile,
    sheet: str,
    heading: int,
    limits: Limits,
    laid_out: Sequence[tuple[str, list[list[str]]]],
    noticed: tuple[Sequence[str], Sequence[str]],
) -> RawTable:
    sheets, below, named = _sheets(laid_out, heading)
    if not sheets and heading:
        raise StudyError(f"{file.name} has no table below line {heading}; say on which line the headings stand.")
    if not sheets:
        return raw_table(file, sheet, limits)
    key, scored = key_and_scores([_with_attributes_down(_sittings_below(each)[0]) for each in sheets])
    first = _first_with_scores(scored)
    together = prototypes_across(_together(scored, first), dict(laid_out))
    plain = len(sheets) == 1 and key is None and not (named or together[0].notes or heading or noticed[1])
    if plain and not _melted(first)[1]:
        return raw_table(file, first.name, limits)
    names = {each.name for each in together}
    stacked = _stacked(sittings_of_sheets(together), "title of the table" if below else "name of the sheet")
    used = {*names, *([key.name] if key else [])}
    left = [each for each in sheets if each.name not in used and repr(each.name) not in " ".join(stacked.notes)]
    table, notes = _melted(stacked)
    ask_of_left_out(first, [each for each in scored if each.name not in names])
    ask_of_codes(together, [each for each in sheets if each.name not in names], key)
    table, by_key = resolved(table, key)
    table, by_order, left = with_order_beside(table, left)
    told = [*stacked.notes, *chain(*noticed), *named, *notes, *by_key, *by_order]
    unread = ", ".join(each.name for each in left)
    told += [f"Other {'tables' if below else 'sheets'} were not read: {unread}."] * bool(left)
    columns = tuple(zip(*table.rows, strict=True)) if table.rows else tuple(() for _ in table.header)
    unnamed = tuple(head for head in table.header if UNNAMED.fullmatch(head))
    return RawTable(file.name, table.header, columns, table.lines, tuple(told), unnamed)


def _sheets(
    laid_out: Sequence[tuple[str, list[list[str]]]], heading: int
) -> tuple[list[Sheet], Collection[str], list[str]]:
    """Return each table of a file with its headings, which sheets held several below each other, and notes."""
    made: list[Sheet] = []
    told: list[str] = []
    carded = {} if heading else {name: cards_as_table(rows) for name, rows in laid_out}
    for name, (lines, notes) in carded.items():
        if lines and (card := sheet_of(name, lines)) is not None:
            made.append(card)
            told += notes
    rest = [(name, rows) for name, rows in laid_out if name not in {each.name for each in made}]
    if not heading:
        rest, named = with_blocks_named(rest)
        told += named
    below = {name: tables for name, rows in rest if not heading and (tables := tables_below(rows))}
    if len(below) > 1:
        raise StudyError(
            f"The sheets {first_few(list(below))} each hold tables below each other. Write their titles into a column."
        )
    parts = [part for name, rows in rest for part in below.get(name, [(name, rows)])]
    found = (sheet_of(name, list(filled_rows(rows).items()), heading) for name, rows in parts)
    made += [each for each in found if each is not None]
    order = [name for name, _ in laid_out]
    made.sort(key=lambda each: (of_means(each), order.index(each.name) if each.name in order else 0))
    return made, below, list(dict.fromkeys(told))


_LARGE = 2_000_000  # bytes of a text above which its beginning tells its layout
_BEGINNING = 200_000


def _large_and_plain(file: RawFile, heading: int, limits: Limits) -> RawTable | None:
    """Return the table in a large text that begins as a plain one and whose lines are even; None otherwise."""
    if heading or len(file.content) < _LARGE or is_workbook(file):
        return None
    beginning = file.content[:_BEGINNING].rpartition(b"\n")[0]
    laid_out = rows_of_file(replace(file, content=beginning))[0]
    sheets = [sheet_of(name, list(filled_rows(rows).items())) for name, rows in laid_out]
    if sheets == [None] or sheets[0] is None or sheets[0].notes or _melted(sheets[0])[1]:
        return None
    return raw_table(file, limits=limits)


# One sheet: its tables, where the headings are, and what its columns are called.


def sheet_of(name: str, filled: Sequence[tuple[int, list[str]]], heading: int = 0) -> Sheet | None:
    """Return a sheet with its headings found, or on the line named; None if it holds no table of more than one column.

    Nothing above the line named is read but a row of groups of columns.
    """
    filled, units = without_units(filled)
    cells = [row for _, row in filled]
    if len(cells) < FEWEST_ROWS or len(cells[0]) < 2:
        return None
    if not heading and lies_on_its_side(cells):
        made = sheet_of(name, list(enumerate((list(column) for column in zip(*cells, strict=True)), start=1)))
        note = "The table lies on its side and was turned: its lines are counted as columns of the file."
        return made and replace(made, notes=(note, *made.notes))
    bottom = sum(line < heading for line, _ in filled) if heading else heading_row(cells)
    if bottom >= len(cells):
        return None
    _refuse_without_headings(cells, bottom, name)
    top = group_row(cells, bottom)
    if top is not None and filled[bottom][0] - filled[top][0] > 1:
        top = None  # a title with a blank line below it
    header, notes = _names(cells, bottom, top)
    first = bottom if top is None else top
    if top and len({*header} - {""}) < len(list(filter(None, header))) and group_row(cells, top) is not None:
        first, over = top - 1, ""
        for i, cell in enumerate(cells[first]):
            over = cell or over
            header[i] = f"{over}{BAR}{header[i]}" if over and BAR in header[i] else header[i]
    title = [" ".join(cell for cell in row if cell) for row in cells[:first]]
    if title:
        notes = [f"{_ABOVE} {filled[bottom][0]} stands: {first_few(title).rstrip('.')}.", *notes]
    header, notes = without_question(header, [*units, *notes])
    reckoned = [head for head in header if BAR in head and any(map(is_reckoned, head.split(BAR)))]
    if reckoned:
        notes.append(f"Columns with means or totals were left out: {first_few(reckoned)}.")
    places = [i for i, head in enumerate(header) if head and head not in reckoned]
    spelled = [head.casefold() for head in header]
    if len({spelled[i] for i in places}) < len(places):
        twice = next(head for head in header if head and spelled.count(head.casefold()) > 1)
        raise StudyError(
            f"{name or 'The file'} has more than one column called {twice!r}; give each its own name. Tables beside "
            "each other belong below each other, each with a title."
        )
    header, notes, body = _named_and_filled([header[i] for i in places], notes, cells[bottom + 1 :], places)
    lines = tuple(line for line, _ in filled[bottom + 1 :])
    coded = _over_codes(cells, top) if top else ()
    return Sheet(name, tuple(header), body, lines, tuple(notes), coded) if body else None


def _named_and_filled(
    header: list[str], notes: list[str], cells: Sequence[Sequence[str]], places: Sequence[int]
) -> tuple[list[str], list[str], tuple[tuple[str, ...], ...]]:
    """Return the rows of a sheet with names shown once in each, and a heading such as `Balm` as one of prototypes."""
    body, told = filled_in_order(header, [[row[i] for i in places] for row in cells])
    worded = [n for n in range(len(header)) if not is_scored([row[n] for row in body])]
    kinds = [header[n] for n in worded if is_called(header[n], "product_kind")]
    if len(kinds) == 1 and "prototype" not in named_columns(header):
        told.append(f"{kinds[0]!r} was read as the heading of the prototypes.")
        header = ["prototype" if head in kinds else head for head in header]
    return header, [*notes, *told], body


def _over_codes(cells: Sequence[Sequence[str]], top: int) -> tuple[tuple[str, str], ...]:
    """Return each code among the groups of headings with the name above it; none where not each has one."""
    pairs = [(code, over) for code, over in zip(cells[top], cells[top - 1], strict=True) if code]
    return tuple(pairs) if all(over and is_number(code) for code, over in pairs) else ()


def _with_attributes_down(sheet: Sheet) -> Sheet:
    """Return a sheet whose column of words without a heading, beside columns of codes, is one of attributes."""
    scored = score_columns(sheet, set())
    held = named_columns(sheet.header)
    bare = [head for head in sheet.header if UNNAMED.fullmatch(head) or is_corner(head)]
    called = held.get("prototype", "")
    if "attribute" not in held and called:
        bare = [called]  # over the codes in the other columns?
    if "attribute" in held or len(bare) != 1 or len(scored) < 2:
        return sheet
    words = list(dict.fromkeys(row[sheet.header.index(bare[0])] for row in sheet.rows))
    if "prototype" in held:
        _refuse_corner(bare[0], scored, words)
        return sheet
    if is_corner(bare[0]) or bare[0] == called or not are_people(words):
        which = -1 if sitting(scored) else attributes_among(scored, words)
    else:
        return replace(sheet, header=tuple("assessor" if head in bare else head for head in sheet.header))
    if which < 0 and "assessor" not in named_columns(sheet.header) and not any(map(is_number, words)):
        raise StudyError(
            f"It cannot be told whether the columns {first_few(scored)} or the rows {first_few(words)} are the "
            "attributes. Write Attribute, Assessor or Prototype above the first column."
        )
    header = tuple("attribute" if head in bare else head for head in sheet.header)
    return replace(sheet, header=header) if which == 1 else sheet


def _refuse_corner(corner: str, codes: Sequence[str], words: Sequence[str]) -> None:
    """Raise StudyError if sensations stand below a heading for prototypes, beside columns of codes."""
    if attributes_among(codes, words) != 1 or known_sensations(codes) or not known_sensations(words):
        return
    raise StudyError(
        f"It cannot be told whether {corner!r} names the rows {first_few(words)} or the columns {first_few(codes)}"
        ". Write Attribute above the rows if they are the attributes."
    )


def _refuse_without_headings(cells: Sequence[Sequence[str]], bottom: int, name: str) -> None:
    """Raise StudyError if the line taken for headings is one of the rows: numbers where the next line has numbers."""
    heads, below = cells[bottom], cells[min(bottom + 1, len(cells) - 1)]
    alike = [is_number(head) == is_number(cell) for head, cell in zip(heads, below, strict=True)]
    if any(map(is_number, heads)) and all(alike) and not named_columns(dict.fromkeys(heads)):
        raise StudyError(
            f"{name or 'The file'} has no headings above its rows. Write a line with the names of the columns above "
            "them, such as: Assessor, Product, Session, and each attribute."
        )


def _names(cells: Sequence[Sequence[str]], bottom: int, top: int | None) -> tuple[list[str], list[str]]:
    """Return the name of each column from one or two rows of headings; groups stand before a bar."""
    held = [any(row[i] for row in cells[bottom + 1 :]) for i in range(len(cells[0]))]
    heads = [head or f"column {i + 1}" * held[i] for i, head in enumerate(cells[bottom])]
    if top is None:
        return heads, []
    lower = [i for i, cell in enumerate(cells[bottom]) if cell]
    own = any(cell and i not in lower for i, cell in enumerate(cells[top]))
    own |= names_both(cells[top]) and not names_both(cells[bottom])
    if own and all(cells[top][i] for i in lower) and len(set(cells[top])) == len(cells[top]):
        below = first_few(list(dict.fromkeys(cells[bottom][i] for i in lower)))
        told = [f"The line below the headings was left out: {below}."]
        return at_their_moments(cells[top], cells[bottom]) or (list(cells[top]), told)
    above, groups = "", []
    first = next((i for i, cell in enumerate(cells[top]) if cell and cells[bottom][i]), 0)
    for i, cell in enumerate(cells[top]):
        above = cell or (above if i >= first else "")
        lone = cell and not (cells[top][i + 1 : i + 2] == [""] and any(cells[bottom][i + 1 : i + 2]))
        bare = i > first and held[i] and not cells[bottom][i] and not lone  # a column of the group without a heading
        groups.append(above if i >= first and (bare or (cells[bottom][i] and cells[bottom][i] != cell)) else "")
        heads[i] = cells[bottom][i] or (not bare and cell) or heads[i]
    if joined := at_their_moments(heads, groups) or parted_by_groups(heads, groups):
        return joined
    if not any(groups[i] and heads.count(head) > 1 for i, head in enumerate(heads)):
        named = first_few(list(dict.fromkeys(filter(None, groups))))
        return heads, [f"The headings above the headings were left out: {named}."] if named else []
    barred = [f"{groups[i]}{BAR}{head}" if groups[i] else head for i, head in enumerate(heads)]
    return barred, ["The headings stand in two rows, the upper one over groups of columns."]


# Several sheets: one with the key, the others below each other.


def _first_with_scores(sheets: Sequence[Sheet]) -> Sheet:
    """Return the first sheet that names people, prototypes and scores; else the first with numbers; else the first."""
    scored = [sheet for sheet in sheets if score_columns(sheet, set())]
    scored = [each for each in scored if not of_means(each)] or scored
    whole = [sheet for sheet in scored if {"assessor", "prototype"} <= set(named_columns(sheet.header))]
    return [*whole, *scored, *sheets][0]


def _together(sheets: Sequence[Sheet], first: Sheet) -> list[Sheet]:
    """Return the sheets that go below each other, with the same columns in the same order; a copy of one is left out.

    They name the same of people, prototypes and sittings, and share more than half of the columns of scores. What one
    of them lacks is blank there, and said.
    """
    design, scored, alike = _named_folded(first), {head.casefold() for head in score_columns(first, set())}, []
    whole = {"assessor", "prototype"} <= set(design)
    for sheet in sheets:
        same_heads = set(map(str.casefold, sheet.header)) == set(map(str.casefold, first.header))
        shared = scored & {head.casefold() for head in score_columns(sheet, set())}
        if same_heads or (whole and _named_folded(sheet) == design and 2 * len(shared) > len(scored)):
            alike.append(sheet)
    header = list({head.casefold(): head for sheet in reversed([first, *alike]) for head in sheet.header}.values())
    order = {head.casefold(): place for place, head in enumerate(first.header)}
    header.sort(key=lambda head: order.get(head.casefold(), len(order)))
    made: list[Sheet] = []
    for sheet in alike:
        place = {head.casefold(): i for i, head in enumerate(sheet.header)}
        at = [place.get(head.casefold()) for head in header]
        rows = tuple(tuple("" if i is None else row[i] for i in at) for row in sheet.rows)
        copy_of = next((other.name for other in made if other.rows == rows), "")
        if copy_of:
            note = f"The sheet {sheet.name!r} holds the same rows as {copy_of!r} and was left out."
            made[0] = replace(made[0], notes=(*made[0].notes, note))
            continue
        lacking = [head for head, i in zip(header, at, strict=True) if i is None]
        notes = (f"The sheet {sheet.name!r} has no column {first_few(lacking)}; it is blank there.",) if lacking else ()
        made.append(replace(sheet, header=tuple(header), rows=rows, notes=(*sheet.notes, *notes)))
    return made


def _named_folded(sheet: Sheet) -> dict[str, str]:
    held = named_columns(sheet.header)
    return {role: held[role].casefold() for role in ("assessor", "prototype", "session", "replicate") if role in held}


def _stacked(sheets: Sequence[Sheet], called: str) -> Sheet:
    """Return sheets with the same columns below each other, with a column that holds what the sheets stand for."""
    if len(sheets) == 1:
        return sheets[0]
    first = sheets[0]
    held = named_columns(first.header)
    scored = score_columns(first, set())
    names = [each.name for each in sheets]
    missing = next((role for role in ("assessor", "prototype") if role not in held and not sitting(names)), "")
    if missing and "attribute" in held and "prototype" not in held and len(scored) > 1 and "score" not in held:
        missing = role_of_sheets([sheet.name for sheet in sheets], scored) if missing == "assessor" else missing
    elif missing == "prototype" and _blocks(first, scored):
        missing = ""
    elif missing == "prototype" and len(scored) > 1 and _which([sheet.name for sheet in sheets], scored) == 1:
        missing = "attribute"
    bare = [head for head in first.header if UNNAMED.fullmatch(head)]
    if {"assessor", "prototype"}.isdisjoint(held) and "attribute" not in held and len(bare) == 1 and missing:
        words = list(dict.fromkeys(word for sheet in sheets for word in sheet.cells(bare[0]) if word))
        missing, other = roles_of_sheets(names, words, scored)
        sheets = [replace(each, header=tuple(other if h in bare else h for h in each.header)) for each in sheets]
        first = sheets[0]
    if not missing and "score" in held and "attribute" not in held and len(scored) == 1 and not sitting(names):
        missing = "attribute"
    role = missing or sitting(names) or "session"
    role = role if len(set(names)) > 1 and role not in held else ""
    if role and all(":" in name and is_called(name.partition(":")[0], role) for name in names):
        names = [name.partition(":")[2].strip() for name in names]
    notes = list(dict.fromkeys(note for sheet in sheets for note in sheet.notes))
    if again := [note for note in notes if note.startswith(_ABOVE)][1:]:
        notes = [note for note in notes if note not in again]
        notes.append(f"Lines above the headings of {counted(len(again), 'more sheet')} were left out like these.")
    rows = tuple(
        (*((name,) if role else ()), *row) for name, sheet in zip(names, sheets, strict=True) for row in sheet.rows
    )
    header = (*((role,) if role else ()), *first.header)
    what = f"the {called} is the {role}" if role else "each says its own sitting"
    below = f"{counted(len(sheets), called.split()[-1])} with the same columns were put below each other"
    notes.append(f"{below} ({', '.join(dict.fromkeys(names))}); {what}.")
    return Sheet("", header, rows, tuple(line for sheet in sheets for line in sheet.lines), tuple(notes))


# Blocks of columns: prototypes, people, sessions across; attributes within, or the other way round.


def _melted(sheet: Sheet) -> tuple[Sheet, list[str]]:
    """Return a sheet whose blocks of columns stand below each other, and what was done; as it is without any."""
    sheet, notes = _sittings_below(sheet)
    held = named_columns(tuple(head for head in sheet.header if BAR not in head))
    scored = score_columns(sheet, set())
    pairs = _blocks(sheet, scored)
    if by_place := _by_place(sheet, pairs):
        sheet, told = _blocks_below(sheet, by_place, "place" if "position" in held else "position")
    elif pairs:
        sheet, told = _blocks_below(sheet, *_with_role(pairs, held))
    elif "attribute" in held and "score" not in held and len(scored) > 1:
        return (made := _across(sheet, scored, held))[0], [*notes, *made[1]]
    else:
        return sheet, notes
    sheet, later = _melted(sheet)
    return sheet, [*notes, *told, *later]


def _sittings_below(sheet: Sheet) -> tuple[Sheet, list[str]]:
    """Return a sheet in which what was scored in each sitting named in the headings stands below each other."""
    held = named_columns(tuple(head for head in sheet.header if BAR not in head))
    scored, barred = score_columns(sheet, set()), [head for head in sheet.header if BAR in head]
    cut = [{head: parted(head, BAR, from_right=right) for head in barred} for right in (False, True)]
    alone = [] if "attribute" in held else [{head: (head, "score") for head in scored}]
    for pairs in [*alone, *(cut if barred else crossed(scored))]:
        for turned in ({head: (part, group) for head, (group, part) in pairs.items()}, pairs):
            groups = list(dict.fromkeys(group for group, _ in turned.values()))
            if len(groups) > 1 and (role := sitting(groups)) and role not in held:
                made, told = _blocks_below(sheet, turned, role)
                return replace(made, notes=(*made.notes, *told)), []
    return sheet, []


def _blocks(sheet: Sheet, scored: Sequence[str]) -> dict[str, tuple[str, str]]:
    """Return column to group and part, if the columns are every group with every part; empty if they are not."""
    barred = [head for head in sheet.header if BAR in head]
    if barred:
        return {head: parted(head, BAR) for head in barred}
    held = named_columns(sheet.header)
    if "prototype" in held or "attribute" in held:
        _ask_of_numbers(scored, r"(.*[^\W\d])[ _.]?" if "prototype" in held else r"(.+?)[ _.]?(?=[ _.(])[ _.]?")
        return {} if {"assessor", "attribute"} & {*held} else _people_and_parts(scored)
    if len(scored) < 4:
        return {}
    both = ((pairs, [{pair[i] for pair in pairs.values()} for i in (0, 1)]) for pairs in crossed(scored))
    return next((pairs for pairs, sides in both if min(map(len, sides)) > 1), {})


def _people_and_parts(scored: Sequence[str]) -> dict[str, tuple[str, str]]:
    """Return column to person and attribute if the columns are every person with every attribute: `Anna greasy`."""
    for pairs in crossed(scored):
        sides = [list(dict.fromkeys(pair[i] for pair in pairs.values())) for i in (0, 1)]
        for side in (0, 1):
            if min(map(len, sides)) > 1 and are_people(sides[side]):
                return {head: (pair[side], pair[1 - side]) for head, pair in pairs.items()}
    return {}


def _ask_of_numbers(scored: Sequence[str], term: str) -> None:
    """Raise StudyError if names end in a bare number that counts something: nobody knows what."""
    numbered = [found.groups() for head in scored if (found := re.fullmatch(rf"{term}\(?(\d)\)?", head))]
    terms, numbers = {term for term, _ in numbered}, {number for _, number in numbered}
    all_ = len(terms) * len(numbers) == len(set(numbered)) == len(scored)
    if terms & set(scored) or (all_ and len(terms) > 1 and len(numbers) > 1):
        raise StudyError(
            f"It cannot be told what the numbers behind {first_few(sorted(terms))} are: sessions, replicates? Write it "
            f"into the headings, such as: {min(terms)} (Session 1)."
        )


def _by_place(sheet: Sheet, pairs: Mapping[str, tuple[str, str]]) -> dict[str, tuple[str, str]]:
    """Return column to place and part where each block has a column that says what was tried: `Sample 1: code`.

    Not where that column says one thing for everybody, which is then the code of a prototype.
    """
    at = {head: i for i, head in enumerate(sheet.header)}
    for side in (0, 1):
        coded = {}
        for block in dict.fromkeys(pair[side] for pair in pairs.values()):
            for head in sheet.header:
                rest = head.removeprefix(block) if head.startswith(block) else head.removesuffix(block)
                rest = rest.strip(" :_/.()[]#-|")
                if rest and rest != head and (is_called(rest, "prototype") or is_called(rest, "code")):
                    coded[block] = head
        varies = any(len({row[at[head]] for row in sheet.rows}) > 1 for head in coded.values())
        blocks = list(dict.fromkeys(pair[side] for pair in pairs.values()))
        if coded and varies and len(coded) < len(blocks):
            lacking = first_few([block for block in blocks if block not in coded])
            raise StudyError(f"No column says what was tried as {lacking}, as {first_few(list(coded.values()))} do.")
        if coded and varies:
            place = {block: "".join(re.findall(r"\d+", block)) or block for block in coded}
            rest_of = {head: (place[pair[side]], pair[1 - side]) for head, pair in pairs.items()}
            return rest_of | {head: (place[block], "prototype") for block, head in coded.items()}
    return {}


def _with_role(
    pairs: Mapping[str, tuple[str, str]], held: Mapping[str, str]
) -> tuple[Mapping[str, tuple[str, str]], str]:
    """Return column to what it is scored for and what was scored, and whether that is a prototype or a person."""
    groups = list(dict.fromkeys(group for group, _ in pairs.values()))
    if {"assessor", "prototype"} <= {*held}:
        raise StudyError(
            f"It cannot be told what the groups of columns {first_few(groups)} are: sessions, replicates, moments? "
            "Write it into their headings, such as: Session 1, after 20 min."
        )
    if "prototype" in held:
        return pairs, "assessor"
    parts = list(dict.fromkeys(part for _, part in pairs.values()))
    if _which(groups, parts, people="attribute" in held) == 1:
        pairs = {head: (part, group) for head, (group, part) in pairs.items()}
    names = list(dict.fromkeys(of for of, _ in pairs.values()))
    short = dict(zip(names, apart(names), strict=True))
    return {head: (short[of], part) for head, (of, part) in pairs.items()}, "prototype"


def _blocks_below(sheet: Sheet, pairs: Mapping[str, tuple[str, str]], role: str) -> tuple[Sheet, list[str]]:
    """Return a sheet with blocks of columns below each other; StudyError if a column in one has no heading."""
    if bare := [head for head, pair in pairs.items() if any(map(UNNAMED.fullmatch, pair))]:
        raise StudyError(f"Among groups of columns {first_few(bare)} has no heading. Write one, or delete the column.")
    across = list(dict.fromkeys(block for block, _ in pairs.values()))
    within = list(dict.fromkeys(part for _, part in pairs.values()))
    column = {pair: head for head, pair in pairs.items()}
    own = [head for head in sheet.header if head not in pairs]
    at = {head: i for i, head in enumerate(sheet.header)}
    rows, lines = [], []
    for line, row in zip(sheet.lines, sheet.rows, strict=True):
        for block in across:
            cells = [row[at[column[block, part]]] if (block, part) in column else "" for part in within]
            if any(cells):
                rows.append((*(row[at[head]] for head in own), block, *cells))
                lines.append(line)
    note = f"Blocks of columns were put below each other: {first_few(across)} as {role}, in each {first_few(within)}."
    made = replace(sheet, header=(*own, role, *within), rows=tuple(rows), lines=tuple(lines))
    return made, [note]


def _which(groups: Sequence[str], parts: Sequence[str], *, people: bool = False) -> int:
    """Return 0 if the groups are the prototypes beside people or attributes, 1 if the parts; StudyError if unsaid."""
    attributes = prototypes_among(parts, groups) if people else attributes_among(groups, parts)
    if attributes < 0:
        raise StudyError(
            f"It cannot be told whether {first_few(list(groups))} or {first_few(list(parts))} are the prototypes. "
            "Write Prototype before their names, or put the prototypes into a column."
        )
    return 1 - attributes


def _across(sheet: Sheet, scored: Sequence[str], held: Mapping[str, str]) -> tuple[Sheet, list[str]]:
    """Return a sheet in which people, prototypes or sittings are columns beside one of attributes, row by row."""
    missing = [role for role in ("assessor", "prototype") if role not in held]
    if len(missing) == 2:
        return sheet, []
    role = missing[0] if missing else sitting(scored)
    if not role:
        raise StudyError(
            f"It cannot be told what the columns {first_few(list(scored))} are beside {held['attribute']!r}: sessions, "
            "replicates? Write it into their headings, such as: Session 1."
        )
    cells = {head: sheet.cells(head) for head in scored}
    reckoned = [head for head in scored if is_called(head, "reckoned_alone") or is_mean_of_others(head, cells)]
    scored = [head for head in scored if head not in reckoned] or scored
    own = [head for head in sheet.header if head not in scored]
    at = {head: i for i, head in enumerate(sheet.header)}
    rows = [(*(row[at[head]] for head in own), name, row[at[name]]) for row in sheet.rows for name in scored]
    lines = tuple(line for line in sheet.lines for _ in scored)
    made = replace(sheet, header=(*own, role, "score"), rows=tuple(rows), lines=lines)
    return made, [f"Columns were put below each other: {first_few(list(scored))} as {role}."]
