"""What the things of a study are called, when they were tried, and which measure is an attribute's partner."""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

import pandas as pd

from panel.study.knowledge import is_counted, shared_table, stated_scale
from panel.study.numbers_read import TIMES, measured, unit_of_heading
from panel.study.study import Study, kept
from panel.words import (
    NOTHING,
    as_seen,
    counted,
    first_few,
    format_change,
    format_interval,
    format_number,
    format_typed,
    format_window,
    less_of,
)

_SHORT_SCALE = 15.0  # such as 0 to 10, 1 to 9, or 15 cm
_SHORTEST_SCALE = 1.5  # such as 0 to 1


@dataclass(frozen=True, slots=True)
class Naming:
    """Words for attributes and prototypes, the stage of each attribute, and the scale scores are on.

    Parameters
    ----------
    attributes, stages
        Short name to words (what is not there keeps its short name), and to its stage of use.
    prototypes
        Every prototype in the order of the study: short name to the name in words, empty where there is none.
    scale
        Such as `0 to 100`; empty where attributes have several scales or the study does not say.
    digits
        Decimals for scores and their differences: 1, 2 on short scales, 3 on one of 0 to 1.
    own_digits
        Short name of an attribute to the decimals of its own scale, where the study states that.
    units
        Short name of an attribute to the unit of its scores, where it is measured.
    mixed
        Whether attributes have several scales or units: sizes on one say nothing of sizes on another.
    span, verbs
        How long the longest scale is (infinite where none is stated); attributes named by a verb or an adjective.
    """

    attributes: Mapping[str, str] = field(default_factory=dict)
    stages: Mapping[str, str] = field(default_factory=dict)
    prototypes: Mapping[str, str] = field(default_factory=dict)
    scale: str = ""
    digits: int = 1
    own_digits: Mapping[str, int] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    mixed: bool = False
    span: float = float("inf")
    verbs: frozenset[str] = frozenset()

    def attribute(self, attribute: str) -> str:
        """Words for an attribute."""
        return self.attributes.get(attribute) or attribute

    def amount(self, attribute: str, *, up: bool) -> tuple[str, str]:
        """Return what says more or less of an attribute, and of what: `fewer`, `strokes`; `less of`, `“seam rubs”`."""
        words, of = self.attribute(attribute), attribute in self.verbs
        word = "more" if up else "less" if of else less_of(words)
        return (f"{word} of", f"“{words}”") if of else (word, words)

    def margins(self, margins: Mapping[str, float]) -> str:
        """Return smallest differences that matter as they were typed: `8`, or `8; drying time 20 s`."""
        usual = max(margins.values(), key=list(margins.values()).count)
        own = {name: size for name, size in margins.items() if size != usual or name in self.units}
        told = [self._with_unit(name, f"{self.attribute(name)} {format_typed(size)}") for name, size in own.items()]
        return "; ".join([format_typed(usual)] * (len(own) < len(margins)) + told)

    def measure(self, attribute: str) -> str:
        """Words for an attribute beside its numbers: the unit behind it, where it has one."""
        unit = self.units.get(attribute, "")
        return f"{self.attribute(attribute)} ({unit})" if unit else self.attribute(attribute)

    def digits_of(self, attribute: str) -> int:
        """Decimals for scores of an attribute."""
        return self.own_digits.get(attribute, self.digits)

    def number(self, attribute: str, value: float) -> str:
        """Return a score or mean of an attribute with its unit."""
        return self._with_unit(attribute, format_number(value, self.digits_of(attribute)))

    def change(self, attribute: str, value: float, digits: int | None = None) -> str:
        """Return a difference on an attribute with its sign and unit."""
        return self._with_unit(attribute, format_change(value, self.digits_of(attribute) if digits is None else digits))

    def interval(self, attribute: str, low: float, high: float) -> str:
        """Return an interval on an attribute with its unit."""
        return self._with_unit(attribute, format_interval(low, high, self.digits_of(attribute)))

    def window(self, attribute: str, low: float, high: float, *, typed: bool = True) -> str:
        """Return a target window of an attribute with its unit; one worked out has the decimals of the scores."""
        return format_window(low, high, None if typed else self.digits_of(attribute), self.unit(attribute))

    def unit(self, attribute: str) -> str:
        """Return the unit behind a number of an attribute, a blank before it; empty where it has none."""
        return f"\u00a0{self.units[attribute]}" if attribute in self.units else ""

    def _with_unit(self, attribute: str, text: str) -> str:
        return text if text == NOTHING else f"{text}{self.unit(attribute)}"

    def stage(self, attribute: str) -> str:
        """Stage of use in which an attribute is judged; empty if the study does not say."""
        return self.stages.get(attribute, "")

    def prototype(self, prototype: str) -> str:
        """Short name of a prototype, followed by its name in words if that says more."""
        words = self.prototypes.get(prototype, "")
        return f"{prototype} ({words})" if words and words != prototype else prototype

    def with_scale(self, heading: str) -> str:
        """Return a column heading with the scale behind it: `Mean (0 to 100)`."""
        return f"{heading} ({self.scale})" if self.scale else heading


