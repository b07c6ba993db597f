"""What is known before anything is measured, of emollients, attributes, cautions, headings and answers: `shared`.

Every value carries the tag of its source; `sources` says what the tag stands for. A value the user measured
herself (table `ingredient_values` of her study) comes before the value of the shared table.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from fnmatch import fnmatchcase, translate
from functools import cache, lru_cache
from itertools import chain, product

import pandas as pd

from panel.study.tables import shared_folder

PROPERTIES = (
    "viscosity_mpa_s",
    "spreading_mm2_10min",
    "surface_tension_mn_m",
    "interfacial_tension_mn_m",
    "density_g_ml",
    "melting_c",
    "molar_mass_g_mol",
    "volatile",
    "solid",
)
_NUMBERS = frozenset(
    (
        *PROPERTIES,
        *(f"{name}_{end}" for name in PROPERTIES for end in ("low", "high")),
        *("minutes", "early_slack", "late_slack"),
        *("least_assessors", "least_replicates", "least_people", "default_bar", "default_margin"),
    )
)


@cache
def _read(name: str) -> pd.DataFrame:
    """Read one shared table: text as it stands, the columns of numbers as float."""
    frame = pd.read_csv(shared_folder() / f"{name}.csv", dtype=str, keep_default_na=False, encoding="utf-8")
    numbers = [column for column in frame.columns if column in _NUMBERS]
    return frame.assign(**{column: frame[column].replace("", "nan").astype(float) for column in numbers})


def shared_table(name: str) -> pd.DataFrame:
    """Return a copy of one table of `shared`, by the name of its file; its README says what each is and holds."""
    return _read(name).copy()


# Which column of a table of scores does a heading name, in one of the languages of `shared/headings.csv`?

ROLES = (
    *("assessor", "prototype", "attribute", "score", "moment"),
    *("replicate", "session", "position", "batch", "recorded_at"),
)
_FILLERS = frozenset(("id", "no", "nr", "n", "num", "number", "nummer", "numero", "name", "code"))


def is_called(column: str, role: str) -> bool:
    """Return True if a heading is one of those that columns of a role have, in any of the languages known."""
    return _surely_called(column, role) is not None


@cache
def headings_called(role: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the headings that people give a column of one kind, the surest first, and those that are less sure.

    Small letters without accents, words parted by blanks; `*` stands for any letters and words.
    """
    rows = shared_table("headings")
    own = rows[rows["role"] == role]
    sure, unsure = ("; ".join(own.loc[own["sure"] == word, "headings"]) for word in ("yes", "no"))
    return tuple(filter(None, sure.split("; "))), tuple(filter(None, unsure.split("; ")))


def fits(name: str, words: str, spellings: Collection[str]) -> bool:
    """Return True if words, or one of their spellings, are a name of `shared/headings.csv`."""
    return fnmatchcase(words, name) if "*" in name else name.replace(" ", "") in spellings


_NUMBER_OF = (  # from memory
    r"(?:numbers?|counts?|counted|no\.?|n|#|times|strokes?|rubs?|passes|drops?|pumps?|anzahl|z[\u00e4a]hlung|mal|nombre"
    r"|n\u00famero|numero|veces|volte|fois)"
)
_COUNTS = re.compile(
    rf".*[(\[]\s*{_NUMBER_OF}\s*[)\]]|(?P<what>.*[^\W\d])\s*(?:[,;:\u2013]|\s-)\s*{_NUMBER_OF}(?:\s*,.*)?"
    r"|(?:number|count|no\.|anzahl|nombre|n\u00famero|numero) .*|.*\b(?:counted|gez\u00e4hlt)",
    re.IGNORECASE,
)
_ONE_NUMBERED = re.compile(
    r"(?:n|no|nr|num|number|nummer|numero) "
    r"(?P<one>of the |of this |(?:de )?la |de l |du |des |der |del |della |dell |this )?"
    r"(?:(?:of|de|di) )?(?P<of>.+)"
)
_DAYTIMES = frozenset(
    ("morning", "afternoon", "evening", "night", "vormittag", "abends", "abend", "matin", "soir", "manana")
)
_THINGS = ("session", "position", "unsure", "prototype", "assessor", "replicate")


def is_counted(name: str) -> bool:
    """Return True if a name says that something was counted: `Strokes (number)`, `Marks, number`, `Number of pads`."""
    found = _COUNTS.fullmatch(name)
    one = found and found["what"] and any(is_called(found["what"], role) for role in (*_THINGS, "conditions", "person"))
    return bool(found) and not one and not numbers_one(name)


