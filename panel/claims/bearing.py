"""What else in the study bears on a claim's word, and on which side: panel, questions, ticks, judgements, readings?

A rule of ours, from no guide. The claim's own test decides whether it is shown; what stands here can only speak against
it, or beside it. A side is taken where the data are clear: an interval wholly beyond a floor of the claims, a pair told
apart. All else that bears on the word is listed with neither side.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from panel.claims.claim import BEYOND, Claim, interval, number, p_value, percent
from panel.claims.evidence import asked, floor, question_words
from panel.claims.grammar import Reading
from panel.claims.materials import Materials
from panel.claims.names import family_of, words_of
from panel.models.consumers.answers import AnswerGrid, question_facts
from panel.models.emollients.readings import declared_pairs
from panel.models.prototypes.verdict import DIFFERS
from panel.stats.answers.binomial import wilson_interval
from panel.stats.answers.paired_answers import mcnemar_exact
from panel.stats.comparing.multiplicity import below
from panel.study.knowledge import claim_kin

FOR, AGAINST, OPEN, _NEITHER = "for", "against", "open", "neither"
_PANEL, _CONSUMERS, _INSTRUMENTS = "trained panel", "consumers", "instruments"
_DENIED = frozenset(("negated", "absent", "low", "not comparative"))
_COMPARED = frozenset(("superiority", "ranking", "ingredient_attribution", "parity", "unsurpassed"))
_HALF = 0.5
_LEAST_LETTERS = 4  # of a word that a sentence and the name of a measure share


@dataclass(frozen=True, slots=True)
class Bearing:
    """One thing that bears on a claim: `side` is `for`, `against` or `neither`, `words` say what it is."""

    side: str
    source: str
    words: str


def bearing_on(claim: Claim, materials: Materials) -> tuple[Bearing, ...]:
    """Return what bears on a claim beside its own test, what speaks against it first."""
    if claim.kind == BEYOND or claim.problems:
        return ()
    wanted = _wanted(claim, materials)
    found = [
        *_panel(claim, materials, wanted),
        *_questions(claim, materials, wanted),
        *_ticks(claim, materials, wanted),
        *_judgements(claim, materials, wanted),
        *_readings(claim, materials, wanted),
    ]
    order = (AGAINST, FOR, _NEITHER)
    return tuple(sorted(found, key=lambda each: order.index(each.side)))


def _wanted(claim: Claim, materials: Materials) -> dict[str, int]:
    """Return the families of words a claim is about, and whether it says more (1) or less (-1) of each; 0 as much."""
    if claim.attribute:
        family = family_of(materials.study, claim.attribute)
        sign = -1 if claim.kind == "absolute_negative" else 0 if claim.kind == "parity" else int(claim.sign)
    else:
        words = question_words(materials.study, claim.question) if claim.question else claim.claim
        reading = materials.read(words)
        family, sign = reading.family, _said(reading)
    if not family:
        return {}
    kin = claim_kin()
    related = {row["other"]: row["sign"] for row in kin.loc[kin["family"] == family].to_dict("records")}
    related |= {row["family"]: row["sign"] for row in kin.loc[kin["other"] == family].to_dict("records")}
    return {other: sign * own for other, own in related.items()} | {family: sign}


def _said(reading: Reading) -> int:
    return -reading.sign if reading.degree in _DENIED else reading.sign


def _side(agrees: bool, contradicts: bool) -> str:
    return FOR if agrees else AGAINST if contradicts else _NEITHER


def _compared_with(claim: Claim) -> str:
    return claim.versus if claim.kind in _COMPARED else ""


def _panel(claim: Claim, materials: Materials, wanted: Mapping[str, int]) -> Iterator[Bearing]:
    """Yield what the trained panel found on attributes of the same word: a difference, or a level."""
    families = {
        name: family_of(materials.study, name) for name in materials.study.attributes if name != claim.attribute
    }
    bearing = {name: family for name, family in families.items() if family in wanted}
    found = materials.compared if bearing else None  # the comparison of all prototypes takes a moment
    if found is None:
        return
    for attribute, family in bearing.items():
        sign, other, words = wanted[family], _compared_with(claim), materials.study.attribute_words(attribute)
        if other:
            rows = found.pairs.loc[found.pairs["attribute"] == attribute]
            for turn, (one, two) in ((1, (claim.prototype, other)), (-1, (other, claim.prototype))):
                for row in rows.loc[(rows["prototype"] == one) & (rows["versus"] == two)].to_dict("records"):
                    apart, told = turn * row["estimate"], row["verdict"] == DIFFERS
                    side = _side(told and sign * apart > 0, told and sign * apart <= 0)
                    yield Bearing(side, _PANEL, f"{words}: {_change(apart)} against {other} ({row['verdict']})")
            continue
        rows = found.means.loc[(found.means["attribute"] == attribute) & (found.means["prototype"] == claim.prototype)]
        for row in rows.to_dict("records"):
            yield Bearing(
                _level(materials, attribute, sign, row), _PANEL, f"{words}: {_mean(materials, attribute, row)}"
            )


def _change(apart: float) -> str:
    return f"{'+' if apart > 0 else '-'}{number(abs(apart))}"


def _mean(materials: Materials, attribute: str, row: Mapping[Any, float]) -> str:
    scale = materials.study.scale(attribute)
    of = f" of {number(scale[1])}" if scale else ""
    return f"{number(row['estimate'])}{of} ({interval(row['ci_low'], row['ci_high'])})"


def _level(materials: Materials, attribute: str, sign: int, row: Mapping[Any, float]) -> str:
    """Return the side of a mean: an absent thing lies below its floor, a present one above the middle of the scale."""
    scale = materials.study.scale(attribute)
    if scale is None or sign == 0:
        return _NEITHER
    low, high = (100 * (row[end] - scale[0]) / (scale[1] - scale[0]) for end in ("ci_low", "ci_high"))
    absent, little = (floor(materials.study, name) for name in ("most_absent", "most_low"))
    return _side(high <= absent, low > absent) if sign < 0 else _side(low > 100 * _HALF, high < little)


def _questions(claim: Claim, materials: Materials, wanted: Mapping[str, int]) -> Iterator[Bearing]:
    """Yield what consumers answered to other sentences of the same word, where nothing is compared."""
    for entry in asked(materials.study):
        question = str(entry.get("question", ""))
        if _compared_with(claim) or entry.get("kind") != "agreement" or question == claim.question or entry.get("foil"):
            continue
        reading = materials.read(str(entry.get("words", "")))
        told = materials.agreed(claim.prototype, question)
        if reading.family not in wanted or not told.base:
            continue
        same = _said(reading) * wanted[reading.family]
        low, high = wilson_interval(told.agreed, told.base, materials.level)
        agrees, denies = float(low) > _HALF, float(high) < _HALF
        side = _side(agrees, denies) if same > 0 else _side(denies, agrees)
        words = f"“{entry.get('words')}”: {told.agreed} of {told.base} agreed ({percent(told.agreed / told.base)})"
        yield Bearing(side if same else _NEITHER, _CONSUMERS, words)


def _ticks(claim: Claim, materials: Materials, wanted: Mapping[str, int]) -> Iterator[Bearing]:
    """Yield how often consumers ticked a word of the same or of the contrary meaning."""
    grid, other = materials.ticks, _compared_with(claim)
    if grid is None or claim.prototype not in grid.prototypes:
        return
    facts, own = question_facts(materials.study, "check_all"), grid.prototypes.index(claim.prototype)
    for place, term in enumerate(grid.questions):
        words = facts[term].words if term in facts and facts[term].words else term
        reading = materials.read(words)
        if reading.family not in wanted:
            continue
        same, here = _said(reading) * wanted[reading.family], grid.values[place, :, own]
        if other and other in grid.prototypes:
            there = grid.values[place, :, grid.prototypes.index(other)]
            yield _ticked_beside(words, same, here, there, other, materials)
        elif not other:
            yield _ticked(words, same, here, materials)


def _ticked(words: str, same: int, ticks: np.ndarray, materials: Materials) -> Bearing:
    known = ticks[np.isfinite(ticks)]
    x, n, most = int(known.sum()), len(known), floor(materials.study, "most_contrary") / 100
    low, high = (float(end) for end in wilson_interval(x, n, materials.level)) if n else (0.0, 1.0)
    side = _side(low > most, False) if same > 0 else _side(high <= most, low > most) if same < 0 else _NEITHER
    return Bearing(side, _CONSUMERS, f"ticked “{words}”: {x} of {n} ({percent(x / n) if n else 'nobody'})")


def _ticked_beside(
    words: str, same: int, ticks: np.ndarray, others: np.ndarray, other: str, materials: Materials
) -> Bearing:
    both = np.isfinite(ticks) & np.isfinite(others)
    here, there = ticks[both] == 1, others[both] == 1
    p = float(mcnemar_exact((here & ~there).sum(), (there & ~here).sum()))
    told, more = bool(below(p, materials.alpha)), int(here.sum()) - int(there.sum())
    side = _side(told and same * more > 0, told and same * more <= 0)
    counts = f"{int(here.sum())} of {int(both.sum())}, {int(there.sum())} for {other}"
    return Bearing(side, _CONSUMERS, f"ticked “{words}”: {counts} ({p_value(p)})")


def _judgements(claim: Claim, materials: Materials, wanted: Mapping[str, int]) -> Iterator[Bearing]:
    """Yield how many find too much of what a claim denies, or too little of what it promises."""
    grid = materials.judged
    if grid is None or claim.prototype not in grid.prototypes or _compared_with(claim):
        return
    facts, own = question_facts(materials.study, "just_about_right"), grid.prototypes.index(claim.prototype)
    most = floor(materials.study, "most_contrary") / 100
    for place, question in enumerate(grid.questions):
        attribute = facts[question].attribute if question in facts else ""
        family = family_of(materials.study, attribute) if attribute in materials.study.attributes else ""
        sign = wanted.get(family, 0) * (-1 if question in facts and facts[question].opposite else 1)
        if sign:
            yield _judged(
                question,
                facts[question].high_end if sign < 0 else facts[question].low_end,
                sign,
                most,
                grid,
                (place, own),
            )


def _judged(question: str, end: str, sign: int, most: float, grid: AnswerGrid, at: tuple[int, int]) -> Bearing:
    values = grid.values[at[0], :, at[1]]
    known = values[np.isfinite(values)]
    x, n = int((known > _RIGHT).sum() if sign < 0 else (known < _RIGHT).sum()), len(known)
    low = float(wilson_interval(x, n, 0.95)[0]) if n else 0.0
    words = f"{question}, towards “{end or ('too much' if sign < 0 else 'too little')}”: {x} of {n}"
    return Bearing(_side(False, low > most), _CONSUMERS, words)


_RIGHT = 3  # the middle of five steps, just about right


def _readings(claim: Claim, materials: Materials, wanted: Mapping[str, int]) -> Iterator[Bearing]:
    """Yield what instruments read: of a partner of the attribute, or of what the sentence itself names."""
    table = materials.study.table("readings")
    measures = tuple(str(name) for name in table["measure"].unique())
    named = {word for word in words_of(claim.claim) if len(word) >= _LEAST_LETTERS}
    pairs, _ = declared_pairs(materials.study, table["measure"].drop_duplicates())
    partners = {
        str(row["measure"]): str(row["attribute"])
        for row in pairs.to_dict("records")
        if row["attribute"] == claim.attribute or family_of(materials.study, str(row["attribute"])) in wanted
    }
    denies = _said(materials.read(claim.claim)) < 0 or bool({"no", "not", "without"} & set(words_of(claim.claim)))
    for measure in measures:
        by_name = bool(named & set(words_of(measure)))
        if not (by_name or measure in partners):
            continue
        own = table.loc[(table["measure"] == measure) & (table["prototype"] == claim.prototype)]
        values = own["value"].to_numpy(float)
        values = values[np.isfinite(values)]
        if not len(values):
            continue
        spread = float(values.std(ddof=1)) if len(values) > 1 else float("nan")
        present = by_name and denies and len(values) > 1 and values.mean() - _THREE * spread > 0
        unit = str(own["unit"].iloc[0])
        words = f"{measure}: {number(float(values.mean()), 2)} {unit} (n = {len(values)})"
        yield Bearing(_side(False, bool(present)), _INSTRUMENTS, words + (", so not none" if present else ""))


_THREE = 3.0  # standard deviations above zero before a reading says that there is something; common practice
