"""Times and counts that a sentence quotes beside a comparison: 54 s instead of 80 s, 12 strokes against 19."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

from panel.claims.claim import CHANGE, Claim, Reading, WordingFinding
from panel.claims.names import longest
from panel.claims.own_words import kernel
from panel.claims.parts import ENDS, SLACK, Tokens, entry_at, number_at, words_of
from panel.claims.reading import BEFORE_OTHER, Cursor
from panel.claims.study_names import is_timed

if TYPE_CHECKING:
    from panel.claims.materials import Materials

Quoted = tuple[str, float, float, str, str]
"""Whose it is (`own`, `other`, or how far they are `apart`), its value, that of its last digit, its unit, its words.

Times are in minutes, and what was counted in what was counted: strokes.
"""

_INSTEAD = (
    ("instead", "of"), ("rather", "than"), ("against",), ("vs",), ("versus",), ("compared", "with"), ("compared", "to"),
    ("as", "opposed", "to"), ("and", "not"), ("not",), ("down", "from"), ("up", "from"),
)  # fmt: skip
_BESIDE = (("where",), ("while",), ("whereas",), ("but",), ("and",), (",",), ("-",), (";",), (":",), (".",), ("(",), ())
_PAUSES = tuple((mark,) for mark in (",", "-", ";", ":", ".", "("))
_TAKES = frozenset(("takes", "took", "take", "needs", "needed", "lasts", "lasted"))
_FOUND = frozenset(("counted", "measured", "needed", "found", "left", "timed"))
_IN, _MARKS = frozenset(("in", "at")), frozenset(("(", ":", "-", ",", "just", "only"))
_NO_AMOUNT = frozenset(("after", "within", "at", "in", "for", "and", "or"))
_FASTER = frozenset(("faster", "quicker", "sooner", "shorter", "longer", "slower"))
_FEWER = frozenset(("fewer", "less", "more"))
_AVERAGE = (("on", "average"), ("an", "average", "of"), ("a", "mean", "of"))
_MINUTES = "minutes"


def without_times(reader: Cursor) -> tuple[Tokens, list[Quoted]]:
    """Return a sentence that only compares, and the times it quotes: faster than our old one for 54 s instead of 80."""
    whole = reader.tokens
    at, said = next(
        ((n, said) for n in range(len(whole)) for said in _AVERAGE if whole[n : n + len(said)] == said), (0, ())
    )
    if said:  # 46 seconds on average, where our old one takes 71
        end = at + len(said) + _is(whole, at + len(said), (",",)) * (at == 0)
        reader.tokens = (*whole[:at], *whole[end:])
    for start in range(len(reader.tokens)):
        if (amount := _amount_at(reader, start)) is None:
            continue
        if found := _two(reader, start, amount) or _apart(reader.tokens, start, amount):
            return found
    reader.tokens = whole
    return whole, []


# The place after it, its value, that of its last digit and that of one, and of what.
_Amount = tuple[int, float, float, float, str]


def _amount_at(reader: Cursor, start: int, usual: tuple[float, str] | None = None) -> _Amount | None:
    """Return the time or count at a place, of the usual unit where it has none; None where there is none."""
    tokens, value = reader.tokens, number_at(reader.tokens, start)
    if value is None:
        return None
    length, entry = entry_at(tokens, start + 1, "unit")
    units = (len(unit) for unit in reader.names.units if tokens[start + 1 : start + 1 + len(unit)] == unit)
    counted = 0 if length else max(units, default=0)
    if not (length or counted or usual):
        return None
    own = (
        (entry.value, _MINUTES)
        if length
        else (1.0, " ".join(tokens[start + 1 : start + 1 + counted]))
        if counted
        else usual
    )
    size, what = own or (1.0, "")
    step = size * 10.0 ** -len(tokens[start].replace(",", ".").partition(".")[2])
    end = start + 1 + (length or counted)
    finer = _amount_at(reader, end + _is(tokens, end, ("and",))) if length else None
    if finer is not None and finer[3] < size and finer[4] == _MINUTES:  # 1 minute 20 seconds
        return finer[0], value * size + finer[1], finer[2], finer[3], what
    return end, value * size, step, size, what


def _is(tokens: Tokens, place: int, words: Collection[str]) -> bool:
    return place < len(tokens) and tokens[place] in words


def _other_at(reader: Cursor, place: int) -> int:
    """Return the place after words that name another prototype; `place` where none do."""
    before, reader.place = reader.place, place
    end = reader.place if reader.comparator() else place
    reader.found.comparators.clear()
    reader.place = before
    return end


def _two(reader: Cursor, start: int, amount: _Amount) -> tuple[Tokens, list[Quoted]] | None:
    """Return the sentence where that of another one stands beside this one, what compares them in their place."""
    tokens, (end, own, step, size, what) = reader.tokens, amount
    by = end + _is(tokens, end, BEFORE_OTHER)
    length, prototype = longest(reader.names.prototypes, tokens, by)
    named_own = by + length if length and prototype == reader.own else 0
    after = reader.own_product(by) or named_own or end  # 54 s with our new mask
    end += 2 * (tokens[end : end + 1] in (("was",), ("were",)) and _is(tokens, end + 1, _FOUND))  # 3.5 were counted
    while _is(tokens, end, ("to", "until", "for", "a", "per")) and after < len(tokens) and tokens[after] not in _DONE:
        after += 1  # 54 s to untangle wet hair
    for words in (*_INSTEAD, *_BESIDE):
        begins = after + (words[:1] not in _PAUSES and _is(tokens, after, (",", ";")))
        place = begins + len(words)
        named = _other_at(reader, place)
        second = named + (_is(tokens, named, ("it",)) and _is(tokens, named + 1, _TAKES))
        since = start > 0 and tokens[start - 1] == "after"  # rubbed in after 46 s, CH 1 after 71
        second += _is(tokens, second, (*_TAKES, "the", "in", ":", ",", *(("after",) if since else ())))
        against = _amount_at(reader, second, (size, what))
        if tokens[begins:place] != words or against is None or against[4] != what:
            continue
        last = against[0] + (_is(tokens, against[0], (")",)) and "(" in tokens[start : against[0]])
        of = last + _is(tokens, last, ("of",))
        names, tail = tokens[place:named], _other_at(reader, of)
        if not names and tail > of:
            names, last = tokens[of:tail], tail + _is(tokens, tail, _TAKES)
        if names or words not in _BESIDE:
            said = " ".join(tokens[start:end]), " ".join(tokens[second : against[0]])
            quoted = [("own", own, step, what, said[0]), ("other", against[1], against[2], what, said[1])]
            how = what if what != _MINUTES else ""
            return _compared(tokens, range(start, last), tokens[end:after], names, how, own < against[1]), quoted
    return None


_DONE = ENDS | {"instead", "against", "vs", "versus", "compared", "rather"}


def _compared(tokens: Tokens, span: range, done: Tokens, names: Tokens, counted: str, fewer: bool) -> Tokens:
    """Return the words with what compares two amounts in place of them, where it is not said elsewhere."""
    begin, since = span.start, "after" in tokens[span.start : span.stop]
    while begin and _is(tokens, begin - 1, _MARKS):
        begin -= 1
    begin -= begin > 0 and _is(tokens, begin - 1, _IN | ({"after"} if since else set()))
    while begin and _is(tokens, begin - 1, _MARKS):
        begin -= 1
    rest = (*tokens[:begin], *tokens[span.stop :])
    if any(word in (_FEWER if counted else _FASTER) for word in rest) or ("less", "time") in pairwise(rest):
        compared = tokens.index("than", 0, begin) + 1 if "than" in tokens[:begin] else 0
        again = compared > 0 and tokens[compared : compared + len(names)] == names
        than = ("than", *names) if names and not again else ()
        return (*tokens[:begin], *done, *than, *tokens[span.stop :])  # 54 s to repair split ends
    takes = begin > 0 and _is(tokens, begin - 1, _TAKES) and not tokens[begin - 1].startswith("last")
    until = done[:1] != () and done[0] in ("to", "until", "for", "a", "per")
    begin -= takes and until  # it takes 27 seconds until
    how: Tokens = ("less" if fewer else "more", "time") if takes or until else ("faster" if fewer else "longer",)
    how = ("fewer" if fewer else "more", *counted.split()) if counted else how
    return (*tokens[:begin], *how, *(done if until else ()), *(("than", *names) if names else ()), *tokens[span.stop :])


def _apart(tokens: Tokens, start: int, amount: _Amount) -> tuple[Tokens, list[Quoted]] | None:
    """Return the sentence without how far two times are apart: 20 seconds faster."""
    end, value, step, _, what = amount
    less = _is(tokens, end, ("less",)) and (_is(tokens, end + 1, ("time", "than", "to")) or end + 1 == len(tokens))
    if what != _MINUTES or (start and tokens[start - 1] in _NO_AMOUNT) or not (less or _is(tokens, end, _FASTER)):
        return None
    how = ("less", "time") if less and not _is(tokens, end + 1, ("time",)) else (tokens[end],)
    return (*tokens[:start], *how, *tokens[end + 1 :]), [("apart", value, step, what, " ".join(tokens[start:end]))]


_OFF = 0.05  # share of a mean by which a rounded one may miss it; a setting of ours, no source


def on_times(claim: Claim, materials: Materials, reading: Reading) -> Iterator[WordingFinding]:
    """Say where a quoted time or count is not the mean that was measured, to its last digit and never in favour."""
    unit = reading.times[0][3] if reading.times else ""
    measured = _measured(claim, materials, unit) if unit else {}
    shorter = measured.get("own", 0.0) < measured.get("other", 0.0)
    for whose, value, step, _, words in reading.times:
        steps = measured.get(whose, math.nan) / step
        told, favours_less = round(value / step), (whose == "own") == shorter
        off = abs(value - measured.get(whose, math.nan))  # 1 minute is no 57 s, and 2 pads are no 2.35
        right = math.isfinite(steps) and abs(told - steps) < 1 - SLACK
        right = right and off < measured["unit"] and off <= _OFF * measured[whose]
        flatters = right and (told < steps if favours_less and whose != "apart" else told > steps)
        if not right or (flatters and (whose == "apart" or told != math.floor(steps + 0.5 + SLACK))):
            message = f"The sentence says “{words}”, and that was not measured."
            advice = "Quote the mean times of both as they were measured."
            yield WordingFinding(CHANGE, "time not tested", message, advice, "evidential support", "EU 655/2013")


def _measured(claim: Claim, materials: Materials, unit: str) -> dict[str, float]:
    """Return the means of the two compared in such a unit, and how far they are apart; none where none was measured."""
    if claim.kind != "superiority" or not claim.attribute:
        return {}
    table = materials.study.table("attributes")
    of = str(next(iter(table.loc[table["attribute"] == claim.attribute, "unit"]), "")).casefold()
    size = entry_at((of,), 0, "unit")[1].value if unit == _MINUTES else 1.0
    fits = is_timed(materials.study, claim.attribute) and not math.isnan(size) if unit == _MINUTES else True
    counts = {kernel(word) for word in (of, *words_of(materials.study.attribute_words(claim.attribute)))}
    fits = fits and (
        unit == _MINUTES or ({*map(kernel, unit.split())} <= counts and materials.study.scale(claim.attribute) is None)
    )
    if not fits or materials.panel.why_not(claim.attribute, (claim.prototype, claim.versus)):
        return {}
    own, other = (
        size * materials.panel.contrast(claim.attribute, {name: 1.0}).estimate
        for name in (claim.prototype, claim.versus)
    )
    return {"own": own, "other": other, "apart": abs(own - other), "unit": size}
