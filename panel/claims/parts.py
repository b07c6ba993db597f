"""The words of sentences and what each may be; what the parts of a statement say together, the shares it quotes."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import chain, product, takewhile
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


def _in_digits(text: str) -> str:
    """Return a text with its numbers of two words, as eighty four, in digits."""
    text = re.sub(r"\b(one|a) hundred\b", "100", text)
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


PUT_BESIDE = frozenset(("compare", "compared", "comparing", "tested", "tried", "judged", "assessed", "between"))
BESIDE = frozenset(("with", "to", "against", "and", "alongside", "next", "beside", "side", "over"))
APPLYING = frozenset(map(root, ("apply", "use", "try", "rub", "put", "massage", "wear")))


# An attribute that no table of words knows is told in the words of its name, in their order, beside what compares it.


STATES = frozenset(("when", "while", "during", "until", "till", "once", "after", "before"))
OBJECTS = frozenset((
    "on", "onto", "between", "under", "around", "against", "with", "over", "in", "inside", "into", "across", "at",
    "of", "from", "to",
))  # fmt: skip
PARTICLES = frozenset(("off", "in", "on", "up", "out", "away", "down", "through"))
"""Small words of names: what leads a moment, or a thing; what goes with a verb."""

FELT_AS = frozenset(("feel", "touch", "texture", "sensation", "look"))
"""What says in a name that something is felt, or seen, and may stay untold: chalky touch."""
_MEANWHILE = frozenset(("while", "during"))
_LYING = frozenset(("glide", "glides", "go", "goes", "went", "lie", "lies", "lay", "lays", "sit", "sits", "sat"))
_ARTICLES = frozenset(("a", "an", "the", "your", "my", "their"))
_BEING = frozenset(
    ("is", "are", "was", "were", "feel", "feels", "felt", "feeling", "look", "looks", "looked", "judged", "found")
)
_DENIALS = frozenset(("no", "not"))
_DEGREES = MappingProxyType({
    "more": "more", "less": "less", "most": "most", "least": "least", "fewer": "less", "fewest": "least",
})  # fmt: skip
_BY_SIGN = MappingProxyType({1.0: "more", -1.0: "less", 2.0: "most", -2.0: "least"})
_QUICKLY = frozenset(("quickly", "fast", "rapidly"))
_AS = MappingProxyType({
    "ease": frozenset(("easily", "readily", "effortlessly", "easy")), "time": _QUICKLY, "speed": _QUICKLY,
    "lasting": frozenset(("long",)), "more": frozenset(("much", "well")), "like": frozenset(("much",)),
})  # fmt: skip
_ENDS = STATES | OBJECTS | SILENT | {"than", "as", "compared", "versus", "vs", "and", "but", "by"}
_LONGEST = 5  # words of a phrase that compares: takes less time to


def moved_as(asked: list[str], told: list[str], *, anyhow: bool) -> list[str]:
    """Return the words asked, as told, where those only have a clause on when, or how easily, in another place."""
    loose = [words for words in asked if words.startswith("degree ") and words.endswith(" 1")]
    fixed, of_told = ([words for words in each if words not in loose] for each in (asked, told))
    ends = range(len(fixed) + 1)
    moved = (
        [*rest[:place], *fixed[start:end], *rest[place:]]
        for start in ends if fixed[start : start + 1] and fixed[start] in STATES
        for end in ends[start + 1 :] for rest in [[*fixed[:start], *fixed[end:]]] for place in range(len(rest) + 1)
    )  # fmt: skip
    alike = sorted(asked) == sorted(told) and (anyhow or fixed == of_told or of_told in moved)
    return told if alike else asked


@dataclass(frozen=True, slots=True)
class Way:
    """How an attribute of the study's own is told: by the words of `core`, in order, all `things` and any `states`.

    Things and states are led by their small word: of hard patches, when damp. `kind` is ease, time, speed, lasting,
    like or more: what a word such as faster says of it. `better`: more is better.
    """

    kind: str
    core: Tokens
    things: tuple[Tokens, ...]
    states: tuple[Tokens, ...]
    named: Tokens
    better: bool


@lru_cache(maxsize=10_000)
def kernel(word: str) -> str:
    """Return what words of one stem have in common: friz of frizzy, frizzier, frizz; cov of covers and coverage."""
    word = root(re.sub(r"(?<=\w\w\w)(?:ness|ly|(?<!s)age)$", "", re.sub(r"ption$", "b", word)))
    for _ in range(2):
        word = re.sub(r"(?<=\w\w\w)[ie]$", "", re.sub(r"(?<=\w\w)(?:er|est)$", "", word))
        word = re.sub(r"([b-df-hj-np-tv-z])\1$", r"\1", word)
    return word


@lru_cache(maxsize=1_000)
def _alike(word: str) -> frozenset[str]:
    """Return the kernels of a word and of those that say the same: gloss for shine, oily for greasy."""
    own = {entry.family for _, entry in entries_at((word,), 0, "property") if entry.value == 1}
    same = (
        words[0] for words, entries in phrases().items() if len(words) == 1
        for entry in entries if entry.part == "property" and entry.value == 1 and entry.family in own
    )  # fmt: skip
    return frozenset(map(kernel, (word, *same)))


def as_chosen(tokens: Tokens, done: tuple[Tokens, Tokens]) -> Tokens:
    """Return a sentence on what people would rather do with one, in the words they were asked, as a preference."""
    lead, rest = ("would", "rather", *done[0]), done[1]
    place = next((n for n in range(len(tokens)) if done[0] and tokens[n : n + len(lead)] == lead), len(tokens))
    for at in range(place + len(lead), len(tokens) - len(rest) + 1):
        if tokens[at : at + len(rest)] == rest:
            return (*tokens[:place], *lead[:2], "use", *tokens[place + len(lead) : at], *tokens[at + len(rest) :])
    return tokens


def in_own_terms(tokens: Tokens, ways: Sequence[Way], products: Sequence[int]) -> Tokens:
    """Return a sentence with an attribute of the study's own by its name: more ease of melting for melts more easily.

    `products`: how many tokens at each place name a product; those say nothing of an attribute.
    """
    taken = {place + more for place, length in enumerate(products) for more in range(length)}
    for way in sorted(ways, key=lambda each: -len(each.named)):
        tokens = _object_last(tokens, way)
        for start in range(len(tokens)):
            end = _core_end(tokens, start, way)
            own = start + (tokens[start] == way.core[0])  # less oil comes off
            if end and taken.isdisjoint(range(own, end)) and (found := _compared(tokens, start, end, way)):
                return found
    return tokens


def _object_last(tokens: Tokens, way: Way) -> Tokens:
    """Return the words with what something is done to after its verb: easier to comb through dry hair."""
    led = 1 + sum(1 for _ in takewhile(PARTICLES.__contains__, way.core[1:]))
    done, thing = way.core[:led], way.core[led:]
    for start in range(len(tokens)) if thing and way.kind in ("ease", "time") else ():
        if end := _phrase_end(tokens, start, thing):
            at = end + (tokens[end : end + 1] != () and tokens[end] in _BEING)
            at += (length := entry_at(tokens, at, "to verb")[0])
            said = tokens[at : at + led]
            length = length or (len(said) == led and said[0].endswith(("ed", "s")))  # wet hair is untangled faster
            if length and len(said) == led and kernel(said[0]) == kernel(done[0]) and said[1:] == done[1:]:
                return (*tokens[:start], *tokens[end : at + led], *tokens[start:end], *tokens[at + led :])
    return tokens


def _core_end(tokens: Tokens, start: int, way: Way) -> int:
    """Return the place after the words an attribute is named by, where they stand in order; 0 where they do not."""
    being = start and tokens[start - 1] in (*_BEING, "be", "been")
    if being and tokens[start].endswith("ed") and way.core[0] != tokens[start]:
        return 0  # the product is covered
    place, head = start, max(n for n, word in enumerate(way.core) if n == 0 or word not in PARTICLES)
    for n, word in enumerate(way.core):
        while n and tokens[place : place + 1] and tokens[place] in _ARTICLES and word not in PARTICLES:
            place += 1  # runs off the fingers
        goes = word in PARTICLES and tokens[place : place + 1] and tokens[place] in _LYING  # a comb goes through
        here = tokens[place + bool(goes) : place + bool(goes) + 1]
        verb = n == head or word.endswith("ing") or (n, way.kind) == (0, "time")  # untangles wet hair, to untangle it
        verb &= way.kind == "more" or not here or here[0].endswith("er") == word.endswith("er")  # cleaner sooner
        if here and _same(here[0], word, loose=verb and way.kind != "like"):
            place += 1 + bool(goes)
        elif (word, way.kind) != ("through", "ease"):
            return 0
    return place + (tokens[place : place + 1] != () and tokens[place] in FELT_AS and tokens[place] in way.named)


def _same(token: str, word: str, *, loose: bool) -> bool:
    """Return whether a token is a word of a name, in another form only where that is `loose`."""
    if word in PARTICLES or token == word:
        return token == word
    forms = ([each.endswith(end) for end in ("s", "er", "est")] for each in (token, word))
    return kernel(token) in _alike(word) and (loose or next(forms) == next(forms))


def _phrase_end(tokens: Tokens, start: int, words: Tokens) -> int:
    """Return the place after some words of a name, articles among them; 0 where they do not stand there."""
    place = start
    for word in words:
        while tokens[place : place + 1] and tokens[place] in (*_ARTICLES, "you", "it"):
            place += 1
        if place >= len(tokens) or not _same(tokens[place], word, loose=False):
            return 0
        place += 1
    return place


def _compared(tokens: Tokens, start: int, end: int, way: Way) -> Tokens:
    """Return the tokens with the name beside what compares it; none where nothing does, or a thing stays untold."""
    spans: dict[int, int] = {}
    for words in (*way.things, *way.states):
        lead = _MEANWHILE if words[0] in _MEANWHILE else words[:1]
        led = (place for place, token in enumerate(tokens) if token in lead)
        spans |= {place: stop for place in led if (stop := _phrase_end(tokens, place + 1, words[1:]))}
    right = end
    while stop := spans.get(right, 0) or _site_end(tokens, right, way):
        right = stop
    if (found := _degree(tokens, start, right, way)) is None:
        return ()
    left, at, sign, stop = found
    for thing in way.things:
        led = (place for place in spans if tokens[place] == thing[0] or {tokens[place], thing[0]} <= _MEANWHILE)
        told = any(_phrase_end(tokens, place + 1, thing[1:]) for place in led)
        low, high = _beside(tokens, left, end, thing) if thing[0] in ("of", "when", "while") and not told else (0, 0)
        if not (told or high):
            return ()
        spans |= {low: high} if high else {}
    if any("new" in tokens[max(0, place - 1) : place] for place in {left, *spans}):
        return ()  # our new razor
    cut = {place for span in (*spans.items(), (left, stop), (start, right)) for place in range(*span)}
    before = tokens[left - 1] if left else ""
    kept_on = way.kind == "lasting" and root(before) == "keep"
    cut |= {left - 1} if before == "with" or kept_on or (before in _LYING and tokens[start].endswith("ly")) else set()
    states: set[Tokens] = {words[1:] for words in way.states}
    of_body = (place for place in range(len(tokens)) if entry_at(tokens, place + 1, "site")[0])
    cut |= {place for place in of_body if tokens[place : place + 1] in states}  # damp hair
    kept: list[Tokens] = [(token,) if place not in cut else () for place, token in enumerate(tokens)]
    kept[at] = (*sign, *way.named)
    return tuple(token for each in kept for token in each)


def _site_end(tokens: Tokens, place: int, way: Way) -> int:
    """Return the place after the part of the body that a small word of the name leads: through damp hair."""
    if not place or tokens[place - 1] not in PARTICLES or tokens[place - 1] not in way.core:
        return 0
    states: set[Tokens] = {words[1:] for words in way.states}
    while tokens[place : place + 1] and (tokens[place] in _ARTICLES or tokens[place : place + 1] in states):
        place += 1
    length = entry_at(tokens, place, "site")[0]
    return place + length if length else 0


def _beside(tokens: Tokens, left: int, end: int, thing: Tokens) -> tuple[int, int]:
    """Return where a thing stands right before what is said of it, or right after: hard patches feel softer."""
    if stop := _phrase_end(tokens, end, thing[1:]):
        return end, stop
    before = left - (left > 0 and tokens[left - 1] in ("no", "the"))  # dry hair no greasier, the softest
    while before and tokens[before - 1] in _BEING:
        before -= 1
    start = before - len(thing) + 1
    return (start, before) if start >= 0 and _phrase_end(tokens, start, thing[1:]) == before else (0, 0)


def _degree(tokens: Tokens, start: int, right: int, way: Way) -> tuple[int, int, Tokens, int] | None:
    """Return where what is compared begins, where the name goes, the plain word of the comparison, where that ends."""
    like = start
    while way.kind == "like" and like and (tokens[like - 1] in _ARTICLES or tokens[like - 1] == "like"):
        like -= 1
    while way.kind == "time" and like and tokens[like - 1] in ("be", "become", "get"):
        like -= 1  # less time to be dry
    noun = tokens[start] in way.named or not re.search(r"(?:ing|s)$", tokens[start])  # no fewer cakes for caking
    noun = noun and not entry_at(tokens, right, "site")[0]  # less chalky skin
    for length in range(min(_LONGEST, like) if noun or way.kind != "more" else 0, 0, -1):
        if tokens[like - length : like] == ("better",) and tokens[start] not in way.named:
            continue
        if sign := _plain(tokens[like - length : like], way, before=True, again="as" in tokens[right:]):
            return like - length, like - length, sign, right
    own, ended = tokens[start], right == len(tokens) or tokens[right] in _ENDS
    ending = re.search(r"(?:er|est)$", own) if own not in way.named and way.kind == "more" else None
    if ending and kernel(own.removesuffix(ending[0])) == kernel(own):
        closed = ended or any(_phrase_end(tokens, right, each[1:]) for each in way.things)
        return (start, start, ("more" if ending[0] == "er" else "most",), right) if closed else None
    at = right + (not ended and tokens[right] in _BEING)  # combing was easier
    denied = tokens[at : at + (not _DENIALS.isdisjoint(tokens[at : at + 1]))]
    at += len(denied)
    for stop in range(min(at + _LONGEST, len(tokens)), at, -1):
        closed = stop == len(tokens) or (tokens[stop] in _ENDS and tokens[stop] != "of")
        again = tokens[stop : stop + 1] == ("as",)
        if closed and (sign := _plain(tokens[at:stop], way, before=False, again=again)):
            return start, at, (*denied, *sign), stop
    without = way.kind == "more" and noun and start and tokens[start - 1] in ("no", "without")
    return (start, start, (), right) if without else None


def _plain(words: Tokens, way: Way, *, before: bool, again: bool) -> Tokens:
    """Return the plain word for some that compare what is told of an attribute; none where they do not."""
    amount = way.kind in ("more", "like")
    if before and words == ("as",):
        return words if amount and again else ()
    if not before and again and words[:1] == ("as",):
        return words[:1] if {*words[1:]} & _AS[way.kind] and words[2:] == () else ()
    if words == ("better",):
        return ("more",) if way.better and (not before or (way.kind == "more" and way.core == way.named[-1:])) else ()
    if amount and words[1:] == () and words[0] in _DEGREES:
        return (_DEGREES[words[0]],)
    verb = way.kind == "more" and not before and (way.core[-1].endswith("s") or way.core[0].endswith("ing"))  # glides
    kind = "ease" if verb else "time" if way.kind == "speed" else way.kind
    for part in ("to verb", "verb so"):
        length, entry = entry_at(words, 0, part)
        if length == len(words) and entry.family == kind != "more":
            return (_BY_SIGN[-entry.value if way.kind == "speed" else entry.value],)
    return ()
