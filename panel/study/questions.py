"""What a heading asks: its words as they were typed, what kind of question it is, and which columns name a choice."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import chain
from typing import TYPE_CHECKING, NamedTuple

import pandas as pd

from panel.errors import StudyError
from panel.study.knowledge import (
    heading_words,
    is_called,
    people_asked,
    plain_words,
    said_points,
    stated_scale,
    worded,
    wordings,
)
from panel.study.numbers_read import read_numbers
from panel.words import as_seen, first_few

if TYPE_CHECKING:
    from panel.study.raw_table import RawTable

_ENDS = re.compile(
    r"[(\[](?:[^()]*/[^()]*|\s*\d+\s*=[^()]*|\s*\d+ [^()]*\d+ [^()]*)[)\]]\s*$"
)  # the answers, after the question
_NUMBERED = re.compile(  # `Q1. `, `Q5_1: `
    r"^\s*(?:(?:[QF]|question|item|statement|frage|aussage)\.? ?)?\d{1,2}(?:[._-]\d{1,2})*[a-z]?\s*[.:)]\s+",
    re.IGNORECASE,
)


def typed_question(heading: str) -> str:
    """Return the words of a question as they were typed, without the signs before and behind them."""
    words = re.sub(r"[(\[{]\W*[)\]}]|_+|\s+", " ", _without_scale(heading)).strip()
    words = words[1:-1] if len(words) > 1 and words[0] in _QUOTES and words.rstrip(".?!")[-1] in _QUOTES else words
    return re.sub(r"^[^\w(\[{\"'\u2018\u201c\u201e\u00ab+<>]+|[\s.:;,?!|/*=(\[{\u2026\u2013\u2014-]+$", "", words)


_QUOTES = "\"'\u2018\u2019\u201c\u201d\u201e\u00ab\u00bb"


def without_names(names: re.Pattern[str], heading: str) -> str:
    """Return a heading without the prototype in it, and without the brackets or signs that part it from the rest."""
    sign = r"\s*[:|/\u2013\u2014-]*\s*"
    alone = rf"\s*[(\[]\s*(?:{names.pattern})\s*[)\]]|{sign}(?:{names.pattern})(?:['\u2019]s\b)?{sign}"
    return re.sub(r",\s*,", ",", re.sub(alone, " ", heading))


def asked_words(heading: str) -> str:
    """Return a heading without the scale or the answers behind it, and the number of the question before it."""
    return _without_scale(_NUMBERED.sub("", heading))


def as_asked(headings: Sequence[str], names: re.Pattern[str]) -> list[str]:
    """Return what headings ask, without the names of prototypes, a lead that several share, and the scale."""
    bare = without_leads([asked_words(heading) for heading in headings])
    asked = without_leads([without_names(names, words).strip() for words in bare])
    leads = Counter(words.rpartition(" - ")[0] for words in {*asked})
    items = [words.rpartition(" - ")[2] if leads[words.rpartition(" - ")[0]] > 1 else words for words in asked]
    return [typed_question(item) + "".join(re.findall(r"[.?!]$", item)) for item in items]


_LEAD = re.compile(r"(.*?\w.*?)\s*\[([^\[\]]+)\]\s*|(.*?\w.*?)(?:[:?\u2026]|\.{3}|\s[-\u2013\u2014])\s+(\S.*)")
_TASK = re.compile(
    r"(?:please|rate|how|to what|bitte|wie|inwie|veuillez|dans quelle|por favor|en qu|per favore|quanto)\b", re.I
)


def without_leads(headings: Sequence[str]) -> list[str]:
    """Return headings without the task that stands before a sentence: `How far do you agree? [It is soft.]`."""
    found = [match.groups() if (match := _LEAD.fullmatch(words)) else ("", "", "", "") for words in headings]
    parts = [(str(each[0] or each[2]), str(each[1] or each[3])) for each in found]
    return [
        item if (_TASK.match(lead) or asked_kind(lead) == "agreement") and _is_sentence(item) else heading
        for (lead, item), heading in zip(parts, headings, strict=True)
    ]


def _is_sentence(words: str) -> bool:
    return len(words.split()) > 2 and (words.endswith((".", "!")) or len(words.split()) > 3 or is_statement(words))


def _without_scale(heading: str) -> str:
    return _ENDS.sub(" ", stated_scale(heading)[0])


ASKED_KINDS = {  # words of a heading that say what kind of question it is; common practice, no source
    "just_about_right": r"\bjar\b|just|too (?:much|little)|genau richtig",
    "liking": r"\b(?:dis)?liking|you (?:dis)?like|like it|hedonic|overall|gef[aä]ll|gesamturteil|globale?\b|appr[eé]ci"
    r"|gusta|agrado|piac|gradimento",
    "agreement": r"agree|zustimm|d.accord|acuerdo|accordo|appl(?:y|ies)\b|trifft|zutreff|s.applique",
    "preference": r"prefer|pr[eé]f[eé]r|favou?rit|bevorzug|lieber|better|besser|mieux|mejor|miglior|\bbest",
}


def asked_kind(heading: str) -> str:
    """Return which kind of question a heading says that it is; empty where it does not."""
    spared = re.sub(r"would you like to|how likely", "", heading, flags=re.IGNORECASE)
    return next((kind for kind, words in ASKED_KINDS.items() if re.search(words, spared, re.IGNORECASE)), "")


_STATES = re.compile(  # a statement: it does something, or the thing does
    r"(?:it|i|feels|leaves|makes|es|sie|er|ich|zieht|hinterlasst|il|elle|je|j|laisse|me|se|deja|lascia|si) \w+ \w+"
    r"|(?:my|the|this|meine?|die|das|der|dieser?|ma|la|le|el|mi|il) .*\b(?:is|are|feels?|has|leaves|makes|absorbs|"
    r"spreads|looks|smells|ist|fuhlt|zieht|lasst|riecht|hat|est|laisse|sent|es|deja|se|e|lascia|si)\b.*"
)


def is_statement(question: str) -> bool:
    """Return True if a question states something, to be agreed with: `It spreads well`."""
    return bool(_STATES.match(heading_words(question)))


def is_product(word: str) -> bool:
    """Return True if a word is one for what is tried, such as sample or cream."""
    return is_called(word, "prototype") or is_called(word, "product_kind")


_AUXILIARIES = r"(?:is|are|was|were|has|have|had|can|could|would|will)"
_ASKED = re.compile(rf"({_AUXILIARIES}) ((?:the|your|our|one|this) [\w-]+|you|it|they|one) (.+)\?", re.IGNORECASE)


def as_stated(words: str) -> str:
    """Return a question that asks for yes or no as what who said yes has said: one wash was enough."""
    found = _ASKED.fullmatch(words.strip())
    return f"{found[2]} {found[1].casefold()} {found[3]}." if found else words


# Columns that name one of two: which was chosen, which tried first.


def is_tried_as(heading: str) -> bool:
    """Return True if a heading says first, second or third: which one was tried then, or chosen."""
    return bool(ordinal(heading))


def ordinal(heading: str) -> int:
    """Return 1, 2 or 3 of a heading that says first, second or third; 0 for none."""
    return next((n for n, each in enumerate(_ORDINALS, 1) if each.search(heading)), 0)


_TRIED = (
    r"\b(?:tried|tested|served|used|given|presented|received|shown|getestet|probiert|serviert|verwendet|benutzt|test[e\u00e9]"
    r"|servi|utilis|probad|usad|usat|provat|did you (?:\w+ )?(?:try|use|test|get|have|receive))"
)
_ORDINALS = tuple(  # from memory
    re.compile(rf"\b(?:{words})\b|^\D* {n}$", re.IGNORECASE)
    for n, words in enumerate(
        (
            r"first|1st|erst\w*|premi\w*|primer\w*|prim[oa]",
            r"second|2nd|zweit\w*|deuxi\w*|segund\w*|second[oae]",
            r"third|3rd|dritt\w*|troisi\w*|tercer\w*|terz[oa]",
        ),
        1,
    )
)


def _named_as_tried(table: RawTable) -> list[str]:
    """Return the columns whose headings say that they name what was tried first or second: `First`, `Sample 1`."""
    ordinal = {name: next((each for each in _ORDINALS if each.search(name)), None) for name in table.header}
    beside = {name: heading_words(each.sub("", name)) for name, each in ordinal.items() if each}
    return [
        name
        for name, words in beside.items()
        if not (asked_kind(name) or re.search(_PICKED, words))
        and (len(words.split()) < 2 or re.search(_TRIED, words) or any(map(is_product, words.split())))
    ]


_PICKED = r"\b(?:choice|choose|chosen|pick|vote|place|rank|impression|wahl|platz|choix|eleccion|scelta|posto)"


_RANK = r"\brank|rang\b|classement"
_RANKS = rf"{_RANK}|reihenfolge|ordre de"


def is_ranks(heading: str) -> bool:
    """Return True if a heading asks for ranks."""
    return bool(re.search(_RANKS, heading, re.IGNORECASE))


def is_order(question: str, columns: Sequence[Sequence[str]]) -> bool:
    """Return True if columns hold when each prototype was tried: whole numbers from 1, none twice of a person.

    A number of the sample, called so, is the order only where it is not the same for everybody.
    """
    if not _are_places(columns):
        return False
    if is_called(question, "position") and not re.search(_RANK, question, re.IGNORECASE) and not asked_kind(question):
        return any(any(map(str.strip, column)) for column in columns)
    numbered = is_called(question, "prototype") or is_called(question, "counter")
    return numbered and any(len({*column} - {""}) > 1 for column in columns)


def _are_places(columns: Sequence[Sequence[str]]) -> bool:
    """Return True if columns hold whole numbers from 1 to as many as they are, none twice of a person."""
    rows = [[cell.strip() for cell in cells if cell.strip()] for cells in zip(*columns, strict=True)]
    places = {str(place) for place in range(1, len(columns) + 1)}
    return len(columns) > 1 and all(len({*row}) == len(row) and places.issuperset(row) for row in rows)


def order_asked(noticed: str, question: str, columns: Sequence[Sequence[str]]) -> str:
    """Return what was noticed of columns; of numbers that are each place once, that they may be when it was tried."""
    if not noticed.startswith("not read: numbers") or not _are_places(columns) or is_ranks(question):
        return noticed
    return f"not read: 1 to {len(columns)}, each once of a person; if it is the order of use, say {question}=position"


def orders_named(
    table: RawTable, products: Sequence[str], names: Collection[str]
) -> tuple[RawTable, list[str], dict[str, str]]:
    """Return a table with the place of each prototype where columns name the one tried first and second, and which do.

    `names` are the headings that may; of two prototypes the first one is enough.
    """
    may = [name for name in _named_as_tried(table) if name in names]
    named = [name for name in may if {*map(as_seen, table.column(name))} - {""} <= {*products}]
    each = [next((name for name in named if ordinal.search(name)), "") for ordinal in _ORDINALS]
    each = each[: each.index("")] if "" in each else each
    if len(products) < 2 or len(each) < len(products) - 1 or len({*each}) < len(each):
        return table, [], {}
    rows = list(zip(*(map(as_seen, table.column(name)) for name in each), strict=True))
    places = [row if len(row) == len(products) else (*row, *({*products} - {*row})) for row in rows]
    heads = {f"{of}: tried": of for of in products}
    cells = [["" if "" in row or of not in row else str(row.index(of) + 1) for row in places] for of in products]
    columns = (*table.columns, *map(tuple, cells))
    return replace(table, header=(*table.header, *heads), columns=columns), each, heads


_AGAINST = re.compile(  # from memory
    r"\b(?:not|never|least|less|worse|worst|dislike\w*|nicht|wenigsten|weniger|schlecht\w*|pas|moins|pire|menos|peor|meno"
    r"|peggio\w*)\b|n['\u2019]t\b",
    re.IGNORECASE,
)
_COMPARES = re.compile(  # which of them is, not which one is wanted
    r"\b(?:is|was|feels?|felt|smells?|looks?|seems?|spreads?|absorbs?|dries) (?:the |much |far |a bit )?"
    r"(?!better|best|nicer|nicest)\w+(?:er|est)\b"
    r"|\b(?:more|most|plus|m[a\u00e1]s|pi[u\u00f9]) (?!likely|of|than|often)\w+"
    r"|\b(?:odd|different|reference|control|currently|usually|normally)\b|\bsame as\b",
    re.IGNORECASE,
)


def is_against(heading: str) -> bool:
    """Return True if a heading asks which one is not wanted."""
    return bool(_AGAINST.search(heading))


def choices(table: RawTable, names: Iterable[str]) -> tuple[list[str], list[str], list[str]]:
    """Return the columns that say which of two was chosen, by their cells, what was tried first, and all that name one.

    Each cell is one of `names`, of what was tried first and second or of what other headings name, or says that there
    is no preference. A column of prototypes alone says of which one a row is, where nothing tells that a row is about
    two and something else is asked of it.
    """
    none, cells = wordings("preference"), {}
    for name, column in zip(table.header, table.columns, strict=True):
        seen = [as_seen(cell).casefold() for cell in column]
        missing = read_numbers(seen).missing
        cells[name] = {each for each, blank in zip(seen, missing, strict=True) if worded(each, none) or not blank}
    known = {name.casefold() for name in names if not re.fullmatch(r"\d{1,2}", name)}
    tried = [name for name in _named_as_tried(table) if cells[name] and not any(map(str.isdecimal, cells[name]))]
    pair = {frozenset(cells[name]) for name in tried}
    known |= next(iter(pair)) if len(tried) > 1 and len(pair) == 1 else frozenset()
    tried = [name for name in tried if cells[name] <= known]
    people = [table.column(name) for name in people_asked([name for name in table.header if name not in tried])[:1]]
    once = all(len({*map(as_seen, column)}) == len(table.lines) for column in people)
    found, naming_one = [], []
    for name, given in cells.items():
        of = {each for each in given if each in known or not worded(each, none)}
        beside = [head for head in table.header if head not in (name, *tried)]
        headed = {each for each in of if any(whole(each).search(head.casefold()) for head in beside)}
        said = re.search(_TRIED, name, re.IGNORECASE) and not re.search(r"\bwould\b", name, re.IGNORECASE)
        other = said or is_tried_as(name) or is_called(name, "prototype")
        if not of or not of <= known | headed:
            continue
        naming_one.append(name)
        if other or is_against(name) or _COMPARES.search(name):
            continue
        free = [
            head
            for head in beside
            if not (cells[head] <= given or any(whole(each).search(head.casefold()) for each in of))
        ]
        asks = any(head.strip().endswith("?") or asked_kind(head) or is_statement(head) for head in free)
        found += [name] if given - of or (once and (tried or not asks)) else []
    return found, tried, naming_one


def whole(name: str) -> re.Pattern[str]:
    """Return a pattern for a name that stands in other words."""
    return re.compile(rf"(?<!\w){re.escape(name)}(?!\w)")


# On which scale does it ask: its ends, which way it goes, and what its points are called.


TOP = {"liking": 9, "just_about_right": 5, "agreement": 5}
MOST_STEPS = 10
END = re.compile(r"(\d{1,4})\s*=\s*([^,;/()\[\]=\d]+)")  # what a point of it is called


def stated_steps(heading: str) -> tuple[int, int] | None:
    """Return the ends of the scale of agreement behind a heading, the lower first; None where it states none."""
    low, high = stated_scale(heading)[1] or (0, 0)
    return (low, high) if low in (0, 1) and low + 1 < high <= MOST_STEPS else None


def ends_called(heading: str) -> list[str]:
    """Return what a heading calls the numbers of its scale."""
    return [words.strip() for _, words in END.findall(heading)]


def top_of_scale(heading: str, kind: str) -> int:
    """Return the highest number of a question's scale: the usual one, or an odd one stated for just about right."""
    usual = TOP.get(kind, 0)
    low, high = stated_scale(heading)[1] or (1, usual)
    return high if kind == "just_about_right" and low == 1 and high % 2 and high > 1 else usual


