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
    "superlative": r"S|TP|BP|VG|GV|UAP|UPA",
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


AT_LARGE = frozenset(f"{of}{who}" for of in ("", "of ") for who in ("people", "persons", "adults", "folk", "folks"))
_TEN = 10


def of_people_at_large(people: Iterable[str], shares: Iterable[Share]) -> bool:
    """Return whether a share is told of people, and not counted out of as many: most people, 88 % of adults."""
    counts = [not share.of or (share.of > _TEN and {"of", "in"} & {*share.words.split()}) for share in shares]
    return bool(counts) and not any(counts) and not AT_LARGE.isdisjoint(people)


# Small words that make more, or something else, of the words beside them.
UNSAID_HOW = frozenset(("how", "what", "which", "way", "than", "as", "like"))
ONWARDS = frozenset(("on", "up", "over", "beyond", "counting", "longer", "more", "onwards", "so", "later", "then"))
ALL_SAME = frozenset(("answer", "result", "verdict", "opinion", "view", "voice", "thing", "from", "of", "at", "with"))
OF_VERBS = frozenset(("for", "out", "up", "off", "over", "down", "into", "away", "through", "around", "after", "back"))
PAST = frozenset((
    "found", "felt", "said", "chose", "thought", "told", "saw", "gave", "had", "were", "would", "could", "who", "we",
    "to", "out", "in", "from", "taking", "testing", "using", "trying", "by", "of",
))  # fmt: skip


# The words of a sentence: cut into tokens, whatever its case, hyphens or line breaks, and looked up in the tables.


Tokens = tuple[str, ...]
_PLAIN = re.compile("[a-z ]+")
_PIECE = re.compile(r"(?:\{[^{}]*\}|[^\s{}])+")  # of a phrase with choices: what stands between two spaces
_TOKEN = re.compile(r"\d+(?:[.,]\d+)*|[^\W\d_][^\W_]*(?:'[^\W_]+)*|\S")
_APOSTROPHES = dict.fromkeys(map(ord, "’ʼ‘`´"), "'")
_DASHES = dict.fromkeys(map(ord, "‐‑‒–—−"), "-")
_SIGNS = _APOSTROPHES | _DASHES | {ord("&"): " and "}
ONES = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_TWO_WORDS = re.compile(rf"\b({'|'.join(_TENS)}) ({'|'.join(ONES)})\b")
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
FULL = frozenset((".", ":", ";", "!", "?"))
ENDS = FULL | {",", "-", "(", ")"}
JOINS = frozenset(("and", "or", ","))
SUPERLATIVES = ("superlative", "degree_superlative", "least", "most")
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


_PARTS = {"half": 0.5, "a half": 0.5, "quarter of": 0.25, "a quarter": 0.25, "three quarters of": 0.75}
_IN_PARTS = re.compile(
    r"\b(?:(half|(?:a )?quarter of|three quarters of|an?|one) (?:an? )?(hour|minute)(?: and (a half|a quarter))?)\b"
)


def _minutes_of(part: str, unit: str, more: str | None) -> str:
    """Return a time told in parts of an hour or a minute in whole numbers: half an hour is 30 minutes."""
    size = _PARTS.get(part.removeprefix("a "), 1.0) + _PARTS.get(more or "", 0.0)
    if more and part not in ("a", "an", "one"):
        return f"{part} {unit} and {more}"
    if unit == "minute" and size == 1.0:
        return f"{part} {unit}"
    return f"{60 * size:g} {'minutes' if unit == 'hour' else 'seconds'}"


def _in_digits(text: str) -> str:
    """Return a text with its numbers of two words, as eighty four, in digits."""
    text = re.sub(r"\b(one|a) hundred\b", "100", text)
    text = _IN_PARTS.sub(lambda found: _minutes_of(*found.groups()), text)
    return _TWO_WORDS.sub(lambda found: str(10 * _TENS.index(found[1]) + 20 + ONES.index(found[2]) + 1), text)


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