@kept
def naming(study: Study) -> Naming:
    """Return the words of a study; attributes of the same words are told apart by their minutes or short names."""
    names, stages, told, at_minutes, defined = study.listed(
        "attributes", "attribute", "stage", "unit", "minutes", "definition"
    )
    words = {attribute: study.attribute_words(attribute) for attribute in study.attributes}
    minutes = dict(zip(names, map(float, at_minutes), strict=True))
    at = Counter((text, minutes.get(attribute)) for attribute, text in words.items())
    alone = {(text, each): each for (text, each), count in at.items() if each is not None and count == 1}
    used = Counter(words.values())
    own = dict(zip(words, study.scales(words), strict=True))
    scales = set(own.values())
    units = {name: str(unit) for name, unit in zip(names, told, strict=True) if unit}
    length = _longest(scales, study)
    return Naming(
        attributes={
            attribute: _told_apart(attribute, text, alone.get((text, minutes.get(attribute)), math.nan))
            if used[text] > 1 or timed_words(attribute)[0] == text
            else text
            for attribute, text in words.items()
        },
        stages=dict(zip(names, stages, strict=True)),
        prototypes=dict.fromkeys(study.prototypes, "")
        | dict(zip(*study.listed("prototypes", "prototype", "name"), strict=True)),
        scale=_scale(scales),
        digits=decimals(length),
        own_digits={name: decimals(scale[1] - scale[0]) for name, scale in own.items() if scale is not None},
        units=units,
        mixed=len({(scale, units.get(name)) for name, scale in own.items()}) > 1,
        verbs=frozenset(n for n, text in zip(names, defined, strict=True) if _is_no_noun(words.get(n, ""), text)),
        span=length if scales and None not in scales else float("inf"),
    )


def _is_no_noun(words: str, definition: str) -> bool:
    """Return whether an attribute is named by a verb or an adjective: seam rubs; sticky, or smooth for how smooth."""
    adjective = re.fullmatch(r"\w{3,}(?<![ti])y", words) or f"how {words.casefold()} " in f"{definition} ".casefold()
    return bool(adjective and words) or done_by(words, definition)[0] != ""


_HOW = r"\bhow (?:much|far|well|long|hard|often|\w+ly)\b"


def done_by(words: str, definition: str) -> tuple[str, str, str]:
    """Return a name up to its verb, the adverb and the rest: smells, strongly, in the steam; empty without a verb.

    It is one where an adverb or article follows, or the definition says how much that is done: how much the seam rubs.
    """
    parts, told = [*words.split(), ""], str(definition).casefold()
    for n, (word, after) in enumerate(pairwise(parts[:3])):
        adverb, of = after * after.endswith("ly"), after in ("a", "an", "the") and n == 0
        does = re.fullmatch(r"[a-z]{2,}(?<!s)s", word.casefold())
        if does and (adverb or of or re.search(rf"{_HOW}.*\b{does[0]}\b(?! (?:is|are|there)\b)", told)):
            return " ".join(parts[: n + 1]), adverb, " ".join(parts[n + 1 + bool(adverb) :]).strip()
    return "", "", ""


def _told_apart(attribute: str, words: str, minutes: float) -> str:
    """Return words that no other attribute has: a short name that begins with them, else with their own minutes."""
    if attribute.startswith(words):
        return attribute
    if math.isnan(minutes):
        return f"{words}, {attribute}"
    hours = minutes / 60
    told = f"{format_typed(hours)} h" if hours >= 1 and hours.is_integer() else f"{format_typed(minutes)} min"
    return f"{words} at {told}"