def is_turned(heading: str, kind: str, known: Mapping[str, str]) -> bool:
    """Return True if a heading says that the lowest number is the most: `1 = strongly agree`."""
    known = wordings(kind) if kind == "agreement" else known  # of another scale than five its points are not known
    ends = [(int(number), worded(words, known)) for number, words in END.findall(heading)]
    sides = [
        (2 * number - top_of_scale(heading, kind) - 1) * (2 * int(word) - TOP[kind] - 1)
        for number, word in ends
        if word.isdecimal()
    ]
    return any(sides) and max(sides) <= 0


def without_columns(table: RawTable, heads: Collection[str]) -> RawTable:
    """Return a survey without the columns below these headings."""
    kept = [(head, cells) for head, cells in zip(table.header, table.columns, strict=True) if head not in heads]
    header, columns = zip(*kept, strict=True)
    return replace(table, header=header, columns=columns)


def with_scale(table: RawTable, asked: pd.DataFrame, meant: pd.Series, scale: str) -> tuple[RawTable, pd.DataFrame]:
    """Return a survey with a scale such as 1-7 written behind the headings of the columns that are meant."""
    ends = re.fullmatch(r"(\d+)\s*-\s*(\d+)", scale)
    if ends and int(ends[1]) > int(ends[2]):
        raise StudyError(
            f"{scale!r} does not say which end agrees. Write {ends[2]}-{ends[1]}; if {ends[2]} is full agreement, put "
            "the column agrees of the table questions to it, or write it into a line of the file: 1 = strongly agree."
        )
    if stated_steps(f"It ({scale})") is None:
        raise StudyError(f"{scale!r} is no scale. Write its lowest and its highest step, 0 or 1 to {MOST_STEPS}: 1-7.")
    new = {name: f"{name} ({scale})" for name in asked.loc[meant, "column"]}
    header = tuple(new.get(name, name) for name in table.header)
    return replace(table, header=header), asked.assign(column=asked["column"].replace(new))


