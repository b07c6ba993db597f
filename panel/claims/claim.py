"""What does one claim say, with all that its kind needs? The records of what data and words say of it."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from panel.claims.own_words import STATES
from panel.claims.parts import NOUN, UNREADABLE, Entry, Share, degree_of, root, sign_of
from panel.study.knowledge import plain_words, shared_table
from panel.study.study import Study
from panel.study.tables import TABLES, heading
from panel.words import format_list, format_typed

BEYOND = "beyond_sensory"
SPOKEN_FOR = "the numbers speak for it"  # of a claim that was stamped too late, or not shown to be in time
_DIRECTIONS = ("more", "less")
_TEXTS = (
    *("claim", "kind", "prototype", "versus", "attribute", "question", "competitors", "direction", "sides"),
    *("ingredient", "session_before", "session_after", "family", "media", "territory", "owner"),
    *("stamped_at", "stamped_by", "stamp", "withdrawn_at", "withdrawn_by", "withdrawn_because"),
)
_NUMBERS = ("minutes", "margin", "bar", "bar_panel")
_FILLED_IN = ("kind", "competitors", "direction", "sides", "question")  # read otherwise than they stand in the table


@dataclass(frozen=True, eq=False, slots=True)
class Claim:
    """One sentence somebody wants to say, as it stands in the table of claims; empty text and NaN where not stated.

    `number` counts the rows from 1. `competitors` are the names, `direction` is `more` or `less`: as stated, else the
    way the attribute is wanted. `problems` say what keeps the claim from being judged.
    """

    number: int
    claim: str
    kind: str
    prototype: str
    versus: str
    attribute: str
    question: str
    competitors: tuple[str, ...]
    direction: str
    sides: str
    ingredient: str
    session_before: str
    session_after: str
    family: str
    media: str
    territory: str
    owner: str
    stamped_at: str
    stamped_by: str
    stamp: str
    withdrawn_at: str
    withdrawn_by: str
    withdrawn_because: str
    minutes: float
    margin: float
    bar: float
    bar_panel: float
    problems: tuple[str, ...] = ()

    @property
    def said(self) -> tuple[object, ...]:
        """What is said of what, whatever the margin or the bar."""
        words = " ".join(self.claim.casefold().split())
        minutes = f"{self.minutes:g}"
        return words, self.kind, self.prototype, self.versus, self.competitors, self.attribute, self.question, minutes

    @property
    def sign(self) -> float:
        """1 where the sentence says more, -1 where it says less."""
        return -1.0 if self.direction == "less" else 1.0


def read_claims(study: Study) -> tuple[Claim, ...]:
    """Return the claims of a study in the order of its table, each with the problems found in it."""
    names = _names(study)
    rows = [_asked_as(row, names["questions"]) for row in study.table("claims").to_dict("records")]
    claims = [_claim(study, number, row) for number, row in enumerate(rows, start=1)]
    problems = [[*_said_before(claim, claims), *_problems(claim, names)] for claim in claims]
    return tuple(replace(claim, problems=tuple(found)) for claim, found in zip(claims, problems, strict=True))


def _said_before(claim: Claim, claims: Iterable[Claim]) -> Iterator[str]:
    """Say where the same claim stands further up: tested twice, by two margins, one of them might pass."""
    for earlier in claims:
        if earlier.number < claim.number and claim.claim and earlier.said == claim.said:
            yield f"The same claim stands in row {earlier.number} of the table claims. Delete one of the two."
            return


def fields_of(kind: str) -> tuple[str, ...]:
    """Return the columns that a claim of a kind needs, then those that it may state."""
    return tuple(dict.fromkeys((*of_kind(kind, "needs"), *of_kind(kind, "may_state"))))


def of_kind(kind: str, column: str) -> tuple[str, ...]:
    """Return what a column of the table of kinds lists for a kind: `needs`, `may_state` or `says`."""
    return _split_names(str(kinds().get(kind, {}).get(column, "")))


@cache
def kinds() -> dict[str, dict[str, Any]]:
    """Return the table of kinds of claim: the row of each, by its name."""
    rows = shared_table("claim_kinds").to_dict("records")
    return {str(row["kind"]): {str(name): cell for name, cell in row.items()} for row in rows}


def _asked_as(row: Mapping[Any, Any], questions: Iterable[str]) -> dict[Any, Any]:
    """Return a row with its question as it is called among others, the signs in it left out of account."""
    asked = str(row.get("question", "")).strip()
    spelled = {} if asked in questions else {plain_words(name): name for name in questions}
    return {**row, "question": spelled.get(plain_words(asked), asked)}


def _split_names(text: str) -> tuple[str, ...]:
    """Return names separated by `;`."""
    return tuple(name.strip() for name in text.split(";") if name.strip())


def _claim(study: Study, number: int, row: Mapping[Any, Any]) -> Claim:
    texts: dict[str, Any] = {name: str(row[name]).strip() for name in _TEXTS}
    texts["kind"] = texts["kind"].casefold().replace("-", "_").replace(" ", "_")
    texts["competitors"] = _split_names(texts["competitors"])
    if texts["direction"] not in _DIRECTIONS:
        attributes = study.table("attributes")
        wanted = attributes.loc[attributes["attribute"] == texts["attribute"], "direction"]
        texts["direction"] = str(wanted.iloc[0]) if len(wanted) and wanted.iloc[0] in _DIRECTIONS else ""
    texts["sides"] = texts["sides"] if texts["sides"] in ("one", "two") else "two"
    values: dict[str, Any] = {name: float(row[name]) for name in _NUMBERS}
    return Claim(number=number, **texts, **values)


def _problems(claim: Claim, names: Mapping[str, Sequence[str]]) -> Iterator[str]:
    if not claim.claim:
        yield "There is no sentence. Write the sentence exactly as it is to be said."
    if claim.kind not in kinds():
        yield from _strange(claim, names)
    if claim.kind not in kinds() or claim.kind == BEYOND:
        return
    lacking = [name for name in of_kind(claim.kind, "needs") if _empty(claim, name)]
    if lacking:
        words = kinds()[claim.kind]["words"]
        named = format_list([f"“{heading(TABLES['claims'].column(name)).lower()}”" for name in lacking])
        yield f"A claim of the kind '{words}' needs {named}. Fill it in."
    yield from _unknown_names(claim, names)
    yield from _odd_numbers(claim)
    if "direction" in fields_of(claim.kind) and claim.attribute and not claim.direction:
        words = dict(zip(names["attributes"], names["words"], strict=True)).get(claim.attribute, claim.attribute)
        yield f"Nothing says whether the sentence means more or less of {words}. Choose what it says."


def _empty(claim: Claim, name: str) -> bool:
    value = getattr(claim, name)
    return math.isnan(value) if isinstance(value, float) else not value


def _unknown_names(claim: Claim, names: Mapping[str, Sequence[str]]) -> Iterator[str]:
    for name in (claim.prototype, claim.versus, *claim.competitors):
        if name and name not in names["prototypes"]:
            yield f"The prototype {name!r} is not in the study. Choose among {', '.join(names['listed'])}."
    if claim.attribute and claim.attribute not in names["attributes"]:
        both = zip(names["words"], names["attributes"], strict=True)
        listed = ", ".join(name if words == name else f"{words} ({name})" for words, name in both)
        yield f"The attribute {claim.attribute!r} is not in the study. Choose among {listed}."
    if claim.question and claim.question not in names["questions"]:
        asked = f"Choose among {', '.join(names['questions'])}."
        choices = asked if names["questions"] else "No question was answered so far."
        yield f"Nobody answered the question {claim.question!r}. {choices}"
    if claim.prototype and claim.prototype in (claim.versus, *claim.competitors):
        yield f"{claim.prototype} is compared with itself. Name another prototype."


def _odd_numbers(claim: Claim) -> Iterator[str]:
    if claim.margin <= 0:
        stated = format_typed(claim.margin)
        yield f"The margin is {stated}; it must be above zero: the smallest difference that matters."
    if claim.kind in ("parity", "unsurpassed") and not claim.attribute and claim.margin >= 50:
        stated = format_typed(claim.margin)
        yield f"The margin is {stated} points beside half of all votes; it must lie below 50, or any vote is within it."
    if claim.kind in ("agreement", "preference", "absolute_negative") and not (
        math.isnan(claim.bar) or 0 < claim.bar < 100
    ):
        yield f"The bar is {format_typed(claim.bar)}; a share that must be exceeded lies between 0 and 100 %."


# Were sentence, margin and bar fixed before the first score or answer that the claim rests on?
#
# A claim is stamped with a time, a name and a SHA-256 over everything that decides it, so that a later change shows;
# a second one over this stamp and the one before chains the claims, so that one exchanged or taken out shows as well.
# A stamp is a self-declaration: who holds the study can write another. Outside anchors are a printed page that
# somebody signs, and the reply of a time-stamping authority (RFC 3161). The limit is the first score or answer of
# that evidence where the study says when it came in, else the first unblinding. A claim stamped later, changed since,
# or not at all is exploratory: at best 'cannot tell yet'.


def _strange(claim: Claim, names: Mapping[str, Sequence[str]]) -> Iterator[str]:
    """Say which kind, prototype, attribute or question of a statement there is none of."""
    if claim.kind not in kinds():
        yield f"The kind {claim.kind!r} is not known. Choose one of: {', '.join(kinds())}."
    elif claim.kind != BEYOND:
        of = {"prototype": "prototypes", "versus": "prototypes", "attribute": "attributes", "question": "questions"}
        open_yet: dict[str, Any] = {name: "" for name, listed in of.items() if not names[listed]}
        competitors = claim.competitors if names["prototypes"] else ()
        yield from _unknown_names(replace(claim, competitors=competitors, **open_yet), names)


SELF_DECLARED = "A stamp is a self-declaration: it shows later changes, it does not prove the time."


def _names(study: Study) -> dict[str, tuple[str, ...]]:
    """Return what a claim may name: prototypes (those of the study first), attributes, questions that were answered."""
    answers = study.table("answers")
    answered = [str(name) for column in ("prototype", "versus") for name in answers[column].unique() if name]
    return {
        "listed": study.prototypes,
        "prototypes": (*study.prototypes, *answered),
        "attributes": study.attributes,
        "words": tuple(map(study.attribute_words, study.attributes)),
        "questions": tuple(str(name) for name in answers["question"].unique()),
    }


PANEL, ANSWERS, VOTES, TIMES = "trained panel", "consumer answers", "preference answers", "times of people"
BOTH = "trained panel and consumer answers"
BY_VOTES = "by votes"
"""After the name of a kind: its rule where no attribute is named, so that the claim rests on preferences."""


@dataclass(frozen=True, slots=True)
class NumberShown:
    """One number behind a verdict, with its interval and the limits it is held against (NaN where there is none)."""

    what: str
    estimate: float
    ci_low: float
    ci_high: float
    ci_level: float
    limit_low: float = math.nan
    limit_high: float = math.nan
    unit: str = "scale"
    method: str = ""


@dataclass(frozen=True, slots=True)
class Weaker:
    """A sentence that says less, and the p-value against its being false.

    `rescues` is True where it is the same sentence with a qualifier, False where it is another sentence: then the
    claim stays unsupported, and this is what may be said instead.
    """

    p_value: float
    words: str
    reason: str
    rescues: bool = True


@dataclass(frozen=True, eq=False, slots=True)
class Evidence:
    """What the data say about one claim.

    Parameters
    ----------
    rests_on
        What it rests on, in words: trained panel, consumer answers ...
    shown
        The numbers, the deciding one first.
    p_value
        Of the test whose null says that the claim is false; NaN where it could not be made.
    statistic, df, std_error
        Of that test, NaN where it has none.
    n
        People behind it.
    against
        True where the estimate itself lies on the wrong side: more people would not help.
    qualifier
        Why the sentence needs a qualifier even where the test shows it; empty where it may stand as it is.
    replaced
        Of a credit to an ingredient: what was replaced by what, and per cent, all of which the sentence has to say.
    refused
        What keeps the claim from being supported whatever the numbers: bar, base or answers returned below the floors.
    weaker
        What may be said where the sentence itself is not shown.
    suggestion
        The wording that the numbers carry, where they show the claim.
    reasons
        What speaks for and against, one sentence each.
    needs
        Gives what it would take; asked only where the claim is not shown, because planning takes a while.
    missing
        What is not there; without it nothing can be said.
    other_votes
        Of a preference: how many preferred the other one, and how many neither.
    in_these_batches
        True where it speaks for the batches that were scored and no others: the verdict says so.
    """

    rests_on: str
    shown: tuple[NumberShown, ...] = ()
    p_value: float = math.nan
    statistic: float = math.nan
    df: float = math.nan
    std_error: float = math.nan
    n: int = 0
    against: bool = False
    qualifier: str = ""
    weaker: Weaker | None = None
    suggestion: str = ""
    reasons: tuple[str, ...] = ()
    needs: Callable[[], tuple[str, ...]] = tuple
    missing: tuple[str, ...] = ()
    in_these_batches: bool = False
    replaced: tuple[str, str, float] | None = None
    refused: tuple[str, ...] = ()
    observed_share: float = field(default=math.nan)
    other_votes: tuple[int, int] = (0, 0)
    method: str = ""


def beyond(limit: float, sign: float) -> tuple[float, float]:
    """Return the limits of a number that has to lie above (sign 1) or below (sign -1) a limit."""
    return (limit, math.nan) if sign > 0 else (math.nan, limit)


def nothing_yet(rests_on: str, *missing: str) -> Evidence:
    """Return the evidence of a claim for which something is not there."""
    return Evidence(rests_on, missing=missing)


STOP, CHANGE, NOTE = "stop", "change", "note"


@dataclass(frozen=True, slots=True)
class WordingFinding:
    """Something about the words: `stop` (not this tool), `change` (not what was shown) or `note`."""

    severity: str
    check: str
    message: str
    advice: str
    criterion: str
    source: str = "common practice"


UNREAD = "cannot be read"
OPPOSITE = "says the opposite"


# What a sentence says: the record the grammar fills.
_TURNS = frozenset(("comparative", "not comparative", "parity", "not parity"))
_OF_NOBODY = frozenset(
    ("i", "me", "my", "you", "your", "they", "them", "their", "we", "it", "its", "that", "which", "have")
)
_NOUNS = frozenset(("PRODUCT", "SITE"))  # as they stand in the order of what is said
_PERCEIVING = frozenset((root("see"), root("notice")))
_ORDERING = frozenset(
    ("not", "nothing", "too", "low", "less", "more", "and", "or", "but", "than", "without", "only", "if")
)


@dataclass(eq=False, slots=True)
class Reading:
    """What a sentence says, part by part; `left_over` holds the words that nothing accounts for.

    `order` holds those and the parts of the statement as they follow each other: a question in words of its own is
    known by it. `turned`: the one compared with is the subject; `joint`: it is one of two subjects. `pauses` are the
    places in `core` at which there was one. `said_of`: the product, a place or people, where that stands just before.
    `all_said`: as many as are named are told to have said so. `times`: those, and counts, quoted beside a comparison.
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
    times: list[tuple[str, float, float, str, str]] = field(default_factory=list)
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
        return bool(self.left_over) or len(self.families) > 1 or self._clings

    @property
    def _clings(self) -> bool:
        """Whether the product is what something does not stick to: my hair does not stick to the gloss."""
        parts = [chunk.part for chunk in self.chunks]
        to = next((n for n, chunk in enumerate(self.chunks) if chunk.words == "to" and "site" in parts[:n]), len(parts))
        return "product" in parts[to + 1 : to + 3]

    def in_the_words_of(self, asked: Reading) -> bool:
        """Return whether it says what was asked in the same words, whoever says it, and when.

        Where nothing is denied, joined or compared a clause may stand elsewhere: I forget it after a while.
        """
        both = (self, asked)
        small, unread = ([{*map(root, words)} for words in each] for each in (
            [[words for words in each.words_for("function") if root(words) != words] for each in both],
            [each.left_over for each in both],
        ))  # fmt: skip
        alike = (small[0] & unread[1]) | (small[1] & unread[0] if self.by_product else set())  # needed, taken off by it
        alike -= _ORDERING
        told, of_question = ([root(words) for words in each.order if words not in _OF_NOBODY] for each in both)
        once = not self.by_product and (each for each in _NOUNS if told.count(each) == of_question.count(each) == 1)
        alike |= _NOUNS - {*(once or ())}
        told, of_question = ([words for words in each if words not in alike] for each in (told, of_question))
        read = (
            {root(words) for words in _OF_NOBODY} | {root(chunk.words) for each in both for chunk in each.core} | alike
        )
        sees = [{root(word) for words in each.words_for("agree") for word in words.split()} for each in both]
        if not sees[1] & _PERCEIVING <= sees[0] or ("SITE" in asked.order and {*self.order} & _NOUNS == {"PRODUCT"}):
            return False  # could feel where they were shaving; the mask is easy to comb
        if asked._clings and not ("SITE" in self.order and "to" in self.words_for("function")):
            return False  # their hair is not sticky
        if any(f"{one}e" == two or f"{two}e" == one for one in self.left_over for two in asked.left_over):
            return False  # the tube, of the tub
        if not self.by_product and len({each._product_first() for each in both} - {None}) > 1:
            return False  # hair does not weigh the milk down
        if not (_ORDERING & {words.split()[0] for words in of_question}):
            of_question = _moved_as(of_question, told, anyhow=self.by_product)
        elif any(_first_or_last(*pair) for pair in ((of_question, told), (told, of_question))):
            of_question = told
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


