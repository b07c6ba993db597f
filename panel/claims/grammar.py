"""The grammar that reads a sentence: every word does something in it, or is left over.

The words are data (`claim_words_en.csv`), the names come from the study. Nothing is guessed: a word that is in no table
and names nothing of the study is left over, and so is one that stands where it does nothing.
"""

from __future__ import annotations

import math

from panel.claims.cursor import Cursor, longest
from panel.claims.names import Names
from panel.claims.reading import LETTERS, Chunk, Moment, Reading, Share
from panel.claims.words import SILENT, Entry, entries_at, known_words, number_at, tokens_of

_PLAIN = frozenset(
    ("function", "feel", "site", "slight", "range", "agree", "people", "panel", "test", "later", "product", "still")
)
_JOINS = frozenset(("and", "or", ","))
_UNKNOWN_SHARE = 0.5  # of the words: more unknown than known is no English; a setting of ours, no source
_RATIO_OF = 10


def read_sentence(text: str, names: Names) -> Reading:
    """Return what a sentence says about a study, and which of its words nothing accounts for."""
    reader = _Reader(tokens_of(text), names)
    reader.read_all()
    return Reading(
        core=tuple(reader.core), chunks=tuple(reader.chunks), comparators=tuple(reader.comparators),
        subjects=tuple(reader.subjects), shares=tuple(reader.shares), bases=tuple(reader.bases),
        moments=tuple(reader.moments), ages=reader.ages, contains=tuple(reader.contains),
        credits=tuple(reader.credits), replaced=reader.replaced, left_over=tuple(reader.left_over),
        order=tuple(reader.order), read=_is_english(reader),
    )  # fmt: skip


def _is_english(reader: _Reader) -> bool:
    """Return whether at least half of the words are ones that the tables or the study know."""
    words = [token for token in reader.tokens if token[0].isalpha()]
    own = {word for phrase in (*reader.names.ingredients, *reader.names.prototypes) for word in phrase}
    unknown = sum(word not in known_words() and word not in own for word in words)
    return bool(words) and unknown <= _UNKNOWN_SHARE * len(words)


