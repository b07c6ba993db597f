"""Turns of speech put straight, what happened before, questions and what answers them, and who and when."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from panel.claims.as_described import in_terms_of_study
from panel.claims.claim import Reading
from panel.claims.names import longest, set_straight, stage_at
from panel.claims.parts import (
    ENDS,
    FULL,
    LETTERS,
    OF_PEOPLE,
    SILENT,
    UNREADABLE,
    Entry,
    Share,
    Tokens,
    beginning,
    degree_of,
    entries_at,
    number_at,
    sign_of,
    tokens_of,
)
from panel.claims.reading import OURS, Cursor

_ASIDE = frozenset(("aside", "function", "imperative", "apply"))
_SUCH = frozenset(("one", "any", "such", "way"))  # greasy hands? It does not give them any
_WHO = re.compile(
    "who|you|anyone|everyone|people|those|hands|mornings?|evenings?|handling|holding|touching|turning|(?!papers).+ers"
)
_SAYS = frozenset(("property", "comparative", "superlative", "less", "more", "least", "most", "not"))
_OF_TEST = frozenset(("panel", "range_tail", "test", "tested", "judged", "assessed", "compared", "rated", "scored"))
_OPENING = frozenset(("so", "well", "really", "honestly"))
_SAID = (LETTERS.keys() - {"as", "high", "low", "right", "too"}) | {"than", "role", "others_of"}
_MAY = frozenset(("can", "could", "may", "might", "should", "must", "will"))
_BEING_SO = frozenset(("feels", "feel", "felt", "is", "are", "it"))
_LONG = 6  # words: our new evening body lotion, members of our trained panel
_AFTER = frozenset(("after", "following", "post"))
_SINCE = frozenset(("after", "once", "when"))
_WHOEVER = frozenset(("you", "we", "they", "users"))
_BEEN = frozenset(("have", "has", "had", "been", "being", "having", "is", "was", "are", "were"))
_AWAY = frozenset(("off", "away", "out"))
_THAT = ("after", "that")


class Asking(Cursor):
    """The steps that read what happened before, a question, what one is told to do, the answer, months and ages."""

    def with_events(self) -> Tokens:
        """Return the words with `after that` for what happened before: 10 minutes after that."""
        for place in range(len(self.tokens) - 1, -1, -1):
            before = len(self.found.chunks)
            length, event = stage_at(self.tokens, place, self.names.moments) or self.event_at(place)
            if length:
                words = " ".join(self.tokens[place : place + length])
                self.found.chunks.append(Entry("event", event, words=words))
                self.tokens = (*self.tokens[:place], *_THAT, *self.tokens[place + length :])
            else:
                del self.found.chunks[before:]
        return self.tokens

    def event_at(self, place: int) -> tuple[int, str]:
        """Return how many tokens tell what happened before, and what: `after rinsing`, `once your skin is dry`."""
        said, start = self.tokens[place], place + 1
        length, event, _ = self.form_at(place, {"done"})
        if length and self.entry("site", place + length)[0] and event.endswith("drying"):  # blow-dried hair
            return length, event
        if said not in (*_AFTER, *_SINCE, "as"):
            return 0, ""
        start += 2 * (self.tokens[place : place + 3] == ("as", "soon", "as"))
        who, of = set[str](), ""
        if said in _AFTER:
            end = start + 3 * (self.tokens[start : start + 3] == ("the", "end", "of"))
            end += self.tokens[end : end + 1] in (("the",), ("a",))
            length, event, _ = self.form_at(end, {"doing"})
            if length:
                return self.with_object(place, end + length, event)
        while (said in _SINCE or start > place + 1) and start < len(self.tokens):
            word = self.tokens[start]
            length, of_what = (1, "") if word in (*_WHOEVER, *_BEEN) else self.object_at(start)
            if not length:
                break
            who, of, start = who | {word}, of or of_what, start + length
        wanted = {"done"} if said in _SINCE or said == "as" else set[str]()
        wanted |= {"is"} if said == "once" or (wanted and who & _BEEN and said != "when") else set()
        wanted |= {"do"} if wanted and who & _WHOEVER and not who & _BEEN and said != "when" else set()
        length, event, kind = self.form_at(start, wanted)
        if kind == "is" and self.object_at(start + length)[0]:
            return 0, ""  # once dry skin
        return self.with_object(place, start + length, event, of) if length else (0, "")

    def form_at(self, place: int, kinds: set[str]) -> tuple[int, str, str]:
        """Return how many tokens at a place name what may have happened, in one of these forms; what, and the form."""
        ends = range(place + 1, len(self.tokens) + 1)
        found = (
            (end - place, event, kind)
            for end in ends
            for event, kind in self.names.moments.get(self.tokens[place:end], ())
            if kind in kinds
        )
        return max(found, default=(0, "", ""))

    def with_object(self, place: int, end: int, event: str, of: str = "") -> tuple[int, str]:
        """Return how many tokens tell what happened, with what it was done to, and what; who dried tells of drying."""
        for _ in range(3):
            away = bool({*self.tokens[end : end + 1]} & _AWAY)  # once dried off: people are, and their skin
            length, of_what = (1, "skin") if away else self.object_at(end)
            of, end = of or of_what, end + length
        return end - place, f"{of} {event}" if of and event.endswith("drying") else event

    def object_at(self, place: int) -> tuple[int, str]:
        """Return how many tokens at a place name it, the product or a part of the body, and which of the latter two."""
        if self.tokens[place : place + 1] in (("it",), ("this",), ("them",)) and not self.product_at(place + 1):
            return 1, ""
        start = place + (self.tokens[place : place + 1] in (("your",), ("the",), ("their",), ("my",), ("our",)))
        length, site = self.entry("site", start)
        if length and not self.product_at(start):
            self.found.chunks.append(replace(site, words=self.tokens[start]))
            return start + length - place, "skin"
        own = self.own_product(place)
        return (own - place, "product") if own else (0, "")

    def rewritten(self) -> Tokens:
        """Return the words as one says them straight: this formula for its name, 93 of 100 for all but 7 of 100."""
        tokens = set_straight(self.tokens, self.names)
        for place in range(len(tokens) - 1, -1, -1):
            length, named = longest(self.names.prototypes, tokens, place)
            if length and named == self.own and not any(self.entry("role", place + more)[0] for more in range(length)):
                start = place - (tokens[max(0, place - 1) : place] in (("our",), ("the",)))
                tokens = (*tokens[:start], "this", "formula", *tokens[place + length :])
            who = next((each for each in self.names.people if tokens[place : place + len(each)] == each), ())
            tokens = (*tokens[:place], "users", *tokens[place + len(who) :]) if who else tokens
        self.tokens = tokens
        for place in range(len(self.tokens) - 1, -1, -1):
            length, entry = self.entry("said as", place)
            if length:
                self.tokens = (*self.tokens[:place], *tokens_of(entry.family), *self.tokens[place + length :])
        for place in range(len(self.tokens) - 1, -1, -1):
            self.tokens = (*self.tokens[:place], *self.straight(place))
            self.tokens = (*self.tokens[:place], *self.named_again(place))
        self.tokens = self.with_events()
        products = [max(self.one_name(place)[0], self.plural_at(place)) for place in range(len(self.tokens))]
        return in_terms_of_study(self.tokens, self.names.ways, self.names.tellings, products)

    def straight(self, place: int) -> Tokens:
        """Return the words from a place on, the next of them moved or left out where it is said straight without."""
        word, rest = self.tokens[place], self.tokens[place + 1 :]
        if word == "would":
            length = self.entry("people", place + 1)[0] or int(rest[:1] == ("they",))
            return (*rest[:length], word, *rest[length:])
        unseen = word in ("did", "do", "does") and rest[:2] in (("not", "see"), ("not", "notice"))
        if unseen or (word in ("didn't", "don't") and rest[:1] in (("see",), ("notice",))):
            seen = rest[1 + unseen :]
            return ("saw", "no", *seen[seen[:1] == ("any",) :])
        unfound = word in ("not", "didn't") and rest[:1] in (("find",), ("consider",))
        if unfound and {*rest[1:2]} & {*OURS, "it", "this"}:
            end = self.own_product(place + 2) or place + 2
            return ("found", *self.tokens[place + 2 : end], "not", *self.tokens[end:])
        if rest[:1] == ("other",) and number_at(self.tokens, place):  # the three other lotions
            return ("other", word, *rest[1:])
        shines = any(self.entry("property", n)[0] for n in (place - 1, place - 2) if n >= 0)  # shines just as much
        if (word, *rest[:1]) == ("as", "much") and (
            self.entry("property", place + 2)[0] or (shines and "as" in rest[1:2])
        ):
            return (word, *rest[1:])
        if (
            word == "so"
            and {*rest[:1]} <= SILENT
            and "?" in self.tokens[:place]
            and self.tokens[place - 1] in _BEING_SO
        ):
            return ("indeed", *rest)  # rich? They agreed that it feels so
        if word in ("since", "because") and (number_at(self.tokens, place + 1) or self.entry("majority", place + 1)[0]):
            return rest  # since 85 % of users say so
        counted = (word, *rest[:1]) == ("or", "so") and number_at(self.tokens, place + 2) is not None
        opening = word in _OPENING and {*rest[:1]} & ENDS and (not place or self.tokens[place - 1] in ENDS)
        if counted or opening or (word, *rest[:2]) == ("no", ",", "not"):
            return rest[1:]
        if word == "tested" and (length := self.plural_at(place + 1)):
            return (*rest[:length], word, *rest[length:])  # of our three tested butters
        if (word, *rest[:1]) == ("all", "but"):
            left, between = number_at(self.tokens, place + 2), self.entry("out_of", place + 3)[0]
            whole = number_at(self.tokens, place + 3 + between) if between else None
            if left is not None and whole is not None:
                return (f"{whole - left:g}", *rest[2:])
        return self.of_the_product(place)

    def named_again(self, place: int) -> Tokens:
        """Return the words from a place on, with what `it` or `one` stands for named again."""
        said, rest = self.tokens[place : place + 3], self.tokens[place + 2 :]
        if said in {("mark", "on", "it"), ("marks", "on", "it")} and "paper" in self.tokens[:place]:
            return (*said[:2], "paper", *rest[1:])  # handled paper and found no mark on it
        if said[:2] == ("within", "one") and {*rest[:1]} <= SILENT and "minute" in self.tokens[:place]:
            return (*said[:2], "minute", *rest)  # got a minute? It sinks in within one
        return self.tokens[place:]

    def answered(self) -> bool:
        """Take a question and what ends it, a mark or a pause after `whether`: what is said of it is answered below."""
        would = (self.words(1) == "would") == any(chunk.words.startswith("would ") for chunk in self.question or ())
        daily = self.question and self.words(1) == "would" and [each.part for each in self.question] == ["degree"]
        daily = daily and not self.names_verb("use")
        if daily and self.question and self.question[0].family == "use":  # every day? 74 % of users would
            self.question, would = [Entry("verb", "use", "use", 1.0, "would use"), *self.question], True
        if self.question is not None and would and self.entry("aux")[0] and self.after_verb(self.place) > self.place:
            return self.take(self.entry("aux")[0], Entry("function", "yes"))  # 74 % of users would
        asks = self.question and (
            "which" in self.tokens[: self.place] or self.worried() or degree_of(self.question) == "superlative"
        )
        own = self.own_product(self.place) if asks else 0
        beside = self.tokens[own : own + 1] == (",",) and (
            self.tokens[own + 1 : own + 2] == ("not",) or self.entry("than", own + 1)[0] > 0
        )
        if own and (self.only_sayers(own) or beside):
            return self.take(
                own - self.place, Entry("function", "ours" if self.worried() else "yes")
            )  # which is the least greasy? This one
        length, entry = self.entry("worry")
        if length and self.begins_clause() and self.question is None:
            self.asking = "?" not in self.tokens[self.place :]
            return self.take(length, Entry("function", entry.family or "worry"))
        length = 0 if self.entry("than")[0] or self.only_tells(self.place) else self.entry("whether")[0]
        length *= self.words(1) != "where" or self.begins_clause()  # but: see where I was shaving
        if length and not self.found.shares and self.question is None:
            self.place, self.asking = self.place + length, True
            return True
        ends = ("?",) if not self.asking else ("?", ",", ":", ";", "-", "and", ".")
        last = all(token in SILENT for token in self.tokens[self.place + 1 :])
        if self.words(1) == "?" and last and self.found.pauses[-1:] == [len(self.found.core)]:  # less greasy. Curious?
            return self.take(1, Entry("function"))
        both = [core[:1] for core in (self.question or [], self.found.core)]  # too thick? Too thin?
        again = self.question is None or all(first and first[0].part == "too" for first in both)
        if self.tokens[self.place] not in ends or last or self.found.shares or not again:
            return False
        said = self.found.core or self.found.left_over
        self.found.left_over += ["whether"] if self.asking and not said else []
        self.question = [*(self.question or []), *self.found.core] if said else None
        if self.worried():  # worried about greasy hands? what is said of it has to stand whole below
            self.found.left_over += [] if self.found.core else ["?"]
            self.found.said_of = ""
        self.found.core, self.found.pauses = [], []
        self.asked_turned = self.found.turned
        own = self.tokens[self.place + 1] != "it" and self.own_product(self.place + 1)
        self.found.turned = self.found.turned and not (self.question or own)  # our previous cream? Less greasy
        self.place, self.asking = self.place + 1, False
        self.place += self.words(1) == "because" and "why" in self.tokens[: self.place]
        return True

    def either(self) -> bool:
        """`ours or our previous one?`: the two are named between which one is to choose, in whichever order."""
        start, own = self.place, self.own_product(self.place)
        new = start + (self.tokens[start] in OURS)
        new += self.entry("new", new)[0]
        own = own or (new if new > start and self.tokens[new : new + 1] == ("or",) else 0)
        self.place = own + 1 if own else start
        between = self.tokens[own : own + 1] if own else ()
        if self.found.comparators or (own and between != ("or",)) or not self.comparator():
            return self.back_to(start)
        after = self.place
        if not own:
            between, after = self.tokens[after : after + 1], self.own_product(after + 1)
        ends = {"or": ("?",), "versus": (":", "?"), "vs": (":", "?")}.get("".join(between), ())
        told = any({"this", "new"} & set(self.tokens[n : self.own_product(n)]) for n in range(after, len(self.tokens)))
        if not (after and told and "".join(self.tokens[after : after + 1]) in ends):
            self.found.comparators.clear()
            return self.back_to(start)
        self.place = after
        self.found.chunks.append(Entry("function", "compared"))
        return True

    def set_headline(self) -> None:
        """Put aside a lone verb, degree or less that ends in a full mark: spread the news! easy does it: less:."""
        alone = len(self.found.core) == 1 and self.found.core[0].part in ("verb", "degree", "less")
        alone = alone and not (self.headline or self.question or self.asking or self.found.families & OF_PEOPLE)
        if alone and self.tokens[self.place] in (*FULL, "-"):
            self.headline, self.found.core, self.found.pauses = self.found.core, [], []

    def drop_headline(self) -> None:
        """Leave out the headline where what stands below it is whole, and says the same way what it is about."""
        found, below = self.found, degree_of(self.found.core)
        if not self.headline:
            return
        (lone,), sign = self.headline, sign_of(found.core)
        same = lone.family in ("", found.family) and (
            lone.part == "verb" or sign == (-1 if lone.part == "less" else lone.value)
        )
        if same and below not in ("none", "bare", UNREADABLE) and (lone.part != "less" or below == "comparative"):
            return
        found.core, found.pauses = [lone, *found.core], [1, *(place + 1 for place in found.pauses)]
        found.left_over += [lone.words] if lone.part != "verb" else []

    def worried(self) -> bool:
        """Return whether the sentence begins with a question of what one may want or be worried about."""
        return any(chunk.family in ("worry", "want") for chunk in self.found.chunks)

    def told(self) -> bool:
        """Take what one is told to do at the start of a clause: `rub in the cream and`, `see for yourself`."""
        purpose = self.for_whom() if self.begins_clause() and self.entry("purpose")[0] else 0
        if purpose:
            return self.take(purpose, Entry("function"))
        use = self.entry("apply")[0] if self.begins_clause() and not self.worried() else 0
        end = self.own_product(self.place + use) if use else 0
        end += self.entry("applied_to", end)[0] if end else 0
        after = self.tokens[end : end + 1]
        length = end + (after == ("and",)) - self.place if end and (after == ("and",) or {*after} <= SILENT) else 0
        length = length or (self.entry("imperative")[0] if self.begins_clause() and not self.entry("than")[0] else 0)
        for place in range(self.place, self.place + length):
            site = self.entry("site", place)[1].family if use and not self.product_at(place) else ""
            self.found.chunks += [Entry("site", site, words=site)] if site else []
        length = length or self.aside()
        return self.take(length, Entry("function", "told")) if length else False

    def aside(self) -> int:
        """Return how many words make a clause of their own that says nothing of the product: off you go."""
        place, aside = self.place, False
        while self.begins_clause() and place < len(self.tokens) and self.tokens[place] not in (*SILENT, "?"):
            length = self.entry("", place)[0]
            here = [entry for n, entry in entries_at(self.tokens, place) if n == length]
            parts, of = {entry.part for entry in here}, {entry.family for entry in here if entry.part == "aside"}
            if not parts & _ASIDE or parts & LETTERS.keys() or self.tokens[place] in ("when", "while"):
                return 0
            ahead = range(place + length, len(self.tokens))
            if of - {""} and not of & {entry.family for n in ahead for _, entry in entries_at(self.tokens, n)}:
                return 0  # a play on another word: soft spot, of what is less greasy
            place, aside = place + length, aside or parts <= {"aside"}
        return place - self.place if aside else 0

    def telling(self) -> bool:
        """Take a word of a clause that says only who told it, and how it was tried: that is our panel's call."""
        length = self.entry("telling")[0]
        return bool(length) and self.only_tells(self.place) and self.take(length, Entry("function"))

    def only_tells(self, at: int) -> bool:
        """Return whether the clause of a word, all in tables, names who told it or a test, and nothing said of it."""
        there, known, counted = set[str](), 0, False
        for place in (clause := self.clause(at)):
            entries = list(entries_at(self.tokens, place))
            within = place < known and self.tokens[place].endswith("ing")  # after rubbing in
            there |= {entry.part for _, entry in entries} - ({"verb"} if within else set())
            number = number_at(self.tokens, place) is not None
            length = max((length for length, _ in entries), default=0) or number or self.tokens[place] in SILENT
            known, counted = max(known, place + length), counted or number
            if known <= place:
                return False
        by = counted or there & {"panel", "test"} or {"our", "the"} & {self.tokens[place] for place in clause}
        return bool(by) and not there & _SAID

    def only_tried(self, after: int) -> bool:
        """Return whether the clause reached tells only that people tried it, and ends there: tried at home by 100."""
        before = [place for place in self.clause(self.place) if place < self.place]
        tried = {"tried", "tested", "used"} & {self.tokens[place] for place in before}
        told = any(self.entry(part, place)[0] for part in ("agree", "telling") for place in before)
        ends = after + self.people_at(after) >= self.clause(self.place).stop
        return bool(tried) and not told and ends and self.only_tells(self.place)

    def answer_to(self, question: Sequence[Entry], answer: Sequence[Entry]) -> Sequence[Entry]:
        """Return what a question and its answer say together: greasy? not with; the question again where nothing."""
        parts, families = [chunk.part for chunk in answer], {chunk.family for chunk in answer} - {""}
        asked, yes = {chunk.family for chunk in question} - {""}, any(c.family == "yes" for c in self.found.chunks)
        verbs = [chunk for chunk in question if chunk.part == "verb"]
        topic_only = [chunk.part for chunk in question] == ["property"]
        fitting: list[Sequence[Entry]] = []
        unfinished = not families or degree_of(answer) in (UNREADABLE, "bare")
        if parts == ["not"] and any(chunk.words.endswith(("yes", " so")) for chunk in self.found.chunks):
            self.found.left_over.append("yes")
        if degree_of(question) == "negated" and not parts:  # hands that do not feel greasy? It does
            self.found.left_over += [c.words for c in self.found.chunks if (c.family, c.words) == ("yes", "does")]
        if self.worried():
            unfinished, yes = False, any((chunk.family, chunk.words) == ("yes", "does") for chunk in self.found.chunks)
            yes = yes and self.found.has("agree") and any(chunk.family == "want" for chunk in self.found.chunks)
            ours = {"ours", "want"} <= self.found.families_for("function")
            yes = yes or (ours and degree_of(question) in ("comparative", "superlative"))
            unfinished = parts == ["not"] and self.found.has("agree") and bool(_SUCH & {*self.tokens})
        if yes and not parts and self.found.left_over:
            return question  # in words of its own, which are held against those that were asked
        if parts and unfinished and degree_of(question) != "negated":
            fitting = [question, verbs] if families or topic_only or parts == ["nothing"] else []
        if (yes and not parts) or (parts == ["not"] and unfinished and degree_of(question) in ("positive", "bare")):
            fitting = [question]
        for rest in fitting:
            if degree_of([*answer, *rest]) != UNREADABLE:
                self.found.turned = self.found.turned or (self.asked_turned and (yes or parts == ["not"]))
                return [*answer, *rest]
        if parts == ["nothing"] and topic_only:  # tightness? They felt none
            return [Entry("not", words="no"), *question]
        if question and not (families and families >= asked):
            self.found.left_over.append("?")
        return answer

    def only_sayers(self, place: int) -> bool:
        """Return whether from a place on nothing is told but who said so: say 12 trained assessors."""
        while place < len(self.tokens):
            lengths = [self.entry(part, place)[0] for part in ("agree", "panel", "number")]
            lengths += [int(self.tokens[place] in SILENT or number_at(self.tokens, place) is not None)]
            if not max(lengths):
                return False
            place += max(lengths)
        return True

    def answered_first(self) -> None:
        """Leave out a `no` that stands alone before what it comes to, where that denies what was asked: no, it is not.

        One compared with that is named again in the answer is named once.
        """
        found, asked = self.found, degree_of(self.question or [])
        first, rest = found.core[:1], found.core[1:]
        if not first or first[0].part != "not" or first[0].words not in found.left_over or found.pauses[:1] > [1]:
            return
        alone = self.tokens.index(first[0].words) + 1 if first[0].words in self.tokens else len(self.tokens)
        if not {*self.tokens[alone : alone + 1]} & SILENT or first[0].words == "not" or asked == "negated":
            return
        own = self.tokens[alone + 1 : alone + 2] != ("it",) and self.own_product(alone + 1)
        if self.asked_turned and not own:  # is our previous cream greasier? No, it is less greasy
            return
        after = Reading(core=rest, turned=found.turned)
        denies = after.degree in ("negated", "absent", "low", "not comparative")
        if asked in ("parity", "comparative"):
            denies = denies or after.degree == "comparative"
            denies = denies and (asked == "parity" or after.sign != sign_of(self.question or []) or self.asked_turned)
        denies = denies or (after.degree == "just right" and "too" in [chunk.part for chunk in self.question or []])
        if denies and {chunk.family for chunk in self.question or rest} - {""} == after.families:
            found.left_over.remove(first[0].words)
            found.core, found.pauses = rest, [place - 1 for place in found.pauses if place > 0]
            self.question, found.comparators = None, list(dict.fromkeys(found.comparators))

    def other_product(self, words: str) -> Tokens:
        """Return the words that name another kind of product than the study's: who used the lotion, of a cream."""
        tokens, kinds = tuple(words.split()), self.names.product_types
        found = ((place, next(entries_at(tokens, place, "product_type"), (0,))[0]) for place in range(len(tokens)))
        named = next((tokens[place : place + length] for place, length in found if length), ())
        return named if kinds and named not in kinds else ()

    def mirrored(self) -> bool:
        """Take the other side of what is said of it: less with it, more with our previous one."""
        said = [chunk.part for chunk in self.found.core if chunk.part in ("less", "more")]
        opposite = {"less": "more", "more": "less"}.get(said[0], "") if len(said) == 1 else ""
        length = self.entry(opposite)[0] if opposite and not self.found.comparators else 0
        own = any(self.own_product(start) for start in range(self.said_to, self.place))
        start, self.place = self.place, self.place + length
        if not (length and own and self.found.pauses and self.comparator()):
            return self.back_to(start)
        return True

    def than_not_other(self) -> bool:
        """Return whether what is said of it and not of one other compares the two: it is P4, not P1, that is softer."""
        one = len(self.found.comparators) == 1 and self.found.families_for("not_other") == {""}
        return one and self.found.degree == "comparative" and not self.found.turned

    def only_may(self, place: int) -> bool:
        """Return whether at a place it is only told that the product, or the skin, may or will be so: it could feel."""
        word, follows = self.tokens[place], self.tokens[place + 1 : place + 2]
        if word not in _MAY or follows == ("be",) or self.question is not None:
            return False
        before = range(max(0, place - _LONG), place)
        first = next((start for start in before if self.own_product(start) == place), 0)
        own = self.own_product(first) == place and not (first and self.of_other_or_users(first - 1))
        if word == "will":
            agrees = bool(self.found.shares) and self.entry("agree", place + 1)[0] > 0
            return own or agrees or any(start + self.entry("panel", start)[0] == place for start in before)
        return own or any(start + self.entry("site", start)[0] == place for start in before)

    def of_other_or_users(self, place: int) -> bool:
        """Return whether the product named after a place is the other one, or its users are meant."""
        return self.tokens[place] == "of" or self.entry("role", place)[0] > 0

    def some_of_them(self) -> bool:
        """Return whether only those are told of who agreed, or felt something: users who agreed found that."""
        for place, word in enumerate(self.tokens):
            length = self.entry("agree", place + 1)[0] if word == "who" else 0
            after = place + 1 + length
            after += self.tokens[after : after + 1] == ("that",)
            ends = {*self.tokens[after : after + 1]} <= SILENT or self.entry("agree", after)[0]
            feels = self.entry("feel", after)[0] > 0 and word == "who"
            if (length and ends) or feels:
                return True
        return False

    def other_votes(self) -> bool:
        """`22 preferred the previous one and 10 had no preference`, after the votes for the product itself."""
        start = self.place
        place = start + (self.tokens[start] in ("while", "whereas", "but", "and"))
        place += self.tokens[place : place + 1] in (("only",), ("just",))
        if not self.found.shares or self.found.family != "preference":
            return False
        number, self.place = number_at(self.tokens, place), place
        if number is None and self.comparator() and self.words(1) in ("by", "from"):  # and our previous cream by 22
            number = number_at(self.tokens, self.place + 1)
            self.place += 2
            self.found.votes[0] = Share(number or 0.0, 0, "", " ".join(self.tokens[start : self.place]))
            return True
        self.place = start
        if number is None:
            return False
        percent = self.entry("percent", place + 1)[0]
        place += 1 + percent
        place += self.entry("people", place)[0]
        none, (length, verb) = self.entry("no_vote", place)[0], self.entry("verb", place)
        self.place = place + (none or length)
        own = len(self.found.comparators)
        if not none and ((length and verb.family != "preference") or not self.comparator()):
            return self.back_to(start)
        if not none and own and self.found.comparators.pop() != self.found.comparators[-1]:
            self.found.left_over.append(self.tokens[self.place - 1])
        words = " ".join(self.tokens[start : self.place])
        self.found.votes[1 if none else 0] = Share(number, 100 if percent else 0, "", words)
        return True

    def for_whom(self) -> int:
        """Return how many words say whom it is for, in words of the study's purpose: for people who handle paper."""
        leads = 1 if self.words(1) == "for" else self.entry("purpose")[0] if self.begins_clause() else 0
        place, own = self.place + leads, 0
        while leads and place < len(self.tokens) and self.tokens[place] not in SILENT:
            told = beginning(self.tokens[place]) in self.names.purpose
            parts = {entry.part for length, entry in entries_at(self.tokens, place) if length == 1}
            parts -= {"site"} if self.tokens[place + 1 : place + 2] == ("that",) else set()
            if parts & {"property", "verb", "degree", "comparative", "site"}:
                return 0
            if not (told or parts & {"function", "people", "product_place"}):
                break
            place, own = place + 1, own + told
        who = any(_WHO.fullmatch(token) for token in self.tokens[self.place + leads : place])
        own = own if who or self.words(1) != "for" else 0  # not for books
        whole = self.words(1) == "for" or self.tokens[place : place + 1] in ((":",), ("?",), (".",), (",",))
        place += leads > 0 and self.tokens[place : place + 1] == ("?",)
        return place - self.place if own and whole else 0

    def all_tested(self) -> int:
        """Return how many words name all that were tested, in a clause on the test: we put three butters before it."""
        lead = 1 if self.tokens[self.place] == "all" else self.entry("among")[0]
        lead += lead > 0 and self.tokens[self.place + lead : self.place + lead + 1] == ("the",)
        if number_at(self.tokens, self.place + lead) != len(set(self.names.prototypes.values())):
            return 0
        plural = self.plural_at(self.place + lead + 1)
        return lead + 1 + plural if plural and self.begun_by_test() else 0

    def begun_by_test(self) -> bool:
        """Return whether the clause reached is one of its own on what was tested: three butters, one test."""
        clause = self.clause(self.place, FULL)
        there = {part for place in clause for part in self.parts_at(place)}
        pause = self.clause(self.place, FULL | {","}).stop
        says = {part for place in range(clause.start, pause) for part in self.parts_at(place)} & _SAYS
        of_test = bool(_OF_TEST & {*there, *self.tokens[clause.start : clause.stop]})
        return not (self.found.core or says) and clause.stop < len(self.tokens) and of_test

    def beaten(self) -> bool:
        """`nothing in our test beats it for spreading`: it is unsurpassed."""
        length = self.entry("beats")[0]
        own = self.own_product(self.place + length) if length else 0
        if not own or [chunk.part for chunk in self.found.core[-1:]] != ["nothing"]:
            return False
        self.found.core[-1] = Entry("unsurpassed", words=self.words(length))
        self.place = own
        return True

    def test_of_days(self) -> bool:
        """`in the seven-day home-use test`, `over a week-long trial`: how long it was used."""
        place = self.place + max(self.entry(part)[0] for part in ("within", "lasting", "after"))
        article = self.tokens[place : place + 1] in (("a",), ("an",), ("this",), *((word,) for word in OURS))
        place += article
        value = number_at(self.tokens, place)
        one = value is None and article
        length, unit = self.entry("unit", place + (not one))
        end = place + (not one) + length
        end += self.tokens[end : end + 1] == ("long",)
        if not (length and self.entry("test", end)[1].family not in ("", "timed")) or (value is None and not one):
            return False
        self.found.moments.append(("use", (1.0 if one else value or 0.0) * unit.value, self.words(end - self.place)))
        self.place = end
        return True

    def month(self) -> bool:
        """`in March 2025`, `24 to 30 March 2025`."""
        start = self.place + (self.tokens[self.place] in ("in", "from", "on"))
        days = next((n for n in (3, 1) if self.entry("month", start + n)[0] and number_at(self.tokens, start)), 0)
        year = number_at(self.tokens, start + days + 1) if self.entry("month", start + days)[0] else None
        if year is None or (self.tokens[self.place] == "from" and not days):
            return False
        self.found.months.append(" ".join(self.tokens[start : start + days + 2]).replace("-", "to"))
        self.place = start + days + 2
        return True

    def age(self) -> bool:
        """`aged 21 to 63`."""
        length, entry = self.entry("aged")
        start = self.place + length
        start += bool(length) and self.tokens[start : start + 1] == (":",)  # ages: 25 to 60
        end = start + 1 + (self.tokens[start + 1 : start + 2] in (("to",), ("and",), ("-",)))
        low, high = number_at(self.tokens, start), number_at(self.tokens, end)
        years = self.entry("years", end + 1)[0]
        noted = "(" in self.tokens[: self.place] and self.tokens[end + 1 : end + 2] in ((",",), (")",))
        noted = noted and self.tokens[self.place - 1] == ","  # (100 adults, 25-60)
        if not (years or noted or (length and entry.family != "open")) or low is None or high is None:
            return False
        self.found.ages = f"{low:g} to {high:g}"
        self.place = end + 1 + years
        return True
