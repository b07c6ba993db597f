"""The place reached in a sentence, its words and names, and what is found of them: the steps all grammar shares."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from panel.claims.claim import Reading
from panel.claims.names import Names, Words, longest
from panel.claims.own_words import STATES
from panel.claims.parts import (
    ALL_SAME,
    APPLYING,
    AT_LARGE,
    BESIDE,
    JOINS,
    LETTERS,
    OF_PEOPLE,
    OF_VERBS,
    ONWARDS,
    PAST,
    PUT_BESIDE,
    SILENT,
    SUPERLATIVES,
    UNSAID_HOW,
    Entry,
    Share,
    Tokens,
    entries_at,
    entry_at,
    number_at,
    plural_of,
    root,
)

OURS = frozenset(("our", "the", "its"))
_TURN = frozenset(("not", "absolute_not", "low", "too", "least", "most"))
_WEIGH = frozenset(("less", "more", "high", "degree", "degree_comparative", "degree_superlative"))
_SMALL = frozenset(("not", "aux", "feel", "look", "site", "slight", "with_verb", "fully", "still"))
_LIGHT = frozenset(("for", "in", "on", "at", "to", *"\"“”„«»'"))
_SAID_OF = frozenset(("property", "verb", "degree", "comparative", "degree_comparative"))
_IN_PLACE = frozenset(("on", "onto", "into", "in", "for", "to", "by", "over", "across"))
_SAYERS = frozenset(("people", "panel", "at_least", "majority", "fraction", "number"))
_DIFFERS = frozenset(("less", "more", "comparative", "degree_comparative", *SUPERLATIVES))
SEVERAL = frozenset(("are", "were", "feel", "felt", "leave", "have"))
_WAYS = frozenset(("as", "less", "more", "right", "unsurpassed", "degree_comparative"))
_BE = frozenset(("is", "are", "was", "were"))
BEFORE_OTHER = frozenset(("with", "for", "after", "from", "about", "in"))


@dataclass(eq=False)
class Cursor(Words):
    """The tokens and names of one sentence, the place reached, and everything found up to there."""

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
        self.found.order += [self.words(length)] * (entry.part == "function" and self.words(length) in STATES)
        self.place += length
        if "range" in (entry.part, *(chunk.part for chunk in self.found.chunks[-2:-1] if entry.part == "panel")):
            self.found.left_over += [self.words(1)] * (
                self.words(1) in SEVERAL
            )  # the three butters are the least greasy
        if entry.part in ("product", "site"):
            self.found.order.append(entry.part.upper())
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

    def overstated(self) -> list[str]:
        """Return the words that say more together than each: each of our users, 20 minutes and on."""
        steps = (
            self.of_everyone, self.of_the_same, self.of_more_time, self.of_another_verb, self.made_to_say,
            self.of_people_anywhere, self.of_panel_at_home, self.of_nothing_felt, self.of_what_soaks,
            self.of_another_thing,
        )  # fmt: skip
        return [word for place, word in enumerate(self.tokens) if any(step(place, word) for step in steps)]

    def of_everyone(self, place: int, word: str) -> bool:
        """Return whether all, one, we or the reader are said to have said so: each of our 12 assessors, and you."""
        says, before, follows = "agree" in self.parts_at(place + 1), self.word_at(place - 1), self.word_at(place + 1)
        if word in ("you", "you'll", "we"):
            votes = self.entry("verb", place + 1 + (follows in ("will", "all")))[1].family == "preference"
            told = follows in ("and", "are") or (before in ("and", "or") and follows in SILENT)
            told = told or (says and before != "if")
            return (told and word == "you") or (votes and before not in ("do", "did", "would"))
        if word == "still":
            return says and "people" in self.parts_at(place - 1)
        after = place + 1 + (follows == "of")
        if word not in ("each", "every", "all", "one") or (word == "one" and after == place + 1):
            return False
        after += self.word_at(after) in (*OURS, "those", "these", "my")
        after += word == "each" and number_at(self.tokens, after) is not None
        who = bool({"people", "panel"} & (self.parts_at(after) | self.parts_at(after - 1)))
        who |= word == "all" and (before == "they" or "people" in self.parts_at(place - 1))
        return who and not (word == "all" and self.found.shares)

    def of_the_same(self, place: int, word: str) -> bool:
        """Return whether as many as are not counted are said to have said the same: 10 assessors gave one answer."""
        after = self.word_at(place + 1)
        if not ((word == "same" and after in ALL_SAME) or (word == "one" and after in ("answer", "voice", "verdict"))):
            return False
        counted = any(self.parts_at(each) & {"percent", "out_of", "majority"} for each in self.clause(place))
        return not (counted and self.found.shares)

    def of_more_time(self, place: int, word: str) -> bool:
        """Return whether a time is told that goes on: 20 minutes or so, after 20 minutes, and on and on."""
        before = next((each for each in range(place - 1, -1, -1) if self.tokens[each] not in SILENT), 0)
        if word in ("from", "until", "till", "since"):
            return number_at(self.tokens, place + 1) is not None and self.entry("unit", place + 2)[0] > 0
        if word == "of" and self.word_at(place + 1) in ("rubbing", "massaging"):  # two minutes of rubbing in
            return self.entry("unit", before)[0] > 0 and "within" not in self.tokens
        if word == "to":  # two minutes to less greasy hands
            return self.entry("unit", before)[0] > 0 and bool((_DIFFERS | {"property"}) & self.parts_at(place + 1))
        return word in ("and", "or") and self.entry("unit", before)[0] > 0 and self.word_at(place + 1) in ONWARDS

    def of_another_verb(self, place: int, word: str) -> bool:
        """Return whether a verb means something else by the word after it: our panel asked for it, applying for it."""
        after, follows = self.word_at(place + 1), self.word_at(place + 2)
        if word == "tell" and self.word_at(place - 1) in ("could", "to"):
            return place + 1 == self.clause(place).stop  # our panel could tell
        if after not in OF_VERBS:
            return False
        if word != "us" and root(word) in APPLYING:
            return after in ("for", "up", "out", "off", "away") and (root(word), after) not in self.names.moments
        held = follows in ("", *SILENT, "it", "more", "them")
        held = held or (follows in ("this", "that") and not self.own_product(place + 2))
        tells = word == "asked" or bool({"telling", "agree"} & self.parts_at(place))
        return tells and held and self.entry("", place)[0] == 1

    def made_to_say(self, place: int, word: str) -> bool:
        """Return whether people are told to have been made to say so: we asked users to say that."""
        if word not in ("let", "asked", "told", "made"):
            return False
        if word == "made" and (self.word_at(place - 1) == "panel" or {"people", "panel"} & self.parts_at(place - 1)):
            return True  # our panel made it; not a panel assessment made after two minutes
        start = place + 1 + (self.word_at(place + 1) == "our")
        after = start + self.entry("people", start)[0]
        return after > start and "agree" in self.parts_at(after + (self.word_at(after) == "to"))

    def of_people_anywhere(self, place: int, word: str) -> bool:
        """Return whether people at large are told to say so, or somebody's own: that is what people say, my people."""
        if word == "my":
            return bool({"people", "panel"} & self.parts_at(place + 1))
        counted, after = self.found.shares or self.found.bases or self.found.votes[0].words, self.word_at(place + 1)
        past = after.endswith("ed") or (after in PAST and self.word_at(place + 2) not in ("rather", "prefer"))
        return word in AT_LARGE and not counted and not past

    def of_panel_at_home(self, place: int, word: str) -> bool:
        """Return whether the panel is told to have used it at home, or for days."""
        (length, unit), users = self.entry("unit", place), ("user", "consumer")
        days = self.entry("test", place)[1].family in ("home", "hall") or (length and unit.value >= 1440.0)  # a day
        if not days and self.entry("function", place)[1].family != "home":
            return False
        parts = [self.parts_at(each) for each in self.clause(place) if self.word_at(each - 1) not in users]
        return any("panel" in each for each in parts) and not any("people" in each for each in parts)

    def of_nothing_felt(self, place: int, word: str) -> bool:
        """Return whether it is not told what something feels or looks like: even my complexion looks."""
        clause, after, before = self.clause(place), self.word_at(place + 1), self.word_at(place - 1)
        if word == "feeling":  # leaves greasy hands feeling, leaves feeling hands
            site = place - 1 if place + 1 == clause.stop else place + 1
            how = {"property", "comparative"} & self.parts_at(place - 1) or "how" in self.tokens
            return self.entry("site", site)[0] > 0 and not how
        if word in ("feel", "look") and before == "and":
            return place + 1 == clause.stop or after == "than"
        hands = word in ("feel", "look") and before.endswith("s") and self.entry("site", place - 1)[0] > 0
        if not (hands or word in ("feels", "looks")) or after in ("so", "indeed"):
            return False
        ahead = range(place + 1, clause.stop)
        told = any(not self.parts_at(each) or self.parts_at(each) & LETTERS.keys() for each in ahead)
        told = told or any(longest(self.names.attributes, self.tokens, each)[0] for each in ahead)
        return not told and not UNSAID_HOW & {*self.tokens[clause.start : place]}

    def of_what_soaks(self, place: int, word: str) -> bool:
        """Return whether something soaks and nothing tells that it is in: soaks nails faster, the pen sinks sooner."""
        if word not in ("sink", "sinks", "soak", "soaks", "soaked") or self.entry("aside", place)[0]:
            return False
        ahead = range(place + 1, self.clause(place).stop)
        ends = next((each for each in ahead if {"than", "site"} & self.parts_at(each)), ahead.stop)
        into = (each for each in range(place + 1, ends) if self.tokens[each] in ("in", "into", "up", "away"))
        return all(self.own_product(each + 1) for each in into)

    def of_another_thing(self, place: int, word: str) -> bool:
        """Return whether a word makes it another thing: that one, more hands slip, less grease in it, are like it."""
        after, before, clause = self.word_at(place + 1), self.word_at(place - 1), self.clause(place)
        if word == "in":
            return (after == "it" or "property" in self.parts_at(place - 1)) and self.own_product(place + 1) > 0
        if word == "not":  # makes my face not shiny
            return before != "does" and bool({"make", "makes", "made"} & {*self.tokens[clause.start : place]})
        if word == "little":  # a little spreads more easily
            return before == "a" and place == clause.start + 1 and "verb" in self.parts_at(place + 1)
        if "degree" in self.parts_at(place) and {"people", "agree"} & self.parts_at(place - 1):
            return place + 1 == clause.stop or after == "that"  # said 90 users quickly
        if word in _BE and "people" in self.parts_at(place - 1):  # users were quickly absorbed
            return bool({"degree", "property", "comparative"} & self.parts_at(place + 1))
        if word in ("my", "your", "their") and before in ("make", "makes"):  # does not make my shiny face
            return "property" in self.parts_at(place + 1)
        length = self.entry("site", place + 1)[0] if word in ("more", "less", "fewer") else 0
        felt = before in ("feel", "felt", "look") and "people" in self.parts_at(place - 2) and self.parts_at(place + 1)
        hands = length > 0 and self.word_at(place + length).endswith("s")
        return hands or (word, after) == ("that", "one") or (word == "like" and (before in _BE or bool(felt)))

    def bind(self, entry: Entry, length: int) -> None:
        """Leave over what should turn the next thing said and stands apart from it: `no question: greasy`."""
        last, before = ([*self.found.core[::-1], Entry(""), Entry("")])[:2]
        apart = last.part in _TURN or (last.part in _WEIGH and before.part not in ("property", "verb", "as"))
        of_it = last.words == "without" and "it" in self.tokens[self.said_to : self.place]
        if of_it or (apart and last.words not in ("neither", "nor") and not self.only_small_words(self.said_to)):
            self.found.left_over.append(last.words)
        if not self.found.said_of and entry.part in _SAID_OF:
            self.found.said_of = self.noun_before(self.words(length))
        if entry.part == "property" and "people" in self.parts_at(self.place + length):
            self.found.left_over.append(self.words(length))  # rich users feel the butter
        free = entry.part == "free" and self.words(2) not in ("free of", "free from")
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
        users = self.entry("people", place)[0] > 0  # they like users of the lotion
        if there == ("us",) or users or (place > self.place and not held) or kind:
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
        into = words.split()[-1] in _IN_PLACE  # sinks into hands
        if length and not (into or self.product_at(after) or self.entry("feel", after + length)[0]):
            return site.family  # light skin
        if self.product_at(after) and between[-1:] in (("a",), ("the",), ()) and words.endswith("er"):
            return "product"  # a softer foam
        if between[-1:] == ("them",):
            return "people"
        wrong = wrong or "it" in (*between, *words.split()) or words.startswith(("can ", "could "))
        if wrong or not self.only_small_words(self.noun_to, compared=True):
            return ""
        return "product" if words.startswith("absorb") and self.own_product(after) else self.noun  # hands absorb it

    def small_at(self, place: int) -> int:
        """Return how many tokens at a place hold parts of a clause together."""
        found = entries_at(self.tokens, place)
        return next((n for n, e in found if e.part in _SMALL or (e.part == "function" and e.value == 0)), 0)

    def only_small_words(self, place: int, *, compared: bool = False) -> bool:
        """Return whether up to the place reached only words that hold a clause together follow; or more and less."""
        while place < self.place:
            length = self.small_at(place) or int(compared and self.tokens[place] in ("more", "less"))
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
        """Return how many tokens help to name a prototype, which (None: a product word), and whether they do alone."""
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
        if self.word_at(place).endswith("s") and entry_at((self.word_at(place)[:-1],), 0, "product")[0]:
            return 1
        kinds = [(*kind[:-1], plural_of(kind[-1])) for kind in self.names.product_types]
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
        return bool(
            (follows or longest(self.names.attributes, self.tokens, self.place + 1)[0])
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
        if word in PUT_BESIDE and own and self.tokens[own : own + 1] and self.tokens[own] in BESIDE:
            return (word, "it", *self.tokens[own:])  # compared our new hand cream with
        end = self.tokens.index("to", place) if word == "from" and "to" in rest else 0
        if end and self.own_product(end + 1) and not SILENT & set(self.tokens[place:end]):
            return ("compared", "with", *rest[: end - place - 1], *self.tokens[self.own_product(end + 1) :])
        if word in ("until", "till") and own and self.tokens[own : own + 1] and self.tokens[own] in _BE:
            return (word, *self.tokens[own + 1 :])  # until the cream was rubbed in
        if word == "takes" and own and self.tokens[own : own + 2] in (("less", "time"), ("more", "time")):
            return (word, *self.tokens[own:])  # it takes our new cream less time than
        end = self.own_product(place + 2) if (word, *rest[:1]) == ("long", "for") else 0
        if end and self.tokens[end : end + 1] == ("to",):
            return (word, *self.tokens[end:])  # does not take long for it to sink in
        if root(word) in APPLYING and self.tokens[max(0, place - 1) : place] != ("would",):
            ends = rest[:1] if rest[:1] in (("on",), ("in",)) else ()
            end = self.own_product(place + 1 + len(ends))
            if end and "new" not in self.tokens[place:end] and self.tokens[end - 1] != "ours":
                return (word, "it", *ends, *self.tokens[end:])  # after putting on this lotion
        how_long = self.tokens[max(0, place - 2) : place] == ("how", "long")
        if own and rest and how_long and word in ("does", "did", "will"):
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
            bool(after & _DIFFERS)
            or ((told or after & _SAYERS or number_at(self.tokens, self.place + 1) is not None) and not compares)
        )
