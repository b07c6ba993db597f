"""What a sentence may name of a study: its prototypes by name or role, its product, its ingredients, its attributes."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fnmatch import translate
from functools import cache, lru_cache
from itertools import product
from types import MappingProxyType

from panel.claims.parts import Entry
from panel.study.knowledge import ingredients, shared_table, worded, wordings
from panel.study.naming import judged_after, moment_words
from panel.study.numbers_read import same_quantity
from panel.study.study import Study
from panel.words import format_list


@dataclass(frozen=True, eq=False, slots=True)
class Names:
    """What can be named, by the words that name it.

    `roles` gives for a family of role words (previous, benchmark ...) the prototypes it fits; `product_types` the
    kinds of product the study is about, empty where it does not say; `purpose` what words of
    its purpose begin with; `dose` the amount the panel got; `ways` how attributes named by a verb are told otherwise,
    `moments` what may have happened before it was judged.
    """

    prototypes: Mapping[Tokens, str]
    roles: Mapping[str, frozenset[str]]
    ingredients: Mapping[Tokens, str]
    product_types: frozenset[Tokens]
    titles: frozenset[Tokens]
    attributes: Mapping[Tokens, str]
    purpose: frozenset[str] = frozenset()
    dose: Tokens = ()
    ways: tuple[Way, ...] = ()
    moments: Mapping[Tokens, str] = field(default_factory=dict)


def names_of(study: Study) -> Names:
    """Return everything that can be named in a sentence about this study."""
    prototypes, roles = _prototypes(study)
    types, titles = _product(study)
    called = [(study.attribute_words(name), family_of(study, name)) for name in study.attributes]
    attributes = {words_of(way): family for words, family in called for way in (words, moment_words(words)[0])}
    told = [str(study.facts.get(fact, "")) for fact in ("title", "purpose")] + [
        str(row.get("words")) for row in asked(study)
    ]
    purpose = frozenset(
        beginning(word) for text in told for word in words_of(text) if len(word) > _SHORT and not _is_refused(word)
    )
    dose = words_of(str(study.facts.get("dose", "")))[:2]
    ways = tuple(way for words, family in attributes.items() if family.startswith(_OF_STUDY) for way in _way_of(words))
    return Names(prototypes, roles, _ingredients(study), types, titles, attributes, purpose, dose, ways, _events(study))


_APPLIED = re.compile(r"\b(rub|massag|appl[iy]|cream(ing|ed)|put|use\b|using|used|wear|spread|work(ed|ing)? (it )?in)")


def is_applied(words: str) -> bool:
    """Return whether words say that the product was put on, which comes before all else."""
    return _APPLIED.search(words) is not None


def _events(study: Study) -> dict[Tokens, str]:
    """Return what may have happened before something was judged, by its words: of the table and its own."""
    told = (words_of(judged_after(study, name))[1:] for name in study.attributes)
    own = {words[words[:1] in (("the",), ("a",)) :] for words in told}
    new = {phrase for phrase in own if phrase[:1] not in _known_events() and phrase[:2] not in _known_events()}
    return {**_known_events(), **{each: " ".join(each) for each in new if each and not is_applied(" ".join(each))}}


@cache
def _known_events() -> Mapping[Tokens, str]:
    found = ((phrase, entry) for phrase, entries in _phrases().items() for entry in entries if entry.part == "event")
    return {phrase: entry.family or " ".join(phrase) for phrase, entry in found}


def _is_refused(word: str) -> bool:
    """Return whether a word is one that a refused phrase begins with."""
    return _refused_beginnings().match(word) is not None


@cache
def _refused_beginnings() -> re.Pattern[str]:
    phrases = shared_table("claim_refused_en")["phrase"]
    return re.compile("|".join({translate(str(phrase).split()[0].casefold()): "" for phrase in phrases}))


_SHORT = 3  # letters: the, who, and


def beginning(word: str) -> str:
    """Return what a word shares with its other forms: handl of handle and handled, book of books."""
    return word.rstrip("s")[:5]


def family_of(study: Study, attribute: str) -> str:
    """Return what an attribute speaks of, in the words of the table; a word of its own where they do not know it."""
    words = study.attribute_words(attribute)
    return _family_named(words) or _family_named(moment_words(words)[0]) or f"{_OF_STUDY}{attribute}"


_OF_STUDY = "attribute "  # and its name: what no table of words speaks of


@dataclass(frozen=True, slots=True)
class Way:
    """How an attribute is told otherwise: `verb` is the root of what it is named by, `particle` what goes with that.

    `kind` is ease, time or more, or so where it is named by how something is: grainy for graininess or grainy feel.
    """

    kind: str
    verb: str
    particle: Tokens
    named: Tokens


_FELT = frozenset((word,) for word in ("feel", "feeling", "touch", "look", "texture", "sensation"))
_PARTICLES = frozenset(("off", "in", "on", "up", "out", "away", "down"))
_UNTIL = re.compile(
    r"(?:time|seconds) (?:it takes |taken )?(?:until|till|to|before) (?:\w+ )*?(?:(?:has|have|is|are) )?"
)


def _way_of(words: Tokens) -> Iterator[Way]:
    """Give how an attribute is told by its verb: ease of melting, time until it has disappeared, drag."""
    ends = words[-1:] if words[-1:] and words[-1] in _PARTICLES else ()
    before = words[: len(words) - len(ends)]
    if words[:2] == ("ease", "of") and before[2:] == before[-1:]:
        yield Way("ease", root(before[-1]), ends, words)
    elif _UNTIL.match(" ".join(words)) and len(before) > 1:
        yield Way("time", root(before[-1]), ends, words)
    elif words[-1:] == ("time",) and words[0].endswith("ing"):
        yield Way("time", root(words[0]), words[1:-1], words)
    elif len(words) == 1 and words[0].endswith("ness"):
        yield Way("so", re.sub("i$", "y", words[0].removesuffix("ness")), (), words)
    elif len(words) == 1:
        yield Way("more", root(words[0]), (), words)
    elif words[1:] in _FELT:
        yield Way("so", words[0], (), words)


@lru_cache(maxsize=10_000)
def root(word: str) -> str:
    """Return what the forms of a verb have in common: rins of rinse and rinsing, se of saw, dri of drying."""
    form = next((entry.family for _, entry in entries_at((word,), 0, "form of")), word)
    bare = re.sub(r"(?<=\w\w)e$", "", re.sub(r"(?<=\w\w)(?:ing|ed|es|s)$", "", form))
    return re.sub(r"y$", "i", re.sub(r"([b-df-hj-np-tv-z])\1$", r"\1", bare))


_BY_TIME = frozenset(("soaking in", "spreading"))  # what is done the faster, the less time it takes


def is_turned(study: Study, attribute: str) -> bool:
    """Return whether more of an attribute is less of what it speaks of: it was timed, as the seconds to soak in."""
    return family_of(study, attribute) in _BY_TIME and is_timed(study, attribute)


def is_timed(study: Study, attribute: str) -> bool:
    """Return whether an attribute is a time, by its unit or its name."""
    table = study.table("attributes")
    unit = str(next(iter(table.loc[table["attribute"] == attribute, "unit"]), ""))
    return same_quantity(unit, "s") or "time" in words_of(study.attribute_words(attribute))


@lru_cache(maxsize=10_000)
def _family_named(name: str) -> str:
    """Return the one thing that the name of an attribute speaks of; empty where that is none or several."""
    whole = [entry for length, entry in entries_at(words_of(name), 0) if length == len(words_of(name))]
    found = {entry.family for entry in whole if entry.part in ("property", "verb")} or _families_of(name)
    return next(iter(found)) if len(found) == 1 else ""


def _prototypes(study: Study) -> tuple[dict[Tokens, str], dict[str, frozenset[str]]]:
    named = {way: own for own in study.prototypes for way in _ways_of(own)}  # also those scored and not listed
    roles: dict[str, set[str]] = {}
    for row in study.table("prototypes").to_dict("records"):
        own = str(row["prototype"])
        named |= {way: own for text in (own, str(row["name"])) for way in _ways_of(text)}
        for text in (own, str(row["name"]), str(row["role"])):
            for family in _role_families(words_of(text)):
                roles.setdefault(family, set()).add(own)
    return named, {family: frozenset(found) for family, found in roles.items()}


def _ways_of(name: str) -> set[Tokens]:
    """Return the tokens of a name without its silent marks, and with those inside of it: Lotion A (old).

    Also without the article that a sentence may have in its place, where what is left is more than a kind of product.
    """
    tokens = tokens_of(name)
    said = [place for place, token in enumerate(tokens) if token not in SILENT]
    ways = {tokens[said[0] : said[-1] + 1], words_of(name)} if said else set()
    return ways | {way[1:] for way in ways if way[0] in _ARTICLES and not _is_any(way[1:])}


_ARTICLES, _ANY = frozenset(("our", "the")), frozenset(("product", "product_type", "new", "number"))


def _is_any(words: Tokens) -> bool:
    """Return whether words may name any product: lotion, new body lotion, or none at all."""
    place = 0
    while length := next((n for n, e in entries_at(words, place) if e.part in _ANY), 0):
        place += length
    return place == len(words)


def _role_families(tokens: Tokens) -> set[str]:
    return {entry.family for place in range(len(tokens)) for _, entry in entries_at(tokens, place, "role")}


def _product(study: Study) -> tuple[frozenset[Tokens], frozenset[Tokens]]:
    """Return the kinds of product the study says it is about, each with its last word, and its title without them."""
    title = words_of(str(study.facts.get("title", "")))
    for text in (title, words_of(str(study.facts.get("purpose", "")))):
        found = _longest_types(text)
        if found:
            break
    types = found | {phrase[-1:] for phrase in found}
    cut = title
    for phrase in sorted(found, key=len, reverse=True):
        cut = cut[: -len(phrase)] if cut[-len(phrase) :] == phrase else cut
    return frozenset(types), frozenset({cut} - {()})


def _longest_types(tokens: Tokens) -> set[Tokens]:
    found, place = set(), 0
    while place < len(tokens):
        length = next((n for n, _ in entries_at(tokens, place, "product_type")), 0)
        found |= {tokens[place : place + length]} if length else set()
        place += length or 1
    return found


def _ingredients(study: Study) -> dict[Tokens, str]:
    """Return every known INCI name by its words, whole, without its parentheses, and by the everyday name in them."""
    found: dict[Tokens, str] = {}
    own = [str(name) for name in study.table("formulas")["ingredient"].unique()]
    for name in [*(str(name) for name in ingredients()["ingredient"]), *own]:
        inside = re.search(r"\(([^)]*)\)\s*(\w*)", name)
        ways = [name, re.sub(r"\([^)]*\)", " ", name)]
        if inside:
            everyday = f"{inside[1]} {inside[2]}"
            ways += [everyday, " ".join(everyday.split()[-2:])]
        found |= {words_of(way): name for way in ways if len(words_of(way)) > 1 or words_of(way) == words_of(name)}
    return {words: name for words, name in found.items() if words not in _phrases()}


# The words of a sentence: cut into tokens, whatever its case, hyphens or line breaks, and looked up in the tables.


Tokens = tuple[str, ...]
_PLAIN = re.compile("[a-z ]+")
_TOKEN = re.compile(r"\d+(?:[.,]\d+)*|[^\W\d_][^\W_]*(?:'[^\W_]+)*|\S")
_APOSTROPHES = dict.fromkeys(map(ord, "’ʼ‘`´"), "'")
_DASHES = dict.fromkeys(map(ord, "‐‑‒–—−"), "-")
_SIGNS = _APOSTROPHES | _DASHES | {ord("&"): " and "}
_ONES = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_TWO_WORDS = re.compile(rf"\b({'|'.join(_TENS)}) ({'|'.join(_ONES)})\b")
_CONTRACTIONS = (
    (re.compile(r"\bvs\."), "vs"),
    (re.compile(r"\bi'm\b"), "i am"),
    (re.compile(r"\b(it|that|this|there|here|what|who)'s\b"), r"\1 is"),
    (re.compile(r"(?<=[a-z])'s\b"), " its"),  # the lotion's feel
    (re.compile(r"(?<=[a-z])'d(?= (?:been|had|(?!need)\w+ed)\b)"), " had"),
    (re.compile(r"(?<=[a-z])'d\b"), " would"),
    (re.compile(r"(?<=[a-z])'re\b"), " are"),
    (re.compile(r"(?<=[a-z])'ll\b"), " will"),
    (re.compile(r"(?<=[a-z])'ve\b"), " have"),
    (re.compile(r"(?<=\d)- (?=to )"), " "),  # 25- to 60-year-olds
)
SILENT = frozenset(".,;:!()\"“”„«»'-*†‡§•·|✓✔☑●▪")
"""Marks that say nothing; every other sign is a word that has to be accounted for."""


@lru_cache(maxsize=10_000)
def tokens_of(text: str) -> Tokens:
    """Return the words, numbers and signs of a text; hyphens inside words split them, silent marks stay."""
    noted = re.sub(r"[⁰¹²³⁴-⁹]+|\[\d\]|\(\d\)", " † ", text.translate(_SIGNS))  # a footnote's mark is no number
    plain = unicodedata.normalize("NFKC", noted).translate(_SIGNS).casefold()
    for short, whole in _CONTRACTIONS:
        plain = short.sub(whole, plain)
    return tuple(_TOKEN.findall(_in_digits(re.sub(r"(?<=\w)-(?=\w)", " ", plain))))


def _in_digits(text: str) -> str:
    """Return a text with its numbers of two words, as eighty four, in digits."""
    text = re.sub(r"\b(one|a) hundred\b", "100", text)
    return _TWO_WORDS.sub(lambda found: str(10 * _TENS.index(found[1]) + 20 + _ONES.index(found[2]) + 1), text)


def words_of(text: str) -> Tokens:
    """Return the tokens of a text without its silent marks."""
    return tuple(token for token in tokens_of(text) if token not in SILENT)


def legible(word: str) -> str:
    """Return a word as a reader can make out what it holds: signs nobody sees and letters of another script by name."""
    odd = [
        sign
        for sign in word
        if not sign.isprintable() or (sign.isalpha() and "LATIN" not in unicodedata.name(sign, ""))
    ]
    if not odd or (len(odd) == len(word) > 1):
        return word
    names = format_list(list(dict.fromkeys(unicodedata.name(sign, f"U+{ord(sign):04X}") for sign in odd)))
    return f"{word} ({names})" if len(odd) < len(word) else f"a sign of its own ({names})"


@cache
def _phrases() -> Mapping[Tokens, tuple[Entry, ...]]:
    """Return the table of words by the tokens of each phrase; a place with a kind of product is one, too."""
    found: dict[Tokens, tuple[Entry, ...]] = {}
    products: dict[str, list[Tokens]] = {part: [] for part in _PRODUCTS}
    for row in shared_table("claim_words_en").to_dict("records"):
        value = float(row["value"]) if row["value"] else float("nan")
        entry = Entry(str(row["part"]), str(row["family"]), str(row["asked_as"]), value)
        for phrase in _written_out(str(row["phrase"])):
            key = tuple(phrase.split()) if _PLAIN.fullmatch(phrase) else words_of(phrase)
            found[key] = (*found.get(key, ()), entry)
            if entry.part in products:
                products[entry.part].append(key)
    places, forms = products.values()
    found |= {place + form: (Entry("product_type"),) for place in places for form in forms if len(form) == 1}
    return MappingProxyType(found)


def _written_out(phrase: str) -> list[str]:
    """Return every phrase that one with choices stands for: `{rated|judged} {|as}` for four."""
    pieces = re.split(r"\{([^{}]*)\}", phrase)
    return [
        "".join(chosen)
        for chosen in product(*([piece] if n % 2 == 0 else piece.split("|") for n, piece in enumerate(pieces)))
    ]


_PRODUCTS = ("product_place", "product_type")  # face, lotion: together a kind of product, too


@cache
def _known_words() -> frozenset[str]:
    """Return every word that stands in some phrase of the table."""
    return frozenset(word for phrase in _phrases() for word in phrase)


_UNKNOWN_SHARE = 0.5  # of the words: more unknown than known is no English; a setting of ours, no source


def is_english(tokens: Tokens, names: Names) -> bool:
    """Return whether at least half of the words are ones that the tables or the study know."""
    words = [token for token in tokens if token[0].isalpha()]
    own = {word for phrase in (*names.ingredients, *names.prototypes) for word in phrase}
    unknown = sum(word not in _known_words() and word not in own for word in words)
    return bool(words) and unknown <= _UNKNOWN_SHARE * len(words)


@cache
def _longest_phrases() -> dict[str, int]:
    """Return the number of words of the longest phrase that begins with a word."""
    found: dict[str, int] = {}
    for phrase in _phrases():
        found[phrase[0]] = max(found.get(phrase[0], 0), len(phrase))
    return found


def entries_at(tokens: Tokens, place: int, part: str = "") -> Iterator[tuple[int, Entry]]:
    """Give what may stand at a place, the longest phrase first: its number of tokens and what it is."""
    longest = _longest_phrases().get(tokens[place], 0) if place < len(tokens) else 0
    for length, entry in _standing(tokens[place : place + longest]) if longest else ():
        if not part or entry.part == part:
            yield length, entry


_NOTHING = 0, Entry("")


def entry_at(tokens: Tokens, place: int, part: str) -> tuple[int, Entry]:
    """Return the longest phrase of a part at a place, or of any part: its number of tokens, 0 where there is none."""
    longest = _longest_phrases().get(tokens[place], 0) if place < len(tokens) else 0
    return _longest_of_each(tokens[place : place + longest]).get(part, _NOTHING) if longest else _NOTHING


@lru_cache(maxsize=4096)
def _longest_of_each(words: Tokens) -> dict[str, tuple[int, Entry]]:
    found: dict[str, tuple[int, Entry]] = {}
    for length, entry in _standing(words):
        found.setdefault(entry.part, (length, entry))
        found.setdefault("", (length, entry))
    return found


@lru_cache(maxsize=4096)
def _standing(words: Tokens) -> tuple[tuple[int, Entry], ...]:
    """Return what words may begin with, the longest first: the steps of the grammar ask again and again."""
    lengths = range(len(words), 0, -1)
    return tuple((length, entry) for length in lengths for entry in _phrases().get(words[:length], ()))


def number_at(tokens: Tokens, place: int) -> float | None:
    """Return the number at a place, in digits or in words; None where there is none."""
    if place >= len(tokens):
        return None
    token = tokens[place]
    if token[0].isdigit():
        thousands = re.fullmatch(r"\d{1,3}(?:,\d{3})+", token)
        text = token.replace(",", "") if thousands else token.replace(",", ".")
        try:
            return float(text)
        except ValueError:
            return None
    return next((entry.value for _, entry in entries_at(tokens, place, "number")), None)


def _families_of(text: str) -> frozenset[str]:
    """Return what the properties and verbs of a text speak of, as the name of an attribute does."""
    tokens, place, found = words_of(text), 0, set()
    while place < len(tokens):
        length, entry = next(
            ((n, e) for n, e in entries_at(tokens, place) if e.part in ("property", "verb")), (1, Entry(""))
        )
        found |= {entry.family} - {""}
        place += length
    return frozenset(found)


# The sentence from the statement: how the public says that one prototype has more or less of something.


_WAYS = ("less", "more", "as_much", "absent", "least", "most", "low")
_TURNED = {"less": "more", "more": "less", "least": "most", "most": "least", "low": ""}
_OWN = {
    "less": "less {}", "more": "more {}", "as_much": "the same {} as", "absent": "no {}", "least": "the least {}",
    "most": "the most {}", "low": "low {}",
}  # fmt: skip


def saying(study: Study, attribute: str, way: str) -> str:
    """Return how the public says it of an attribute (one of `_WAYS`); empty where there is no such way."""
    table = shared_table("claim_sayings_en").set_index("family")
    family = family_of(study, attribute)
    way = _TURNED.get(way, way) if is_turned(study, attribute) else way
    if family in table.index:
        return str(table.loc[family, way])
    words = study.attribute_words(attribute)
    return _OWN[way].format(moment_words(words)[0] if way == "absent" else words)


def public_name(study: Study, names: Names, prototype: str) -> str:
    """Return how the public may be told which prototype is meant: by a role that only it has, else by name."""
    if names.roles.get("previous") == {prototype}:
        return f"our previous {_product_words(names)}"
    if names.roles.get("untreated") == {prototype}:
        return "untreated skin"
    table = study.table("prototypes")
    found = [str(name) for name in table.loc[table["prototype"] == prototype, "name"]]
    return found[0] if found and found[0] else prototype


def _product_words(names: Names) -> str:
    """Return what kind of product the study is about; formula where it does not say."""
    return max((" ".join(words) for words in sorted(names.product_types)), key=len, default="formula")


_FACT = "claim_floors"


def floor(study: Study, name: str) -> float:
    """Return a floor: that of the shared table, or the study's own (fact `claim_floors`) where that is stricter."""
    usual = _usual_floors()[name]
    stated = study.facts.get(_FACT)
    own = stated.get(name) if isinstance(stated, dict) else None
    if isinstance(own, bool) or not isinstance(own, int | float) or not math.isfinite(own):
        return usual
    return min(usual, float(own)) if name.startswith("most") else max(usual, float(own))


@cache
def _usual_floors() -> dict[str, float]:
    return {str(row["floor"]): float(row["value"]) for row in shared_table("claim_floors").to_dict("records")}


def question_words(study: Study, question: str) -> str:
    """Return the sentence as the consumers saw it; the short name where it is not recorded."""
    return str(next((row.get("words", question) for row in asked(study) if row.get("question") == question), question))


def how_said(study: Study, question: str) -> str:
    """Return what was answered by those who agreed: yes, where nothing else but no could be."""
    ends = (str(row.get("high_end", "")) for row in asked(study) if row.get("question") == question)
    return "said yes" if worded(next(ends, ""), wordings("check_all")) == "1" else "agreed or agreed strongly"


def asked(study: Study) -> list[dict[str, object]]:
    """Return the wording of the questions as recorded in the study."""
    stated = study.facts.get("questions", [])
    return [row for row in stated if isinstance(row, dict)] if isinstance(stated, list) else []