def numbers_one(name: str) -> bool:
    """Return True if a heading numbers sittings, people or what was tried: `No. of the evening`, `Number of session`.

    One thing with an article, or a word for one of these; several are counted: `Number of strokes`.
    """
    found = _ONE_NUMBERED.fullmatch(heading_words(name))
    if not found or (found["of"].endswith("s") and found["one"] != "des "):
        return False
    called = found["of"].split()[-1] in _DAYTIMES or any(is_called(found["of"], role) for role in _THINGS)
    return bool(found["one"]) or called


def is_reckoned(name: str) -> bool:
    """Return True if a name says mean, total or spread: nobody is called so, and nothing that was scored."""
    each = heading_words(name.replace("-", "")).split()
    words, reckoned, beside = set(each), set(headings_called("reckoned")[0]), set(headings_called("beside_reckoned")[0])
    of = len(each) > 2 and each[0] in reckoned and each[1] in _OF  # `mean of three`
    return of or (bool(words & reckoned) and words <= reckoned | beside)


_OF = frozenset(("of", "der", "des", "aus", "von", "du", "des", "de", "del", "della", "dei", "over"))


@lru_cache(maxsize=50_000)
def _surely_called(column: str, role: str) -> tuple[int, int] | None:
    """Return how surely a heading is one of a role, the surest lowest; None where it is none.

    First the headings that are sure, by their whole words before other spellings, then those that are less sure; of
    each in the order of the table.
    """
    words = heading_words(column)
    for less, (spelled, patterns) in enumerate(_spellings_called(role)):
        held = [place for place, pattern in patterns if pattern(words)]
        for loosely, spellings in enumerate(({words.replace(" ", "")}, plain_names(column))):
            places = held + [spelled[spelling] for spelling in spellings if spelling in spelled]
            if places:
                return 2 * less + loosely, min(places)
    return None


_Patterns = list[tuple[int, Callable[[str], object]]]


@cache
def _spellings_called(role: str) -> tuple[tuple[dict[str, int], _Patterns], ...]:
    """Return, of the sure headings of a role and of the others, the place of each spelling and pattern."""
    found: list[tuple[dict[str, int], _Patterns]] = []
    for names in headings_called(role):
        spelled: dict[str, int] = {}
        patterns: _Patterns = []
        for place, name in enumerate(names):
            if "*" in name:
                patterns.append((place, re.compile(translate(name)).match))
            else:
                spelled.setdefault(name.replace(" ", ""), place)
        found.append((spelled, patterns))
    return tuple(found)


def _named(header: Iterable[str], role: str, numeric: Collection[str] | None = None) -> str:
    """Return the column with the surest name for a role, or the empty text; a score is a column of numbers."""
    columns = [column for column in header if role != "score" or numeric is None or column in numeric]
    called = [(sure, n) for n, column in enumerate(columns) if (sure := _surely_called(column, role)) is not None]
    return columns[min(called)[1]] if called else ""


def named_columns(header: Iterable[str], numeric: Collection[str] | None = None) -> dict[str, str]:
    """Return role to column for the columns whose names say what they hold; `numeric` those that hold numbers."""
    names = list(header)
    found: dict[str, str] = {}
    for role in ROLES:
        if column := _named([name for name in names if name not in found.values()], role, numeric):
            found[role] = column
    return found


def people_asked(names: Sequence[str]) -> list[str]:
    """Return the headings that name who answered, the surest first: `Respondent`, `Your panelist number`."""
    asked = [name for name in names if any(is_called(word, "assessor") for word in heading_words(name).split())]
    return list(dict.fromkeys(filter(None, [named_columns(names).get("assessor", ""), *asked])))


@lru_cache(maxsize=10_000)
def plain_names(column: str) -> frozenset[str]:
    """Return the spellings of a column's name to compare: lower case, no signs; also singular, also without `id`."""
    words = heading_words(column).split()
    kept = [word for word in words if word not in _FILLERS] or words
    spellings = frozenset(("".join(words), "".join(kept)))
    return spellings | {spelling[:-1] for spelling in spellings if spelling.endswith("s")}