class _Reader(Cursor):
    """The steps of the grammar: each takes the next words if it can do something with them."""

    def read_all(self) -> None:
        """Read to the end: the first of the steps that can do something with the next words does it."""
        steps = (
            self.replacement, self.share, self.base, self.moment, self.age, self.comparison, self.ingredient,
            self.named, self.statement, self.plain,
        )  # fmt: skip
        while self.place < len(self.tokens):
            if self.tokens[self.place] in SILENT:
                self.place += 1
            elif not any(step() for step in steps):
                self.left_over.append(self.tokens[self.place])
                self.order.append(self.tokens[self.place])
                self.place += 1
        self.end()

    def end(self) -> None:
        """Leave over a last word that asks for another one after it."""
        last = self.chunks[-1] if self.chunks else None
        ends = [token for token in self.tokens if token not in SILENT][-1:]
        if (
            last is not None
            and last.value == 0
            and last.words.split()[-1:] == ends
            and last.words not in self.left_over
        ):
            self.left_over.append(last.words)

    def share(self) -> bool:
        """`84 %`, `8 in 10`, `49 of 58`, `more than half`, `most users`."""
        bound, entry = self.entry("at_least")
        least = ("more than", "at least")[int(entry.value)] if bound else ""
        start = self.place + bound
        value = number_at(self.tokens, start)
        if value is not None:
            percent = self.entry("percent", start + 1)[0]
            if percent:
                return self.take_share(Share(value, 100, least, self.words(bound + 1 + percent)), bound + 1 + percent)
            out_of = self.entry("out_of", start + 1)[0]
            whole = number_at(self.tokens, start + 1 + out_of) if out_of else None
            if whole is not None and not self.entry("unit", start + 2 + out_of)[0]:
                length = bound + 2 + out_of
                return self.take_share(Share(value, whole, least, self.words(length)), length)
            if self.bases and self.entry("agree", start + 1)[0]:
                return self.take_share(Share(value, self.bases[-1], least, self.words(bound + 1)), bound + 1)
        length, part = self.entry("fraction", start)
        if length:
            share = Share(part.value, 1, least, self.words(bound + length), fraction=True)
            return self.take_share(share, bound + length)
        length = self.entry("majority")[0]
        if length and self.before_people(self.place + length):
            return self.take_share(Share(0.5, 1, "more than", self.words(length), fraction=True), length)
        return False

    def take_share(self, share: Share, length: int) -> bool:
        """Take a share; an `of` after it says nothing more."""
        self.shares.append(share)
        self.place += length
        if self.place < len(self.tokens) and self.tokens[self.place] == "of":
            self.place += 1
        return True

    def base(self) -> bool:
        """`58 users`, `n = 58`."""
        if self.tokens[self.place : self.place + 2] == ("n", "="):
            value, length = number_at(self.tokens, self.place + 2), 3
        else:
            value, length = number_at(self.tokens, self.place), 1
            place = self.place + 1
            if value is None or not (self.entry("people", place)[0] or self.entry("panel", place)[0]):
                return False
        if value is None:
            return False
        self.bases.append(value)
        self.place += length
        return True

    def moment(self) -> bool:
        """`after 20 minutes`, `2 minutes later`, `within 60 s`, `for 8 hours`."""
        for part, kind in (("within", "within"), ("after", "at"), ("lasting", "for"), ("", "at")):
            start = self.place + (self.entry(part)[0] if part else 0)
            if part and start == self.place:
                continue
            value = number_at(self.tokens, start)
            length, unit = self.entry("unit", start + 1) if value is not None else (0, Entry(""))
            if value is None or not length:
                continue
            end = start + 1 + length
            end += self.entry("later", end)[0]
            self.moments.append(Moment(kind, value * unit.value, self.words(end - self.place)))
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
        self.ages = f"{low:g} to {high:g}"
        self.place = start + 3
        return True

    def comparison(self) -> bool:
        """`than our previous hand cream`, `compared with P1`; the second `as` of `as ... as` compares, too."""
        length, entry = self.entry("than")
        if not length and self.core and self.core[-1].family == "preference":
            length, entry = self.entry("preferred_to")
        second = len(self.core) > 1 and self.core[-2].part == "as" and self.core[-1].part in ("property", "degree")
        if not length and second:
            length, entry = self.entry("as")
        if not length:
            return False
        start, self.place = self.place, self.place + length
        if not self.comparator():
            self.place = start
            return False
        if entry.part == "as":
            self.core.append(Chunk("as", "as"))
        while self.place < len(self.tokens) and self.tokens[self.place] in _JOINS:
            before, self.place = self.place, self.place + 1
            if not self.comparator():
                self.place = before
                break
        return True

    def ingredient(self) -> bool:
        """`contains shea butter`, `thanks to C13-15 Alkane`; an ingredient that is only named gets the credit."""
        for part, into in (("contains", self.contains), ("credit", self.credits), ("", self.credits)):
            start = self.place + (self.entry(part)[0] if part else 0)
            length, name = longest(self.names.ingredients, self.tokens, start)
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
        out_length, out = longest(self.names.ingredients, self.tokens, start)
        by = self.entry("replaced_by", start + out_length)[0]
        in_length, into = longest(self.names.ingredients, self.tokens, start + out_length + by)
        if not (out_length and by and in_length):
            return False
        self.replaced = (out, into, percent)
        self.place = start + out_length + by + in_length
        return True

    def named(self) -> bool:
        """Take a prototype that is the subject, or the study's own words for an attribute."""
        length, prototype = longest(self.names.prototypes, self.tokens, self.place)
        if length:
            self.subjects.append(prototype)
            self.place += length
            return True
        length, family = longest(self.names.attributes, self.tokens, self.place)
        if length and length >= next(entries_at(self.tokens, self.place), (0, None))[0]:
            own = any(e.part in ("property", "verb") for n, e in entries_at(self.tokens, self.place) if n == length)
            if not own:
                self.core.append(Chunk("property", self.words(length), family, family, 1.0))
                self.place += length
                return True
        return False

    def statement(self) -> bool:
        """Take what is said of a property: the words of the statement itself, the longest phrase first."""
        for length, entry in entries_at(self.tokens, self.place):
            if entry.part in LETTERS:
                value = entry.value if not math.isnan(entry.value) else 1.0
                self.core.append(Chunk(entry.part, self.words(length), entry.family, entry.asked_as, value))
                self.order.append(f"{entry.part} {entry.family}")
                self.place += length
                return True
            if entry.part in _PLAIN:
                return self.take(length, entry)
        return False

    def plain(self) -> bool:
        """Words around the statement: the product as the study names it, `new`."""
        length = self.product_at(self.place)
        if length:
            return self.take(length, Entry("product"))
        length, entry = self.entry("new")
        return self.take(length, entry) if length else False
