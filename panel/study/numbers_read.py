"""How are numbers and their units read the way people type them?

The decimal sign is decided for a whole column, never cell by cell.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from pandas.api.extensions import ExtensionArray

from panel.errors import StudyError
from panel.words import as_seen

NOT_A_NUMBER = "not a number"
_TOO_LARGE = "a number too large to hold"
_TOO_LONG = "too long for a number"
_OTHER_SIGN = "not a number with a decimal {sign}"
_TWO_READINGS = "could be {point} or {comma}: the column does not tell whether the {sign} is a decimal sign"

_LONGEST_NUMBER = 64  # characters; a score or a measured value never needs more
_CLEAR_MAJORITY = 10  # a column that mixes both decimal signs is decided when one is this many times as frequent

# How people write that there is no value, in small letters without blanks, in six languages; from memory.
_SIGNS_OF_NONE = frozenset(("", "-", "--", ".", "..", "?", "??", "/"))
_WORDS_FOR_NONE = (
    "n/a #n/a na n.a. n.a nan null none nil missing noanswer notanswered nottested notscored nottasted absent skipped "
    "k.a. k.a k/a keineangabe keineantwort #nv n.b. nichtbewertet nichtbeurteilt fehlt fehlend weissnicht keinwert "
    "s/o s.o. sansobjet nsp n.s.p. nesaitpas nesaispas n.c. nc nonnoté sansréponse manquant manquante "
    "n.d. nd n/d #n/d s.d. s/d sindato sindatos ns ns/nc nosabe nocontesta sinrespuesta noaplica "
    "manca mancante nonso nessunarisposta nondisponibile nonvalutato nichtgetestet abwesend gefehlt nontesté absente "
    "ausente noprobado assente nontestato n.v.t. nvt geenantwoord ontbreekt nietgetest weetniet afwezig"
)
_MISSING = _SIGNS_OF_NONE.union(_WORDS_FOR_NONE.split())
_SAME_SIGN = str.maketrans(
    {
        **dict.fromkeys("\u2019\u2018\u02bc\u00b4", "'"),
        **dict.fromkeys("\u2212\u2010\u2011\u2012\u2013\u2014\ufe63\uff0d", "-"),
        # digits of Arabic, Persian, Hindi and Japanese keyboards, and the Arabic signs between them
        **{chr(zero + n): str(n) for zero in (0x660, 0x6F0, 0x966, 0xFF10) for n in range(10)},
        **{"\u066b": ".", "\u066c": "'"},
    }
)
_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)


def _pattern(decimal: str, other: str) -> re.Pattern[str]:
    grouped = rf"[1-9]\d{{0,2}}(?P<mark>[ '{other}])\d{{3}}(?:(?P=mark)\d{{3}})*(?:[{decimal}]\d*)?"
    plain = rf"(?:\d+(?:[{decimal}]\d*)?|[{decimal}]\d+)(?:[eE][+-]?\d{{1,3}})?"
    return re.compile(rf"[+-]? ?(?:{grouped}|{plain})(?: ?%)?", re.ASCII)


_PATTERNS = {".": _pattern(".", ","), ",": _pattern(",", ".")}
_PARTS = {"\u00bd": "1/2", "\u00bc": "1/4", "\u00be": "3/4"}
# A point that can only stand between thousands: `1.234,5` or `1.234.567`.
_SHOWS_GROUPS = re.compile(r"[+-]? ?[1-9]\d{0,2}(?:(?:\.\d{3})+,\d*|(?:\.\d{3}){2,})(?: ?%)?", re.ASCII)
_SIGN_WORDS = {".": "point", ",": "comma"}
_NUMBER = r"[+-]?\d{1,4}(?:[.,]\d+)?"
# A number with a word for it: `5 - strong`, `5 = strong`, `(5) strong`, `5 strong`, `strong (5)`.
_WITH_WORD = re.compile(
    rf"\(?(?P<first>{_NUMBER})(?:(?P<sign>\)|\s*[-=:])|(?=\s))\s*(?P<after>[^\W\d_][^\d()]*)"
    rf"|(?P<before>[^\W\d_][^\d()]*?)\s*[(=:]\s*(?P<last>{_NUMBER})\)?"
)
_WITH_UNIT = re.compile(  # or what it is out of: `7/10`
    rf"(?P<first>{_NUMBER})(?P<unit> ?(?:/|out of|of|von|sur|de|su|van) ?(?P<top>\d{{1,4}})"
    r"| ?[^\W\d_]{2,}\.?| [^\W\d_]\.?)"
)
_MONTHS = tuple(  # of those five languages, the accents taken off
    names.split()
    for names in (
        "jan january januar janv janvier ene enero gen gennaio jaenner",
        "feb february februar fev fevr fevrier febrero febbraio",
        "mar march mrz marz maerz mars marzo",
        "apr april avr avril abr abril aprile",
        "may mai mayo mag maggio",
        "jun june juni juin junio giu giugno",
        "jul july juli juil juillet julio lug luglio",
        "aug august aou aout ago agosto",
        "sep sept september septembre septiembre set sett settembre",
        "oct october okt oktober octobre octubre ott ottobre",
        "nov november novembre noviembre",
        "dec december dez dezember decembre dic diciembre dicembre",
    )
)


@dataclass(frozen=True, eq=False, slots=True)
class NumbersRead:
    """A column read as numbers.

    Parameters
    ----------
    values
        The numbers; NaN where a cell is missing or unreadable.
    missing
        True where a cell is empty or says that there is no value (`n/a`, `-`, `.` ...).
    reasons
        Place of each unreadable cell (from 0) and why it could not be read.
    decimal
        The decimal sign of the column, `.` or `,`.
    decided
        True if a cell of the column (or the caller) shows which decimal sign is meant.
    ambiguous
        True if some cells can be read in two ways and were therefore left unread.
    notes
        What was noticed, as short sentences about the column.
    share
        Share of the filled cells that are numbers, in whichever way they are read; 0 where none is filled.
    """

    values: NDArray[np.float64]
    missing: NDArray[np.bool_]
    reasons: Mapping[int, str]
    decimal: str
    decided: bool
    ambiguous: bool
    notes: tuple[str, ...]
    share: float


class _OfCells(Mapping[int, str]):
    """Why cells were not read, by their places: the reason `why` of the text that stands in each, empty if it was."""

    def __init__(self, codes: NDArray[np.intp], why: list[str]) -> None:
        self.codes, self.why, self.there = codes, why, np.array(list(map(bool, why)), dtype=bool)[codes]

    def __getitem__(self, place: int) -> str:
        if not self.there[place]:
            raise KeyError(place)
        return self.why[self.codes[place]]

    def __iter__(self) -> Iterator[int]:
        return iter(self.there.nonzero()[0].tolist())

    def __len__(self) -> int:
        return int(self.there.sum())


def read_numbers(texts: Iterable[str], decimal: str = "", *, stated: bool = True, words: bool = False) -> NumbersRead:
    """Read the cells of a column as numbers.

    Spaces of any width and apostrophes may separate thousands; a per cent sign is left out (`45 %` is 45).

    Parameters
    ----------
    decimal
        `.` or `,` if it is known; the empty string lets the column decide. ValueError if it is something else.
    stated
        False if `decimal` was not said by a person, but concluded from other columns.
    words
        True if a word may stand beside the number (`5 - strong`, `7 cm`), as in a file from elsewhere.
    """
    if decimal not in ("", ".", ","):
        raise ValueError(f"the decimal sign is '.' or ',', not {decimal!r}")
    counts, codes = _distinct(texts)
    if decimal != "," and (plain := _plain_values(counts)) is not None:
        # a point that cannot stand between thousands
        decided = decimal == "." or any("." in text and _value(text, ",") is None for text in counts)
        unsure = "" if decided else next((text for text in counts if "." in text), "")
        notes = (f"the point was read as the decimal sign: {unsure} is {plain[unsure]:.12g}",) if unsure else ()
        return _as_read(codes, plain, {}, ".", decided=decided, notes=notes)
    return _read_with_care(codes, counts, decimal, stated=stated and bool(decimal), words=words)


def read_number_columns(
    columns: Mapping[str, Iterable[str]], decimal: str = "", *, words: bool = False
) -> dict[str, NumbersRead]:
    """Read the number columns of one file; `words` as in `read_numbers`.

    A column that does not show its decimal sign is read with the sign of the columns that do, if these agree.
    """
    read = {name: read_numbers(texts, decimal, words=words) for name, texts in columns.items()}
    signs = {column.decimal for column in read.values() if column.decided}
    if len(signs) != 1:
        return read
    sign = signs.pop()
    return {
        name: c if c.decided else read_numbers(columns[name], sign, stated=False, words=words)
        for name, c in read.items()
    }


def _distinct(texts: Iterable[str]) -> tuple[dict[str, int], NDArray[np.intp]]:
    """Return how often each different text occurs, and for each cell which of them it is."""
    if isinstance(texts, pd.Series | ExtensionArray):
        codes, distinct = texts.factorize()
        return dict(zip(distinct.tolist(), np.bincount(codes).tolist(), strict=True)), codes
    places: dict[str, int] = {}
    codes = np.array([places.setdefault(text, len(places)) for text in texts], dtype=np.intp)
    return dict(zip(places, np.bincount(codes).tolist(), strict=True)), codes


def _plain_values(counts: Mapping[str, int]) -> dict[str, float] | None:
    """Return the value of each distinct text if all are plain numbers or empty, else None."""
    values: dict[str, float] = {}
    for text in counts:
        if not text:
            values[text] = math.nan
        elif len(text) <= _LONGEST_NUMBER and _PLAIN.fullmatch(text) and math.isfinite(value := float(text)):
            values[text] = value
        else:
            return None
    return values


def _value(text: str, decimal: str) -> float | None:
    """Return the number that `text` is under one decimal sign, or None."""
    if part := re.fullmatch(r"(\d*) ?([\u00bd\u00bc\u00be]|(?<=\d )(?:1/[234]|2/3|3/4))", text, re.ASCII):
        return float(part[1] or 0) + float(Fraction(_PARTS.get(part[2], part[2])))
    if (found := _PATTERNS[decimal].fullmatch(text)) is None:
        return None
    digits = text.rstrip("% ").replace(found["mark"] or "", "")
    return float(digits.replace(" ", "").replace(decimal, "."))


def _read_with_care(
    codes: NDArray[np.intp], counts: Mapping[str, int], decimal: str, *, stated: bool, words: bool
) -> NumbersRead:
    """Read the distinct texts under both decimal signs, let the column choose one, then look every cell up."""
    cleaned = {text: as_seen(text).translate(_SAME_SIGN).removeprefix("'") for text in counts}  # ' for text
    asked = [text for text, clean in cleaned.items() if not says_none(clean)]
    reasons = {text: _TOO_LONG for text in asked if len(cleaned[text]) > _LONGEST_NUMBER}
    bare = {text: cleaned[text] for text in asked if text not in reasons}
    bare, of_words = _without_words(bare) if words else (bare, [])
    both = {text: (_value(clean, "."), _value(clean, ",")) for text, clean in bare.items()}
    evidence = {".": 0, ",": 0}
    for text, (point, comma) in both.items():
        if (point is None) != (comma is None):
            evidence["." if comma is None else ","] += counts[text]
    commas_two_ways = any("," in text and _two_ways(*pair) for text, pair in both.items())
    sign, settled = _decimal_sign(evidence, decimal, commas_two_ways)
    points_unclear = sign == "," and not stated and not any(map(_SHOWS_GROUPS.fullmatch, bare.values()))
    values = dict.fromkeys(counts, math.nan)
    for text, pair in both.items():
        clear = settled and not (points_unclear and "." in text)
        value, reason = _settle(text, pair, sign, settled=clear, stated=stated)
        if reason:
            reasons[text] = reason
        else:
            values[text] = value
    decided = bool(decimal) or sum(evidence.values()) > 0
    notes = _notes(evidence, sign, list(bare.values()), stated=stated)
    parted = [text for text, clean in bare.items() if _parted(clean, sign) and math.isfinite(values[text])]
    if parted:
        other = _SIGN_WORDS["," if sign == "." else "."]
        notes += (
            f"the {other} was read as standing between thousands: {parted[0].strip()} is {values[parted[0]]:.12g}",
        )
    none = [
        text for text, clean in cleaned.items() if says_none(clean) and clean.replace(" ", "") not in _SIGNS_OF_NONE
    ]
    said = [f"{text.strip()!r} was read as no value" for text in none]
    if said:
        notes += (said[0] if len(said) == 1 else f"{said[0]}, and so were {len(said) - 1} other ways to write it",)
    if typed := next((text for text in counts if text.lstrip().startswith("'") and math.isfinite(values[text])), ""):
        notes += (f"the apostrophe with which a spreadsheet marks a text was left out: {typed.strip()}",)
    if of_words:
        lead = re.match(_NUMBER, cleaned[of_words[0]])
        shown = of_words[:: len(of_words) - 1 or 1] if lead and lead[0] != bare[of_words[0]] else of_words[:1]
        told = " and ".join(f"{text.strip()!r} is {bare[text]}" for text in shown)
        notes += (f"what stands beside the number was left out: {told}",)
    return _as_read(codes, values, reasons, sign, decided=decided, notes=notes)


def says_none(clean: str) -> bool:
    """Return True if a cell is empty or says that there is no value: `n/a`, `-`."""
    return clean.casefold().replace(" ", "") in _MISSING


def _without_words(cleaned: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
    """Return the texts with the words beside their numbers taken off, and which texts had any.

    Only if each word goes with one number and each number with one word, as on a scale whose points have names, or if
    most cells have the same unit, into which others of its kind are turned. The name of a month is none: a date was a
    number. Words led by a number with no sign between are points where two of three or more texts at least are.
    """
    found_in = {text: found for text, clean in cleaned.items() if (found := _WITH_UNIT.fullmatch(clean))}
    units = {text: found["unit"].replace(" ", "") for text, found in found_in.items() if _is_within(found)}
    unit = Counter(units.values()).most_common(1)[0][0] if units else ""
    same = sorted((text for text in units if same_quantity(units[text], unit)), key=lambda text: units[text] == unit)
    if same and len(same) >= _MOSTLY * len(cleaned) and not month_called(unit):
        turned = {text: float(found_in[text]["first"].replace(",", ".")) for text in same if units[text] != unit}
        sign = "," if any("," in found_in[text]["first"] for text in same) else "."
        said = {t: f"{float(convert(turned[t], units[t], unit)):.12g}".replace(".", sign) for t in turned}
        return {**cleaned, **{text: found_in[text]["first"] for text in same}, **said}, same
    named, led = {}, []
    for text, clean in cleaned.items():
        found = _WITH_WORD.fullmatch(clean)
        word = (found["after"] or found["before"]).strip() if found else ""
        if found and not month_called(word):
            named[text] = (found["first"] or found["last"], word.casefold())
            led += [text] if found["first"] and not found["sign"] else []
    if len(led) < _POINTS or len(cleaned) <= _POINTS or any(known_unit(named[text][1]) for text in led):
        named = {text: said for text, said in named.items() if text not in led}
    numbers_of, words_of = {number for number, _ in named.values()}, {word for _, word in named.values()}
    if not named or not len(set(named.values())) == len(numbers_of) == len(words_of):
        return dict(cleaned), []
    return {text: named[text][0] if text in named else clean for text, clean in cleaned.items()}, list(named)


def _is_within(found: re.Match[str]) -> bool:
    """Return True if a number is within what it is out of, where that is said: 7 in `7/10`, not in `7/8`."""
    return not found["top"] or (found["top"] in _TOPS and float(found["first"].replace(",", ".")) <= int(found["top"]))


_TOPS = ("5", "7", "9", "10", "15", "20", "100", "150")  # of usual scales; `1/2` is a half, `7/8` two scores
_MOSTLY = 0.8  # of the different texts of a column have its unit
_POINTS = 2  # texts of a column that are led by a number


def month_called(word: str) -> int:
    """Return which month a word is, 0 if it is none."""
    plain = "".join(sign for sign in unicodedata.normalize("NFKD", word.casefold()) if sign.isalpha())
    return next((number for number, names in enumerate(_MONTHS, start=1) if plain in names), 0)


_DAY = re.compile(
    r"(?P<day>\d{1,2})[-. /]{1,2}(?P<month>[^\W\d_]{3,10})\.?|\d{4}-(?P<m>\d\d)-(?P<d>\d\d)(?: 00:00:00)?"
)
_SLIPS = str.maketrans({"O": "0", "o": "0", "l": "1", "I": "1"})


def proposed_number(text: str) -> float | None:
    """Return the number that an unreadable cell most likely means, to be confirmed; None if nothing is likely.

    A letter for a figure (`1O`), a mark behind it (`7,5*`), a blank inside (`7 ,5`), a word beside it (`5 - strong`),
    or a date that a spreadsheet made of a number (`03. May` of 3.5). What says more or less (`<1`) is not proposed.
    """
    clean = as_seen(unicodedata.normalize("NFKC", text)).translate(_SAME_SIGN)
    if found := _DAY.fullmatch(clean):
        month = int(found["m"]) if found["m"] else month_called(found["month"])
        return float(f"{int(found['d'] or found['day'])}.{month}") if month else None
    if found := _WITH_WORD.fullmatch(clean):
        clean = found["first"] or found["last"]
    elif (found := _WITH_UNIT.fullmatch(clean)) and not found["top"]:
        clean = found["first"]
    bare = re.sub(r"\s", "", clean.strip("'\"*?!()~# ").translate(_SLIPS))
    read = read_numbers([bare])
    return None if read.reasons or math.isnan(read.values[0]) else float(read.values[0])


def _parted(text: str, sign: str) -> bool:
    """Return True if a number has one sign between its thousands that others write before decimals (`1,234`)."""
    found = _PATTERNS[sign].fullmatch(text)
    return found is not None and found["mark"] in (".", ",")


def _two_ways(point: float | None, comma: float | None) -> bool:
    return point is not None and comma is not None and point != comma


def _settle(
    text: str, pair: tuple[float | None, float | None], sign: str, *, settled: bool, stated: bool
) -> tuple[float, str]:
    """Return the value of one text, or NaN and the reason why it has none."""
    point, comma = pair
    if not settled and _two_ways(point, comma):
        mark = "comma" if "," in text else "point"
        return math.nan, _TWO_READINGS.format(point=f"{point:.15g}", comma=f"{comma:.15g}", sign=mark)
    first, second = (comma, point) if sign == "," else (point, comma)
    if first is None and second is not None and stated:
        return math.nan, _OTHER_SIGN.format(sign=_SIGN_WORDS[sign])
    value = second if first is None else first
    if value is None:
        return math.nan, NOT_A_NUMBER
    return (value, "") if math.isfinite(value) else (math.nan, _TOO_LARGE)


def _decimal_sign(evidence: Mapping[str, int], decimal: str, commas_two_ways: bool) -> tuple[str, bool]:
    """Return the decimal sign, and whether cells that can be read in two ways may be read by it.

    A column whose only separators are points with three digits behind them (`1.234`) is read with a decimal
    point, as files are by default. Commas in the same situation stay unread, and so do such points in a column of
    decimal commas where no other cell shows that points stand between thousands.
    """
    if decimal:
        return decimal, True
    more, fewer = (".", ",") if evidence["."] >= evidence[","] else (",", ".")
    if evidence[more] == 0:
        return ".", not commas_two_ways
    return more, evidence[fewer] * _CLEAR_MAJORITY <= evidence[more]


def _notes(evidence: Mapping[str, int], sign: str, cleaned: Iterable[str], *, stated: bool) -> tuple[str, ...]:
    """Return what is worth telling about the column."""
    notes = []
    if evidence["."] and evidence[","] and not stated:
        notes.append(f"decimal commas ({evidence[',']}) and decimal points ({evidence['.']}) are mixed")
    elif sign == "," and evidence[","]:
        notes.append("the comma was read as the decimal sign")
    if any(text.endswith("%") for text in cleaned):
        notes.append("per cent signs were left out")
    return tuple(notes)


def _as_read(
    codes: NDArray[np.intp],
    values: Mapping[str, float],
    why: Mapping[str, str],
    decimal: str,
    *,
    decided: bool,
    notes: tuple[str, ...] = (),
) -> NumbersRead:
    """Put the values of the distinct texts, in the order of their codes, back into the order of the cells."""
    read = np.array(list(values.values()), dtype=float)[codes]
    of_cells = _OfCells(codes, [why.get(text, "") for text in values])
    missing = np.isnan(read) & ~of_cells.there
    two_ways = np.array([reason.startswith("could be ") for reason in of_cells.why], dtype=bool)
    share = 0.0 if missing.all() else float((np.isfinite(read) | two_ways[codes])[~missing].mean())
    return NumbersRead(read, missing, of_cells, decimal, decided, bool(two_ways.any()), notes, share)


# What number did somebody type into a field? Read as in a file: a decimal point or comma, never guessed.


def typed_number(text: str, what: str) -> float | None:
    """Return the number in a typed text; None if the text is empty.

    Raises
    ------
    StudyError
        If it is no number, or could be two; the message begins with `what`.
    """
    read = read_numbers([text])
    if not read.reasons:
        return None if math.isnan(read.values[0]) else float(read.values[0])
    reason = read.reasons[0]
    if reason.startswith("could be "):
        readings = reason.removeprefix("could be ").partition(":")[0]
        raise StudyError(
            f"{what} cannot be read: {text.strip()!r} could be {readings}. Write it one of these two ways."
        )
    raise StudyError(f"{what} cannot be read: {text.strip()!r} is {reason}. Write it with digits, such as 7.5 or 7,5.")


def typed_whole(text: str, what: str) -> int | None:
    """Return the whole number in a typed text; None if the text is empty; StudyError as for `typed_number`."""
    number = typed_number(text, what)
    if number is not None and not number.is_integer():
        raise StudyError(f"{what} must be a whole number.")
    return None if number is None else int(number)


_STANDARD_GRAVITY = 9.80665  # m/s2, exact by definition (CGPM 1901)
_GRAM_FORCE = 1e-3 * _STANDARD_GRAVITY  # N

# What is measured, and each unit as so many SI units of it. Those of no quantity but their own turn into nothing else.
_QUANTITIES: dict[str, dict[str, float]] = {
    "force": {"N": 1.0, "mN": 1e-3, "g": _GRAM_FORCE, "kg": 1e3 * _GRAM_FORCE},
    "mass": {"g": 1e-3, "mg": 1e-6, "µg": 1e-9, "kg": 1.0},
    "force x time": {"N s": 1.0, "mN s": 1e-3, "g s": _GRAM_FORCE},
    "work": {"J": 1.0, "mJ": 1e-3, "N mm": 1e-3, "N m": 1.0, "g mm": 1e-3 * _GRAM_FORCE},
    "viscosity": {"Pa s": 1.0, "mPa s": 1e-3, "cP": 1e-3, "P": 0.1},
    "kinematic viscosity": {"mm2/s": 1e-6, "cSt": 1e-6},
    "stress": {"Pa": 1.0, "kPa": 1e3, "mPa": 1e-3},
    "shear rate": {"1/s": 1.0, "1/min": 1.0 / 60.0},
    "length": {"mm": 1e-3, "0.1 mm": 1e-4, "µm": 1e-6, "cm": 1e-2, "m": 1.0},
    "area": {"mm2": 1e-6, "cm2": 1e-4},
    "speed": {"mm/s": 1e-3, "mm/min": 1e-3 / 60.0},
    "time": {"s": 1.0, "min": 60.0, "h": 3600.0},
    "surface tension": {"mN/m": 1e-3, "N/m": 1.0},
    "density": {"g/mL": 1e3, "kg/m3": 1.0},
    "volume": {"mL": 1e-6, "µL": 1e-9},
    "angle": {"°": 1.0},
    "angular speed": {"°/s": 1.0},
    "gloss": {"GU": 1.0},
    "conductivity": {"S/m": 1.0, "µS/cm": 1e-4, "mS/cm": 0.1},
    "number": {"1": 1.0, "%": 1e-2},
    "pH": {"pH": 1.0},
    "temperature": {"°C": 1.0},
    "share by mass": {"mg/g": 1e-3},
    "signal": {"a.u.": 1.0},
}

_KNOWN_UNITS = tuple(dict.fromkeys(unit for units in _QUANTITIES.values() for unit in units))

# Other ways of writing, without dots and spaces. Capitals count: MPa is not mPa, nm is not N m.
_ALSO_WRITTEN = {
    "gf": "g", "kgf": "kg", "gfs": "g s", "gsec": "g s", "gfmm": "g mm", "mpas": "mPa s", "pas": "Pa s", "pa": "Pa",
    "cp": "cP", "cps": "cP", "cst": "cSt", "s-1": "1/s", "/s": "1/s", "1/sec": "1/s", "sec-1": "1/s",
    "min-1": "1/min", "sec": "s", "mms-1": "mm/s", "mm/sec": "mm/s", "mNm-1": "mN/m", "deg": "°", "deg/s": "°/s",
    "degC": "°C", "C": "°C", "um": "µm", "ug": "µg", "ul": "µL", "uL": "µL", "ml": "mL", "uS/cm": "µS/cm",
    "g/ml": "g/mL", "g/cm3": "g/mL", "0,1mm": "0.1 mm", "1/10mm": "0.1 mm", "gu": "GU", "au": "a.u.", "AU": "a.u.",
    "ph": "pH", "PH": "pH", "-": "1", "": "1",
}  # fmt: skip
_IN_WORDS = {  # capitals do not count; from memory
    word: unit
    for unit, words in (
        ("s", "sec secs second seconds sek sekunde sekunden segundos seconde secondes secondi"),
        ("min", "mins minute minutes minuten minutos minuti"),
        ("h", "hr hrs hour hours std stunde stunden heures horas ore"),
    )
    for word in words.split()
}
_UNTIL = ("to", "until", "till", "before", "bis", "jusqu'à", "hasta", "fino")  # `Seconds to disappear`
TIMES = ("s", "min", "h")


def _bare(text: str) -> str:
    """Return a unit without spaces, dots between letters and raised figures, one sign for micro."""
    plain = unicodedata.normalize("NFKC", text).replace("−", "-").replace("·", ".").replace("⋅", ".")
    return re.sub(r"[\s^*]|(?<!\d)\.", "", plain)


_AS_WRITTEN = {_bare(name): name for name in _KNOWN_UNITS} | {_bare(text): name for text, name in _ALSO_WRITTEN.items()}


def known_unit(text: str) -> str | None:
    """Return the unit a text stands for, as it is written here, or None if it is not known.

    Spaces, dots between letters and raised figures do not count: `mPa.s`, `mPa·s` and `mPas` are `mPa s`. Capitals do.
    An empty text is `1`, a plain number.
    """
    bare = _bare(text)
    return _AS_WRITTEN.get(bare) or _IN_WORDS.get(bare.casefold())


def unit_of_heading(heading: str) -> str:
    """Return the unit that a heading ends in, such as `cm2` in brackets, behind a comma or a blank; empty if in none.

    Behind a figure it is a time or an amount (`tack 5 min`); a letter of its own is no unit behind a blank, and never a
    capital: that is a name.
    """
    found = _UNIT_AT_END.search(heading)
    words = heading.split()
    if len(words) > 2 and words[1].casefold() in _UNTIL and _bare(words[0]).casefold() in _IN_WORDS:
        return words[0]
    ends = [found[1]] if found else [" ".join(words[-2:]), words[-1]] if len(words) > 1 else []
    if not found and ends and words[-2][-1].isdigit():
        return ""
    for unit in ends:
        first = _bare(re.split("[/ ]", unit)[0])
        known = known_unit(unit) or (known_unit(first) if "/" in unit else None)
        alone = len(unit) == 1 and (not found or unit.isupper())
        if known and not alone and known not in _QUANTITIES["number"]:
            return unit
    return ""


_UNIT_AT_END = re.compile(r"(?:[(\[]|, |\b(?:in|en) )([^()\[\],]+)[)\]]?\s*$")


def measured(heading: str) -> tuple[str, str]:
    """Return what a heading says was measured, and in which unit: `Peak force (g)`; no unit where it says none."""
    unit = unit_of_heading(heading) or next(iter(re.findall(r"[(\[]([^()\[\]]*)[)\]]$", heading)), "")
    known = known_unit(unit) if unit else None
    words = re.sub(rf"[\s,]*(?:[(\[]|\b(?:in|en) )?{re.escape(unit)}[)\]]?\s*$", "", heading)
    return (words, known) if known and words else (heading, unit_of_heading(heading))


def read_unit(text: str) -> str:
    """Return the unit a text stands for; StudyError if it is not known."""
    found = known_unit(text)
    if found is None:
        raise StudyError(
            f"The unit {text!r} is not known. Write one of: {', '.join(_KNOWN_UNITS)}. For a plain number write 1."
        )
    return found


def same_quantity(first: str, second: str) -> bool:
    """Return whether one unit can be turned into the other; an unknown unit only into itself."""
    known = known_unit(first), known_unit(second)
    return first == second or (None not in known and _factor(str(known[0]), str(known[1])) is not None)


def convert(values: ArrayLike, unit_from: str, unit_to: str) -> NDArray[np.float64]:
    """Return values given in one unit as values in another.

    Raises
    ------
    StudyError
        If a unit is not known, or the two measure different things.
    """
    first, second = read_unit(unit_from), read_unit(unit_to)
    factor = _factor(first, second)
    if factor is None:
        raise StudyError(
            f"{first} cannot be turned into {second}: {_measures(first)} is not {_measures(second)}. Correct the unit."
        )
    return np.asarray(values, dtype=float) * factor


def _factor(first: str, second: str) -> float | None:
    units = next((units for units in _QUANTITIES.values() if first in units and second in units), None)
    return units[first] / units[second] if units else None


def _measures(name: str) -> str:
    return " or ".join(quantity for quantity, units in _QUANTITIES.items() if name in units)