def _first_or_last(one: list[str], other: list[str]) -> bool:
    """Return whether a clause on when stands first in one and last in the other: while riding, they did not notice."""
    ends = next((n for n, words in enumerate(one) if words.split()[0] in _ORDERING), len(one))
    return (
        one[:1] != [] and one[0] in _ROOTS_OF_STATES and any([*one[n:], *one[:n]] == other for n in range(1, ends + 1))
    )


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


_ROOTS_OF_STATES = frozenset(map(root, STATES))


def _moved_as(asked: list[str], told: list[str], *, anyhow: bool) -> list[str]:
    """Return the words asked, as told, where those only have a clause on when, or how easily, in another place."""
    loose = [words for words in asked if words.startswith("degree ") and words.endswith(" 1")]
    fixed, of_told = ([words for words in each if words not in loose] for each in (asked, told))
    ends = range(len(fixed) + 1)
    moved = (
        [*rest[:place], *fixed[start:end], *rest[place:]]
        for start in ends if fixed[start : start + 1] and fixed[start] in _ROOTS_OF_STATES
        for end in ends[start + 2 :] if not start or end == len(fixed)
        for rest in [[*fixed[:start], *fixed[end:]]] for place in range(len(rest) + 1)
    )  # fmt: skip
    alike = sorted(asked) == sorted(told) and (anyhow or fixed == of_told or of_told in moved)
    return told if alike else asked
