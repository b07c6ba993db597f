"""The grammar that reads a sentence: every word does something in it, or is left over.

The words are data (`claim_words_en.csv`), the names come from the study. Nothing is guessed: a word that is in no table
and names nothing of the study is left over, and so is one that stands where it does nothing.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from panel.claims.names import SILENT, Entry, Names, Tokens, entries_at, known_words, number_at, tokens_of

_OURS = frozenset(("our", "the", "its"))
_BEFORE_OTHER = frozenset(("with", "for", "after", "from"))


@dataclass(eq=False)
class _Cursor:
    """The tokens and names of one sentence, the place reached, and everything found up to there."""

    tokens: Tokens
    names: Names
    place: int = 0
    found: Reading = field(default_factory=lambda: Reading())

    def entry(self, part: str, place: int | None = None) -> tuple[int, Entry]:
        """Return the _longest phrase of this part at a place (the one reached), 0 tokens where there is none."""
        return next(entries_at(self.tokens, self.place if place is None else place, part), (0, Entry("")))

    def words(self, length: int) -> str:
        """Return the next words as text."""
        return " ".join(self.tokens[self.place : self.place + length])

    def take(self, length: int, entry: Entry) -> bool:
        """Take the next words as what they are."""
        self.found.chunks.append(replace(entry, words=self.words(length)))
        self.place += length
        return True

    def before_people(self, place: int) -> bool:
        """Return whether people are named at a place, with an article or none."""
        while place < len(self.tokens) and self.tokens[place] in (*_OURS, "of"):
            place += 1
        return bool(self.entry("people", place)[0] or self.entry("agree", place)[0])

    def comparator(self) -> bool:
        """Take words that name one prototype by name or role, with the product it is; leave them where they do not."""
        place = self.after_clause(self.place)
        while place < len(self.tokens) and (self.tokens[place] in _OURS or self.tokens[place] in _BEFORE_OTHER):
            place += 1
        fitting: frozenset[str] | None = None
        alone = False
        while True:
            length, named, whole = self.one_name(place)
            if not length:
                break
            alone = alone or whole
            if named is not None:
                fitting = named if fitting is None else fitting & named
            place += length
        if not fitting or not alone or self.role_words(place) > 1:
            return False
        self.found.comparators.append(fitting)
        self.place = self.after_verb(place)
        return True

    def after_verb(self, place: int) -> int:
        """Return the place after `did`, `was` at the end of a clause: `than our previous cream was`."""
        end = place + self.entry("aux", place)[0]
        return end if end == len(self.tokens) or self.tokens[end] in SILENT else place

    def after_clause(self, place: int) -> int:
        """Return the place after `they did`, `it does`: the same said of the other one; `place` where there is none."""
        length = self.entry("same_of", place)[0]
        after = self.tokens[place + length : place + length + 1]
        return place + length if after in (("with",), ("for",), ("after",), ("from",)) else place

    def role_words(self, end: int) -> int:
        """Return how many words of a role stand from the place reached to `end`; two may name another prototype."""
        return sum(self.entry("role", place)[0] > 0 for place in range(self.place, end))

    def one_name(self, place: int) -> tuple[int, frozenset[str] | None, bool]:
        """Return how many tokens at a place help to name a prototype, and which it may be (None: a product word).

        The last is False for a word that needs a product after it, as `previous` does.
        """
        length, prototype = _longest(self.names.prototypes, self.tokens, place)
        if length:
            return length, frozenset((prototype,)), True
        length, role = self.entry("role", place)
        if length and role.family in self.names.roles:
            return length, self.names.roles[role.family], role.value == 1
        return self.product_at(place), None, True

    def product_at(self, place: int) -> int:
        """Return how many tokens at a place name the product in general, or its kind as the study states it."""
        types = self.names.product_types
        for length, _ in entries_at(self.tokens, place, "product_type"):
            phrase = self.tokens[place : place + length]
            if phrase in types or (not types and length == 1):
                return length
        title = max((len(t) for t in self.names.titles if self.tokens[place : place + len(t)] == t), default=0)
        return title or self.entry("product", place)[0]

    def range_at(self, place: int) -> int:
        """Return how many tokens at a place name all products of the study: `hand creams`, `hand cream range`."""
        kinds = {(*kind[:-1], f"{kind[-1]}s") for kind in self.names.product_types}
        counted = number_at(self.tokens, place) == len(set(self.names.prototypes.values()))  # our three hand creams
        start = place + counted
        plural = max((len(kind) for kind in kinds if self.tokens[start : start + len(kind)] == kind), default=0)
        plural += counted if plural else 0
        end = place + self.product_at(place)
        return plural or (end + 1 - place if end > place and self.tokens[end : end + 1] == ("range",) else 0)


def _longest(named: Mapping[Tokens, str], tokens: Tokens, place: int) -> tuple[int, str]:
    """Return the _longest of the names that stands at a place: its number of tokens and what it names."""
    here = tokens[place : place + 1]
    fitting = (words for words in named if words[:1] == here and tokens[place : place + len(words)] == words)
    best = max(fitting, key=len, default=()) if here else ()
    return len(best), named.get(best, "")


_PLAIN = frozenset(
    [
        "function",
        "feel",
        "look",
        "site",
        "slight",
        "range",
        "agree",
        "people",
        "panel",
        "test",
        "later",
        "product",
        "still",
    ]
)
OF_PEOPLE = frozenset(("use", "recommendation", "preference", "liking"))
"""What only people can do: a share of it needs no other word for who."""
_SUPERLATIVES = ("superlative", "degree_superlative", "least", "most")
_SAYERS = frozenset(("people", "panel", "at_least", "majority", "fraction", "number"))
_DIFFERS = frozenset(("less", "more", "comparative", "degree_comparative", *_SUPERLATIVES))
_JOINS = frozenset(("and", "or", ","))
_UNKNOWN_SHARE = 0.5  # of the words: more unknown than known is no English; a setting of ours, no source


def read_sentence(text: str, names: Names) -> Reading:
    """Return what a sentence says about a study, and which of its words nothing accounts for."""
    reader = _Reader(tokens_of(text), names)
    reader.read_all()
    reader.found.read = _is_english(reader)
    return reader.found


def _is_english(reader: _Reader) -> bool:
    """Return whether at least half of the words are ones that the tables or the study know."""
    words = [token for token in reader.tokens if token[0].isalpha()]
    own = {word for phrase in (*reader.names.ingredients, *reader.names.prototypes) for word in phrase}
    unknown = sum(word not in known_words() and word not in own for word in words)
    return bool(words) and unknown <= _UNKNOWN_SHARE * len(words)


class _Reader(_Cursor):
    """The steps of the grammar: each takes the next words if it can do something with them."""

    def read_all(self) -> None:
        """Read to the end: the first of the steps that can do something with the next words does it."""
        steps = (
            self.answered, self.replacement, self.share, self.base, self.moment, self.age, self.comparison,
            self.ingredient, self.own_range, self.none_of, self.named, self.statement, self.plain,
        )  # fmt: skip
        while self.place < len(self.tokens):
            if self.tokens[self.place] in SILENT:
                self.place += 1
            elif not any(step() for step in steps):
                self.found.left_over.append(self.tokens[self.place])
                self.found.order.append(self.tokens[self.place])
                self.place += 1
        self.end()

    def end(self) -> None:
        """Leave over a last word that asks for another one after it."""
        last = self.found.chunks[-1] if self.found.chunks else None
        ends = [token for token in self.tokens if token not in SILENT][-1:]
        if (
            last is not None
            and last.value == 0
            and last.words.split()[-1:] == ends
            and last.words not in self.found.left_over
        ):
            self.found.left_over.append(last.words)

    def share(self) -> bool:
        """`84 %`, `8 in 10`, `49 of 58`, `more than half`, `most users`."""
        bound, entry = self.entry("at_least")
        least = ("more than", "at least", "almost")[int(entry.value)] if bound else ""
        start = self.place + bound
        value = number_at(self.tokens, start)
        if value is not None:
            percent = self.entry("percent", start + 1)[0]
            if percent:
                return self.take_share(Share(value, 100, least, self.words(bound + 1 + percent)), bound + 1 + percent)
            between = self.entry("people", start + 1)[0]  # eight users in ten
            out_of = self.entry("out_of", start + 1 + between)[0]
            whole = number_at(self.tokens, start + 1 + between + out_of) if out_of else None
            if whole is not None and not self.entry("unit", start + 2 + between + out_of)[0]:
                if between:
                    self.found.chunks.append(self.entry("people", start + 1)[1])
                length = bound + 2 + between + out_of
                return self.take_share(Share(value, whole, least, self.words(length)), length)
            of_them = self.entry("of_them", start + 1)[0]
            if self.found.bases and self.people_speak(start + 1 + of_them):
                length = bound + 1 + of_them
                return self.take_share(Share(value, self.found.bases[-1], least, self.words(length)), length)
        length, part = self.entry("fraction", start)
        if length:
            share = Share(part.value, 1, least, self.words(bound + length), fraction=True)
            return self.take_share(share, bound + length)
        length = self.entry("more")[0]
        if length and self.entry("people", self.place + length)[0] and self.names_preference():
            return self.take(length, Entry("function"))
        length = self.entry("majority")[0]
        if length and self.before_people(self.place + length):
            return self.take_share(Share(0.5, 1, "more than", self.words(length), fraction=True), length)
        return False

    def people_speak(self, place: int) -> bool:
        """Return whether at a place people are told to have agreed, preferred, liked, or that they would use it."""
        found = [entry for _, entry in entries_at(self.tokens, place)]
        return any(entry.part == "agree" or (entry.part == "verb" and entry.family in OF_PEOPLE) for entry in found)

    def names_preference(self) -> bool:
        """Return whether a word of preference follows: more users preferred one than preferred the other."""
        ahead = range(self.place, len(self.tokens))
        return any(entry.family == "preference" for place in ahead for _, entry in entries_at(self.tokens, place))

    def take_share(self, share: Share, length: int) -> bool:
        """Take a share; an `of` after it says nothing more."""
        self.found.shares.append(share)
        self.place += length
        if self.place < len(self.tokens) and self.tokens[self.place] == "of":
            self.place += 1
        return True

    def base(self) -> bool:
        """`58 users`, `n = 58`."""
        if self.tokens[self.place : self.place + 2] == ("n", "="):
            value, length = number_at(self.tokens, self.place + 2), 3
        else:
            before = self.entry("among")[0]
            value, length = number_at(self.tokens, self.place + before), before + 1
            place = self.place + length
            if value is None or not (self.entry("people", place)[0] or self.entry("panel", place)[0]):
                return False
        if value is None:
            return False
        self.found.bases.append(value)
        self.place += length
        return True

    def moment(self) -> bool:
        """`after 20 minutes`, `2 minutes later`, `within 60 s`, `for 8 hours`."""
        for part, kind in (("within", "within"), ("after", "at"), ("lasting", "for"), ("", "at")):
            start = self.place + (self.entry(part)[0] if part else 0)
            if part and start == self.place:
                continue
            one = bool(part) and self.tokens[start : start + 1] in (("a",), ("an",))
            value = 1.0 if one else number_at(self.tokens, start)
            length, unit = self.entry("unit", start + 1) if value is not None else (0, Entry(""))
            if value is None or not length:
                continue
            end = start + 1 + length
            end += self.entry("later", end)[0]
            self.found.moments.append((kind, value * unit.value, self.words(end - self.place)))
            self.place = end
            return True
        return False

    def age(self) -> bool:
        """`aged 21 to 63`."""
        length = self.entry("aged")[0]
        start = self.place + length
        low, high = number_at(self.tokens, start), number_at(self.tokens, start + 2)
        if not length or low is None or high is None or self.tokens[start + 1] not in ("to", "and", "-"):
            return False
        self.found.ages = f"{low:g} to {high:g}"
        self.place = start + 3
        return True

    def comparison(self) -> bool:
        """`than our previous hand cream`, `compared with P1`; the second `as` of `as ... as` compares, too."""
        length, entry = self.entry("than")
        if not length and self.found.core and self.found.core[-1].family == "preference":
            length, entry = self.entry("preferred_to")
        parts = [chunk.part for chunk in self.found.core]
        second = parts[-2:] in (["as", "property"], ["as", "degree"]) or parts[-3:] == ["as", "degree", "verb"]
        if not length and second:
            length, entry = self.entry("as")
        if not length:
            length, entry = self.entry("equal")
        if not length:
            return False
        start, self.place = self.place, self.place + length
        others, rest = self.entry("others_of")
        whole = self.range_said(self.place + others, open_ended=rest.family) if others else 0
        if whole:
            return self.take(others + whole, Entry("range"))
        if not self.comparator():
            self.place = start
            return False
        if entry.part in ("as", "equal"):
            self.found.core.append(Entry("as", words="as"))
        while self.place < len(self.tokens) and self.tokens[self.place] in _JOINS:
            before, self.place = self.place, self.place + 1
            if not self.comparator():
                self.place = before
                break
        return True

    def ingredient(self) -> bool:
        """`contains shea butter`, `thanks to C13-15 Alkane`; an ingredient that is only named gets the credit."""
        for part, into in (("contains", self.found.contains), ("credit", self.found.credits), ("", self.found.credits)):
            start = self.place + (self.entry(part)[0] if part else 0)
            length, name = _longest(self.names.ingredients, self.tokens, start)
            if length and (start > self.place or not part):
                into.append(name)
                self.place = start + length
                return True
        return False

    def replacement(self) -> bool:
        """`in this base, replacing 6 % X by Y`."""
        length = self.entry("in_this_base")[0]
        start = self.place + length
        start += start < len(self.tokens) and self.tokens[start] in SILENT
        length = self.entry("replacing", start)[0] if length else 0
        percent = number_at(self.tokens, start + length)
        if not length or percent is None or not self.entry("percent", start + length + 1)[0]:
            return False
        start += length + 2
        out_length, out = _longest(self.names.ingredients, self.tokens, start)
        by = self.entry("replaced_by", start + out_length)[0]
        in_length, into = _longest(self.names.ingredients, self.tokens, start + out_length + by)
        if not (out_length and by and in_length):
            return False
        self.found.replaced = (out, into, percent)
        self.place = start + out_length + by + in_length
        return True

    def own_range(self) -> bool:
        """`of our hand creams`, `in our hand cream range`, `our` before a superlative."""
        if self.tokens[self.place] == "our" and any(self.entry(part, self.place + 1)[0] for part in _SUPERLATIVES):
            return self.take(1, Entry("range"))
        length, entry = self.entry("range_of")
        rest = self.range_said(self.place + length, open_ended=entry.family) if length else 0
        return self.take(length + rest, Entry("range")) if rest else False

    def range_said(self, place: int, *, open_ended: str) -> int:
        """Return how many tokens name the range; where `open_ended`, `in our range` or `we tested` must follow."""
        length = self.product_at(place) if open_ended == "each" else self.range_at(place)
        tail = self.entry("range", place + length)[0] if length else 0
        return length + tail if tail or not open_ended else 0

    def none_of(self) -> bool:
        """`no hand cream`, `no other cream`: nothing, where more or less is said of it."""
        length = self.entry("none_of")[0]
        whole = self.range_at(self.place + length) if length and "of" in self.words(length).split() else 0
        product = whole or (self.product_at(self.place + length) if length else 0)
        if not product:
            return False
        if whole:
            self.found.chunks.append(Entry("range", words=self.words(length + whole)))
        self.found.core.append(Entry("nothing", words=self.words(length + product)))
        self.found.order.append("nothing")
        self.place += length + product
        return True

    def named(self) -> bool:
        """Take a prototype that is the subject, or the study's own words for an attribute."""
        length, prototype = _longest(self.names.prototypes, self.tokens, self.place)
        if length:
            self.found.subjects.append(prototype)
            self.place += length
            return True
        length, family = _longest(self.names.attributes, self.tokens, self.place)
        if length and length >= next(entries_at(self.tokens, self.place), (0, None))[0]:
            own = any(e.part in ("property", "verb") for n, e in entries_at(self.tokens, self.place) if n == length)
            if not own:
                self.found.core.append(Entry("property", family, family, 1.0, self.words(length)))
                self.found.order.append(f"property {family}")
                self.place += length
                return True
        return False

    def statement(self) -> bool:
        """Take what is said of a property: the words of the statement itself, the _longest phrase first."""
        for length, entry in entries_at(self.tokens, self.place):
            if entry.part == "site" and self.product_at(self.place) > length:
                continue
            if entry.part == "as" and self.names_what_is_said():
                return self.take(length, Entry("function"))
            if entry.part in _LETTERS:
                value = entry.value if not math.isnan(entry.value) else 1.0
                self.found.core.append(replace(entry, value=value, words=self.words(length)))
                self.found.order.append(f"{entry.part} {entry.family}")
                self.place += length
                return True
            if (
                entry.part == "agree" and entry.family == "as" and not self.place
            ):  # rated less greasy, by whom is footnoted
                return self.take(length, Entry("function", "as"))
            to_its_verb = entry.part == "with_verb" and self.found.core and self.found.core[-1].family == entry.family
            if entry.part in _PLAIN or to_its_verb:
                return self.take(length, entry)
        return False

    def names_what_is_said(self) -> bool:
        """Return whether an `as` compares nothing: rated as less greasy, described as quick to sink in."""
        following = range(self.place + 1, len(self.tokens))
        compares = any(self.tokens[place] == "as" for place in following)
        after = {entry.part for _, entry in entries_at(self.tokens, self.place + 1)}
        told = any(chunk.family == "as" for chunk in self.found.chunks)
        return self.tokens[self.place] == "as" and (
            bool(after & _DIFFERS) or ((told or self.says_who(after)) and not compares)
        )

    def says_who(self, parts: set[str]) -> bool:
        """Return whether people or a share of them follow: as 84 % of users agreed."""
        return bool(parts & _SAYERS) or number_at(self.tokens, self.place + 1) is not None

    def answered(self) -> bool:
        """Take the mark of a question to which people said yes, and `whether` before a clause they agreed with."""
        length = self.entry("whether")[0] if not self.found.shares else 0
        if self.leads_in():
            self.place += 1
            return True
        if self.tokens[self.place] == "?":
            start = self.place + 1
        elif length and "," in self.tokens[self.place :]:
            start = len(self.tokens) - self.tokens[::-1].index(",")
        else:
            return False
        ahead = [entry for place in range(start, len(self.tokens)) for _, entry in entries_at(self.tokens, place)]
        agreed = any(entry.family == "yes" for entry in ahead) and not any(entry.part == "not" for entry in ahead)
        self.place += (length or 1) if agreed else 0
        return agreed

    def leads_in(self) -> bool:
        """Return whether a question mark ends words that say nothing yet: what has changed?"""
        said = self.found.core or self.found.left_over or self.found.shares or self.found.bases or self.found.moments
        return self.tokens[self.place] == "?" and self.place + 1 < len(self.tokens) and not said

    def plain(self) -> bool:
        """Words around the statement: the product as the study names it, `new`."""
        length = self.product_at(self.place)
        if length:
            return self.take(length, Entry("product"))
        length, entry = self.entry("before_site")
        if length and (not self.place or self.entry("site", self.place + length)[0]):
            return self.take(length, entry)
        if self.tokens[self.place] in _BEFORE_OTHER and self.own_product(self.place + 1):
            return self.take(1, Entry("function"))
        if self.before_property():
            return self.take(1, Entry("function"))
        length, entry = self.entry("new")
        return self.take(length, entry) if length else False

    def before_property(self) -> bool:
        """Return whether `for` or `in` names what is compared: lower for greasiness, equal in softness."""
        follows = self.entry("property", self.place + 1)[0] and self.tokens[self.place] in ("for", "in", "on")
        return bool(follows) and any(chunk.part in ("as", "less", "more") for chunk in self.found.core)

    def own_product(self, place: int) -> bool:
        """Return whether the product itself is named at a place: `our new hand cream`, `this cream`."""
        while place < len(self.tokens) and (self.tokens[place] in (*_OURS, "this") or self.entry("new", place)[0]):
            place += 1
        return bool(self.product_at(place)) or self.tokens[place : place + 1] == ("it",)


