"""What the parts of a statement say together, and the shares it quotes."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


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