_AFTER = r"(?:(?:after|at|nach|apr[eè]s|despu[eé]s de|dopo|t ?[+=])[\s_]*|@ ?)?"
_UNITS = {
    1 / 60: "s|secs?|seconds?|sek|sekunden?|segundos?|secondi|secondes?|''|\"|\u2033|\u201d",
    1.0: "min|mins|minutes?|minuten?|minutos?|minuti|'|\u2032|\u2019|\u00b4",
    60.0: "h|hrs?|hours?|std|stunden?|heures?|horas?|or[ae]",
}
_TIME = rf"{_AFTER}(?P<number>\d+(?:[.,]\d+)?)[\s_-]?(?P<unit>{'|'.join(_UNITS.values())})\.?"
_TIMED = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (rf"(?P<words>.*?\w)[\s_,;:(\[-]+{_TIME}[)\]]?", rf"{_TIME}[\s_,;:-]+(?P<words>[^\W\d].*)")
)


_AT_ONCE = re.compile(  # and no more words behind it: right after drying is another moment
    r"(?P<words>.*?\w)[\s_]*[,;:(\[-]+\s*"
    r"(?:right|directly|immediately|straight) (?:after|away)(?: use| application)?\s*[)\]]?",
    re.IGNORECASE,
)
_SPAN = re.compile(rf"(?<![\w.,])\d+(?:[.,]\d+)?\s*(?:[-–—/]|to|bis|à|a)\s*{_TIME}", re.IGNORECASE)  # no one moment


def timed_words(attribute: str) -> tuple[str, float]:
    """Return the words of a name such as `greasy after 5 min`, and its minutes; the name and NaN where it has none.

    Of `Film (5 min, own arm)` the words are `Film (own arm)`; of two times none is read.
    """
    name = attribute.strip()
    if at_once := _AT_ONCE.fullmatch(name):
        return at_once["words"], 0.0
    listed = [part for part in _PARTS.finditer(name) if re.fullmatch(_TIME, part["part"], re.IGNORECASE)]
    found = next(filter(None, (pattern.fullmatch(name) for pattern in _TIMED)), None)
    words = _closed(found["words"]) if found else ""
    if len(listed) == 1 and (not found or words != found["words"]):
        found = re.fullmatch(_TIME, listed[0]["part"], re.IGNORECASE)
        words = re.sub(_EMPTY, "", f"{name[: listed[0].start('part')]}{name[listed[0].end('part') :]}")
    two = len(listed) > 1 or (listed and re.search(rf"(?<![\w.,]){_TIME}(?!\w)", words, re.IGNORECASE))
    if not found or two or _SPAN.search(name):
        return attribute, float("nan")
    of_one = next(minutes for minutes, units in _UNITS.items() if re.fullmatch(units, found["unit"], re.IGNORECASE))
    return words, float(found["number"].replace(",", ".")) * of_one


_PARTS = re.compile(  # `5 min` in `(5 min, own arm)`
    r"(?:[;(\[]|,(?!\d))\s*(?P<part>(?:[^,;()\[\]]|,(?=\d))*[^,;()\[\]\s])(?=\s*(?:[;)\]]|,(?!\d)))"
)
_EMPTY = r"\s*[(\[]\s*[)\]]|[\s,;]+(?=[,;)\]])|(?<=[(\[])[\s,;]+"


def _closed(words: str) -> str:
    """Return words of which what stood last in brackets was taken out."""
    return f"{words})" if words.count("(") > words.count(")") else words


def says_when(text: str, *, timed: bool = False) -> bool:
    """Return True if a text says when, or in which state, it was judged: `2 min`, `rub-out`; by time if `timed`."""
    words = text.strip()
    at = re.fullmatch(rf"{_TIME}(?: (?:after|following|once) .+|[,;] .*[^\W\d].*)?", words, re.IGNORECASE)
    at = at or _AT_ONCE.fullmatch(f"it, {words}")
    return bool(at or (not timed and (_LED.match(words) or is_stage(words))))


def is_stage(text: str) -> bool:
    """Return True if a text is the name of a stage of use: `rub-out`, `After feel`."""
    return text.strip().casefold().replace(" ", "-") in set(shared_table("stage_times")["stage"].str.replace(" ", "-"))