@cache
def _phrases() -> Mapping[tuple[str, str], list[tuple[Tokens, float]]]:
    found: dict[tuple[str, str], list[tuple[Tokens, float]]] = {}
    for words, entries in phrases().items():
        for entry in entries:
            found.setdefault((entry.part, entry.family), []).append((words, entry.value))
    return MappingProxyType(found)


def phrases_of(part: str, family: str) -> Iterable[tuple[Tokens, float]]:
    """Give the phrases that are a part and speak of a family, each with its value."""
    return _phrases().get((part, family), ())


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
def _begun_by() -> dict[str, tuple[int, frozenset[str]]]:
    """Return of the phrases that begin with a word how long the longest is, and the parts they are, any of them too."""
    longest: dict[str, int] = {}
    parts: dict[str, set[str]] = {}
    for phrase, entries in phrases().items():
        longest[phrase[0]] = max(longest.get(phrase[0], 0), len(phrase))
        parts.setdefault(phrase[0], {""}).update(entry.part for entry in entries)
    return {word: (length, frozenset(parts[word])) for word, length in longest.items()}


_NO_PHRASE: tuple[int, frozenset[str]] = 0, frozenset()


def entries_at(tokens: Tokens, place: int, part: str = "") -> Iterator[tuple[int, Entry]]:
    """Give what may stand at a place, the longest phrase first: its number of tokens and what it is."""
    longest, parts = _begun_by().get(tokens[place], _NO_PHRASE) if place < len(tokens) else _NO_PHRASE
    for length, entry in _standing(tokens[place : place + longest]) if part in parts else ():
        if not part or entry.part == part:
            yield length, entry


_NOTHING = 0, Entry("")


def entry_at(tokens: Tokens, place: int, part: str) -> tuple[int, Entry]:
    """Return the longest phrase of a part at a place, or of any part: its number of tokens, 0 where there is none."""
    longest, parts = _begun_by().get(tokens[place], _NO_PHRASE) if place < len(tokens) else _NO_PHRASE
    return _longest_of_each(tokens[place : place + longest]).get(part, _NOTHING) if part in parts else _NOTHING


@lru_cache(maxsize=50_000)
def _longest_of_each(words: Tokens) -> dict[str, tuple[int, Entry]]:
    found: dict[str, tuple[int, Entry]] = {}
    for length, entry in _standing(words):
        found.setdefault(entry.part, (length, entry))
        found.setdefault("", (length, entry))
    return found


@lru_cache(maxsize=50_000)
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
    plain = re.fullmatch(r"[^aeiou]{1,2}eed|[^aeiouy]+ing", form)  # need, cling
    bare = re.sub(r"(?<=\w\w)e$", "", form if plain else re.sub(r"(?<=\w\w)(?:ing|ed|es|s)$", "", form))
    return re.sub(r"y$", "i", re.sub(r"([b-df-hj-np-tv-z])\1$", r"\1", bare))


def beginning(word: str) -> str:
    """Return what a word shares with its other forms: handl of handle and handled, book of books."""
    return word.rstrip("s")[:5]


@lru_cache(maxsize=1000)
def forms_of(doing: Tokens) -> frozenset[tuple[Tokens, str]]:
    """Return the forms of words such as patting dry: patted dry (done), pat dry (do); of drying dry (is so), too."""
    place = next((n for n, word in enumerate(doing) if word.endswith("ing")), len(doing))
    stem, found = doing[place][:-3] if place < len(doing) else "", {(doing, "doing")}
    past = f"{stem[:-1]}ied" if stem.endswith("y") else f"{stem}ed"
    forms = [(past, "done"), (stem, "do"), (f"{stem}e", "do"), (stem[:-1] if stem[-1:] == stem[-2:-1] else stem, "do")]
    forms += [("dry", "is")] if stem == "dry" else []
    return frozenset(found | {((*doing[:place], word, *doing[place + 1 :]), kind) for word, kind in forms if stem})


def plural_of(word: str) -> str:
    """Return the plural of a noun: glosses, bodies, creams."""
    if re.search(r"(?:s|x|z|ch|sh)$", word):
        return f"{word}es"
    return f"{word[:-1]}ies" if re.search(r"[^aeiou]y$", word) else f"{word}s"