@lru_cache(maxsize=10_000)
def heading_words(heading: str) -> str:
    """Return the words of a heading in small letters, without accents and signs, parted by blanks."""
    bare = re.sub(
        r"\s*[(\[]\s*\d+\s*(?:-|\u2013|to|bis|a|\u00e0|\.\.+)\s*\d+\s*[)\]]\s*$", "", heading
    )  # a scale behind it
    plain = unicodedata.normalize("NFKD", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", bare or heading))
    letters = "".join(sign for sign in plain if not unicodedata.combining(sign))
    return " ".join(re.findall(r"[^\W_]+", letters.casefold()))


# What a cell answers: its words first, else its number.


@cache
def wordings(kind: str) -> Mapping[str, str]:
    """Return what people write for an answer to a question of a kind, to the answer."""
    rows = shared_table("answer_words")
    own = rows.loc[rows["kind"] == kind]
    return {
        plain_words(one): answer
        for answer, all_ in zip(own["answer"], own["words"], strict=True)
        for one in all_.split("; ")
    }


def plain_words(cell: str) -> str:
    """Return the words of a cell in small letters; a cell without any as it is."""
    return heading_words(cell) or cell.strip()


def known_answers(kind: str, question: str, cells: Sequence[str]) -> Mapping[str, str]:
    """Return what the words of cells answer; empty for those of which it cannot be told how much they are."""
    if kind != "just_about_right":
        return wordings(kind)
    return {**sided(question, tuple(sorted({*map(plain_words, cells)}))), **wordings(kind)}


_SIDE = re.compile(
    r"(?:(?P<how>.+) )?(?:too|zu|trop|troppo|demasiado) (?P<too>\w+)(?: .*)?|(?:not|nicht|pas|non|no) (?P<far>nearly )?"
    r"(?:quite )?(?:(?P<lacks>\w+) (?:enough|genug)|(?:assez|abbastanza|(?:lo )?bastante) (?P<manca>\w+))"
)
_FAR = frozenset(
    heading_words("much far way very extremely viel weit beaucoup vraiment molto decisamente mucho").split()
)


@cache
def sided(question: str, plain: tuple[str, ...]) -> Mapping[str, str]:
    """Return which side of just right answers such as `much too thick` are: too much is what the question is named for.

    If its name does not say, the opposites of `shared/answer_words.csv` do; empty where neither does.
    """
    if not any(wordings("just_about_right").get(cell) == "3" for cell in plain):
        return {}
    found = {cell: match for cell in plain if (match := _SIDE.fullmatch(cell))}
    of = {cell: match["too"] or match["lacks"] or match["manca"] for cell, match in found.items()}
    much = {each: _is_much(each, question, {*of.values()}) for each in of.values()}
    if len(much) == 1 and len({bool(match["too"]) for match in found.values()}) == 2:
        much = {each: is_much is not False for each, is_much in much.items()}  # too sticky, not sticky enough
    elif len(much) > 1 and len({*much.values()}) == 1:
        much = dict.fromkeys(much)
    sides = {}
    for cell, match in found.items():
        far = bool(match["far"] or _FAR & {*(match["how"] or "").split()})
        up, is_much = bool(match["too"]), much[of[cell]]
        sides[cell] = "" if is_much is None else "2145"[2 * (up == is_much) + far]
    return sides


def _is_much(word: str, question: str, beside: Collection[str]) -> bool | None:
    """Return whether `too` much of an adjective is too much of what is asked; None if that cannot be told."""
    pairs = _opposites()
    others = {less for more, less in pairs if more == word} | {more for more, less in pairs if less == word}
    asked = heading_words(question).split()
    named = {one for one in {word, *others, *beside} if _is_in(one, asked)}
    if named and not (word in named and named & others):
        return word in named
    return any(more == word for more, _ in pairs) if others else None


def _is_in(word: str, asked: Sequence[str]) -> bool:
    """Return True if a word of a question has the stem of an adjective: oily, oiliness."""
    stem = re.sub(r"[yeaos]+$", "", word)
    return any(each.startswith(word) or (len(stem) > 2 and each.startswith(stem)) for each in asked)


@cache
def _opposites() -> frozenset[tuple[str, str]]:
    """Return adjectives with their opposites, the more of the two first."""
    rows = shared_table("answer_words")
    own = rows.loc[rows["kind"] == "opposite", ["answer", "words"]]
    each = (product(more.split("; "), less.split("; ")) for more, less in own.itertuples(index=False))
    return frozenset((heading_words(more), heading_words(less)) for more, less in chain(*each))


def worded(cell: str, known: Mapping[str, str]) -> str:
    """Return what the words of a cell answer, a number beside them left out; empty if they are not known."""
    plain = plain_words(cell)
    bare = re.sub(r"^\d+ |(?<=\w) \d+$", "", plain)
    found = known.get(plain) or known.get(bare, "")
    return found or (_by_degree(bare)[0] if known.get("agree") == "4" else "")


@cache
def _by_degree(plain: str) -> tuple[str, int]:
    """Return which of 1 to 5 a wording of agreement is, and how much it is said: mildly 1, plainly 2, fully 3.

    A pronoun before it is left out, and an adverb says how much of what is known without it: I rather agree.
    """
    known, words = wordings("agreement"), plain.split()
    while words and " ".join(words) not in known and words[0] in _phrases("agreement_lead"):
        words = words[1:]
    bare = " ".join(words)
    mild, full = (_without(bare, kind) for kind in ("agreement_mild", "agreement_full"))
    if mild != bare and (at := known.get(bare) or known.get(mild, "")) in {"2", "4"}:
        return at, 1
    if at := known.get(bare, ""):
        return at, 3 if at in {"1", "5"} else 2
    sure = known.get(full, "") if not {*words} & _phrases("agreement_not") else ""
    return ({"2": "1", "4": "5"}[sure], 3) if sure in {"2", "4"} else ("", 0)


@cache
def _phrases(kind: str) -> frozenset[str]:
    return frozenset(wordings(kind))


def _without(plain: str, kind: str) -> str:
    each = "|".join(sorted(_phrases(kind), key=len, reverse=True))
    return " ".join(re.sub(rf"\b(?:{each})\b", " ", plain).split())


FIVE = (1, 5)
"""Ends of the usual scale of agreement."""
_Read = tuple[Mapping[str, str], tuple[int, int]]


def agreement_answers(
    cells: Iterable[str], beside: Iterable[frozenset[str]] = (), stated: tuple[int, int] | None = None
) -> _Read:
    """Return what the cells of a question answer that are not known by their words alone, and the ends of its scale.

    A number beside the words is the step of the scale where the other answers confirm it. On five steps the answers
    are points of 1 to 5, turned where 1 agrees; on others they are the numbers as they stand. Of five steps the one
    that is left is that of the one answer whose words are not known.

    Parameters
    ----------
    beside
        Plain words of the other columns, of which those with two of the same answers are read on the same scale.
    stated
        Ends of the scale that the heading states.
    """
    own = frozenset(map(plain_words, cells))
    said = {cell for cell in own if re.search(r"[^\W\d]", cell)}
    pool = own.union(*(other for other in beside if len(other & said) > 1))
    for given in dict.fromkeys((pool, own)):
        if found := _by_number(given, stated) or (None if stated not in (None, FIVE) else _by_words(given)):
            return found
    return {}, stated or FIVE


_NUMBER_BESIDE = re.compile(r"(\d{1,2})(?: (?=.*[^\W\d]).*)?|(?=.*[^\W\d]).* (\d{1,2})")


@cache
def _by_number(given: frozenset[str], stated: tuple[int, int] | None) -> _Read | None:
    """Return the steps that stand beside the words; None where they do not, or the words say it without them."""
    known = wordings("agreement")
    step = {cell: int(at[1] or at[2]) for cell in given if (at := _NUMBER_BESIDE.fullmatch(cell))}
    points = {cell: point for cell in step if (point := worded(cell, known)) in ("", *"12345")}
    sides = {(step[cell], int(point) - 3) for cell, point in points.items() if point}
    if stated in (None, FIVE) and (not sides or (all(points.values()) and not _share_a_point(points))):
        return None
    full = {at for at, side in sides if abs(side) == 2}
    low, top = min(1, *step.values(), 1), max(step.values(), default=0)
    usual = low == 1 and (top == FIVE[1] or (top < FIVE[1] and top not in full))
    seen = [FIVE] * usual + [(low, top)] * (top in full and top - low > 1)
    for first, last in [stated] if stated else seen:
        for way in (1, -1):
            if all(_sign(2 * at - first - last) * way == _sign(side) for at, side in sides) and (
                stated or any(side for _, side in sides)
            ):
                turned = (first, last) == FIVE and way < 0
                return {cell: str(6 - step[cell] if turned else step[cell]) for cell in points}, (first, last)
    return None


def _sign(value: int) -> int:
    return (value > 0) - (value < 0)


def _share_a_point(points: Mapping[str, str]) -> bool:
    """Return True if two answers of different words are one point."""
    words = {(as_answered(cell), point) for cell, point in points.items()}
    return len({point for _, point in words}) < len(words)


@cache
def _by_words(given: frozenset[str]) -> _Read | None:
    """Return what words are whose degree or whose place among the others says it; None where nothing does."""
    degrees = {cell: _by_degree(cell) for cell in given if not cell.isdecimal()}
    points = {cell: point for cell, (point, _) in degrees.items() if point.isdecimal()}
    strange = [cell for cell, (point, _) in degrees.items() if not point]
    sides = {cell: (_sign(int(point) - 3), degrees[cell][1]) for cell, point in points.items() if point != "3"}
    if not strange and _share_a_point(points) and len({*sides.values()}) == len(sides):
        most = max(how for _, how in sides.values())  # of five steps where nobody agrees fully, of seven otherwise
        steps = {cell: most + 1 + side * how for cell, (side, how) in sides.items()}
        middle = {cell: most + 1 for cell in points if cell not in sides}
        return {cell: str(step) for cell, step in (steps | middle).items()}, (1, 2 * most + 1)
    left = {*"12345"} - {*points.values()}
    if len(strange) != 1 or len(left) != 1 or len(points) != FIVE[1] - 1:
        return None
    place = left.pop()
    near = max(points, key=lambda cell: len(cell.split()) if {*cell.split()} <= {*strange[0].split()} else 0)
    beside = {*near.split()} <= {*strange[0].split()} and _sign(int(points[near]) - 3) == _sign(int(place) - 3)
    return ({strange[0]: place}, FIVE) if place == "3" or beside else None


def as_answered(cell: str) -> str:
    """Return the words of an answer, in small letters without its number; an apostrophe stays: can't say."""
    plain = re.sub(r"^\d+ | \d+$", "", plain_words(cell))
    typed = cell.strip().casefold().replace("\u2019", "'")
    return typed if re.search(r"\w'\w", typed) and heading_words(typed) == plain else plain


def yes_and_no(plain: Collection[str]) -> tuple[str, str] | None:
    """Return the words for no and yes of answers that know nothing between; None where others are given."""
    boxes, degrees = wordings("check_all"), wordings("agreement")
    if not plain or not all(word in boxes and word in degrees for word in plain):
        return None
    no, yes = (next((word for word in sorted(plain) if boxes[word] == end), usual) for end, usual in _YES_OR_NO.items())
    return no, yes


_YES_OR_NO = {"0": "no", "1": "yes"}


def agreeing_end(low: str, high: str) -> int:
    """Return which of 1 and 5 is full agreement by the words at the ends; 0 where they leave it open."""
    known = wordings("agreement")
    below, above = (int(at) - 3 if (at := worded(end, known)).isdecimal() else 0 for end in (low, high))
    return 0 if below * above > 0 or below == above else 5 if above > below else 1


# What a heading or a line of a file says of the scale, and of numbers that stand for no answer.


def stated_scale(heading: str) -> tuple[str, tuple[int, int] | None]:
    """Return the words of a heading, and the ends of the scale behind them: `Slip (0-10)`, `Rating 0-10`.

    None where there is no scale; figures with a unit, such as `(5-10 min)`, are none. Without brackets a scale
    goes from 0 or 1 to a usual end, and what it stands behind is no day or week.
    """
    found = _BRACKET.fullmatch(heading.strip())
    if (line := _LINE.search(heading)) and not heading[line.end() :].strip(" )]"):  # `Glide (15 cm line)`
        return heading[: line.start()].strip(" ,;:([") or heading, (0, int(line[1]))
    if found is None:
        bare = _BARE_SPAN.fullmatch(heading.strip())
        counts = bare and any(is_called(bare[1].split()[-1], role) for role in ("session", "replicate", "prototype"))
        return (bare[1], (int(bare[2]), int(bare[3]))) if bare and not counts else (heading, None)
    span = _SPAN.fullmatch(found[2])
    ends = sorted({int(end) for end in (span.groups() if span else re.findall(r"(\d+)\s*=", found[2]))})
    return (found[1], (ends[0], ends[-1])) if len(ends) > 1 else (heading, None)


_BRACKET = re.compile(r"(.*\S)\s*[(\[]([^()\[\]]*)[)\]]")
_BARE_SPAN = re.compile(  # 2 to 4 are too few points, and others count days
    r"(.*[^\W\d_]),?\s+([01])\s?(?:-|\u2013|to|bis|\u00e0)\s?(5|6|7|9|10|15|20|100|150)"
)
_SPAN = re.compile(
    r"\D*?(\d{1,4})\s*(?:-|\u2013|to|bis|\u00e0|a|\.\.+)\s*(\d{1,4})[\s,;-]*"
    r"(?:(?:point|punkt)\w*|pts?|scale|skala|[e\u00e9]chelle|escala|scala|vas|\D*[,;/].*)?",
    re.IGNORECASE,
)


def said_scale(cells: Iterable[str]) -> tuple[tuple[int, int] | None, str]:
    """Return the one scale that lines of a file state, `Scale 0 (none) to 10`, `15 cm line`, and that line."""
    found: dict[tuple[int, int], str] = {}
    for cell in dict.fromkeys(cells):
        ends = [int(end) for end, words in said_points(cell) if not no_answer(words)]
        span = _SAID_SPAN.search(cell) or _ONLY_SPAN.fullmatch(cell)
        ends = [int(end) for end in span.groups()] if span else ends
        ends = [0, int(line[1])] if (line := _LINE.search(cell)) and not ends else ends
        if len(ends) > 1 and min(ends) <= 1 and max(ends) >= _FEWEST_POINTS:
            found.setdefault((min(ends), max(ends)), cell)
    return next(iter(found.items())) if len(found) == 1 else (None, "")


def said_missing(cells: Iterable[str]) -> dict[str, str]:
    """Return the numbers that lines of a file explain as no answer, each to its line: `999 = not tested`."""
    said = ((found, cell) for cell in cells for found in said_points(cell))
    return {number: cell for (number, words), cell in said if no_answer(words)}


def said_points(line: str) -> list[tuple[str, str]]:
    """Return the numbers that a line explains, each with its words: `1 = strongly agree`."""
    return [(number, words.strip(" ,;/()")) for number, words in _POINT.findall(line)]


def no_answer(words: str) -> bool:
    """Return True if words say that there is no answer."""
    return bool(_SAYS_NONE.search(words))


_FEWEST_POINTS = 4  # from 0 or 1 to less is no scale but codes
_POINT = re.compile(r"(?<![\d.,])(-?\d{1,4})\s*=\s*([^=\d]*)")
_SAID_SPAN = re.compile(
    r"(?:\bscales?|\bscores?|skala|[e\u00e9]chelle|escala|scala|schaal|\bvas)\b[^\d]{0,25}?(?<![-.,])(\d{1,4})"
    r"\s*(?:\([^()]*\))?[^\d()]{0,25}?(?:-|\u2013|\bto\b|\bbis\b|\u00e0|\ba\b|\btot\b|\.\.+)[^\d()]{0,12}?"
    r"(?:\([^()]*\))?\s*(\d{1,4})(?![.,]?\d)",
    re.IGNORECASE,
)
_LINE = re.compile(
    r"(?<![\d.,])(1[025]0?|20)[\s-]*[cm]m\b[\w\s-]{0,25}\b(?:line|linie|vas|scale|skala)\b", re.IGNORECASE
)
_ONLY_SPAN = re.compile(r"\(?([01])\s*(?:-|\u2013|to|bis)\s*(\d{1,3})\)?")
_SAYS_NONE = re.compile(
    r"\bnot? (?:tested|scored|answer\w*|evaluated|available|given)|missing|no value|keine? (?:angabe|antwort|wert)"
    r"|nicht (?:getestet|bewertet|beantwortet)|fehlt|sans r[e\u00e9]ponse|non r[e\u00e9]pon|manquant"
    r"|sin (?:respuesta|dato)|no contesta|nessuna risposta|non (?:testato|risposto)|mancante|geen (?:antwoord|score)"
    r"|niet (?:getest|ingevuld)",
    re.IGNORECASE,
)


# What would people do with the one they choose?


_NO_CHOICE = frozenset((
    "prefer", "choose", "pick", "not", "never", "least", "throw", "avoid", "refuse", "skip", "stop", "leave", "drop",
    "reject", "hate", "dislike", "return",
))  # fmt: skip


def chosen_by(words: str) -> tuple[str, str]:
    """Return what a question asks people which one they would do that with: keep, in the workshop; else empty."""
    found = re.fullmatch(r"which .*\bwould you (?:rather |sooner )?(\w+)( [^?]*)?\??", words.strip().casefold())
    return (found[1], found[2] or "") if found and found[1] not in _NO_CHOICE else ("", "")