_LED = re.compile(
    r"(?:right |directly |immediately |straight |still )?(?:after|before|during|while|when|once|until|at|on|in|nach|vor"
    r"|während|beim?|auf|après|avant|pendant|después|antes|durante|dopo|prima|su|sur|sobre)\b.",
    re.IGNORECASE,
)
_IN_BRACKETS = re.compile(r"(?P<words>.*?\S)(?P<scale>\s*[\[(][^\])]*[\])])?")


def at_moment(attribute: str, moment: str) -> str:
    """Return the name of an attribute at a moment, before the scale in it: `Greasy film, 2 min [0-10]`."""
    found = _IN_BRACKETS.fullmatch(attribute)
    if not moment or found is None:
        return attribute
    begins = moment[0].lower() if moment[1:2].islower() else moment[0]
    return f"{found['words']}, {begins}{moment[1:]}{found['scale'] or ''}"


def measured_units(names: Collection[str]) -> dict[str, str]:
    """Return the attributes whose names carry a unit that is not the one of most of them, each with it; times always.

    A unit that most of them carry, such as mm, is how long the line of the scale is.
    """
    units = {name: measured(stated_scale(name)[0])[1] for name in names if unit_of_heading(stated_scale(name)[0])}
    counts = Counter(units.get(name, "") for name in names)
    usual = max(counts, key=lambda unit: (counts[unit], not unit), default="")
    return {name: unit for name, unit in units.items() if unit != usual or unit in TIMES}


def counted_alone(names: Iterable[str]) -> dict[str, str]:
    """Return the attributes that are counted by their names, which no scale of what is rated is of, and that said."""
    found = [name for name in names if is_counted(name) and not stated_scale(name)[1]]
    return {name: f"Counted, not rated, so the scale is not its own: {name!r}." for name in found}


def with_headings_read(attributes: pd.DataFrame) -> pd.DataFrame:
    """Return attributes with the words, minutes and units of names such as `greasy after 5 min`, `time to dry [s]`."""
    names = attributes["attribute"]
    units = measured_units(names)
    bare = [measured(name)[0] if name in units else stated_scale(name)[0] for name in names]
    timed = [timed_words(name) for name in bare]
    words = ["" if word == name else word for (word, _), name in zip(timed, names, strict=True)]
    minutes = [each for _, each in timed]
    return attributes.assign(name=words, minutes=minutes, unit=[units.get(name, "") for name in names])


RUBBED_IN = "after rubbing in"
"""What minutes count from where neither the name of an attribute nor the study says otherwise."""
_EVENT = re.compile(r"[\s_,;:(\[-]+(?P<lead>after|following|once) (?P<event>[^\W\d][^,;()\[\]]*)", re.IGNORECASE)
_NO_EVENT = frozenset(("feel", "touch", "taste", "look"))  # waxy after feel
_ANY_UNIT = re.compile(rf"\b(?:{'|'.join(_UNITS.values())}|days?|weeks?|months?)\b", re.IGNORECASE)


@lru_cache(maxsize=10_000)
def moment_words(attribute: str) -> tuple[str, float, str]:
    """Return the words, the minutes and what these count from, of a name such as `tightness 10 min after drying`."""
    name, minutes = timed_words(attribute)
    found = next((each for each in _EVENT.finditer(name) if each["event"].split()[0] not in _NO_EVENT), None)
    if found is None or _ANY_UNIT.search(found["event"]):  # after five minutes, after a day in the sun
        return name, minutes, ""
    words, before = timed_words(_closed(f"{name[: found.start()]}{name[found.end() :].lstrip(' )]')}"))
    after = f"{found['lead'].casefold()} {found['event'].strip()}"
    return words, before if math.isnan(minutes) else minutes, after


def judged_minutes(study: Study, attribute: str) -> float:
    """Return at how many minutes an attribute is judged, by the table or else by its name; NaN if neither says so."""
    stated = _minutes_of_attributes(study).get(attribute, float("nan"))
    named = (moment_words(each)[1] for each in (study.attribute_words(attribute), attribute))
    return next((each for each in (stated, *named) if not math.isnan(each)), float("nan"))


@kept
def _minutes_of_attributes(study: Study) -> dict[str, float]:
    """Return the minutes of each attribute, of the first row that has it."""
    table = study.table("attributes")
    return dict(
        zip(reversed(table["attribute"].tolist()), map(float, reversed(table["minutes"].tolist())), strict=True)
    )


