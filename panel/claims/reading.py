"""What a sentence says of a study, part by part, and the place reached in it: the grammar fills this record."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from panel.claims.names import Names
from panel.claims.parts import (
    LETTERS,
    OF_PEOPLE,
    SILENT,
    UNREADABLE,
    Entry,
    Share,
    Tokens,
    degree_of,
    entries_at,
    entry_at,
    number_at,
    root,
    sign_of,
)

_TURNS = frozenset(("comparative", "not comparative", "parity", "not parity"))


@dataclass(eq=False, slots=True)
class Reading:
    """What a sentence says, part by part; `left_over` holds the words that nothing accounts for.

    `order` holds those and the parts of the statement as they follow each other: a question in words of its own is
    known by it. `turned`: the one compared with is the subject; `joint`: it is one of two subjects. `pauses` are the
    places in `core` at which there was one. `said_of`: the product, a place or people, where that stands just before.
    `all_said`: as many as are named are told to have said so.
    """

    core: list[Entry] = field(default_factory=list)
    chunks: list[Entry] = field(default_factory=list)
    comparators: list[frozenset[str]] = field(default_factory=list)
    subjects: list[str] = field(default_factory=list)
    shares: list[Share] = field(default_factory=list)
    bases: list[float] = field(default_factory=list)
    whose: list[str] = field(default_factory=list)
    votes: list[Share] = field(default_factory=lambda: [Share(0, 0, "", "")] * 2)
    moments: list[tuple[str, float, str]] = field(default_factory=list)
    months: list[str] = field(default_factory=list)
    ages: str = ""
    contains: list[str] = field(default_factory=list)
    credits: list[str] = field(default_factory=list)
    replaced: tuple[str, str, float] | None = None
    left_over: list[str] = field(default_factory=list)
    order: list[str] = field(default_factory=list)
    read: bool = True
    pauses: list[int] = field(default_factory=list)
    turned: bool = False
    joint: bool = False
    said_of: str = ""
    all_said: bool = False

    @property
    def degree(self) -> str:
        """What kind of thing is said of the property; `unreadable` where its words make no single statement."""
        found = degree_of(self.core)
        if (self.turned and found not in _TURNS) or (self.joint and found != "parity"):
            return UNREADABLE
        return found

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
        sign = 1 if self.degree == "just right" else sign_of(self.core)
        return -sign if self.turned else sign

    @property
    def in_own_words(self) -> bool:
        """Whether a question has words that the tables do not know, or says several things: quick to rub in."""
        return bool(self.left_over) or len(self.families) > 1

    def in_the_words_of(self, asked: Reading) -> bool:
        """Return whether it says what was asked in the same words, whoever says it, and when.

        Where nothing is denied, joined or compared a part may stand elsewhere: I forget it after a while.
        """
        both = (self, asked)
        small, unread = ([{*map(root, words)} for words in each] for each in (
            [[words for words in each.words_for("function") if root(words) != words] for each in both],
            [each.left_over for each in both],
        ))  # fmt: skip
        alike = (small[0] & unread[1]) | (small[1] & unread[0] if self.by_product else set())  # needed, taken off by it
        alike -= _ORDERING
        told, of_question = ([root(words) for words in each.order if words not in _OF_NOBODY] for each in both)
        told, of_question = ([words for words in each if words not in alike] for each in (told, of_question))
        read = (
            {root(words) for words in _OF_NOBODY} | {root(chunk.words) for each in both for chunk in each.core} | alike
        )
        if not (_ORDERING & {words.split()[0] for words in of_question}):
            told, of_question = sorted(told), sorted(of_question)
        elif not self.by_product and len({each._product_first() for each in both} - {None}) > 1:
            return False  # hair does not weigh the milk down
        return told == of_question and unread[0] - read == unread[1] - read

    def _product_first(self) -> bool | None:
        """Whether the product is named before the first part of the body; None where one of them is not named."""
        parts = ["product" if chunk.words == "it" else chunk.part for chunk in self.chunks]
        return parts.index("product") < parts.index("site") if {"product", "site"} <= {*parts} else None

    @property
    def by_product(self) -> bool:
        """Whether the product is what something is done by: taken off by our new balm."""
        by = next((n for n, chunk in enumerate(self.chunks) if chunk.words == "by"), len(self.chunks))
        return any(chunk.part == "product" or chunk.words == "it" for chunk in self.chunks[by + 1 : by + 4])

    def has(self, part: str) -> bool:
        """Return whether some words do this in the sentence."""
        return any(chunk.part == part for chunk in self.chunks)

    def words_for(self, part: str) -> list[str]:
        """Return the words that do this in the sentence."""
        return [chunk.words for chunk in self.chunks if chunk.part == part]

    def families_for(self, part: str) -> frozenset[str]:
        """Return what the words that do this speak of."""
        return frozenset(chunk.family for chunk in self.chunks if chunk.part == part)


_OF_NOBODY = frozenset(
    ("i", "me", "my", "you", "your", "they", "them", "their", "we", "it", "its", "that", "which", "have")
)
_ORDERING = frozenset(
    ("not", "nothing", "too", "low", "less", "more", "and", "or", "but", "than", "without", "only", "if")
)
OURS = frozenset(("our", "the", "its"))
_TURN = frozenset(("not", "absolute_not", "low", "too", "least", "most"))
_WEIGH = frozenset(("less", "more", "high", "degree", "degree_comparative", "degree_superlative"))
_SMALL = frozenset(("not", "aux", "feel", "look", "site", "slight", "with_verb", "fully", "still"))
_LIGHT = frozenset(("for", "in", "on", "at", "to", *"\"“”„«»'"))
_FREE_OF = frozenset(("free of", "free from"))
_SAID_OF = frozenset(("property", "verb", "degree", "comparative", "degree_comparative"))
_IN_PLACE = frozenset(("on", "onto", "into", "in", "for", "to", "by", "over"))
SUPERLATIVES = ("superlative", "degree_superlative", "least", "most")
_SAYERS = frozenset(("people", "panel", "at_least", "majority", "fraction", "number"))
_DIFFERS = frozenset(("less", "more", "comparative", "degree_comparative", *SUPERLATIVES))
_PUT_BESIDE = frozenset(("compare", "compared", "comparing", "tested", "tried", "judged", "assessed", "between"))
_BESIDE = frozenset(("with", "to", "against", "and", "alongside", "next", "beside", "side", "over"))
_APPLYING = frozenset(map(root, ("apply", "use", "try", "rub", "put", "massage", "wear")))
SEVERAL = frozenset(("are", "were", "feel", "felt", "leave", "have"))
JOINS = frozenset(("and", "or", ","))
_WAYS = frozenset(("as", "less", "more", "right", "unsurpassed", "degree_comparative"))
_BE = frozenset(("is", "are", "was", "were"))
BEFORE_OTHER = frozenset(("with", "for", "after", "from", "about", "in"))


@dataclass(eq=False)
class Cursor:
    """The tokens and names of one sentence, the place reached, and everything found up to there."""

    tokens: Tokens
    names: Names
    own: str = ""
    place: int = 0
    found: Reading = field(default_factory=Reading)
    question: list[Entry] | None = None
    than_own: bool = False
    asking: bool = False
    asked_turned: bool = False
    to_list: bool = False
    more_chose: bool = False
    said_to: int = 0
    noun: str = ""
    noun_to: int = 0
    doing: str = ""
    headline: list[Entry] = field(default_factory=list)

    def entry(self, part: str, place: int | None = None) -> tuple[int, Entry]:
        """Return the longest phrase of this part at a place (the one reached), 0 tokens where there is none."""
        return entry_at(self.tokens, self.place if place is None else place, part)

    def words(self, length: int) -> str:
        """Return the next words as text."""
        return " ".join(self.tokens[self.place : self.place + length])

    def take(self, length: int, entry: Entry) -> bool:
        """Take the next words as what they are."""
        self.found.chunks.append(replace(entry, words=self.words(length)))
        said = next((chunk for chunk in self.found.chunks[-2:-1] if chunk.part == "panel"), Entry("")).words.split()
        before = self.place - len(said)
        if said and self.words(length) in _BE and tuple(said) == self.tokens[before : self.place]:
            leads = said[0] in (*OURS, "a", "trained", "sensory") and (not before or self.tokens[before - 1] in SILENT)
            self.found.left_over += [self.words(length)] if leads else []  # our panel was less greasy
        acts = entry.part == "function" and math.isnan(entry.value) and length > self.entry("aux")[0]
        if acts and self.found.shares and (self.noun, self.noun_to) == ("people", self.place):
            self.doing = self.words(length)  # 84 % of users tried it, which says nothing of what they said
        after = self.tokens[self.place - 1] if self.place else ""
        after = self.tokens[max(0, self.place - 2)] if after in (*OURS, "your", "their", "my") else after
        self.place += length
        if "range" in (entry.part, *(chunk.part for chunk in self.found.chunks[-2:-1] if entry.part == "panel")):
            self.of_several()
        if entry.part in ("product", "people") or (entry.part == "site" and after not in _IN_PLACE):
            self.noun, self.noun_to = entry.family if entry.part == "site" else entry.part, self.place
        return True

    def take_share(self, share: Share, length: int) -> bool:
        """Take a share; an `of` after it says nothing more where people are named."""
        self.found.shares.append(share)
        if self.tokens[self.place - 1] in ("asked", "surveyed") and "we" in self.tokens[: self.place]:
            self.found.left_over.append(share.words)  # we asked 49 of 58 users
        self.place += length
        of = self.tokens[self.place : self.place + 1] == ("of",)
        if (self.noun, self.noun_to) == ("people", self.place - length - 1) and self.tokens[self.noun_to] == "and":
            self.found.left_over.append("and")
        if of and not (self.entry("of_them")[0] or self.before_people(self.place)):
            self.found.left_over.append("of")
        self.place += of
        if self.words(1) in ("felt", "feel") and "%" in share.words:  # 92 % felt no tightness
            self.found.chunks.append(Entry("agree", words="felt"))
            self.noun, self.noun_to = "people", self.place
        if any(entry.part in ("property", "degree") for _, entry in entries_at(self.tokens, self.place)):
            self.found.left_over.append(share.words)  # 93 % smooth
        return True

    def of_several(self) -> None:
        """Leave over what is said of all that were compared: the three butters tested are the least greasy."""
        if self.words(1) in SEVERAL:
            self.found.left_over.append(self.words(1))

    def bind(self, entry: Entry, length: int) -> None:
        """Leave over what should turn the next thing said and stands apart from it: `no question: greasy`."""
        last, before = ([*self.found.core[::-1], Entry(""), Entry("")])[:2]
        apart = last.part in _TURN or (last.part in _WEIGH and before.part not in ("property", "verb", "as"))
        of_it = last.words == "without" and "it" in self.tokens[self.said_to : self.place]
        if of_it or (apart and last.words not in ("neither", "nor") and not self.only_small_words(self.said_to)):
            self.found.left_over.append(last.words)
        if not self.found.said_of and entry.part in _SAID_OF:
            self.found.said_of = self.noun_before(self.words(length))
        free = entry.part == "free" and self.words(2) not in _FREE_OF
        free = free and not (last.part == "property" and not last.words.endswith("y") and self.said_to == self.place)
        judged = longest(self.names.attributes, self.tokens, self.place + length)[0]  # less oil that comes off
        if free or (entry.part in ("less", "more") and not judged and self.product_at(self.place + length)):
            self.found.left_over.append(self.words(length))

    def hold_object(self) -> None:
        """Leave over what is liked, used or recommended where that is not the product: their skin, our test, us."""
        place = self.place
        while self.tokens[place : place + 1] in (("our",), ("the",), ("their",), ("my",)):
            place += 1
        there = self.tokens[place : place + 1]
        parts = ("role", "new", "product", "product_type", "title", "range", "with_verb")
        held = self.product_at(place) or longest(self.names.prototypes, self.tokens, place)[0]
        held = held or sum(self.entry(part, place)[0] for part in parts) or int(number_at(self.tokens, place) or 0)
        kind = place == self.place and self.entry("product_type", place)[0] > 0  # they like body lotion
        if there == ("us",) or (place > self.place and not held) or kind:
            self.found.left_over += there

    def denied(self) -> str:
        """Return the next word that says something; a denial that begins a clause with its subject asks, or cries."""
        place, before = self.place, self.tokens[max(0, self.place - 2) : self.place]
        subject = self.tokens[place : place + 1] and self.tokens[place] in ("it", "this", "your", "their", "my", *OURS)
        subject = subject or self.entry("site", place)[0] > 0
        if subject and before[-1].endswith("n't") and (len(before) == 1 or before[0] in SILENT):
            self.found.left_over.append(before[-1])
        while place < len(self.tokens) and self.small_at(place):
            place += self.small_at(place)
        known = (entry.family for _, entry in entries_at(self.tokens, place) if entry.part in LETTERS)
        return next(filter(None, known), "".join(self.tokens[place : place + 1]))

    def alters(self, length: int, entry: Entry) -> bool:
        """Return whether a word says that the skin is changed, or needs something: left over."""
        place = self.place + length
        while self.tokens[place : place + 1] in (("your",), ("their",), ("my",), ("the",)):
            place += 1
        skin = self.entry("site", place)[0] and not self.product_at(place)
        skin = skin or (
            {*self.tokens[self.noun_to : self.place]} <= {"has", "have"} and self.noun not in ("", "product", "people")
        )
        return entry.family == "alters" and bool(skin)

    def noun_before(self, words: str) -> str:
        """Return what the words reached are said of, where only small words stand between; people who feel rich."""
        between = self.tokens[self.noun_to : self.place]
        felt = all(self.entry("feel", self.noun_to + place)[0] for place in range(len(between)))
        wrong = self.noun == "people" and (not felt or words.endswith("ness"))
        after = self.place + len(words.split())
        after += 2 * (self.tokens[after : after + 1] == ("of",))  # the thickness of the skin
        length, site = self.entry("site", after)
        if length and not (self.product_at(after) or self.entry("feel", after + length)[0]):
            return site.family  # light skin
        if between[-1:] == ("them",):
            return "people"
        wrong = wrong or "it" in (*between, *words.split()) or words.startswith(("can ", "could "))
        if wrong or not self.only_small_words(self.noun_to):
            return ""
        return self.noun

    def small_at(self, place: int) -> int:
        """Return how many tokens at a place hold parts of a clause together."""
        found = entries_at(self.tokens, place)
        return next((n for n, e in found if e.part in _SMALL or (e.part == "function" and e.value == 0)), 0)

    def only_small_words(self, place: int) -> bool:
        """Return whether from a place to the one reached there are only words that hold parts of a clause together."""
        while place < self.place:
            length = self.small_at(place)
            if not length and self.tokens[place] not in _LIGHT:
                return False
            place += length or 1
        return True

    def people_at(self, place: int) -> int:
        """Return how many tokens name people at a place: users, women and men."""
        of = 2 * (self.tokens[place : place + 1] == ("of",) and {*self.tokens[place + 1 : place + 2]} <= OURS)
        length = self.entry("people", place + of)[0]
        if of:  # 88 of our testers, out of 100
            return of + length if length else 0
        more = (
            self.entry("people", place + length + 1)[0]
            if self.tokens[place + length : place + length + 1] == ("and",)
            else 0
        )
        return length + (1 + more if length and more else 0)

    def before_people(self, place: int) -> bool:
        """Return whether people are named at a place, with an article or none."""
        while place < len(self.tokens) and self.tokens[place] in (*OURS, "of"):
            place += 1
        place += number_at(self.tokens, place) is not None  # most of the 58 users
        if self.found.bases and self.tokens[place : place + 1] in (("them",), ("these",), ("those",), ("whom",)):
            return True
        return bool(self.entry("people", place)[0] or self.entry("agree", place)[0])

    def comparator(self) -> bool:
        """Take words that name one prototype by name or role, with the product it is; leave them where they do not."""
        place = self.after_clause(self.place)
        place += self.tokens[place : place + 1] in (("both",), ("either",))
        while {*self.tokens[place : place + 1]} & (OURS | BEFORE_OTHER) and not self.one_name(place)[0]:
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

    def joined(self) -> None:
        """Take more of those compared with: `our previous cream and P3`, `nor P3`."""
        while self.place < len(self.tokens) and self.tokens[self.place] in (*JOINS, "nor", "("):
            before, self.place = self.place, self.place + 1
            self.place += before + 1 < len(self.tokens) and self.tokens[self.place] in JOINS
            which = self.words(self.entry("apposition")[0])
            self.place += len(which.split())
            if not self.comparator():
                self.found.left_over += [which] if which else []
                self.place = before
                return
            own, again = self.found.comparators, self.tokens[before] in (",", "(")  # P1, our previous cream
            if again and self.tokens[before + 1] not in JOINS and own[-1] == own[-2] and len(own[-1]) == 1:
                own.pop()

    def noted_whose(self) -> str:
        """Return whose number stands where people or the panel were named just before; empty where neither were."""
        last = self.found.chunks[-1] if self.found.chunks else Entry("")
        before = [token for token in self.tokens[: self.place] if token not in SILENT][-1:]
        return last.part if last.part in ("people", "panel") and last.words.split()[-1:] == before else ""

    def noted_number(self) -> range:
        """Return the places from a number that is noted to its end: `(10)`, `(58 in total)`, `, who numbered 100`."""
        start = self.place + self.entry("numbering")[0]
        end = start + 1 + self.entry("total", start + 1)[0]
        whose, before = self.noted_whose(), self.tokens[self.place - 1] if self.place else ""
        noted = bool(whose) and (before in ("(", ":") or start > self.place)
        noted = noted or (before == "(" and end > start + 1 and bool(self.found.shares))
        closed = self.tokens[end : end + 1] in ((")",), (".",), (",",))
        return range(start, end) if noted and closed and number_at(self.tokens, start) is not None else range(0)

    def bare_vote(self, place: int, value: float) -> int:
        """Return how many words tell the votes where nothing is said with them: `68 preferred`, `68 to 22`."""
        if not self.found.shares and self.tokens[place - 1] == "by" and self.found.bases:
            return int(bool(self.found.core) and self.found.core[-1].family == "preference")  # preferred by 68
        if self.found.shares or not ("preference" in self.found.families or self.names_verb("preference")):
            return 0
        votes = place + 1 + (self.tokens[place + 1 : place + 2] == ("votes",))
        against = self.entry("votes_to", votes)[0] or int(self.tokens[votes : votes + 1] == (":",))
        other = number_at(self.tokens, votes + against) if against else None
        if other is not None:
            self.found.votes[0] = Share(other, 0, "", f"{value:g} to {other:g}")
            return votes + against + 1 - self.place
        verb = self.entry("verb", place + 1)[1].family if self.all_asked() else ""
        return 1 if verb == "preference" and not self.found.bases else 0

    def agreed_between(self, place: int) -> int:
        """Return how many tokens tell that they agreed, between those who did and all: 86 users agreed, out of 100."""
        agreed = self.entry("agree", place)[0]
        end = place + agreed + (self.tokens[place + agreed : place + agreed + 1] == (",",))
        out_of = self.entry("out_of", end)[0]
        if not agreed or self.tokens[end : end + 1] != ("out",) or number_at(self.tokens, end + out_of) is None:
            return 0
        self.found.chunks.append(self.entry("agree", place)[1])
        return end - place

    def ends_at(self, place: int) -> bool:
        """Return whether nothing comes at a place, or the end of a clause."""
        return self.tokens[place : place + 1] in ((), (".",), (")",), (";",))

    def all_asked(self) -> float:
        """Return how many people a sentence on votes names, or how many its votes are together; 0 where it does not."""
        total = 0.0
        for place in range(len(self.tokens)):
            value, after = number_at(self.tokens, place) or 0.0, place + 1 + self.entry("people", place + 1)[0]
            if self.tokens[place - 1] == "of" or (after > place + 1 and not self.votes_at(after)):
                return value or total
            total += value if self.votes_at(after) or self.entry("no_vote", after)[0] else 0
        return total

    def votes_at(self, place: int) -> bool:
        """Return whether a vote follows: preferred, for L1."""
        return self.entry("verb", place)[1].family == "preference" or self.tokens[place : place + 1] == ("for",)

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
        length, prototype = longest(self.names.prototypes, self.tokens, place)
        if length:
            return length, frozenset((prototype,)), True
        length, role = self.entry("role", place)
        if length and role.family in self.names.roles:
            return length, self.names.roles[role.family], role.value == 1
        return self.product_at(place), None, True

    def product_at(self, place: int) -> int:
        """Return how many tokens at a place name the product in general, or its kind as the study states it."""
        before = self.tokens[place - 1 : place] if place else ("after",)
        if self.tokens[place : place + 1] == ("one",) and before in (("after",), ("in",), ("from",)):
            return 0  # after one application
        types = self.names.product_types
        if own := max((len(kind) for kind in types if self.tokens[place : place + len(kind)] == kind), default=0):
            return own
        if not types and any(length == 1 for length, _ in entries_at(self.tokens, place, "product_type")):
            return 1
        title = max((len(t) for t in self.names.titles if self.tokens[place : place + len(t)] == t), default=0)
        after = self.product_at(place + title) if title and types else 0
        return title + after if title and (after or not types) else self.entry("product", place)[0]

    def plural_at(self, place: int) -> int:
        """Return how many tokens at a place name several products: `hand creams`."""
        one = self.tokens[place : place + 1]
        if one and one[0].endswith("s") and any(entries_at((one[0][:-1],), 0, "product")):
            return 1
        kinds = [(*kind[:-1], f"{kind[-1]}s") for kind in self.names.product_types]
        return max((len(kind) for kind in kinds if self.tokens[place : place + len(kind)] == kind), default=0)

    def range_at(self, place: int, others: bool = False) -> int:
        """Return how many tokens at a place name all products of the study: `hand creams`, `hand cream range`."""
        count = len(set(self.names.prototypes.values())) - others  # our three hand creams, our other two
        counted = number_at(self.tokens, place) == count
        start = place + counted
        plural = self.plural_at(start)
        tail = self.entry("range_tail", start)[0] or self.entry("range", start)[0]
        pause = self.tokens[start : start + 1] == (",",) or tail > 0
        plural += counted if plural or pause else 0  # of the three, the least; of the three tested
        end = place + self.product_at(place)
        return plural or (end + 1 - place if end > place and self.tokens[end : end + 1] == ("range",) else 0)

    def people_speak(self, place: int) -> bool:
        """Return whether at a place people are told to have agreed, preferred, liked, or that they would use it."""
        found = [entry for _, entry in entries_at(self.tokens, place)]
        return any(entry.part == "agree" or (entry.part == "verb" and entry.family in OF_PEOPLE) for entry in found)

    def names_verb(self, family: str) -> bool:
        """Return whether a verb of a family follows: more users preferred one than preferred the other."""
        ahead = range(self.place, len(self.tokens))
        found = (entry for place in ahead for _, entry in entries_at(self.tokens, place, "verb"))
        return any(entry.family == family for entry in found)

    def before_property(self) -> bool:
        """Return whether `for` or `in` names what is compared: lower for greasiness, equal in softness."""
        follows = {entry.part for _, entry in entries_at(self.tokens, self.place + 1)} & {"property", "verb", "degree"}
        leads = self.begins_clause() or [each.part for each in self.found.chunks[-1:]] == ["agree"]
        leads = leads and not self.found.core  # in softness, it equals
        return (
            bool(follows)
            and self.tokens[self.place] in ("for", "on", "about", "in", "at", "to")
            and (leads or any(chunk.part in _WAYS for chunk in self.found.core))
        )

    def own_product(self, place: int) -> int:
        """Return the place after the product itself: `our new hand cream`, `this cream`, `it`; 0 where it is not."""
        while place < len(self.tokens) and (self.tokens[place] in (*OURS, "this") or self.entry("new", place)[0]):
            place += 1
        length = int(self.tokens[place : place + 1] in (("it",), ("ours",))) or self.product_at(place)
        return place + length if length else 0

    def of_the_product(self, place: int) -> Tokens:
        """Return the words from a place on, the product beside a verb left out or said as it."""
        word, rest = self.tokens[place], self.tokens[place + 1 :]
        own = self.own_product(place + 1)
        before = place - (self.tokens[max(0, place - 1) : place] == (",",))
        if word == "whose" and any(self.own_product(start) == before for start in range(before)):
            return ("its", *rest)  # a lotion whose thickness
        if word == "of" and self.tokens[place - 1] == "users" and own and self.tokens[own : own + 1] == ("will",):
            return (word, "it", *self.tokens[own:])  # users of our new hand cream will find
        if word in _PUT_BESIDE and own and self.tokens[own : own + 1] and self.tokens[own] in _BESIDE:
            return (word, "it", *self.tokens[own:])  # compared our new hand cream with
        end = self.tokens.index("to", place) if word == "from" and "to" in rest else 0
        if end and self.own_product(end + 1) and not SILENT & set(self.tokens[place:end]):
            return ("compared", "with", *rest[: end - place - 1], *self.tokens[self.own_product(end + 1) :])
        if word == "takes" and own and self.tokens[own : own + 2] in (("less", "time"), ("more", "time")):
            return (word, *self.tokens[own:])  # it takes our new cream less time than
        end = self.own_product(place + 2) if (word, *rest[:1]) == ("long", "for") else 0
        if end and self.tokens[end : end + 1] == ("to",):
            return (word, *self.tokens[end:])  # does not take long for it to sink in
        if root(word) in _APPLYING and self.tokens[max(0, place - 1) : place] != ("would",):
            ends = rest[:1] if rest[:1] in (("on",), ("in",)) else ()
            end = self.own_product(place + 1 + len(ends))
            if end and "new" not in self.tokens[place:end] and self.tokens[end - 1] != "ours":
                return (word, "it", *ends, *self.tokens[end:])  # after putting on this lotion
        if (
            own
            and rest
            and word in ("does", "did", "will")
            and self.tokens[max(0, place - 2) : place] == ("how", "long")
        ):
            return (word, "it", *self.tokens[own:])  # how long does the butter take to sink in
        return (word, *rest)

    def back_to(self, place: int) -> bool:
        """Go back to a place: nothing was read."""
        self.place = place
        return False

    def begins_clause(self) -> bool:
        """Return whether nothing stands before the place reached, or a mark."""
        told = self.tokens[self.place - 1] == "and" and [each.family for each in self.found.chunks[-1:]] == ["told"]
        return not self.place or self.tokens[self.place - 1] in (*SILENT, "?") or told

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


def longest(named: Mapping[Tokens, str], tokens: Tokens, place: int) -> tuple[int, str]:
    """Return the longest of the names that stands at a place: its number of tokens and what it names."""
    here = tokens[place] if place < len(tokens) else ""
    begun = [words for words in named if words and words[0] == here]
    best = max((words for words in begun if tokens[place : place + len(words)] == words), key=len, default=())
    return len(best), named.get(best, "")
