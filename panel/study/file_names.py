"""What the names in somebody's file say: headings, names of sheets, of people and of groups of columns."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from itertools import chain, pairwise, permutations
from typing import NamedTuple

from panel.errors import StudyError
from panel.study.knowledge import ROLES, heading_words, is_called, is_reckoned, named_columns, shared_table
from panel.study.numbers_read import month_called, read_numbers
from panel.words import as_seen, counted, first_few

_MOSTLY, _NUMERIC = 0.6, 0.8  # share of headings that are filled; of cells of a column of scores that are numbers
FEWEST_ROWS = 2
DESIGN = ("assessor", "prototype", "session", "replicate", "position", "batch", "recorded_at")
BAR = " | "  # between two headings above each other
_SEPARATORS = (" - ", " \u2013 ", "_", ":", "/", " ", ".", " (", " [")
_DAY = re.compile(
    r"\d{4}-\d\d?-\d\d?(?: 00:00:00)?|\d\d?[./]\d\d?[./](?:\d{2}|\d{4})?"
    r"|(?:mon|tues?|wed(?:nes)?|thu(?:rs)?|fri|sat(?:ur)?|sun)(?:day)?"
    r"|(?:mon|diens|donners|frei|sams|sonn)tag|mittwoch|sonnabend|lundi|mardi|mercredi|jeudi|vendredi|samedi|dimanche"
    r"|lunes|martes|mi[e\u00e9]rcoles|jueves|viernes|s[a\u00e1]bado|domingo"
    r"|(?:luned|marted|mercoled|gioved|venerd)[i\u00ec]|sabato|domenica",
    re.I,
)
_COUNTED = re.compile(
    r"(?P<before>(?:\d(?:st|nd|rd|th|\.|[e\u00e8]me|er|re|e|[a\u00aa\u00ba])?|first|second|third|erste[rs]?|zweite[rs]?"
    r"|premi[e\u00e8]re?|deuxi[e\u00e8]me|primer[ao]?|segund[ao]|prim[ao]|second[ao]) +)?"
    r"(?P<what>[^\W\d]+)\.?(?P<after>[ _.#-]*\d{1,2}| +[a-d]| +i{1,3})?",
    re.I,
)
_TURNS = ("replicate", "unsure", "score", "measure")  # `1st round`, `2nd rating`
_LABEL = re.compile(r"\w{0,3}[-. ]?\d+\w?")
_WORD = re.compile(r"[^\W\d_]{3,}[\s:]*")
_NO_SENSATIONS = frozenset(("body", "skin", "dish", "later", "paper", "cloth", "during", "amount", "speed", "after"))


def sitting(names: Sequence[str]) -> str:
    """Return session or replicate if all names say so, `Session 1` or `2nd rep`, or are days; else the empty text."""
    if not names:
        return ""
    if all(map(_is_day, names)):
        return "session"
    counted = [_COUNTED.fullmatch(name) for name in names]
    what = {found["what"].casefold() if found and (found["before"] or found["after"]) else "" for found in counted}
    if all(found and found["before"] and any(is_called(found["what"], role) for role in _TURNS) for found in counted):
        return "replicate"
    for role in ("session", "replicate"):
        if all(is_called(word, role) or (role == "replicate" and re.fullmatch(r"rep\w*|r", word)) for word in what):
            return role
    return ""


def _is_day(name: str) -> bool:
    """Return True if a name is a day: `3.6.`, `Tuesday`, `Monday 8 September`, `8 Sept. 2025`, `Wed 10/9`."""
    words = re.findall(r"[^\W\d_]+", re.sub(r"(?<=\d)(?:st|nd|rd|th)\b", "", name))
    said = [word for word in words if not _DAY.fullmatch(word)]
    dated = len(said) == 1 and month_called(said[0]) and re.search(r"(?<!\d)\d\d?(?!\d)", name)
    return bool(_DAY.fullmatch(name) or dated or (words and not said and re.search(r"\d[./]\d", name)))


def crossed(names: Sequence[str]) -> Iterator[dict[str, tuple[str, str]]]:
    """Yield name to group and part for each way of cutting names in two that gives every group with every part."""
    for separator in _SEPARATORS:
        for from_right in (False, True):
            pairs = {name: parted(name, separator, from_right=from_right) for name in names}
            groups, parts = ({pair[i] for pair in pairs.values()} for i in (0, 1))
            whole = len(groups) * len(parts) == len(pairs) == len(set(pairs.values()))
            if whole and all(groups) and all(parts) and all(separator in name for name in names):
                yield pairs


def parted(name: str, separator: str, *, from_right: bool = False) -> tuple[str, str]:
    """Return what stands before and behind a sign, without brackets round the latter."""
    first, _, second = name.rpartition(separator) if from_right else name.partition(separator)
    second = (separator.strip() if separator in (" (", " [") else "") + second.strip()
    return first.strip(), second[1:-1].strip() if second[:1] + second[-1:] in ("()", "[]") else second


def _like_attributes(names: Sequence[str]) -> float:
    """Return the share of the names that are words, or known attributes, rather than labels of prototypes."""
    columns = [shared_table("lexicon")[column] for column in ("attribute", "name", "everyday_word")]
    words = {str(word).casefold() for column in columns for word in column}
    others = [name for name in apart(names) if name.casefold() not in words]  # and of these `Lotion P1` is P1
    bare = [_WORD.sub(lambda word: "" if is_called(word[0], "prototype") else word[0], name) for name in others]
    return 1 - sum(len(name) <= 2 or bool(_LABEL.fullmatch(name)) for name in bare) / len(names)


def attributes_among(first: Sequence[str], second: Sequence[str]) -> int:
    """Return 0 or 1, whichever are the attributes: words beside labels, else those known; -1 if it cannot be told."""
    likely = _like_attributes(first), _like_attributes(second)
    if likely[0] == likely[1]:
        likely = known_sensations(first), known_sensations(second)
        if min(likely) > 0 or max(likely) < _HALF:
            return -1
    return int(likely[1] > likely[0])


def prototypes_among(first: Sequence[str], second: Sequence[str]) -> int:
    """Return 0 or 1, whichever are the prototypes where the others are people; -1 if it cannot be told.

    They say so, or are labels beside words; labels numbered from 1 may be people as well.
    """
    for role in ("prototype", "assessor"):
        says = [all(any(is_called(word, role) for word in _WORDS.findall(name)) for name in n) for n in (first, second)]
        if says[0] != says[1]:
            return says.index(role == "prototype")
    likely = _like_attributes(first), _like_attributes(second)
    labels = first if likely[0] < likely[1] else second
    numbers = sorted(int("".join(re.findall(r"\d", label)) or 0) for label in labels)
    return -1 if likely[0] == likely[1] or numbers == [*range(1, len(labels) + 1)] else int(labels is second)


def role_of_sheets(names: Sequence[str], scored: Sequence[str]) -> str:
    """Return whether sheets stand for people or prototypes where the columns are the others; StudyError if unsaid."""
    if (prototypes := prototypes_among(names, scored)) >= 0:
        return "prototype" if prototypes == 0 else "assessor"
    raise StudyError(
        f"It cannot be told whether the sheets {first_few(list(names))} or the columns {first_few(list(scored))} are "
        "the prototypes. Write Prototype or Assessor before the names of the sheets."
    )


def roles_of_sheets(names: Sequence[str], words: Sequence[str], scored: Sequence[str]) -> tuple[str, str]:
    """Return what sheets stand for, and what the rows without a heading; the columns are the third of the three."""
    roles = _axes_roles([names, words, scored], ("assessor", "prototype", "attribute"))
    if roles and roles[2] != "attribute":
        return roles[0], roles[1]
    role = role_of_sheets(names, words)
    return role, "prototype" if role == "assessor" else "assessor"


_WORDS = re.compile(r"[^\W\d_]{3,}")
_HALF = 0.5
_INITIALS = re.compile(r"[A-Z]\. ?[A-Z]\.?|[A-Z]{2}")


def _axes_roles(axes: Sequence[Sequence[str]], roles: Sequence[str]) -> list[str]:
    """Return which of the roles each of several lists of names has; empty if their names do not tell it well.

    Sensations are attributes; given names, initials and words for a person are people; labels and words for a product
    are prototypes.
    """
    ranked = sorted(_ways(axes, roles), key=lambda way: way[0], reverse=True)
    told = len(ranked) == 1 or (len(ranked) > 1 and ranked[0][0] - ranked[1][0] >= _HALF)
    return list(ranked[0][1]) if told else []


def are_exchanged(axes: Sequence[Sequence[str]], roles: Sequence[str]) -> bool:
    """Return True if lists of names plainly have each other's roles: two of them at least are called otherwise."""
    likely = {each: how for how, each in _ways(axes, roles)}
    return all(axes) and max(likely.values()) - likely[tuple(roles)] >= _PLAINLY