def judged_after(study: Study, attribute: str, *, timed: bool = False) -> str:
    """Return what the minutes of an attribute count from: `after drying`, by its name, else by the fact `moment`.

    Empty where the study states a moment and no minutes tie this attribute to it; `timed` where some are known.
    """
    named = (moment_words(each)[2] for each in (study.attribute_words(attribute), attribute))
    stated = " ".join(str(study.facts.get("moment", "")).split())
    if stated and not re.match("after|following|once", stated, re.IGNORECASE):
        stated = f"after {stated}"
    tied = timed or not math.isnan(judged_minutes(study, attribute))
    return next(filter(None, named), (stated if tied else "") if stated else RUBBED_IN)


def when_judged(study: Study, attribute: str, minutes: float, time: str) -> str:
    """Return when an attribute is judged, `minutes` being `time` in words: 10 min after drying, right after drying."""
    after = judged_after(study, attribute, timed=not math.isnan(minutes))
    if math.isnan(minutes):
        return after if after != RUBBED_IN else ""
    soon = "right " if after.startswith("after ") else ""
    return f"{time} {after}" if minutes > 0 else f"{soon}{after}"


def decimals(length: float) -> int:
    """Return the decimals for scores on a scale of this length."""
    return 3 if length <= _SHORTEST_SCALE else 2 if length <= _SHORT_SCALE else 1


def _scale(scales: Set[tuple[float, float] | None]) -> str:
    known = next(iter(scales)) if len(scales) == 1 else None
    if known is None:
        return ""
    return " to ".join(format_number(end, 0 if end == round(end) else 1) for end in known)


def _longest(scales: Set[tuple[float, float] | None], study: Study) -> float:
    """Return the length of the longest scale; where none is stated, how far apart the scores lie."""
    lengths = [scale[1] - scale[0] for scale in scales if scale is not None]
    if not lengths:
        scores = study.scores["score"]
        lengths = [float(scores.max() - scores.min())]
    return max(lengths)


# Which instrument measure goes with which attribute.


_IN_STUDY, _IN_LEXICON = "the attributes table", "the lexicon"


def bare_measure(name: str) -> str:
    """Return the name of a measure without capitals and needless spaces."""
    return " ".join(name.split()).casefold()