# Points that are written otherwise than as whole numbers from 1.


def with_whole_points(table: RawTable) -> RawTable:
    """Return a survey in which `4.0` is 4, `7/9` 7 of nine steps, and -2 to 2 about right 1 to 5; and that said.

    StudyError if it is none: answers of a test for differences, or choices between several pairs.
    """
    _refuse_other_tests(table)
    header, columns, notes = list(table.header), list(table.columns), list(table.notes)
    seen = [{cell: as_seen(cell).replace("\u2212", "-") for cell in column} for column in columns]
    right = [asked_kind(head) == "just_about_right" for head in header]
    below = any(re.fullmatch(r"-[12]", text) for n, texts in enumerate(seen) if right[n] for text in texts.values())
    for n, (head, column) in enumerate(zip(table.header, table.columns, strict=True)):
        middle = (_from_middle(head, seen[n]),) if below and right[n] else ()  # -2 in one of them: so are all that fit
        for named, written, read in (*middle, _zeros(head, seen[n]), _out_of(head, seen[n])):
            if written:
                header[n] = named
                columns[n] = tuple(written.get(cell, cell) for cell in column)
                first = next(cell for cell in column if cell in written)
                notes.append(f"{read}: {first.strip()!r} is {written[first]} in {head!r}.")
                break
    return replace(table, header=tuple(header), columns=tuple(columns), notes=tuple(notes))


