"""The words of sentences and what each may be; what the parts of a statement say together, the shares it quotes."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import chain, product
from types import MappingProxyType

from panel.study.knowledge import shared_table
from panel.words import format_list


@dataclass(frozen=True, slots=True)
class Entry:
    """What one phrase is: its part in a sentence, what it speaks of, its sign or number; its words in a sentence."""

    part: str
    family: str = ""
    asked_as: str = ""
    value: float = float("nan")
    words: str = ""


LETTERS = {
    "property": "P", "comparative": "C", "superlative": "S", "verb": "V", "degree": "D", "degree_comparative": "E",
    "degree_superlative": "G", "more": "M", "less": "L", "most": "T", "least": "B", "not": "N", "absolute_not": "n",
    "free": "F", "low": "H", "high": "K", "as": "A", "nothing": "U", "too": "X", "right": "R",
    "unsurpassed": "Q",
}  # fmt: skip
_COMPARED = r"(?:[ML]P|P[ML]|C|V[ML]D|[ML]DV|VE|EV)"
_AS_MUCH = r"(?:APA?|PADA|VADA?|ADVA?|ADAV|AV?D)"
_PATTERNS = {
    "comparative": rf"{_COMPARED}",
    "not comparative": rf"N{_COMPARED}|VNE|VN[ML]D",
    "parity": rf"{_AS_MUCH}|PA[KH]?A?",
    "not parity": rf"N{_AS_MUCH}|VNADA?",
    "positive": r"P|VD|DV",
    "negated": r"NP|NVD|NDV",
    "absent": r"nP|PF|FP",
    "low": r"HP",
    "high": r"KP",
    "superlative": r"S|TP|BP|VG|GV",
    "nothing": rf"U{_COMPARED}|UV|QP|PQ|QDV|QV|VQ",
    "just right": r"(?:NXPN?XP)?(?:PR|RP|R)|NXPN?XP",
    "bare": r"V",
    "none": r"",
}
NOUN = r"(ness|shine|spreading|soaking in|absorption|preference)$"
OF_PEOPLE = frozenset(("use", "recommendation", "preference", "liking"))
"""What only people can do: a share of it needs no other word for who."""
OF_FILM = frozenset(
    ("greasiness", "stickiness", "residue", "waxiness", "gloss of the skin", "whitening", "powdery touch")
)
UNREADABLE = "unreadable"
SLACK = 1e-9
_ALMOST = 0.02  # how far below a quoted share the counted one may lie to be almost that; a setting of ours, no source
_ROUND = (1, 2, 3, 4, 5, 10, 100)  # what a share is told out of without having asked as many
_NEAR = 0.05  # how far above a quoted fraction, such as half; a setting of ours, no source


@dataclass(frozen=True, slots=True)
class Share:
    """A share a sentence quotes: `of` is the count it is out of (100 for per cent); `least` where it says more than.

    `least` is `more than`, `at least`, `almost` or empty; `fraction` is True where a word such as most or half says it.
    """

    count: float
    of: float
    least: str
    words: str
    fraction: bool = False

    @property
    def share(self) -> float:
        """Between 0 and 1."""
        return self.count / self.of if self.of else float("nan")

    def is_counted(self, counted: float, n: int) -> bool:
        """Return whether it is the share counted of n: cut, never rounded up; more than, only where it is."""
        if not self.count:
            return False
        if self.least == "almost":  # of a round figure: almost 9 in 10, almost 90 %
            return (
                self.of <= 10 or (self.of == 100 and self.count % 10 == 0)
            ) and counted < self.share <= counted + _ALMOST
        if self.of not in _ROUND and not (self.of <= _TEN and self.words.split()[1:-1] == ["in"]):  # five in six
            return self.of in (0, n) and self._at_most(self.count, round(counted * n))
        if self.least:
            return self._at_most(self.share, counted)
        if self.fraction:
            return counted - _NEAR < self.share <= counted + SLACK
        finer = 10 ** max(0, len(f"{self.count:g}".partition(".")[2])) if self.of == 100 else 1
        return math.floor(counted * self.of * finer + SLACK) == round(self.count * finer)

    def _at_most(self, quoted: float, counted: float) -> bool:
        if self.least == "more than":
            return quoted < counted
        return quoted <= counted + SLACK if self.least else quoted == counted


def degree_of(core: Sequence[Entry]) -> str:
    """Return what kind of thing some parts of a statement say; `unreadable` where it is no single one."""
    letters = "".join(LETTERS[chunk.part] for chunk in core)
    found = next((name for name, pattern in _PATTERNS.items() if re.fullmatch(pattern, letters)), UNREADABLE)
    too = {chunk.value for place, chunk in enumerate(core) if place and core[place - 1].part == "too"}
    return UNREADABLE if len({chunk.family for chunk in core} - {""}) > 1 or too not in (set(), {1, -1}) else found


def sign_of(core: Sequence[Entry]) -> int:
    """Return 1 where the property or degree means more of it, -1 where less."""
    turns = sum(chunk.part in ("less", "least") or chunk.value == -1 for chunk in core)
    return -1 if turns % 2 else 1


def said_once(core: Sequence[Entry], pauses: Sequence[int]) -> Sequence[Entry]:
    """Return a statement that is said twice, as in a headline and below it, once; others as they are."""
    if degree_of(core) != UNREADABLE:
        return core
    for place in pauses:
        if label := _label(core[:place]) or _label(core[place:]):
            rest = said_once(core[place:] if label is core[0] else core[:place], [])
            if degree_of(rest) != UNREADABLE and {label.family} == {chunk.family for chunk in rest} - {""}:
                return rest
        first, second = core[:place], said_once(core[place:], [pause - place for pause in pauses if pause > place])
        lower = len(second) == 1 and re.match("scor|rate|low|high", second[0].words)
        if lower and degree_of(first) == "comparative" and sign_of(first) == sign_of(second):  # less shine: lower
            return first
        if first and second and degree_of(first) != UNREADABLE and _meaning(first) == _meaning(second):
            return second if degree_of(second) in ("absent", "superlative") else first  # the one that says more
    return core


def _label(core: Sequence[Entry]) -> Entry | None:
    """Return the noun that alone says what a sentence is about: skin softness."""
    return core[0] if len(core) == 1 and re.search(NOUN, core[0].words) else None


def _meaning(core: Sequence[Entry]) -> tuple[object, ...]:
    degree = degree_of(core)
    return (
        {"negated": "absent", "superlative": "comparative"}.get(degree, degree),
        sign_of(core),
        {chunk.family for chunk in core} - {""},
        {chunk.asked_as for chunk in core} - {""},
    )


_AT_LARGE = frozenset(("people", "of people", "persons", "of persons", "adults", "of adults", "folk", "of folk"))
_TEN = 10


def of_people_at_large(people: Iterable[str], shares: Iterable[Share], *, some: bool = False) -> bool:
    """Return whether a share is told of people, and not counted out of as many: most people, 88 % of adults."""
    counts = [not share.of or (share.of > _TEN and {"of", "in"} & {*share.words.split()}) for share in shares]
    return (some or (bool(counts) and not any(counts))) and not _AT_LARGE.isdisjoint(people)


# The words of a sentence: cut into tokens, whatever its case, hyphens or line breaks, and looked up in the tables.


Tokens = tuple[str, ...]
_PLAIN = re.compile("[a-z ]+")
_PIECE = re.compile(r"(?:\{[^{}]*\}|[^\s{}])+")  # of a phrase with choices: what stands between two spaces
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


def whole_words(word: str) -> str:
    """Return the pattern of a word that stands alone, `*` for any ending."""
    ending = re.escape(word).replace(r"\*", r"\w*")
    return rf"(?<!\w){ending}(?!\w)"


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
def phrases() -> Mapping[Tokens, tuple[Entry, ...]]:
    """Return the table of words by the tokens of each phrase; a place with a kind of product is one, too."""
    found: dict[Tokens, tuple[Entry, ...]] = {}
    products: dict[str, list[Tokens]] = {part: [] for part in _PRODUCTS}
    table = shared_table("claim_words_en")
    columns = (table[name].tolist() for name in ("phrase", "part", "family", "asked_as", "value"))
    for written, part, family, asked_as, value in zip(*columns, strict=True):
        entry = Entry(part, family, asked_as, float(value or "nan"))
        own = _written_out(written)
        for phrase in own:
            found[phrase] = (*found.get(phrase, ()), entry)
        if entry.part in products:
            products[entry.part] += own
    places, forms = products.values()
    found |= {place + form: (Entry("product_type"),) for place in places for form in forms if len(form) == 1}
    return MappingProxyType(found)


def _written_out(phrase: str) -> list[Tokens]:
    """Return the tokens of every phrase that one with choices stands for: `{rated|judged} {|as}` for four."""
    ways: list[Tokens] = [()]
    for piece in _PIECE.findall(phrase):
        ends = _ends_of(piece)
        ways = [way + end for way in ways for end in ends]
    return ways


@lru_cache(maxsize=10_000)
def _ends_of(piece: str) -> tuple[Tokens, ...]:
    parts = re.split(r"\{([^{}]*)\}", piece)
    written = map("".join, product(*([part] if n % 2 == 0 else part.split("|") for n, part in enumerate(parts))))
    return tuple(tuple(way.split()) if _PLAIN.fullmatch(way) else words_of(way) for way in written)


_PRODUCTS = ("product_place", "product_type")  # face, lotion: together a kind of product, too


@cache
def known_words() -> frozenset[str]:
    """Return every word that stands in some phrase of the table."""
    return frozenset(chain.from_iterable(phrases()))


@cache
def _longest_phrases() -> dict[str, int]:
    """Return the number of words of the longest phrase that begins with a word."""
    return {phrase[0]: len(phrase) for phrase in sorted(phrases(), key=len)}


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
    return tuple((length, entry) for length in lengths for entry in phrases().get(words[:length], ()))


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


@lru_cache(maxsize=10_000)
def root(word: str) -> str:
    """Return what the forms of a verb have in common: rins of rinse and rinsing, se of saw, dri of drying."""
    form = next((entry.family for _, entry in entries_at((word,), 0, "form of")), word)
    past = (
        r"(?<=\w\w)(?:ing|es|s)$" if re.fullmatch(r"[^aeiou]{1,2}eed", form) else r"(?<=\w\w)(?:ing|ed|es|s)$"
    )  # need
    bare = re.sub(r"(?<=\w\w)e$", "", re.sub(past, "", form))
    return re.sub(r"y$", "i", re.sub(r"([b-df-hj-np-tv-z])\1$", r"\1", bare))


# An attribute that no table of words knows is told in the words of its name, whatever their order and form.


STATES = frozenset(("when", "while", "during", "until", "till", "once", "after", "before", "to"))
OBJECTS = frozenset((
    "on", "onto", "between", "under", "around", "against", "with", "over", "in", "inside", "into", "across", "at",
    "of", "from",
))  # fmt: skip
LIGHT = frozenset((
    "go", "goes", "going", "went", "come", "comes", "coming", "came", "get", "gets", "got", "keep", "keeps", "kept",
    "put", "putting", "leave", "leaves", "lie", "lies", "lay", "lays", "sit", "sits", "sat",
))  # fmt: skip
PARTICLES = frozenset(("off", "in", "on", "up", "out", "away", "down", "through"))
"""Small words of names: what leads a moment, or a thing; verbs that say little; what goes with a verb."""


@dataclass(frozen=True, slots=True)
class Way:
    """How an attribute of the study's own is told: `named` is its name, `needed` the kernels of words, one of each.

    `beside` are those that may be told as well: of its name, and words of its definition that no table knows. `kind` is
    ease, time, speed or more: what a word such as faster says of it.
    """

    kind: str
    needed: tuple[frozenset[str], ...]
    beside: frozenset[str]
    named: Tokens
    more_is_better: bool = False


@lru_cache(maxsize=10_000)
def kernel(word: str) -> str:
    """Return what words of one stem have in common: friz of frizzy, frizzier, frizz; cov of covers and coverage."""
    word = root(re.sub(r"(?<=\w\w\w)(?:ness|ly|(?<!s)age)$", "", re.sub(r"ption$", "b", word)))
    for _ in range(2):
        word = re.sub(r"(?<=\w\w\w)[ie]$", "", re.sub(r"(?<=\w\w)(?:er|est)$", "", word))
        word = re.sub(r"([b-df-hj-np-tv-z])\1$", r"\1", word)
    return word


_TOLD_BY = {
    "ease": ("ease",),
    "time": ("time",),
    "speed": ("time",),
    "more": ("more", "ease"),
}  # glides more, or more easily
_BY_SIGN = {1.0: ("more",), -1.0: ("less",), 2.0: ("most",), -2.0: ("least",)}
_DEGREES = frozenset(("more", "less", "most", "least", "fewer", "fewest", "as"))
_ONE_DEGREE = frozenset((word,) for word in _DEGREES)
_DENIALS = frozenset(("no", "not", "without", "zero"))
_MANNERS = frozenset(("easily", "readily", "effortlessly", "easy", "quickly", "fast", "rapidly"))


def in_own_terms(tokens: Tokens, ways: Sequence[Way], products: Sequence[int]) -> Tokens:
    """Return a sentence with an attribute of the study's own by its name: more ease of melting for melts more easily.

    `products`: how many tokens at each place name a product; those say nothing of an attribute.
    """
    free, place = set(range(len(tokens))), 0
    while place < len(tokens):
        told = products[place] == 1 and bool((_DEGREES | _DENIALS) & set(tokens[max(0, place - 1) : place]))
        length = 0 if told else products[place]  # less oil on the towel
        free -= set(range(place, place + length))
        place += length or 1
    stems = {place: kernel(tokens[place]) for place in free if tokens[place].isalpha()}
    there = set(stems.values())
    fitting = [way for way in ways if all(group & there for group in way.needed)]
    if not fitting:
        return tokens
    way = max(fitting, key=lambda each: (len(each.needed), len(there & each.beside)))
    return _by_name(tokens, way, stems)


def _by_name(tokens: Tokens, way: Way, stems: Mapping[int, str]) -> Tokens:
    """Return the tokens with the words of an attribute left out and its name beside what compares or denies."""
    needed = [place for place, stem in stems.items() if any(stem in group for group in way.needed)]
    said: dict[int, tuple[int, Tokens]] = {}
    for place in range(len(tokens)):
        length, sign = _degree_at(tokens, place, way, stems)
        if length and not any(start < place < start + n for start, (n, _) in said.items()):
            said[place] = length, sign
    apart = {place: SILENT & set(tokens[min(needed[0], place) : max(needed[0], place)]) for place in said}
    said = {place: each for place, each in said.items() if not apart[place]}
    denied = way.kind == "more" and any(_DENIALS & set(tokens[max(0, place - 2) : place]) for place in needed)
    of_skin = any(
        entry_at(tokens, place + 1, "site")[0] and (place in said or place - 1 in said) for place in needed
    )  # less scratchy skin
    if of_skin or not (said or denied):
        return tokens
    drop, at = _told(tokens, way, stems), next(iter(said), needed[0])
    out: list[str] = []
    for place, token in enumerate(tokens):
        inside = any(start < place < start + n for start, (n, _) in said.items())
        if place in said:
            out += said[place][1]
        elif not inside and place not in drop:
            out.append(token)
        if place == at:
            out += way.named
    return tuple(out)


def _told(tokens: Tokens, way: Way, stems: Mapping[int, str]) -> set[int]:
    """Return the places of the words that tell of an attribute, small ones between them among these."""
    wanted = way.beside.union(*way.needed)
    drop = {place for place, stem in stems.items() if stem in wanted and not _elsewhere(tokens, place, way)}
    beside = {
        place + 1 + (tokens[place + 1 : place + 2] in _ONE_DEGREE): place for place in stems if tokens[place] in LIGHT
    }
    drop |= {light for place, light in beside.items() if {place, light - 1} & drop}  # lay most evenly, comes off on
    drop |= {place for place in stems if tokens[place] in PARTICLES and place - 1 in drop}
    small = [place for place in stems if tokens[place] in way.named and tokens[place] not in _DEGREES]
    drop |= {place for place in small if {place + 1, place + 2} & drop}
    drop |= {
        place
        for place in stems
        if tokens[place] == "with" and tokens[place + 1 : place + 2] in _ONE_DEGREE and place + 2 in drop
    }
    drop |= {place for place in stems if tokens[place] == "like" and {place + 1, place + 2} & drop}  # like a mask
    manner = {place for place in stems if tokens[place] in _MANNERS and tokens[place - 1] == "as"}
    return drop | manner | {place + 1 for place in manner if tokens[place] == "easy"}  # as easy to comb as


def _elsewhere(tokens: Tokens, place: int, way: Way) -> bool:
    """Return whether a word that is no word of the name tells a moment or what people do: during the massage."""
    before = place - (tokens[place - 1 : place] in (("the",), ("a",)))
    governed = before > 0 and tokens[before - 1] in (*STATES, "as", "you", "we", "they")
    own = {kernel(word) for word in way.named}.union(*way.needed)
    return governed and kernel(tokens[place]) not in own


def _degree_at(tokens: Tokens, place: int, way: Way, stems: Mapping[int, str]) -> tuple[int, Tokens]:
    """Return how many tokens at a place compare what is told of an attribute, and the plain words for it."""
    for part in ("to verb", "verb so"):
        length, entry = entry_at(tokens, place, part)
        number = tokens[place + 1 : place + 2] == ("than",) and number_at(tokens, place + 2) is not None
        if length and entry.family in _TOLD_BY[way.kind] and not number:  # more than 8 in 10
            return length, _BY_SIGN[-entry.value if way.kind == "speed" else entry.value]
    word = tokens[place]
    if place in stems and any(stems[place] in group for group in way.needed) and word not in way.named:
        for end, sign in (("er", 1.0), ("est", 2.0)):
            if word.endswith(end) and kernel(word.removesuffix(end)) == stems[place]:
                return 1, _BY_SIGN[sign]
    if word == "better" and way.more_is_better:
        return 1, _BY_SIGN[1.0]
    if word == "as" and "as" not in tokens[place + 1 :]:
        return 0, ()  # the same as
    return (1, (word,)) if word in _DEGREES and tokens[place + 1 : place + 2] != ("than",) else (0, ())