_PLAINLY = 1.5  # a name that is like those of another role counts 1


def _ways(axes: Sequence[Sequence[str]], roles: Sequence[str]) -> list[tuple[float, tuple[str, ...]]]:
    """Return each way of giving lists of names their roles, and how like these they are."""
    return [
        (sum(_likeness(names, role) for names, role in zip(axes, each, strict=True)), each)
        for each in permutations(roles, len(axes))
    ]


def are_people(names: Sequence[str]) -> bool:
    """Return True if half of the names at least are given names, initials or words for a person, and no sensations."""
    return _likeness(names, "assessor") >= _HALF > known_sensations(names) if names else False


def _names_a_kind(name: str) -> bool:
    """Return True if a name has a word for a kind of product: `night balm`."""
    return any(is_called(word, "product_kind") for word in _WORDS.findall(name))


def _likeness(names: Sequence[str], role: str) -> float:
    """Return the share of names that are like those of people, of prototypes or of attributes."""
    if not names or role == "attribute":
        return known_sensations(names) if names else 0.0
    words = [name.split() for name in names]
    called = [any(is_called(word, role) for word in _WORDS.findall(name)) for name in names]
    if role == "assessor":
        like = [
            is_called("".join(each[:1]), "given_name") or bool(_INITIALS.fullmatch(n))
            for n, each in zip(names, words, strict=True)
        ]
    else:
        like = [len(n) == 1 or bool(_LABEL.fullmatch(n)) or _names_a_kind(n) for n in names]
    return sum(map(max, called, like)) / len(names)