PUT_BESIDE = frozenset(("compare", "compared", "comparing", "tested", "tried", "judged", "assessed", "between"))
BESIDE = frozenset(("with", "to", "against", "and", "alongside", "next", "beside", "side", "over"))
APPLYING = frozenset(map(root, ("apply", "use", "try", "rub", "put", "massage", "wear")))


# Forms of words, as patterns to look for.


@cache
def irregular() -> Mapping[str, frozenset[str]]:
    """Return the irregular forms of each verb: hung of hang."""
    found: dict[str, frozenset[str]] = {}
    for words, entries in phrases().items():
        for entry in entries:
            if entry.part == "form of":
                found[entry.family] = found.get(entry.family, frozenset()) | {" ".join(words)}
    return MappingProxyType(found)


@cache
def opposites() -> Mapping[str, frozenset[str]]:
    """Return the words that say the opposite, by each of them: soft of firm."""
    found: dict[str, frozenset[str]] = {}
    rows = shared_table("claim_opposites_en")
    for one, other in zip(rows["one"], rows["other"], strict=True):
        for word, against in ((str(one), str(other)), (str(other), str(one))):
            found[word] = found.get(word, frozenset()) | {against}
    return MappingProxyType(found)


ARTICLE = r"(?:(?:a|an|the|your|my|their|one|this|a single) )?"


def base_of(verb: str) -> str:
    """Return the plain form of a verb: wander of wanders, pass of passes."""
    known = next((entry.family for _, entry in entries_at((verb,), 0, "form of")), "")
    if known:
        return known
    if re.search(r"(?:ss|sh|ch|x|zz)es$", verb):
        return verb[:-2]
    return verb[:-3] + "y" if verb.endswith("ies") else verb.removesuffix("s") if not verb.endswith("ss") else verb


def verb_forms(verb: str) -> str:
    """Return a pattern of all forms of a verb."""
    base = base_of(verb)
    stem = base.removesuffix("e")
    doubled = stem + stem[-1] if re.search(r"[^aeiou][aeiou][bdgklmnpt]$", base) else stem
    forms = {
        base,
        plural_of(base),
        f"{stem}ing",
        f"{stem}ed",
        f"{doubled}ing",
        f"{doubled}ed",
        *irregular().get(base, ()),
    }
    forms |= {f"{base[:-1]}ied"} if re.search(r"[^aeiou]y$", base) else set()
    return any_of(forms)


def done_forms(word: str) -> str:
    """Return the pattern of a word and, where something is done, of all forms of that: rubbing, rub."""
    doing = forms_of_stem(word.removesuffix("ing")) if re.fullmatch(r"\w{3,}ing", word) else verb_forms(word)
    return f"(?:{any_of((word,))}|{doing})"


def forms_of_stem(stem: str) -> str:
    """Return the pattern of all forms of a verb by what is left of it without its ending: rubb of rubbing."""
    bases = {stem, f"{stem}e", stem[:-1] if stem[-1:] == stem[-2:-1] else stem}
    return any_of({form for base in bases for form in verb_forms(base)[3:-1].split("|")})


def any_of(words: Iterable[str]) -> str:
    """Return the pattern of any of some words, the longest first."""
    return f"(?:{'|'.join(sorted(map(re.escape, words), key=lambda each: (-len(each), each)))})"


@lru_cache(maxsize=1_000)
def noun_forms(noun: str, led: bool = False) -> str:
    """Return a pattern of one and many of a noun; of a place of the body any word for it, led by a small word skin."""
    family = entry_at((noun,), 0, "site")[1].family
    if family and family != "part of the face":  # the chin is not the brow
        same = {" ".join(words) for words, _ in phrases_of("site", family)}
        return any_of(same | ({"skin"} if led and family not in _NO_SKIN else set()))
    one = noun[:-1] if noun.endswith("s") and not noun.endswith("ss") else noun
    return any_of({noun, one, plural_of(one)})