def _refuse_other_tests(table: RawTable) -> None:
    cells = [{as_seen(cell).casefold() for cell in column} - {""} for column in table.columns]
    for head, given in zip(table.header, cells, strict=True):
        if _FORCED.fullmatch(head.strip()) or (given and all(map(_FORCED.fullmatch, given))):
            raise StudyError(
                f"{head!r} names a test for differences, and its answers are no survey. Bring them in as rows of the "
                "table answers (afterfeel set STUDY answers FILE.csv): assessor, prototype, versus, question, kind "
                "(triangle, duo_trio, three_afc or tetrad) and answer (1 right, 0 wrong)."
            )
    tried = [list(map(as_seen, table.column(name))) for name in _named_as_tried(table)]
    pairs = (
        {frozenset(pair) for pair in zip(*tried, strict=True) if len({*pair} - {""}) == 2} if len(tried) == 2 else set()
    )
    names = {*frozenset().union(*pairs)}
    if len(pairs) > 1 and not any(name.isdecimal() and len(name) < 3 for name in names):
        shown = first_few([" against ".join(natural) for natural in sorted(map(sorted, pairs))])
        raise StudyError(
            f"Each row is a choice between two, and the pairs differ: {shown}. Make a file of each pair, and bring "
            "them in one after the other."
        )