def apart(names: Sequence[str]) -> list[str]:
    """Return names without the words that all of them begin with, if one of these is no word for a prototype."""
    each = [name.split() for name in names]
    same = 0
    while len(set(names)) > 1 and len({tuple(words[: same + 1]) for words in each}) == 1:
        same += 1
    if all(is_called(word, "prototype") for word in each[0][:same]):
        return list(names)
    return [" ".join(words[same:]) or name for words, name in zip(each, names, strict=True)]


def known_sensations(names: Sequence[str]) -> float:
    """Return the share of names with a word of the lexicon, whatever its ending: `greasiness` of `greasy film`."""
    known = _stems()
    return sum(any(word[:5] in known or word[:4] in known for word in heading_words(n).split()) for n in names) / len(
        names
    )


@cache
def _stems() -> frozenset[str]:
    said = (str(words) for column in ("name", "everyday_word") for words in shared_table("lexicon")[column])
    words = {word for each in said for word in heading_words(each).split()} - _NO_SENSATIONS
    return frozenset(word[:5] for word in words if len(word) > 3)


def without_question(header: list[str], notes: list[str]) -> tuple[list[str], list[str]]:
    """Return headings such as `How strong is it? [greasy]` as what is in the brackets, where all ask the same."""
    found = {head: match for head in header if (match := re.fullmatch(r"(.+\S)\s*\[([^\[\]]*[^\W\d][^\[\]]*)\]", head))}
    asked, short = {match[1] for match in found.values()}, {head: match[2].strip() for head, match in found.items()}
    if len(found) < 2 or len(asked) > 1 or len({*short.values(), *header} - {*found}) < len({*header}):
        return header, notes
    note = f"{counted(len(found), 'heading')} that ask {asked.pop()!r} were called by what stands in their brackets."
    return [short.get(head, head) for head in header], [note, *notes]