def between_forms(one: str, other: str) -> str:
    """Return the pattern of what lies between two things, in either order; of two fingers any two."""
    sides = [any_of(_FINGERS) if each in _FINGERS else noun_forms(each) for each in (one, other)]
    if {one, other} <= _FINGERS:
        return rf"between {ARTICLE}{sides[0]}(?: and {ARTICLE}{sides[1]})?"
    first, last = (rf"{ARTICLE}{each}" for each in sides)
    return rf"between (?:{first} and {last}|{last} and {first})"


_FINGERS = frozenset(("finger", "fingers", "fingertip", "fingertips", "forefinger", "index finger", "thumb"))


def forms_alike(verb: str) -> str:
    """Return the pattern of a verb and of those of everyday words that say the same: slides for slips."""
    rows = (str(words).split() for words in shared_table("claim_alike_en")["words"])
    same = {base_of(verb), *(word for row in rows if base_of(verb) in row for word in row)}
    return f"(?:{'|'.join(sorted(map(verb_forms, same)))})"


def compared_form(word: str) -> frozenset[str]:
    """Return the one word that says more of a short quality: firmer, farther, better; none of a long one."""
    known = {"well": ("better",), "good": ("better",), "far": ("farther", "further"), "much": (), "bad": ("worse",)}
    if word in known:
        return frozenset(known[word])
    if len(word) > _LONG_QUALITY or word.endswith("ly") or len(re.findall(r"[aeiouy]+", word.removesuffix("e"))) > 2:
        return frozenset()
    doubled = word + word[-1] if re.search(r"(?:^|[^aeiou])[aeiou][bdgmnpt]$", word) else word
    return frozenset({re.sub(r"y$", "i", doubled.removesuffix("e")) + "er"})


def opposite_of(how: str) -> frozenset[str]:
    """Return the words for the opposite of a quality, by the table and by its beginning: even of uneven."""
    plain = how.removesuffix("ly") if how not in opposites() else how
    turned = (
        {plain[2:]}
        if plain.startswith("un") and len(plain) > _LEAST_OF_UN and plain[2:] not in ("der", "it")
        else set()
    )
    return opposites().get(plain, frozenset()) | turned


def qualities(word: str) -> frozenset[str]:
    """Return a quality as it is said of a thing and of how something is done: even, evenly."""
    adverb = (
        word[:-1] + "ily" if re.search(r"[^aeiou]y$", word) else word[:-1] + "y" if word.endswith("le") else f"{word}ly"
    )
    plain = {word.removesuffix("ly")} if word.endswith("ly") and len(word) > 5 else set()
    return frozenset({word, adverb if not word.endswith("ly") else word} | plain)


_NO_SKIN = frozenset(("hair", "beard", "nails", "lashes", "lips", "fingers", "hands"))
_LEAST_OF_UN = 5  # letters: uneven, and not under or unit
_LONG_QUALITY = 7  # letters: what has more is compared with more and less


def said_as(said: Tokens) -> str:
    """Return what some words speak of, all of them, by the table."""
    found = (entry.family for part in _SAYING for n, entry in entries_at(said, 0, part) if n == len(said))
    return next(found, "")


def told_in_table(tokens: Tokens) -> tuple[int, Tokens]:
    """Return where a sentence says the one thing that it says in words of the table, and these; none where several."""
    told, place = list[tuple[int, int, str]](), 0
    while place < len(tokens):
        length, family = max(
            ((n, entry.family) for part in _SAYING for n, entry in entries_at(tokens, place, part)), default=(0, "")
        )
        told += [(place, length, family)] if family else []
        place += length or 1
    if len({family for _, _, family in told}) != 1:
        return 0, ()
    at, length, _ = told[0]
    return at, tokens[at : at + length]


_SAYING = ("property", "comparative", "superlative", "verb")


@cache
def at_stage(stage: Tokens) -> str:
    """Return the pattern of when it is judged: as you rub it in, during rub-out."""
    rubbing = {" ".join(words) for words, entries in phrases().items() for each in entries if each.part == "rubbing"}
    ways = rubbing | {"after that"} if "rub" in stage else set[str]()  # what `Asking.with_events` puts for a stage
    return rf"(?:{any_of(ways)}|(?:on|at|in|during|upon) (?:the )?{' '.join(stage) or '(?!)'})"