_FORCED = re.compile(
    r"(?:triangle|triangel\w*|duo[- _]?trio|tetrad|(?:3|three)[- _]?afc)(?:[- ]?tests?)?(?: ?(?:no|nr)?\.? ?\d*)?", re.I
)

_Written = tuple[str, dict[str, str], str]
"""A heading, how each cell is written as a whole number from 1, and what was done."""


def _zeros(head: str, seen: Mapping[str, str]) -> _Written:
    parts = {cell: found for cell, text in seen.items() if (found := re.fullmatch(r"(\d{1,4})[.,](\d{1,6})", text))}
    whole_ = parts and not any(found[2].strip("0") for found in parts.values())
    written = {cell: found[1] for cell, found in parts.items()} if whole_ else {}
    return head, written, "Whole numbers were read without the zeros behind them"


def _out_of(head: str, seen: Mapping[str, str]) -> _Written:
    parts = {cell: found for cell, text in seen.items() if (found := re.fullmatch(r"(\d{1,2}) ?/ ?(\d{1,2})", text))}
    tops, stated = {found[2] for found in parts.values()}, stated_scale(head)[1]
    scale = (1, int(next(iter(tops)))) if len(tops) == 1 else (0, 0)
    fits = 2 < scale[1] <= MOST_STEPS and stated in (None, scale) and max(int(found[1]) for found in parts.values()) > 2
    if not fits or any(int(found[1]) > scale[1] for found in parts.values()):
        return head, {}, ""
    named = head if stated else f"{head} (1-{scale[1]})"
    return named, {cell: found[1] for cell, found in parts.items()}, "What the number is out of was read as its scale"