_TWIN = re.compile(r"(.*\d)[ _-]?([a-d])|(.+?)(?:[ _./-]+|\s*\()(?:rep\w*\.? ?)?([1-4a-d])\)?", re.IGNORECASE)


def twins(names: Sequence[str]) -> list[str]:
    """Return the signs behind several names if each name is there with each sign: of `L7a L7b L8a L8b` a and b."""
    found = [match.groups("") for name in names if (match := _TWIN.fullmatch(name))]
    pairs = {(first + third, second + fourth) for first, second, third, fourth in found}
    stems, ends = ({pair[side] for pair in pairs} for side in (0, 1))
    whole = len(found) == len(names) == len(stems) * len(ends)
    return sorted(ends) if whole and min(len(stems), len(ends)) > 1 else []


_ASKED = re.compile(r"(?:your|ihre?|dein|votre|su|tu|il tuo|which|what|who|welche\w*|quel\w*|cual|quale) ")
_WHICH = re.compile(r"(?:which|welche\w*|quel\w*|cual|quale|(?:number|nummer|numero) (?:of|der|des|de|del|della)) ")
_NAMES = re.compile(rf"{_WHICH.pattern}|\b(?:number|code|id|nummer|nr|numero)\b")
_ORDINAL = re.compile(
    r"first|second|third|(?:erste|zweite|dritte)[rs]?|premi\w+|deuxi\w+|primer\w*|segund\w*|\d\W?(?:st|nd|rd)?"
)


def asked_roles(columns: Mapping[str, Sequence[str]], numbers: Sequence[str]) -> dict[str, str]:
    """Return role to column for questions of a form with a word for that role alone: `Which sample is it?`.

    Answers such as `first` and `second` say a round, not what was tried; `numbers` name something only where it asks
    which one, or for a number or code.
    """
    found: dict[str, list[str]] = {}
    for column, given in columns.items():
        words = heading_words(column)
        asked = column.rstrip().endswith("?") or _ASKED.match(words) or _WHICH.match(words)
        if not asked or is_called(words, "comment") or (column in numbers and not _NAMES.search(words)):
            continue
        roles = {role for role in ROLES for word in words.split() if is_called(word, role)}
        cells = {heading_words(cell) for cell in given} - {""}
        if cells and all(map(_ORDINAL.fullmatch, cells)):
            turn = any(is_called(word, "unsure") for word in words.split())
            roles = roles & {"session", "replicate"} or ({"replicate"} if turn and not roles else set())
        if len(roles) == 1:
            found.setdefault(roles.pop(), []).append(column)
    return {role: held[0] for role, held in found.items() if len(held) == 1}


# In which line are the headings, and which tables stand below each other?