def declared_pairs(study: Study, measures: pd.Series) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the pairs of attribute and measure declared before the readings were compared, and those not measured.

    The partner in the study's attributes table comes before the usual one of the lexicon; several are separated by
    `;`. The expected direction (`same`, `opposite` or, not known, empty) and its source are the lexicon's.
    """
    usual = {str(row["attribute"]): row for row in shared_table("lexicon").to_dict("records")}
    own = study.table("attributes").drop_duplicates("attribute").set_index("attribute")["partner"]
    present = {bare_measure(str(name)): str(name) for name in measures}
    rows: list[tuple[str, str, str, str, str]] = []
    absent: list[tuple[str, str]] = []
    for attribute in study.attributes:
        stated = str(own.get(attribute, ""))
        known = usual.get(attribute, {"partner": "", "partner_direction": "", "partner_source": ""})
        partners = stated or str(known["partner"])
        for partner in filter(None, (name.strip() for name in partners.split(";"))):
            measure = present.get(bare_measure(partner))
            if measure is None:
                absent += [(attribute, partner)] if stated else []
                continue
            same = bare_measure(str(known["partner"])) == bare_measure(partner)
            expected, source = (str(known[f"partner_{what}"]) if same else "" for what in ("direction", "source"))
            rows.append((attribute, measure, expected, source, _IN_STUDY if stated else _IN_LEXICON))
    return pd.DataFrame(
        rows, columns=["attribute", "measure", "expected", "source", "declared"], dtype="str"
    ), pd.DataFrame(absent, columns=["attribute", "measure"], dtype="str")


# Columns of somebody's own sheet, known by what the study calls its own, and rows of what it has several of.


_MOSTLY = 0.8  # share of the cells of a column that must be names of the study
_OWNERS = {"prototype": "prototypes", "attribute": "attributes"}
_AT = re.compile(r"(?P<of>.*\S)(?:,\s*(?P<at>[^,]+)|\s*[(\[](?P<within>[^()\[\]]+)[)\]])")
_END = re.compile(r"(?P<point>-?\d+(?:[.,]\d+)?)(?:\s*(?:=|:|means?\b|is\b|bedeutet\b|signifie\b|significa\b).*)?")


def known_by_cells(
    columns: Sequence[str], rows: Sequence[Sequence[str]], certain: Sequence[str], study: Study
) -> list[str]:
    """Return which of the columns of a table each heading names, also as its cells tell.

    A column of which the cells are prototypes, or attributes, of the study is that column, whatever stands above it:
    what its heading alone made one is then the name in words. Two headings that are points of a scale are its ends.
    """
    found = list(certain)
    for role in (role for role in _OWNERS if role in columns):
        names, cells = _names(study, role), list(zip(*rows[1:], strict=True))
        short = {_folded(each) for each in _short(study, role)}
        by_short, by_any = ([n for n, own in enumerate(cells) if _are_of(own, of)] for of in (short, names))
        places = by_short or by_any
        if len(places) == 1 and found[places[0]] in ("", "name"):
            held = found.index(role) if role in found else None
            found[places[0]] = role
            if held is not None:
                found[held] = "name" if "name" in columns and "name" not in found else ""
    return _with_ends(found, columns, rows[0])


def _folded(cell: str) -> str:
    return as_seen(cell).casefold()


def _short(study: Study, role: str) -> list[str]:
    return [str(each) for each in study.listed(_OWNERS[role], role)[0]]


def _names(study: Study, role: str) -> Mapping[str, list[str]]:
    """Return what prototypes or attributes of a study are called, in small letters, each to the short names it is of.

    An attribute may be called without its moment: `Tightness` of `Tightness, after rinsing`.
    """
    called: dict[str, list[str]] = {}
    short = _short(study, role)
    for each, name in zip(short, study.listed(_OWNERS[role], "name")[0], strict=True):
        at = _AT.fullmatch(each)
        words = [str(name), at["of"] if at and says_when(at["at"] or at["within"]) else ""]
        for word in dict.fromkeys(map(_folded, words)):
            called.setdefault(word, []).append(each)
    return {word: of for word, of in called.items() if word} | {_folded(each): [each] for each in short}


def _are_of(cells: Sequence[str], names: Collection[str]) -> bool:
    return bool(cells) and sum(_folded(cell) in names for cell in cells) >= _MOSTLY * len(cells)


def _with_ends(found: list[str], columns: Sequence[str], heads: Sequence[str]) -> list[str]:
    """Return the columns with two headings such as `0` and `10 means` as the words at the ends of the scale."""
    points = {n: told for n, head in enumerate(heads) if not found[n] and (told := _END.fullmatch(head.strip()))}
    if len(points) == len({"low_end", "high_end"} & {*columns} - {*found}) == 2:
        low, high = sorted(points, key=lambda n: float(points[n]["point"].replace(",", ".")))
        found[low], found[high] = "low_end", "high_end"
    return found


def of_the_study(texts: pd.DataFrame, name: str, study: Study) -> tuple[pd.DataFrame, list[str]]:
    """Return rows by the short names of the study, one of an attribute for each of its moments, and notes.

    A note says where none of the attributes is one of the study's: they would stand beside its own.
    """
    for role in (role for role in _OWNERS if role in texts):
        names = _names(study, role)
        short = [of[0] if len(of := names.get(_folded(cell), [])) == 1 else cell for cell in texts[role]]
        texts = texts.assign(**{role: pd.array(short, dtype="str")})
    if name != "attributes" or "attribute" not in texts:
        return texts, []
    own, names, notes = _short(study, "attribute"), _names(study, "attribute"), []
    several = {of: names[_folded(of)] for of in texts["attribute"] if len(names.get(_folded(of), ())) > 1}
    if several:
        texts = pd.concat([_spread(row, several) for _, row in texts.iterrows()], ignore_index=True)
        texts = texts.fillna("").astype("str")
        told = "; ".join(f"{of} for {first_few(at)}" for of, at in several.items())
        notes.append(f"What stands once was taken for each of its moments: {told}.")
    new = [each for each in texts["attribute"] if each not in own]
    if own and len(new) == len(texts):
        notes.append(
            f"None of these is an attribute of the study: {counted(len(new), 'attribute')} would stand beside its own, "
            f"{first_few(own)}. Write the names of the study into a column called Attribute."
        )
    return texts, notes


def _spread(row: pd.Series, several: Mapping[str, Sequence[str]]) -> pd.DataFrame:
    """Return a row for each moment of its attribute; what each is called in words stays."""
    at = several.get(row["attribute"], [row["attribute"]])
    made = pd.DataFrame([row] * len(at)).assign(attribute=list(at))
    return made.drop(columns="name", errors="ignore") if row["attribute"] in several else made


# Which names are most likely the same?


_SOUNDS = {"ph": "f", "th": "t", "ck": "k", "c": "k", "y": "1", "i": "1", "l": "1", "o": "0", "z": "s"}  # or looks


def spellings(name: str) -> list[str]:
    """Return a name as it sounds and looks, and without each of its letters: two that share one are a slip apart."""
    plain = folded_name(name)
    letters = [place for place, sign in enumerate(plain) if sign.isalpha()] if len(plain) > len("P1") else []
    found = [plain, *(plain[:place] + plain[place + 1 :] for place in letters)]
    for written, said in _SOUNDS.items():
        found = [each.replace(written, said) for each in found]
    return [f"near {each}" for each in dict.fromkeys(found)]


def folded_name(name: str) -> str:
    """Return a name without what a slip of the keyboard adds: capitals, accents, blanks, hyphens, leading zeros."""
    name = re.sub(r"(?<=\d)\.0$", "", name)  # a number that a spreadsheet gave a decimal
    plain = "".join(filter(str.isalnum, unicodedata.normalize("NFKD", name.casefold())))
    head = re.sub("(?<=[aou])e", "", plain.rstrip("0123456789"))
    return head + (plain[len(plain.rstrip("0123456789")) :].lstrip("0") or "0" * (plain[-1:] == "0"))


def worded_alike(name: str, other: str) -> bool:
    """Return True if two names of attributes say nearly the same words, and the same numbers: `ring on the tub`.

    A word that is in one alone is an article or the like, or has a slip: `not` and `less` are none.
    """
    words = [re.findall(r"[^\W\d_]+", each.casefold()) for each in (name, other)]
    if re.findall(r"\d+", name) != re.findall(r"\d+", other) or labelled(name, other):
        return False
    own = [[word for word in each if not _SMALL_WORD.fullmatch(word)] for each in words]
    near = len(own[0]) == len(own[1]) and all(_a_slip_apart(*pair) for pair in zip(*own, strict=True))
    return bool(own[0]) and near


def _a_slip_apart(word: str, other: str) -> bool:
    """Return True if two words are one but for a letter or two that lack, are exchanged or stand for each other."""
    ratio = difflib.SequenceMatcher(None, word, other, autojunk=False).ratio()
    begins = {word[:2], other[:2]} & {"un", "in", "im", "no"}
    return word == other or (min(len(word), len(other)) > _SHORTEST and ratio >= _NEAR and len(begins) != 1)


_SMALL_WORD = re.compile(
    r"an?|the|of|on|in|at|to|is|its?|my|d(?:er|ie|as|es|em|en|el?|u)|eine?|am|im|auf|l[ea]s?|l|une?|el|los"
)
_SHORTEST, _NEAR = 3, 0.8  # letters of a word that may have a slip; the share of letters that stay


def served_again(name: str) -> str:
    """Return the name of what `P1 (2)` or `P1 again` was served again; empty where a name says no such thing."""
    again = _AGAIN.fullmatch(name)
    return again[1] if again else ""


_AGAIN = re.compile(r"(.*?[^\s_-])(?: ?\(\d\)|[ _-]+\(?(?:rep\w*|bis|dup\w*|wdh|wiederholung|again)\.? ?\d?\)?)", re.I)


def labelled(name: str, other: str) -> bool:
    """Return True if a letter is the label that tells two names apart: `Cream A` and `Cream B`."""
    parts = [_RUNS.findall(each) for each in (name, other)]
    labels = [a + b for a, b in zip(*parts, strict=False) if a != b] if len({*map(len, parts)}) == 1 else [""]
    return all(len(each) == 2 and each.isalpha() for each in labels)


_RUNS = re.compile(r"[^\W\d_a-z]?[a-z\u00df-\u00ff]+|[^\W\d_a-z]+|\d+")
