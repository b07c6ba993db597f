"""The grammar that reads a sentence: every word does something in it, or is left over.

The words are data (`claim_words_en.csv`), the names come from the study. Nothing is guessed: a word that is in no table
and names nothing of the study is left over, and so is one that stands where it does nothing.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace

from panel.claims.asking import Asking
from panel.claims.claim import Reading, said_once
from panel.claims.names import OF_STUDY, Names, is_english, longest
from panel.claims.own_words import said_of_others
from panel.claims.parts import (
    JOINS,
    LETTERS,
    NOUN,
    OF_FILM,
    OF_PEOPLE,
    SILENT,
    SUPERLATIVES,
    UNREADABLE,
    Entry,
    Share,
    degree_of,
    entries_at,
    number_at,
    of_people_at_large,
    tokens_of,
)
from panel.claims.reading import BEFORE_OTHER, OURS, SEVERAL
from panel.claims.times_quoted import without_times

_PLAIN = frozenset((
    "function", "feel", "look", "fully", "both", "site", "slight", "range", "agree", "people", "panel", "test", "later",
    "product", "still", "earlier", "margin",
))  # fmt: skip
_TRIED = frozenset(("use", "used", "using", "try", "tried", "trying", "tested", "testing", "home"))
_TESTS = frozenset(("test", "trial", "study", "survey"))
_FILMS = frozenset(("film", "coating", "layer", "film on the skin", "film on skin"))
_MARKS = frozenset(("mark", "check", "checkpoint", "point"))
_OF_THEM = ("of the two", "of them", "of these", "that is")
_NEAR = 4  # words: used it at home for a week
_TWO, _TWO_OTHERS = 2, 3  # prototypes: both; neither, or both, of the others


def read_sentence(text: str, names: Names, own: str = "") -> Reading:
    """Return what a sentence says about a study, or the prototype `own`, and which words nothing accounts for."""
    reader = _Reader(tokens_of(text), names, own)
    reader.read_all()
    reader.found.read = is_english(reader.tokens, names)
    return reader.found


class _Reader(Asking):
    """The steps of the grammar: each takes the next words if it can do something with them."""

    def read_all(self) -> None:
        """Read to the end: the first of the steps that can do something with the next words does it."""
        steps = (
            self.answered, self.either, self.told, self.replacement, self.other_votes, self.share, self.base,
            self.month, self.moment, self.age, self.listed, self.comparison, self.ingredient, self.own_range,
            self.none_of, self.beaten, self.named, self.statement, self.plain, self.telling,
        )  # fmt: skip
        self.found.left_over += said_of_others(self.tokens, self.names.ways)
        self.tokens, self.found.times = without_times(self)
        self.tokens = self.rewritten()
        while self.place < len(self.tokens):
            if self.tokens[self.place] in SILENT or self.tokens[self.place] == "and":
                self.found.pauses.append(len(self.found.core))
                self.set_headline()
            if self.tokens[self.place] in SILENT and not self.asking:
                self.place += 1
            elif not any(step() for step in steps):
                self.found.left_over.append(self.tokens[self.place])
                self.found.order.append(self.tokens[self.place])
                self.place += 1
        self.end()

    def end(self) -> None:
        """Put question and answer together; leave over words that ask for others, which do not come."""
        self.answered_first()
        self.drop_headline()
        self.found.all_said = self.found.all_said and not self.more_chose  # more of the 100 users preferred it
        found, core = self.found, said_once(self.found.core, self.found.pauses)
        found.core = list(core if self.question is None else self.answer_to(self.question, core))
        rest = found.core[1:] if 1 not in found.pauses else []
        on_film = {chunk.family for chunk in rest} <= {"", *OF_FILM} and degree_of(rest) not in ("none", UNREADABLE)
        if found.core and found.core[0].words in _FILMS and on_film:
            del found.core[0]  # the film is less greasy
        words, previous = [chunk.words for chunk in found.core], self.names.roles.get("previous")
        flat = degree_of(found.core[:1]) == "positive" and found.degree == "parity" and 1 in found.pauses
        so = "so" in words and ("as" not in words or words.index("so") + 2 in found.pauses)
        last = found.chunks[-1] if found.chunks else Entry("")
        ends = last.words.split()[-1:] == [token for token in self.tokens if token not in SILENT][-1:]
        ends = ends and not self.only_tells(max(0, len(self.tokens) - 2))  # we timed it
        to_it = [last.words, *(chunk.words for chunk in found.chunks[-2:-1])] == ["it", "to"]
        ends = ends and not (to_it and "stickiness" in found.families)  # does not stick to it
        asked = found.bases or found.has("test") or {"asked", "surveyed", "who", "having"} & {*self.tokens}
        people = found.words_for("people")
        alone = (
            ("than", self.than_own and not (found.turned or found.degree == "nothing")),
            ("whether", self.asking),
            ("of", self.to_list),
            ("not", found.has("not_other") and found.family != "preference" and not self.than_not_other()),
            ("so", so or (flat and not re.search(NOUN, words[0]))),  # skin so soft! As with our previous lotion
            ("they", found.has("range") and "they" in self.tokens),  # we tested three: they were the least greasy
            ("before", found.has("earlier") and previous not in found.comparators),
            ("both", found.has("both") and not found.comparators),
            ("margin", found.has("margin") and found.degree not in ("parity", "nothing", "not comparative")),
            ("people", not asked and of_people_at_large(people, found.shares)),
            ("unlike", found.has("unlike") and found.degree != "comparative"),
            ("who", self.some_of_them()),
            (
                "right",
                found.degree == "just right" and self.question is None and words[0] == "thick",
            ),
            (self.doing, bool(self.doing) and not (found.has("agree") or found.families & OF_PEOPLE)),
            (last.words, last.value == 0 and ends and last.words not in (*_OF_THEM, *found.left_over)),
        )
        found.left_over += [*(word for word, left in alone if left), *self.overstated()]
        found.left_over += [word for place, word in enumerate(self.tokens) if self.entry("elsewhere", place)[0]]
        found.left_over += [word for chunk in found.chunks for word in self.other_product(chunk.words)]
        found.left_over += [token for place, token in enumerate(self.tokens) if self.only_may(place)]
        if any(self.entry("changes", place)[0] for place in range(len(self.tokens))):
            found.left_over += found.words_for("site")[:1]  # reduces the oiliness of your skin

    def share(self) -> bool:
        """`84 %`, `8 in 10`, `49 of 58`, `more than half`, `most users`."""
        bound, entry = self.entry("at_least")
        least = ("more than", "at least", "almost")[int(entry.value)] if bound else ""
        start = self.place + bound
        if (value := number_at(self.tokens, start)) is not None:
            percent = self.entry("percent", start + 1)[0]
            if percent:
                return self.take_share(Share(value, 100, least, self.words(bound + 1 + percent)), bound + 1 + percent)
            between = self.people_at(start + 1)  # eight users in ten
            between += self.agreed_between(start + 1 + between) if between else 0
            noted = self.tokens[start + 1 + between : start + 3 + between]
            between += bool(between) and noted in {(mark, of) for mark in ",(" for of in ("out", "of", "from")}
            out_of = self.entry("out_of", start + 1 + between)[0]
            whole = number_at(self.tokens, start + 1 + between + out_of) if out_of else None
            if whole is not None and not self.entry("unit", start + 2 + between + out_of)[0]:
                named = (self.entry("people", place) for place in range(start + 1, start + 1 + between))
                self.found.chunks += [people for length, people in named if length]
                if {"our", "the"} & set(self.tokens[start + 1 : start + 1 + between + out_of]):  # 8 of the 10 users
                    self.found.bases.append(whole)
                    self.found.whose.append("people")
                length = bound + 2 + between + out_of
                return self.take_share(Share(value, whole, least, self.words(length)), length)
            of_them = self.entry("of_them", start + 1)[0]
            first = self.tokens[0] in ("of", "among", "amongst", "from") and self.tokens[start - 1] == ","
            agreed = first or (of_them > 0 and [chunk.part for chunk in self.found.chunks[-1:]] == ["agree"])
            agreed = agreed or (self.ends_at(start + 1) and self.tokens[start - 1] == ":" and self.found.has("agree"))
            after = start + 1 + of_them
            after += of_them > 0 and self.tokens[after : after + 1] == (",",)  # most of the 100 users, 83 to be exact,
            if self.found.bases and (agreed or self.people_speak(after)):
                length = bound + 1 + of_them
                self.noun, self.noun_to = "people", self.place + length
                return self.take_share(Share(value, self.found.bases[-1], least, self.words(length)), length)
            if length := self.bare_vote(start, value):
                asked = self.all_asked() or next(iter(self.found.bases[-1:]), 0)
                return self.take_share(Share(value, asked, "", self.words(length)), length)
        length, part = self.entry("fraction", start)
        if length:
            share = Share(part.value, 1, least, self.words(bound + length), fraction=True)
            return self.take_share(share, bound + length)
        length = 0 if self.found.shares else self.entry("more")[0]
        if length and self.before_people(self.place + length) and self.names_verb("preference"):
            self.more_chose = True
            return self.take(length, Entry("function"))
        length, part = self.entry("majority")
        agreed_by = [chunk.words.endswith(" by") for chunk in self.found.chunks[-1:] if chunk.part == "agree"]
        speak = self.before_people(self.place + length) or self.people_speak(self.place + length)
        if length and (speak or any(agreed_by)):
            above = 0.5 if math.isnan(part.value) else part.value
            return self.take_share(Share(above, 1, "more than", self.words(length), fraction=True), length)
        return False

    def base(self) -> bool:
        """`58 users`, `n = 58`."""
        whose, own = "", self.noted_number()
        if own:  # assessors (10), (58 in total), users, who numbered 100
            value, length, whose = number_at(self.tokens, own.start), own.stop - self.place, self.noted_whose()
            self.found.all_said = self.found.all_said or whose == "people"
        elif self.tokens[self.place : self.place + 2] == ("n", "="):
            value, length = number_at(self.tokens, self.place + 2), 3
        elif self.tokens[self.place] == "of" and self.found.chunks and self.found.chunks[-1].words.endswith("panel"):
            value, length, whose = number_at(self.tokens, self.place + 1), 2, "panel"
        else:
            among = self.entry("among")[0]
            among += bool(among) and self.tokens[self.place + among : self.place + among + 1] == (":",)
            value, length = number_at(self.tokens, self.place + among), among + 1
            place = self.place + length
            of_share = bool(self.found.shares) and self.people_speak(place)  # 84 % of 100 agreed
            of_share = of_share or self.tokens[self.place] in ("base", "sample")
            whose = next((part for part in ("people", "panel") if self.entry(part, place)[0]), "")
            if whose == "panel" and value == 1:
                return False  # one panel finding
            if value is None or not (whose or of_share) or (self.found.bases and self.tokens[self.place - 1] == "and"):
                return False
            people = place + self.entry("people", place)[0]
            if not self.found.shares and number_at(self.tokens, people + self.entry("out_of", people)[0]):
                return False  # by 68 users out of 100
        if value is None:
            return False
        length += whose == "panel" and self.tokens[self.place + length : self.place + length + 1] == ("people",)
        after, told = self.place + length, self.tokens[: self.place]
        of_test = [each.part for each in self.found.chunks[-1:]] == ["test"] and self.words(1) in ("with", "of")
        noted = of_test or told.count("(") > told.count(")")  # (home-use test, 100 users), test with 100 users
        verb, before = after + self.entry("people", after)[0], [word for word in told if word != "the"][-1:]
        speak = self.people_speak(verb) or self.entry("telling", verb)[0] > 1  # back it up
        self.found.all_said |= whose == "people" and (speak or not (noted or self.only_tried(after)))
        if self.found.shares and speak and whose != "panel" and {*before} <= SILENT | {"and"}:
            self.found.left_over.append(self.words(length))  # 88 % like it, and 100 users told us so
        self.found.bases.append(value)
        self.found.whose.append(whose)
        self.place += length
        return True

    def moment(self) -> bool:
        """`after 20 minutes`, `2 minutes later`, `within 60 s`, `for 8 hours`."""
        if self.test_of_days():
            return True
        rubbing = self.entry("rubbing")[0]
        if rubbing:
            self.found.moments.append(("rubbing", 0.0, self.words(rubbing)))
            return self.take(rubbing, Entry("function"))
        for part, kind in (("within", "within"), ("after", "at"), ("lasting", "for"), ("", "at")):
            start = self.place + (self.entry(part)[0] if part else 0)
            if part and start == self.place:
                continue
            one = self.tokens[start : start + 1] in (("a",), ("an",))
            ends = ("at_most", "later", "after", "of_use")
            one = one and (bool(part) or any(self.entry(end, start + 2)[0] for end in ends))
            value = 1.0 if one else number_at(self.tokens, start)
            length, unit = self.entry("unit", start + 1) if value is not None else (0, Entry(""))
            if value is None or not length:
                continue
            end = start + 1 + length
            later = self.entry("later", end)[0] or len(_MARKS & {*self.tokens[end : end + 1]})
            end += later
            again = self.tokens[self.place - 1] in ("and", "or") and bool(self.found.moments)
            use = self.entry("of_use", end)[0]
            before = set(self.tokens[max(0, self.place - _NEAR) : self.place])
            tried = part == "lasting" and (_TRIED | (_TESTS if self.tokens[self.place] != "for" else set())) & before
            of_use = use and self.tokens[self.place] != "for"
            kind, end = ("use" if of_use or tried else kind, end + use)
            pause = self.tokens[end : end + 1] in ((":",), (",",), ("-",))
            at_most = self.entry("at_most", end + pause)[0] if part in ("", "within") else 0
            kind, end = ("within", end + pause + at_most) if at_most else (kind, end)
            later = later or self.tokens[end : end + 1] == ("after",)
            later = later or (
                self.tokens[end : end + 1] == ("in",) and self.tokens[end + 1 : end + 2] in ((",",), (":",))
            )
            kind = "later" if kind == "at" and (later or again) else kind
            self.found.moments.append((kind, value * unit.value, self.words(end - self.place)))
            self.place = end
            return True
        return False

    def comparison(self) -> bool:
        """`than our previous hand cream`, `compared with P1`; the second `as` of `as ... as` compares, too."""
        length, entry = self.compares()
        if not length and self.tokens[self.place] == "not" and self.tokens[self.place - 1] in JOINS:
            named = any(self.own_product(start) == self.place - 1 for start in range(self.place))  # it is P4, not P1
            named = named or (self.tokens[:2] == ("it", "is") and self.own_product(2) > 0)  # it is P4 that ..., not P1
            self.place += 1
            if self.comparator():
                self.found.chunks.append(Entry("not_other", "" if named else "apart"))
                return True
            self.place -= 1
        if not length:
            return self.mirrored() or self.other_as_subject()
        if entry.family not in ("", *self.found.families):  # than spreading
            return False
        start, self.place = self.place, self.place + length
        self.found.chunks += [site for size, site in [self.entry("site", start + 1)] if size]  # than hair treated with
        if self.found.family == "preference" and self.tokens[start] in ("alongside", "next", "beside"):
            return self.back_to(start)
        others, rest = self.entry("others_of")
        whole = self.range_said(self.place + others, rest.family, others="other" in self.words(others)) if others else 0
        if whole:
            return self.take(others + whole, Entry("range", "others"))
        if not self.comparator():
            own = self.own_product(self.place) if entry.part in ("than", "as") else 0
            self.place, self.than_own = (self.after_verb(own), True) if own else (start, self.than_own)
            return bool(own)
        if not self.found.core:
            self.found.chunks.append(Entry("compared_first"))
        if entry.value == -1:
            self.found.chunks.append(Entry("unlike"))
        if entry.part in ("as", "equal"):
            self.found.core.append(Entry("as", words="as"))
        self.joined()
        if self.place < len(self.tokens) and self.before_property():  # scored lower than P1 for greasiness
            self.said_to = self.place
        return True

    def compares(self) -> tuple[int, Entry]:
        """Return the words that put it beside another one: than, compared with, the second `as`; 0 where none do."""
        length, entry = self.entry("than")
        if not length and self.found.core and self.found.core[-1].family == "preference":
            length, entry = self.entry("preferred_to")
        better = self.found.family == "liking" and self.words(2) in ("better than", "more than")
        if better:  # liked the new one better than the previous one
            last = self.found.core[-1]
            self.found.core[-1] = replace(last, family="preference", asked_as="preference", value=1.0)
            length, entry = 2, Entry("than")
        if not length and self.words(1) == "by" and [chunk.part for chunk in self.found.core[-1:]] == ["unsurpassed"]:
            length = 1
        parts = [chunk.part for chunk in self.found.core]
        second = parts[-2:] in [["as", part] for part in ("property", "degree", "high", "low")]
        second = second or parts[-3:] == ["as", "degree", "verb"]
        second = second or (parts[-1:] == ["as"] and self.found.core[-1].words.endswith("same"))
        if not length and second:
            length, entry = self.entry("as")
        if not length and self.question is not None and self.words(3) == "as much as":
            length, entry = 3, Entry("as")
        if not length:
            length, entry = self.entry("equal")
        return length, entry

    def listed(self) -> bool:
        """`of the three: ours, the previous one and P3`, after the range was named."""
        start, own = self.place, 0
        marked = self.tokens[start - 1] in (":", "(", "-", ",")
        word = self.tokens[start] in ("between", "given")
        all_named = self.tokens[start] in ("among", "of", "amongst", "compared", "tested")  # of B1, B2 and B3
        of_two = word or (marked and [chunk.part for chunk in self.found.chunks[-1:]] == ["both"])  # the two, P1 and P4
        after_range = self.found.has("range") and (self.to_list or marked or self.found.chunks[-1].part == "range")
        if not (after_range or of_two or all_named) or self.found.comparators:
            return False
        self.place += word or (all_named and not after_range) or self.entry("apposition")[0]
        all_others = len(set(self.names.prototypes.values())) - 1
        while self.place < len(self.tokens) and not (
            own and self.found.comparators and (of_two or len(self.found.comparators) == all_others)
        ):
            here = self.place
            end = here if self.tokens[here] == "with" else self.own_product(here) or here
            own += end > here
            if end == here and not self.comparator():
                break
            self.place = max(end, self.place)
            self.place += self.tokens[self.place : self.place + 1] in ((",",), ("and",), ("or",))
        named = {name for each in self.found.comparators for name in each}
        without = any(chunk.part == "nothing" for chunk in self.found.core)  # neither of the other two, B1 and B3
        without = without or "others" in self.found.families_for("range")
        if own + without == 1 and ((of_two and len(named) == 1) or len(named) == all_others):
            self.to_list = False
            if of_two and self.words(1) in SEVERAL:
                self.found.joint = True
            else:
                self.found.left_over += [self.words(1)] * (self.words(1) in SEVERAL)
            if not self.found.core:
                self.found.chunks.append(Entry("compared_first"))
            return True
        self.found.comparators.clear()
        return self.back_to(start)

    def other_as_subject(self) -> bool:
        """`our previous cream was greasier`: what is said is said of the other one; of both where it is joined."""
        before = self.tokens[self.place - 1] if self.place else ""
        than_own = self.than_own and bool(self.found.core) and not self.entry("aux", self.place - 1)[0]
        length, others = self.entry("others_of") if self.begins_clause() and not self.found.core else (0, Entry(""))
        length += self.range_said(self.place + length, others.family, others=True) if length else 0
        if length > self.entry("others_of")[0] and not self.found.has("range"):  # our other two butters are greasier
            self.found.chunks.append(Entry("range", "others", words=self.words(length)))
            self.found.turned, self.place = True, self.place + length
            return True
        if self.found.comparators or than_own or not self.begins_other(before) or not self.comparator():
            return False
        self.found.turned, self.found.joint = True, before in JOINS and before != ","
        self.place += 2 if self.tokens[self.place : self.place + 2] == ("used", "to") else 0
        self.joined()
        both = (
            self.own_product(self.place + 1) if self.tokens[self.place : self.place + 1] in (("and",), ("or",)) else 0
        )
        self.found.joint, self.place = self.found.joint or bool(both), both or self.place
        return True

    def begins_other(self, before: str) -> bool:
        """Return whether the name of another one may begin here as a subject; after `neither` also a bare name."""
        joined = before in ("and", "neither") and self.place - 1 in (0, self.noun_to)  # this cream and P1
        told = self.found.chunks[-1:] and self.found.chunks[-1].part == "agree"  # the panel rated P1 stickier
        joined = joined or bool(told and self.found.chunks[-1].words.split()[-1] == before)
        both = self.tokens[self.place] == "both"
        starts = self.begins_clause() or before in ("where", "while", "whereas")
        joined = joined or (starts and longest(self.names.prototypes, self.tokens, self.place + both)[0] > 0)
        return self.tokens[self.place] in (*OURS, *BEFORE_OTHER) or before == "neither" or joined

    def ingredient(self) -> bool:
        """`contains shea butter`, `thanks to C13-15 Alkane`; an ingredient that is only named gets the credit."""
        for part, into in (("contains", self.found.contains), ("credit", self.found.credits), ("", self.found.credits)):
            start = self.place + (self.entry(part)[0] if part else 0)
            length, name = longest(self.names.ingredients, self.tokens, start)
            if length and (start > self.place or not part):
                into.append(name)
                self.place = start + length
                causes = any(self.entry("cause", place)[0] for place in range(len(self.tokens)))
                if causes or self.words(1) not in ("and", ".", ";", ")", ""):
                    self.found.credits.append(name)
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
        out_length, out = longest(self.names.ingredients, self.tokens, start)
        by = self.entry("replaced_by", start + out_length)[0]
        in_length, into = longest(self.names.ingredients, self.tokens, start + out_length + by)
        if not (out_length and by and in_length):
            return False
        self.found.replaced = (out, into, percent)
        self.place = start + out_length + by + in_length
        return True

    def own_range(self) -> bool:
        """`of our hand creams`, `in our hand cream range`, `our` before a superlative."""
        if self.tokens[self.place] == "our" and any(self.entry(part, self.place + 1)[0] for part in SUPERLATIVES):
            return self.take(1, Entry("range"))
        of_test = (self.tokens[self.place - 1], self.tokens[self.place]) in {(test, "of") for test in _TESTS}
        of_test = of_test and number_at(self.tokens, self.place + 1) == len(set(self.names.prototypes.values()))
        if of_test and self.place:  # in our test of three
            return self.take(2 + self.plural_at(self.place + 2), Entry("range"))
        all_of_them = number_at(self.tokens, self.place) == len(set(self.names.prototypes.values()))
        length = self.product_at(self.place + 1) if all_of_them else 0
        if length and {*self.tokens[self.place + 1 + length : self.place + 2 + length]} & _TESTS:
            return self.take(2 + length, Entry("range"))  # our three-butter test
        if length := self.all_tested():
            self.found.chunks.append(Entry("range", words=f"{self.words(length)} tested"))
            self.place += length
            return True
        counted = self.range_said(self.place, "counted") if number_at(self.tokens, self.place) else 0
        if counted:
            return self.take(counted, Entry("range"))
        start = self.place + self.entry("among")[0]
        start += self.tokens[start : start + 1] == ("the",)
        three = number_at(self.tokens, start) == len(set(self.names.prototypes.values()))
        three = three and (
            start > self.place
            or self.tokens[start - 1] in ("tested", "compared")
            or (self.begins_clause() or self.found.has("range"))
        )
        if three and self.found.has("range") and not self.plural_at(start + 1) and self.ends_at(start + 1):
            return self.take(start + 1 - self.place, Entry("function"))  # three butters, one test: least of the three
        numbered = self.entry("range_of", start + 1) if three else (0, Entry(""))  # three of our butters
        length, entry = numbered if numbered[0] else self.entry("range_of")
        length += start + 1 - self.place if numbered[0] else 0
        rest = self.range_said(self.place + length, entry.family) if length else 0
        return self.take(length + rest, Entry("range")) if rest else False

    def range_said(self, place: int, open_ended: str, *, others: bool = False) -> int:
        """Return how many tokens name the range; where `open_ended`, `in our range` or `we tested` must follow."""
        length = self.product_at(place) if open_ended == "each" else self.range_at(place, others)
        tail = (self.entry("range_tail", place + length)[0] or self.entry("range", place + length)[0]) if length else 0
        if length and not tail and self.entry("panel", place + length)[0]:
            return length  # in our panel test
        if length and not tail and open_ended == "open" and number_at(self.tokens, place) is not None:
            self.to_list = True  # of the three: their names have to follow
            return length
        return length + tail if tail or not open_ended else 0

    def none_of(self) -> bool:
        """`no hand cream`, `no other cream`: nothing, where more or less is said of it."""
        length = self.entry("none_of")[0]
        words = self.words(length).split()
        open_ended = "open" if "the" in words else ""
        whole = self.range_said(self.place + length, open_ended, others="other" in words) if "of" in words else 0
        if words[:1] == ["neither"] and len(set(self.names.prototypes.values())) != _TWO_OTHERS:
            return False
        product = whole or (self.product_at(self.place + length) if length else 0)
        neither = words[:1] == ["neither"] and "of" not in words[:2] + words[3:] and len(self.found.comparators) == _TWO
        named = [*self.found.words_for("range"), *self.found.words_for("function")]  # in our test, none of the others
        in_test = [words for words in named if next(entries_at(tuple(words.split()), 0, "range"), (0,))[0]]
        in_range = in_test or self.entry("range", self.place + length)[0]
        if not product and not neither and not (words[-1:] in (["other"], ["others"], ["one"]) and in_range):
            return False
        if whole or (in_test and not product):
            self.found.chunks.append(Entry("range", words=self.words(length + whole) if whole else in_test[0]))
        self.found.core.append(Entry("nothing", words=self.words(length + product)))
        self.found.order.append("nothing")
        self.place += length + product
        tested, entry = self.entry("range")
        return self.take(tested, entry) if tested else True

    def named(self) -> bool:
        """Take a prototype that is the subject, or the study's own words for an attribute."""
        length, prototype = longest(self.names.prototypes, self.tokens, self.place)
        if length:
            self.found.subjects.append(prototype)
            self.place += length
            return True
        length, family = longest(self.names.attributes, self.tokens, self.place)
        if length and length >= next(entries_at(self.tokens, self.place), (0, None))[0]:
            read = {"property"} if self.is_noun(self.place, length) else {"property", "verb"}
            own = any(e.part in read for n, e in entries_at(self.tokens, self.place) if n == length)
            if not own or family.startswith(OF_STUDY):
                self.found.said_of = self.found.said_of or self.noun_before(self.words(length))
                self.found.core.append(Entry("property", family, family, 1.0, self.words(length)))
                self.found.order.append(f"property {family}")
                self.place += length
                return True
        return False

    def statement(self) -> bool:
        """Take what is said of a property: the words of the statement itself, the longest phrase first."""
        for length, entry in entries_at(self.tokens, self.place):
            product = max(self.product_at(self.place), self.plural_at(self.place))
            if product > length or (product == length and entry.part in ("property", "site")):  # two oils
                continue
            into = {"by"} if entry.family != "body" else {"by", "in", "into"}
            if entry.part == "site" and into & {*self.tokens[max(0, self.place - 2) : self.place]}:  # made by hand
                continue
            if (entry.part == "product" and not self.product_at(self.place)) or self.alters(length, entry):
                continue
            joined = self.tokens[self.place - 1 : self.place + 1] == ("and", "skin")  # beard and skin feel soft
            if entry.part == "skin_type" or (joined and entry.part == "feel"):
                return False
            light = self.words(length) in ("see", "notice") and self.begins_clause()  # see the light
            if light or (entry.part == "later" and self.entry("fraction", self.place + length)[0]):  # is over half
                continue
            if entry.part == "as" and (self.names_what_is_said() or self.only_tells(self.place)):
                return self.take(length, Entry("function"))
            if entry.part in LETTERS:
                self.bind(entry, length)
                value = entry.value if not math.isnan(entry.value) else 1.0
                self.found.core.append(replace(entry, value=value, words=self.words(length)))
                self.place += length
                said = self.denied() if entry.part == "not" else f"{value:g}"
                self.found.order.append(f"{entry.part} {entry.family} {said}")
                self.said_to = self.place
                by_people = self.tokens[self.place - 1] in ("with", "by", "of")  # popular with our testers
                if (
                    entry.part == "verb"
                    and entry.family in OF_PEOPLE
                    and not (by_people and self.before_people(self.place))
                ):
                    self.hold_object()
                tested, range_ = self.entry("range") if entry.part in ("nothing", "unsurpassed") else (0, entry)
                return self.take(tested, range_) if tested else True
            if (entry.part, entry.family, self.place) == ("agree", "as", 0):  # rated less greasy, by whom is footnoted
                return self.take(length, Entry("function", "as"))
            to_its_verb = entry.part == "with_verb" and (
                self.found.core[-1].family == entry.family if self.found.core else self.names_verb(entry.family)
            )
            if entry.part in _PLAIN or to_its_verb:
                return self.take(length, entry)
        return False

    def plain(self) -> bool:
        """Words around the statement: the product as the study names it, `new`."""
        dose = len(self.names.dose)
        dose *= not self.found.shares and self.tokens[self.place : self.place + dose] == self.names.dose
        if length := self.for_whom() or dose:
            return self.take(length, Entry("function"))
        one = not self.place and self.tokens[0] == "one"
        if length := self.product_at(self.place + one):
            return self.take(one + length, Entry("product"))
        if self.tokens[self.place] == "both" and self.found.turned and len(self.found.comparators) == _TWO:
            return self.take(1, Entry("function"))  # P1 and P3 were both greasier
        two = number_at(self.tokens, self.place) == _TWO or self.tokens[self.place] == "both"
        length = self.plural_at(self.place + two) if two or self.tokens[self.place - 1] in ("two", "both") else 0
        if length:
            return self.take(two + length, Entry("both"))
        length, entry = self.entry("before_site")
        if length and ((not self.place and self.tokens[0] == "for") or self.entry("site", self.place + length)[0]):
            return self.take(length, entry)
        if self.tokens[self.place] in BEFORE_OTHER and self.own_product(self.place + 1):
            return self.take(1, Entry("function"))
        if self.tokens[self.place] == "for" and not self.found.shares:  # not for 89 % of users
            before, self.place = self.place, self.place + 1 + (self.tokens[self.place + 1 : self.place + 2] == ("our",))
            if self.share():
                self.found.chunks += [Entry("feel", words="for")] if self.question else []  # tight skin? Not for 83 of
                return True
            if self.entry("panel", self.place + 1)[0] and self.base():
                return True
            self.place = before
        among = self.entry("among")[0] if self.begins_clause() else 0
        if among and self.entry("people", self.place + among + (self.words(2).endswith(" the")))[0]:
            return self.take(among, Entry("function"))  # among the adults who tried it
        if self.before_property() or self.words(2) in ("or too", "nor too"):
            return self.take(1, Entry("function"))
        length, entry = self.entry("new")
        after = self.place + length
        site = "site" in self.parts_at(after) or not self.parts_at(after)
        if site and not (self.product_at(after) or {*self.tokens[after : after + 1]} <= SILENT):
            return False  # our new razor, new skin
        of_product = self.product_at(after) and "improved" not in self.words(length)
        return length > 0 and self.take(length, replace(entry, family="product" if of_product else "statement"))