def heading_row(cells: Sequence[Sequence[str]]) -> int:
    """Return the row with the headings: the last one above the first row of numbers that names most columns."""
    width = max(sum(map(bool, row)) for row in cells)
    late = cells[len(cells) // 3 :] or cells
    numeric = [i for i in range(len(cells[0])) if read_numbers([row[i] for row in late], words=True).share >= _NUMERIC]
    data = next(
        (n for n, row in enumerate(cells) if numeric and sum(is_number(row[i]) for i in numeric) >= len(numeric) / 2), 0
    )
    for row in range(data - 1, -1, -1):
        heads = [cells[row][i] for i in numeric if cells[row][i]]
        worded = len(heads) >= _MOSTLY * len(numeric) and not any(map(is_number, heads))
        if worded and not _names_one_of_each(cells, row):
            return row
    return next((n for n, row in enumerate(cells) if sum(map(bool, row)) >= max(2, _MOSTLY * width)), 0)


def _names_one_of_each(cells: Sequence[Sequence[str]], row: int) -> bool:
    """Return True if a row below headings has a person and a prototype, not code and code: no heading."""
    held = [(list(above), named_columns(dict.fromkeys(above))) for above in cells[:row] if names_both(above)]
    either = any(len({cells[row][above.index(of[role])] for role in DESIGN[:2]} - {""}) == 2 for above, of in held)
    return either and not names_both(cells[row])


def names_both(heads: Sequence[str]) -> bool:
    """Return True if headings name who scored, and what."""
    return {"assessor", "prototype"} <= set(named_columns(dict.fromkeys(heads)))


def is_corner(head: str) -> bool:
    """Return True if a heading names what stands in rows and in columns: `Attribute / Product`."""
    halves = re.split(r"[/\\]", head)
    return len(halves) == 2 and {*named_columns(halves)} == {"attribute", "prototype"}


def lies_on_its_side(cells: Sequence[Sequence[str]]) -> bool:
    """Return True if people and prototypes are named down the first column and not along a row."""
    first = cells[:_DESIGN_ROWS]
    return names_both([row[0] for row in first if row[0]]) and not any(map(names_both, first))


_DESIGN_ROWS = 12  # lines of a table on its side, or above its headings, that are looked at


def group_row(cells: Sequence[Sequence[str]], bottom: int) -> int | None:
    """Return the row above the headings that names groups of columns, or None."""
    if bottom == 0:
        return None
    above, heads = cells[bottom - 1], cells[bottom]
    over = [i for i, cell in enumerate(above) if cell and i > 0 and heads[i]]
    blank_below = [i for i, cell in enumerate(above) if cell and not heads[i]]
    return bottom - 1 if len(over) >= 2 or (over and blank_below) else None


def tables_below(rows: Sequence[Sequence[str]]) -> list[tuple[str, list[Sequence[str]]]]:
    """Return the title of each of several tables below each other, and the rows of the sheet, those of others blank.

    A title is alone in its line and stands next to headings; these may be there once only.
    """
    cells = {i: seen for i, row in enumerate(rows) if any(seen := [as_seen(cell) for cell in row])}
    titles = {i: "".join(row) for i, row in cells.items() if sum(map(bool, row)) == 1 and not is_number("".join(row))}
    if len(titles) < 2 or len(cells) - len(titles) < FEWEST_ROWS + 1:
        return []
    width, places = max(map(len, cells.values())), list(cells)
    bottom = places[heading_row([row + [""] * (width - len(row)) for row in cells.values()])]
    heads = [i for i, row in cells.items() if i >= bottom and _repeats(row, cells[bottom])]
    starts = [i for n, i in enumerate(places) if i in titles and set(places[max(n - 1, 0) : n + 2]) & set(heads)]
    if len(heads) == 1 and starts:
        starts += [i for i in titles if i > max(starts[-1], bottom) and not _is_row_of(i, cells)]
        needed = {"assessor", "prototype"} - set(named_columns(filter(None, cells[bottom])))
        alike = {re.sub(r"\d+", "0", titles[i]) for i in starts}
        starts = starts if needed or len(alike) == 1 else []
    elif len(starts) < len(heads):
        return []
    tables = []
    for start, end in pairwise([*starts, len(rows)] if len(starts) > 1 else []):
        own = next((i for i in heads if start - 1 <= i < end), bottom)
        tables.append((titles[start], [row if start < i < end or i == own else [] for i, row in enumerate(rows)]))
    return tables


def _without_other_table(rows: list[list[str]]) -> tuple[list[list[str]], list[str]]:
    """Return a sheet without a table below the first whose headings name no people, as one of means; and that said."""
    cells = {i: seen for i, row in enumerate(rows) if any(seen := [as_seen(cell) for cell in row])}
    width, places = max(map(len, cells.values()), default=0), list(cells)
    first = heading_row([row + [""] * (width - len(row)) for row in cells.values()]) if cells else 0
    heads = cells[places[first]] if first < len(places) else []
    held = named_columns(filter(None, heads))
    for before, i in pairwise(places[first + 1 :] if "assessor" in held else []):
        filled = dict.fromkeys(filter(None, cells[i]))
        if len(filled) < 2 or cells[i] == heads or any(cell[0].isdigit() for cell in filled):
            continue
        own, titled = named_columns(filled), sum(map(bool, cells[before])) == 1
        apart = own.get("prototype", "") == cells[i][0] != "" and (titled or i - before > 1)
        if "assessor" not in own and (apart or _repeats(cells[i], heads)):
            start = before if titled else i
            where = f"line {start + 1} to {places[-1] + 1}, {first_few(list(filled))}"
            return rows[:start], [f"Another table without {held['assessor']!r} was left out: {where}."]
    return rows, []


def with_blocks_named(
    laid_out: Sequence[tuple[str, list[list[str]]]],
) -> tuple[list[tuple[str, list[list[str]]]], tuple[str, ...]]:
    """Return sheets with a column of what stands above each block, no table without people below; and that said."""
    made: list[tuple[str, list[list[str]]]] = []
    found: dict[str, str] = {}
    without = [(name, *_without_other_table(rows)) for name, rows in laid_out]
    for name, rows, _ in without:
        blocks = _corners(rows) or (_titled(rows) if len(laid_out) > 1 else [])
        role = _role_of_titles([title for title, *_ in blocks])
        heads = [as_seen(cell) for cell in rows[blocks[0][1]]] if role else []
        if not role or role in named_columns(filter(None, heads)):
            made.append((name, rows))
            continue
        given = [["", *row] if i < blocks[0][1] else [] for i, row in enumerate(rows)]
        given[blocks[0][1]] = [role, *("" if cell == blocks[0][0] else cell for cell in heads)]
        for title, head, end in blocks:
            label = title.partition(":")[2].strip() or title
            given[head + 1 : end] = [[label, *row] if any(row) else [] for row in rows[head + 1 : end]]
            found.setdefault(label, role)
        made.append((name, given))
    told = [f"What stands above each block is its {role}: {first_few([t for t in found if found[t] == role])}."
            for role in dict.fromkeys(found.values())]  # fmt: skip
    return made, (*chain(*(left for *_, left in without)), *told)


# Cards: several small tables with the same headings, beside and below each other, what each is for written above it.


class _Card(NamedTuple):
    """One small table: what stands above it as key and value, its headings, its rows by their lines."""

    said: dict[str, str]
    titles: list[str]
    head: list[str]
    rows: list[tuple[int, list[str]]]


def cards_as_table(rows: Sequence[Sequence[str]]) -> tuple[list[tuple[int, list[str]]], list[str]]:
    """Return one table of small tables with the same headings, by its lines, and what was done; empty without any.

    They are parted by blank lines or columns, each with lines above its headings: `Name: Anna`, `Session 1`, `greasy`.
    What they say becomes a column; what cannot be told is asked.
    """
    if len(rows) > _MOST_LINES:
        return [], []
    cells = [[as_seen(cell) for cell in row] for row in rows]
    width = max(map(len, cells), default=0)
    cells = [row + [""] * (width - len(row)) for row in cells]
    found = _cards(cells)
    if not found:
        return [], []
    said = list(dict.fromkeys(key for card in found for key in card.said))
    of_people = {(card.said.get("assessor", ""), card.said.get("session", "")) for card in found}
    once = len({who for who, _ in of_people}) == len(of_people) > 1 < len({day for _, day in of_people})
    said = [key for key in said if key != "session" or not once]
    head = found[0].head
    role, titles = _role_of_cards(found, said)
    told = list(dict.fromkeys(filter(None, titles)))
    made = [(found[0].rows[0][0] - 1, [*said, *([role] if role else []), *head])]
    for card, title in zip(found, titles, strict=True):
        before = [*(card.said.get(key, "") for key in said), *([title] if role else [])]
        made += [(line, [*before, *row]) for line, row in card.rows]
    what = [f"{key} ({first_few(list(dict.fromkeys(card.said.get(key, '') for card in found)))})" for key in said]
    what += [f"{role} ({first_few(told)})"] if role else []
    above = f"; what stands above each is its {' and '.join(what)}" if what else ""
    notes = ["The session or day above each table was left out: each person has one of them."] * once
    left = [title for card in found for title in card.titles if not any(title in name for name in told)]
    notes += [f"What else stands above the tables was left out: {first_few(list(dict.fromkeys(left)))}."] * bool(left)
    return made, [f"{len(found)} tables with the same headings were put below each other{above}.", *notes]


_MOST_LINES = 3_000  # of a sheet of small tables


def _cards(cells: Sequence[list[str]]) -> list[_Card]:
    """Return the small tables of a sheet; none if there are not several, or something else has numbers."""
    strips = _runs([any(row[i] for row in cells) for i in range(len(cells[0]) if cells else 0)])
    pieces = [
        (left, start, [(line, cells[line][left:right]) for line in range(start, end)])
        for left, right in strips
        for start, end in _runs([any(row[left:right]) for row in cells])
    ]
    times = Counter(tuple(row) for _, _, piece in pieces for _, row in piece)
    found: list[_Card] = []
    beside: dict[int, dict[str, str]] = {}
    kept: dict[int, dict[str, str]] = {}
    for left, start, piece in pieces:
        heads = [n for n, (_, row) in enumerate(piece[:-1]) if times[tuple(row)] > 1 and _is_head(row)]
        numeric = sum(any(map(is_number, row)) for _, row in piece)
        if not heads:
            if numeric > 1 and not all(any(map(is_reckoned, row)) for _, row in piece):
                return []
            kept[left] = kept.get(left, {}) | _said_above(piece)[0]
            continue
        place = max(heads, key=lambda n: (sum(map(bool, piece[n][1])), -n))
        if sum(row == piece[place][1] for _, row in piece) > 1:
            return []  # no line parts them
        if any(sum(map(is_number, filter(None, row))) > 1 for _, row in piece[:place]):
            return []  # a row of scores, not what the table is for
        said, titles = _said_above(piece[:place])
        said = {**kept.get(left, {}), **beside.setdefault(start, said), **said}
        held = [i for i in range(len(piece[0][1])) if any(row[i] for _, row in piece[place:])]
        body = [(line + 1, [row[i] for i in held]) for line, row in piece[place + 1 :] if not _remark(row)]
        found.append(_Card(said, titles, [piece[place][1][i] for i in held], body))
    alike = len({tuple(card.head) for card in found}) == 1 and all(card.rows for card in found)
    return found if len(found) > 1 and alike and any(card.said or card.titles for card in found) else []


def _runs(filled: Sequence[bool]) -> list[tuple[int, int]]:
    """Return start and end of each run of True."""
    places = [i for i, (one, before) in enumerate(zip(filled, [False, *filled], strict=False)) if one and not before]
    return [(i, next((k for k in range(i, len(filled)) if not filled[k]), len(filled))) for i in places]


def _is_head(row: Sequence[str]) -> bool:
    filled = list(filter(None, row))
    return len(filled) > 1 and not any(map(is_number, filled)) and not _remark(row) and len({*filled}) == len(filled)


def _remark(row: Sequence[str]) -> bool:
    """Return True if a line is a note of a card: `Remarks: room too warm`."""
    first = next(filter(None, row), "")
    return is_called(first.partition(":")[0], "comment") or (first.endswith(":") and len(first) > 1)


def _said_above(lines: Sequence[tuple[int, Sequence[str]]]) -> tuple[dict[str, str], list[str]]:
    """Return what lines above headings say: role to name, and what has no role."""
    said: dict[str, str] = {}
    titles = []
    for _, row in lines:
        filled, place = list(filter(None, row)), 0
        while place < len(filled):
            key, colon, value = filled[place].partition(":")
            roles = [role for role in DESIGN[:4] if colon and is_called(key, role)]
            if roles and not value and place + 1 < len(filled) and not filled[place + 1].endswith(":"):
                place, value = place + 1, filled[place + 1]
            if role := roles[0] if roles else sitting([filled[place]]):
                said.setdefault(role, value.strip() if roles else filled[place])
            elif not colon:
                titles.append(filled[place])
            place += 1
    return said, titles


def _role_of_cards(found: Sequence[_Card], said: Sequence[str]) -> tuple[str, list[str]]:
    """Return what the titles of cards are, and the title of each; empty where they have none that differ."""
    common = {title for title in found[0].titles if all(title in card.titles for card in found)}
    own = [[title for title in card.titles if title not in common] for card in found]
    each = min(map(len, own))  # above the first of them may stand what all of them are
    titles = [" ".join(parts[len(parts) - each :]) for parts in own]
    held = {*said, *named_columns(filter(None, found[0].head))}
    free = [role for role in ("assessor", "prototype", "attribute") if role not in held]
    if len({*titles}) < 2:
        return "", titles
    body = [row for card in found for _, row in card.rows]
    numeric = [head for i, head in enumerate(found[0].head) if head and is_scored([row[i] for row in body])]
    axes = [titles, numeric] if len(numeric) > 1 else [titles]
    if not found[0].head[0]:
        axes.append(list(dict.fromkeys(row[0] for row in body)))
    roles = _axes_roles(axes, free) if len(axes) <= len(free) and all(titles) else []
    if not roles:
        named = first_few(list(dict.fromkeys(filter(None, titles))))
        raise StudyError(
            f"It cannot be told what {named} above the tables are. Write it before each, such as: Prototype: P1."
        )
    return roles[0], titles


def is_scored(cells: Sequence[str]) -> bool:
    """Return True if a column holds mostly numbers."""
    return read_numbers(cells, words=True).share >= _NUMERIC


def _corners(rows: Sequence[Sequence[str]]) -> list[tuple[str, int, int]]:
    """Return name, line of headings and end of each block whose first heading, in the corner, names a sitting."""
    lines = {i: row for i, each in enumerate(rows) if sum(map(bool, row := [as_seen(cell) for cell in each])) > 1}
    first = next(iter(lines), 0)
    heads = [i for i, row in lines.items() if row[0] and _role_of_titles([row[0]])]
    if first not in heads or len(lines) == len(heads):
        return []
    if any(lines[i][1:] != lines[first][1:] for i in heads):
        if any(map(is_number, lines[first][1:])):
            return []
        raise StudyError(
            f"The blocks below {first_few([lines[i][0] for i in heads])} do not have the same columns in the same "
            "order. Give them the same, or put them on sheets of their own."
        )
    return [(lines[i][0], i, end) for i, end in pairwise([*heads, len(rows)])]


def _titled(rows: Sequence[Sequence[str]]) -> list[tuple[str, int, int]]:
    """Return title, line of headings and end of each of several blocks that have the same headings."""
    blocks, start = [], 0
    for title, own in tables_below(rows):
        filled = [i for i, row in enumerate(own) if any(row)]
        blocks.append((title, filled[0] if filled[0] >= start else start, filled[-1] + 1))
        start = filled[-1] + 1
    return blocks if len({tuple(rows[head]) for _, head, _ in blocks}) == 1 else []


def _role_of_titles(titles: Sequence[str]) -> str:
    """Return what titles such as `Rep 1` or `Sample: P1` name; the empty text if they do not say."""
    parted_ = [title.partition(":") for title in titles]
    said = (role for role in DESIGN[:4] if all(what and is_called(word, role) for word, _, what in parted_))
    return sitting(titles) or (next(said, "") if titles else "")


def _repeats(row: Sequence[str], heads: Sequence[str]) -> bool:
    """Return True if a row is headings again: half of its cells at least, and no numbers among them."""
    filled = list(filter(None, row))
    return 2 * len(set(filled) & set(heads)) >= len(filled) > 1 and not any(map(is_number, filled))


def _is_row_of(line: int, cells: Mapping[int, Sequence[str]]) -> bool:
    """Return True if the only cell of a line is a name like those above and below it: somebody who gave no scores."""
    place = next(place for place, cell in enumerate(cells[line]) if cell)
    others = {re.sub(r"\d+", "0", row[place]) for i, row in cells.items() if i != line and sum(map(bool, row)) > 1}
    return re.sub(r"\d+", "0", cells[line][place]) in others


def is_number(cell: str) -> bool:
    """Return True if a cell can be read as a number."""
    return read_numbers([cell]).share == 1