_LETTERS = {
    "property": "P", "comparative": "C", "superlative": "S", "verb": "V", "degree": "D", "degree_comparative": "E",
    "degree_superlative": "G", "more": "M", "less": "L", "most": "T", "least": "B", "not": "N", "absolute_not": "n",
    "free": "F", "low": "H", "high": "K", "as": "A", "nothing": "U",
}  # fmt: skip
_COMPARED = r"(?:[ML]P|P[ML]|C|V[ML]D|[ML]DV|VE|EV)"
_PATTERNS = {
    "comparative": rf"{_COMPARED}",
    "not comparative": rf"N{_COMPARED}|VNE|VN[ML]D",
    "parity": r"APA?|PA|VADA|ADVA",
    "not parity": r"NAPA|NVADA|VNADA|NADVA",
    "positive": r"P|VD|DV",
    "negated": r"NP|NVD|NDV",
    "absent": r"nP|PF|FP",
    "low": r"HP",
    "high": r"KP",
    "superlative": r"S|TP|BP|VG|GV",
    "nothing": rf"U{_COMPARED}|UV",
    "bare": r"V",
    "none": r"",
}
UNREADABLE = "unreadable"


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


@dataclass(eq=False, slots=True)
class Reading:
    """What a sentence says, part by part; `left_over` holds the words that nothing accounts for.

    `order` holds those and the parts of the statement as they follow each other: a question in words of its own is
    known by it.
    """

    core: list[Entry] = field(default_factory=list)
    chunks: list[Entry] = field(default_factory=list)
    comparators: list[frozenset[str]] = field(default_factory=list)
    subjects: list[str] = field(default_factory=list)
    shares: list[Share] = field(default_factory=list)
    bases: list[float] = field(default_factory=list)
    moments: list[tuple[str, float, str]] = field(default_factory=list)
    ages: str = ""
    contains: list[str] = field(default_factory=list)
    credits: list[str] = field(default_factory=list)
    replaced: tuple[str, str, float] | None = None
    left_over: list[str] = field(default_factory=list)
    order: list[str] = field(default_factory=list)
    read: bool = True

    @property
    def degree(self) -> str:
        """What kind of thing is said of the property; `unreadable` where its words make no single statement."""
        fitting = (name for name, pattern in _PATTERNS.items() if re.fullmatch(pattern, self.letters))
        found = next(fitting, UNREADABLE)
        return found if len(self.families) <= 1 else UNREADABLE

    @property
    def letters(self) -> str:
        """The parts of the statement as letters, in their order."""
        return "".join(_LETTERS[chunk.part] for chunk in self.core)

    @property
    def families(self) -> frozenset[str]:
        """What the sentence speaks of; one family where it says one thing."""
        return frozenset(chunk.family for chunk in self.core if chunk.family)

    @property
    def family(self) -> str:
        """What the sentence speaks of; empty where that is nothing, or several things."""
        return next(iter(self.families)) if len(self.families) == 1 else ""

    @property
    def asked_as(self) -> frozenset[str]:
        """The words for it, in the terms of questions."""
        return frozenset(chunk.asked_as for chunk in self.core if chunk.asked_as)

    @property
    def sign(self) -> int:
        """1 where the property or degree means more of it, -1 where less; the not of a negation left aside."""
        sign = 1
        for chunk in self.core:
            if chunk.part in ("less", "least") or chunk.value == -1:
                sign = -sign
        return sign

    def has(self, part: str) -> bool:
        """Return whether some words do this in the sentence."""
        return any(chunk.part == part for chunk in self.chunks)

    def words_for(self, part: str) -> list[str]:
        """Return the words that do this in the sentence."""
        return [chunk.words for chunk in self.chunks if chunk.part == part]

    def families_for(self, part: str) -> frozenset[str]:
        """Return what the words that do this speak of."""
        return frozenset(chunk.family for chunk in self.chunks if chunk.part == part)
