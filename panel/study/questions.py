"""What a heading asks: its words as they were typed, what kind of question it is, and which columns name a choice."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import chain, combinations
from operator import eq
from typing import TYPE_CHECKING

import pandas as pd

from panel.errors import StudyError
from panel.study.knowledge import (
    heading_words,
    is_called,
    people_asked,
    stated_scale,
    worded,
    wordings,
)
from panel.study.numbers_read import read_numbers
from panel.study.study import natural_order
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

    StudyError if it is none: answers of a test for differences.
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


# Choices between several pairs: a column of each, `P1 against P2: Preferred`.


AGAINST, TRIED = " against ", "tried"
_PARTED = tuple(  # what stands between two names in one cell, the surest first
    re.compile(sign, re.IGNORECASE)
    for sign in (
        r"\s+(?:vs\.?|versus|against|or|and|gegen|oder|und|contre|ou|et)\s+",
        *(rf"\s*{each}\s*" for each in (r"[/|&+]", r"[\u2013\u2014]", "[;,:]")),
        *(r"\s+-\s+", "-"),
    )
)
_MOST_NAMES = 40
_SLIPS = 0.2  # share of the choices that may name another one for it to be a slip, and not something else
_Two = Sequence[tuple[str, ...]]


def pairs_headed(headings: Iterable[str]) -> dict[str, str]:
    """Return the headings that begin with a pair, `P1 against P2: Preferred`, and that pair."""
    return {name: pair for name in headings if AGAINST in (pair := name.split(": ")[0])}


def pairs_apart(table: RawTable, person: str, prototypes: Sequence[str]) -> tuple[RawTable, str] | None:
    """Return a survey of choices between several pairs, a row for each person and a column for each pair.

    Which two a row is about stands in two columns or in one (`P1/P2`). With it comes the column of the person, empty
    if there is none. None where no row is a choice, or all are between the same two.
    """
    for used, each in _two_of_rows(table, person):
        spelled = _spelled(chain(*each), prototypes)
        two = [tuple(spelled[name.casefold()] for name in pair) for pair in each]
        if chosen := _chosen_of(table, used, two, prototypes):
            return _widened(table, person, used, two, chosen) if len({*map(frozenset, two)}) > 1 else None
    return None


def _spelled(names: Iterable[str], prototypes: Iterable[str]) -> dict[str, str]:
    """Return how the study spells each name, else how it is spelled most often."""
    often = [name for name, _ in Counter(map(as_seen, names)).most_common()]
    return {name.casefold(): name for name in reversed([*prototypes, *often])}


def _two_of_rows(table: RawTable, person: str) -> Iterator[tuple[list[str], _Two]]:
    """Yield columns that may say which two each row is about, and these; first what was tried so, then fewest names."""
    cells = {name: list(map(as_seen, table.column(name))) for name in table.header}
    tried, people = _named_as_tried(table), [person, *people_asked(table.header)]
    may = [
        name
        for name, given in cells.items()
        if not (name in people or asked_kind(name) or re.search(_PICKED, name, re.IGNORECASE))
        and len({*given}) <= _MOST_NAMES
        and not any(re.fullmatch(r"|\d{1,2}|[\d.,]*[.,]\d+", cell) for cell in given)
    ]
    names = {name: {*cells[name]} for name in may}
    apart = [pair for pair in combinations(may, 2) if not any(map(eq, *(cells[name] for name in pair)))]
    for pair in sorted(apart, key=lambda pair: (not {*pair} <= {*tried}, len(names[pair[0]] | names[pair[1]]))):
        yield list(pair), list(zip(*(cells[name] for name in pair), strict=True))
    for name in may:
        for sign in _PARTED:
            parts = {cell: tuple(map(str.strip, sign.split(cell))) for cell in names[name]}
            if all(len(each) == len({*each} - {""}) == len("AB") for each in parts.values()):
                yield [name], [parts[cell] for cell in cells[name]]


def _chosen_cells(column: Sequence[str]) -> list[str]:
    """Return which one each cell names, in small letters; empty where it names none, or says that none is preferred."""
    none, cells = wordings("preference"), list(dict.fromkeys(column))
    seen = [as_seen(cell).casefold() for cell in cells]
    named = [
        "" if blank or worded(cell, none) else cell
        for cell, blank in zip(seen, read_numbers(seen).missing, strict=True)
    ]
    return list(map(dict(zip(cells, named, strict=True)).__getitem__, column))


def _chosen_of(table: RawTable, used: Sequence[str], two: _Two, prototypes: Sequence[str]) -> list[str]:
    """Return the columns that say which of the two of its row was chosen; StudyError if some rows name another one."""
    headed = {*used} <= {*_named_as_tried(table)} or all(any(map(is_product, each.split())) for each in used)
    sure = len(used) == 1 or headed or {*chain(*two)} <= {*map(str.casefold, prototypes)}
    found, apart = [], (*used, *_named_as_tried(table), *people_asked(table.header))
    for name in [each for each in table.header if each not in apart]:
        given = dict(enumerate(_chosen_cells(table.column(name))))
        wrong = [n for n, cell in given.items() if cell and cell not in map(str.casefold, two[n])]
        asks = sure or asked_kind(name) == "preference" or re.search(_PICKED, name, re.IGNORECASE)
        if not asks or {*given.values()} <= {"", "1", "2"} or len(wrong) > _SLIPS * sum(map(bool, given.values())):
            continue
        if wrong:
            which = f"{table.column(name)[wrong[0]].strip()!r} below {name!r} is none of the two that it is about"
            raise StudyError(f"Line {table.lines[wrong[0]]} of {table.name}: {which}. Correct it, or leave it blank.")
        found.append(name)
    return found


def _widened(
    table: RawTable, person: str, used: Sequence[str], two: _Two, chosen: Sequence[str]
) -> tuple[RawTable, str]:
    """Return a row for each person: what is chosen, and all that differs from row to row, in a column of each pair."""
    pairs = [AGAINST.join(natural_order(each)) for each in two]
    free = [name for name in table.header if name not in (*used, *chosen)]
    person = person or next(iter([*people_asked(free), *free[:1]]), "")
    who = list(map(as_seen, table.column(person))) if person else list(map(str, table.lines))
    place: dict[tuple[str, str], int] = {}
    for row, key in enumerate(zip(who, pairs, strict=True)):
        if not key[0] or key in place:
            what = f"is a second one of {key[0]} for {key[1]}" if key[0] else "does not say whose it is"
            say = "Correct it, or make a file of each session."
            raise StudyError(f"Line {table.lines[row]} of {table.name} {what}. {say}")
        place[key] = row
    first = {each: row for row, each in reversed([*enumerate(who)])}
    people = list(dict.fromkeys(who))
    cells = {name: list(map(as_seen, table.column(name))) for name in table.header if name not in (*used, person)}
    spelled = {name.casefold(): name for name in chain(*two)}
    cells |= {name: [spelled.get(cell.casefold(), cell) for cell in cells[name]] for name in chosen}
    if {*used} <= {*_named_as_tried(table)}:
        cells[TRIED] = [str(1 + pair.endswith(AGAINST + each[0])) for pair, each in zip(pairs, two, strict=True)]
    columns = {person: people} if person else {}
    for name, given in cells.items():
        if name in free and all(given[row] == given[first[each]] for row, each in enumerate(who)):
            columns[name] = [given[first[each]] for each in people]
            continue
        for pair in natural_order(pairs):
            rows = [place.get((each, pair)) for each in people]
            columns[f"{pair}: {name}"] = ["" if row is None else given[row] for row in rows]
    note = f"Each line is a choice between two; each pair was read by itself: {first_few(natural_order(pairs))}."
    lines, notes = [table.lines[first[each]] for each in people], (*table.notes, note)
    return replace(table, header=tuple(columns), columns=tuple(columns.values()), lines=lines, notes=notes), person


def headed_by_pairs(table: RawTable, prototypes: Sequence[str]) -> RawTable:
    """Return a survey in which a choice between several pairs that headings name is headed `P1 against P2: ...`.

    The cells below name one of the two, and a name stands in several pairs, or all are prototypes of the study.
    """
    given = {name: {*_chosen_cells(column)} - {""} for name, column in zip(table.header, table.columns, strict=True)}
    given = {
        n: cells for n, cells in given.items() if cells and all(whole(each).search(n.casefold()) for each in cells)
    }
    known = {*map(str.casefold, prototypes)}
    names = sorted({*known, *chain(*given.values())}, key=len, reverse=True)
    any_of = re.compile("|".join(whole(name).pattern for name in names) or r"(?!)")
    found = {name: list(dict.fromkeys(any_of.findall(name.casefold()))) for name in given}
    two = {name: each for name, each in found.items() if len(each) == len("AB")}
    pairs = {*map(frozenset, two.values())}
    joined = len({*chain(*pairs)}) < 2 * len(pairs) or {*chain(*pairs)} <= known
    if len(pairs) < len("AB") or not joined:
        return table
    spelled = _spelled(chain(*(table.column(name) for name in two)), prototypes)
    header, columns = list(table.header), list(table.columns)
    for name, (one, other) in two.items():
        between = rf"{whole(one).pattern}\W*(?:\w+\W+){{0,2}}?{whole(other).pattern}"
        rest = re.sub(between, " ", name, flags=re.IGNORECASE).strip()
        n = header.index(name)
        pair = AGAINST.join(spelled.get(each, each) for each in (one, other))
        header[n] = f"{pair}: {rest if any(map(str.isalnum, rest)) else 'preference'}"
        columns[n] = tuple(spelled.get(as_seen(cell).casefold(), cell) for cell in columns[n])
    shown = first_few(natural_order(pairs_headed(header).values()))
    note = f"Headings name the two to choose from; each pair was read by itself: {shown}."
    return (
        table
        if len({*header}) < len(header)
        else replace(table, header=tuple(header), columns=tuple(columns), notes=(*table.notes, note))
    )