def _from_middle(head: str, seen: Mapping[str, str]) -> _Written:
    points = {cell: int(text) for cell, text in seen.items() if re.fullmatch(r"[-+]?[0-2]", text)}
    if not points or any(re.search(r"\d", text) for cell, text in seen.items() if cell not in points):
        return head, {}, ""
    named = re.sub(
        r"(?<![\w-])[-+\u2212]?[0-2](?!\w)", lambda found: str(3 + int(found[0].replace("\u2212", "-"))), head
    )
    written = {cell: str(3 + point) for cell, point in points.items()}
    return named, written, "Points from -2 to 2 became points of 1 to 5"


# What lines of a codebook say, and of which columns.


def said_below(lines: Iterable[str]) -> dict[str, dict[str, str]]:
    """Return the numbers that lines such as `1 = agree fully` explain, by the line above them, else by none."""
    found: dict[str, dict[str, str]] = {}
    above = ""
    for line in lines:
        points = said_points(line)
        if len(points) == 1:
            found.setdefault(above, {})[points[0][0]] = points[0][1]
        else:
            above = line
    return found


def headings_meant(name: str, spelled: Mapping[str, str]) -> list[str]:
    """Return the headings that a name means, by what each may be called, in plain words.

    It is one of them, `V1-V4` or `V10_1 to V10_4`, or holds such: `Items V1, V2`.
    """
    if own := spelled.get(plain_words(name)):
        return [own]
    named = []
    for found in _SPAN_OF_NAMES.finditer(name):
        first, last = int(found["first"]), int(found["last"])
        named += [f"{found['stem']}{number}" for number in range(first, min(last, first + _MOST_ITEMS) + 1)]
    named += _NAME.findall(name)
    return list(dict.fromkeys(spelled[plain] for each in named if (plain := plain_words(each)) in spelled))


_SPAN_OF_NAMES = re.compile(
    r"(?P<stem>(?<!\w)[^\W\d]\w*?[_.-]?)(?P<first>\d+)\s*(?:-|\u2013|\u2026|\.\.+|to|through|bis|\u00e0|a|al)\s*(?P=stem)?(?P<last>\d+)"
    r"(?!\w)"
)
_NAME = re.compile(r"(?<!\w)[^\W\d]+[_.-]?\d+(?:[_.-]\d+)*[a-z]?(?!\w)")  # of a column: V11, Q10_2
_MOST_ITEMS = 200


class Legend(NamedTuple):
    """What a sheet such as a codebook says: column to question, and column to code to words, the empty one for all.

    It may say so in lines, each below what it is of.
    """

    name: str
    asked: dict[str, str]
    words: dict[str, dict[str, str]]
    in_lines: bool = False


def legend_for(legend: Legend, short: Sequence[str], header: Sequence[str]) -> Legend:
    """Return a legend whose columns are those of the header, above which short names may stand in a line of their own.

    What lines say below no such name is of all columns, if it is one scale.
    """
    short = short if len(short) == len(header) else header
    spelled = {plain_words(name): head for names in (short, header) for name, head in zip(names, header, strict=True)}
    words: dict[str, dict[str, str]] = {}
    rest = []
    for name, points in legend.words.items():
        own = headings_meant(name, spelled) if name else [""]
        words |= dict.fromkeys(own, points)
        rest += [points] if not own else []
    numbers = list(chain(*rest))
    if legend.in_lines and not words and len({*numbers}) == len(numbers):
        words[""] = {number: said for points in rest for number, said in points.items()}
    asked = {head: said for name, said in legend.asked.items() for head in headings_meant(name, spelled)}
    return legend._replace(asked=asked, words=words)
