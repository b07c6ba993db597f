"""May the scores be trusted as they were entered: possible, complete, given with care, in the right place and time?"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

import numpy as np

from panel.checks.finding import Finding, Proposal, among, common, distinct, gathered, grouped, matched, or_none
from panel.checks.score_patterns import ScoreCells, check_patterns, score_cells, straight_lines, told_turn
from panel.checks.sound_study import sound_study, with_one_name_each
from panel.checks.structure import unread_rows
from panel.stats.orders.block_designs import joined
from panel.study.knowledge import is_called
from panel.study.study import Study
from panel.study.table_cells import number_text
from panel.words import counted, first_few, format_typed


def check_scores(study: Study) -> list[Finding]:
    """Return what is peculiar about the scores; nothing where there are none (`check_structure` reports that).

    Scores that a written correction changed or set aside are looked at as they are after it.
    """
    sound = with_one_name_each(sound_study(study))
    cells = score_cells(sound)
    if not np.isfinite(cells.score).any():
        return []
    return [
        *_outside_scale(cells),
        *_far_off(cells),
        *_blank(cells, unread_rows(study).get(("scores", "score"), np.empty(0, dtype=int)) + 2),
        *_like_consumers(cells),
        *_cannot_judge(cells),
        *_given_twice(cells),
        *straight_lines(cells),
        *_score_gaps(sound, cells),
        *_serving_order(sound, cells),
        *check_patterns(sound, cells),
    ]


# Is every score possible: on its scale, not blank, given once?


def _outside_scale(cells: ScoreCells) -> Iterator[Finding]:
    """Return scores below the lowest or above the highest possible one."""
    low, high = cells.lowest[cells.attribute.code], cells.highest[cells.attribute.code]
    outside = (cells.score < low) | (cells.score > high)
    share = _share_of(cells, outside)[cells.attribute.code]
    yield from _scale_wrong(cells, np.flatnonzero(outside & (share > _MOSTLY_SLIPS)))
    rows = np.flatnonzero(outside & (share <= _MOSTLY_SLIPS))
    for where, cases in gathered(cells.attribute.code[rows], lambda case: cells.place(rows[case])):
        advice = (
            "Look at the raw ballot. If it is a slip, write a correction with its reason; a score is left out only "
            "so, or by a rule recorded before unblinding."
        )
        message = _told_outside(cells, rows[cases])
        proposed = tuple(_within(cells, row) for row in rows[cases].tolist())
        yield Finding("warning", "score_outside_scale", where, message, advice, proposed)


_MOSTLY_SLIPS = 0.5  # share of an attribute's scores outside its scale; with more it is the scale that is wrong
_FEWEST_OUTSIDE = 3  # scores outside, below which they may be slips however few there are


def _share_of(cells: ScoreCells, outside: np.ndarray) -> np.ndarray:
    """Return the share of each attribute's scores that lie outside its scale; 0 where they are too few to tell."""
    number = len(cells.attribute)
    scored = np.bincount(cells.attribute.code[np.isfinite(cells.score)], minlength=number)
    beyond = np.bincount(cells.attribute.code[outside], minlength=number)
    return np.where(beyond < _FEWEST_OUTSIDE, 0.0, beyond / np.maximum(scored, 1))


def _scale_wrong(cells: ScoreCells, rows: np.ndarray) -> Iterator[Finding]:
    """Return the attributes most of whose scores lie outside their scale: nothing is proposed for the scores."""
    for code in np.unique(cells.attribute.code[rows]).tolist():
        own = cells.score[(cells.attribute.code == code) & np.isfinite(cells.score)]
        name, count = cells.attribute.of[code], int((cells.attribute.code[rows] == code).sum())
        low, high = format_typed(cells.lowest[code]), format_typed(cells.highest[code])
        message = (
            f"{count:,} of {len(own):,} scores of {name} lie outside its scale {low} to {high}; they go from "
            f"{format_typed(own.min())} to {format_typed(own.max())}. So many are no slips: the scale is wrong for it."
        )
        advice = (
            "Correct scale_min and scale_max of this attribute; where it was measured, leave both empty and write its "
            "unit, such as s."
        )
        yield Finding("warning", "scale_wrong", f"attributes, {name}", message, advice)


_FEWEST_VALUES = 5  # different scores of an attribute from which they tell what its scale may be


def _far_off(cells: ScoreCells) -> Iterator[Finding]:
    """Return scores of an attribute without a scale that lie far from all others, or alone are below zero."""
    for code in np.flatnonzero(np.isnan(cells.lowest)).tolist():
        own = (cells.attribute.code == code) & np.isfinite(cells.score)
        values, times = np.unique(cells.score[own], return_counts=True)
        for odd, how in _odd_ends(values, times):
            rows = np.flatnonzero(own & np.isin(cells.score, odd))
            rest = np.setdiff1d(values, odd)
            usual = f"{format_typed(rest[0])} to {format_typed(rest[-1])}"
            told = first_few([format_typed(each) for each in odd])
            message = f"{told} {how} other scores of {cells.attribute.of[code]}, which go from {usual}."
            advice = "Look at the raw ballot: a sign for no answer, or a decimal point left out? Then correct it."
            found = zip(cells.line[rows].tolist(), map(number_text, cells.score[rows].tolist()), strict=True)
            cut = tuple(Proposal("scores", line, "score", text, "") for line, text in found)
            yield Finding("warning", "score_far_off", cells.place(rows[0]), message, advice, cut)


def _odd_ends(values: np.ndarray, times: np.ndarray) -> Iterator[tuple[np.ndarray, str]]:
    """Return the highest and lowest values of an attribute that are odd, and what they do."""
    above, below = _number_far(values, times), _number_far(-values[::-1], times[::-1])
    for odd in (values[len(values) - above :], values[:below]):
        if len(odd):
            yield odd, "lies far from the" if len(odd) == 1 else "lie far from the"
    minus = len(values) > _FEWEST_VALUES and values[0] < 0 <= values[1] and float(values[0]).is_integer()
    if minus and not below:  # as -1 for no answer
        yield values[:1], "is below zero, unlike the"


def _number_far(values: np.ndarray, times: np.ndarray) -> int:
    """Return how many of the highest values, few of the scores if several, lie farther off than the rest is wide."""
    for odd in range(1, len(values) - _FEWEST_VALUES + 1):
        if odd > 1 and times[-odd:].sum() > _FEW_SLIPS * times.sum():
            break
        rest = values[:-odd]
        if values[-odd] - rest[-1] > rest[-1] - rest[0]:
            return odd
    return 0


_FEW_SLIPS = 0.1  # of the scores of an attribute at most


def _within(cells: ScoreCells, row: int) -> Proposal:
    """Return what a score outside its scale may be: the same with the missing decimal point if that is near, or ''."""
    score = float(cells.score[row])
    meant = _meant(cells, row) if _slips(cells, np.array([row]))[0] and not _far_from(cells, row) else ""
    return Proposal("scores", int(cells.line[row]), "score", number_text(score), meant)


def _slips(cells: ScoreCells, rows: np.ndarray) -> np.ndarray:
    """Return which scores would lie on their scale with a decimal point, or, where all are whole, a zero less."""
    attribute, tenth = cells.attribute.code[rows], cells.score[rows] / 10
    on_scale = (tenth >= cells.lowest[attribute]) & (tenth <= cells.highest[attribute])
    return on_scale & (~_whole(cells)[attribute] | (tenth == np.floor(tenth)))


def _far_from(cells: ScoreCells, row: int) -> str:
    """Return the others of its attribute and prototype where a tenth of a score lies farther off than these apart."""
    code, score = cells.attribute.code, float(cells.score[row]) / 10
    same = (code == code[row]) & (cells.prototype.code == cells.prototype.code[row])
    others = cells.score[same & (cells.score >= cells.lowest[code]) & (cells.score <= cells.highest[code])]
    low, high = (others.min(), others.max()) if len(others) >= _FEWEST_VALUES else (-np.inf, np.inf)
    if 2 * low - high <= score <= 2 * high - low or np.isinf(low):
        return ""
    others_of = f"the other scores of {cells.prototype.of[cells.prototype.code[row]]}"
    return f"far from {others_of}, {format_typed(low)} to {format_typed(high)}"


def _whole(cells: ScoreCells) -> np.ndarray:
    """Return for each attribute whether its scores on the scale are all whole, if there are enough of them to tell."""
    code, number = cells.attribute.code, len(cells.attribute)
    inside = (cells.score >= cells.lowest[code]) & (cells.score <= cells.highest[code])
    broken = inside & (cells.score != np.floor(cells.score))
    enough = np.bincount(code[inside], minlength=number) >= _FEWEST_VALUES
    return enough & (np.bincount(code[broken], minlength=number) == 0)


def _meant(cells: ScoreCells, row: int) -> str:
    """Return the digits of a score with the decimal point one place to the left; a division would add digits."""
    score = float(cells.score[row])
    whole = _whole(cells)[cells.attribute.code[row]]
    return number_text(score / 10) if whole else f"{Decimal(number_text(score)).scaleb(-1):f}"


def _told_outside(cells: ScoreCells, rows: np.ndarray) -> str:
    attribute = cells.attribute.code[rows]
    scores, low, high = cells.score[rows], cells.lowest[attribute], cells.highest[attribute]
    slips = rows[_slips(cells, rows)]
    scale = f"the scale {format_typed(low[0])} to {format_typed(high[0])}"
    likely = f"{format_typed(cells.score[slips[0]])} may be {_meant(cells, slips[0])}" if len(slips) else ""
    zero = len(slips) > 0 and _whole(cells)[cells.attribute.code[slips[0]]]
    if len(rows) == 1:
        far = _far_from(cells, rows[0])
        what = "a zero too many" if zero else "a missing decimal point"
        slip = f" {likely}: {what}{f', but that is {far}' if far else ''}." if likely else ""
        return f"{format_typed(scores[0])} is outside {scale}.{slip}"
    if len(np.unique(low)) > 1 or len(np.unique(high)) > 1:
        scale = "their scales"
    message = (
        f"{len(rows):,} scores are outside {scale}, from {format_typed(scores.min())} to {format_typed(scores.max())}."
    )
    if likely:
        what = "there may be a zero too many" if zero else "a decimal point may be missing"
        message += f" For {counted(len(slips), 'of them', 'of them')} {what}: {likely}."
    return message


def _blank(cells: ScoreCells, unread_lines: np.ndarray) -> Iterator[Finding]:
    """Return rows without a score, save those that could not be read (already reported) or could not be judged."""
    empty = np.isnan(cells.score) & ~cells.settled & ~cells.unable
    rows = np.flatnonzero(empty & ~np.isin(cells.line, unread_lines))
    for where, cases in gathered(cells.assessor.code[rows], lambda case: cells.place(rows[case]), together=True):
        who = first_few(_names(cells, rows[cases]))
        message = "The score is blank." if len(cases) == 1 else f"{len(cases):,} scores of {who} are blank."
        advice = (
            "If the ballot has it, write a correction. Otherwise leave it blank: the analysis uses the scores that "
            "are there and fills in nothing."
        )
        yield Finding("warning", "score_blank", where, message, advice)


def _like_consumers(cells: ScoreCells) -> list[Finding]:
    """Return attributes that are called like what consumers are asked: a trained panel does not like."""
    names = [str(name) for name in cells.attribute.of if is_called(str(name), "consumer")]
    if not names:
        return []
    message = f"{first_few(names)}: called like what consumers answer, and analysed as scores of a trained panel."
    advice = (
        "If consumers answered, take it out here and bring it in as a survey; else give the attribute another name."
    )
    return [Finding("warning", "looks_like_consumers", "scores, column attribute", message, advice)]


def _cannot_judge(cells: ScoreCells) -> Iterator[Finding]:
    """Return what assessors said they cannot judge."""
    rows = np.flatnonzero(np.isnan(cells.score) & ~cells.settled & cells.unable)
    for where, cases in gathered(cells.assessor.code[rows], lambda case: cells.place(rows[case])):
        who = first_few(_names(cells, rows[cases]))
        message = f"{who} could not judge {counted(len(cases), 'score')}."
        advice = (
            "Leave them blank: that is an answer, and nothing is filled in. Where it is often the same attribute, look "
            "at its definition with the panel."
        )
        yield Finding("note", "score_cannot_judge", where, message, advice)


def _given_twice(cells: ScoreCells) -> list[Finding]:
    """Return scores for which assessor, prototype, attribute, session, replicate and position are an earlier row's.

    Rows with neither session nor replicate may be repeats that nobody numbered: they give one note, but for copies.
    """
    numbered = ~(cells.sitting.blank & cells.replicate.blank)
    rows = np.flatnonzero(np.isfinite(cells.score) & numbered)
    keys = (cells.assessor, cells.prototype, cells.attribute, cells.sitting, cells.replicate)
    later, earlier = _repeats(rows, *(names.code[rows] for names in keys), or_none(cells.position[rows]))
    same = cells.score[later] == cells.score[earlier]
    rows = np.flatnonzero(np.isfinite(cells.score) & ~numbered)
    again, first = _repeats(rows, *(names.code[rows] for names in keys[:3]))
    copied = _copied(cells, again, first)
    same_too = np.concatenate([later[same], again[copied]]), np.concatenate([earlier[same], first[copied]])
    return [
        *_told_twice(cells, *same_too, same=True),
        *_told_twice(cells, later[~same], earlier[~same], same=False),
        *_not_numbered(cells, again[~copied]),
    ]


def _copied(cells: ScoreCells, later: np.ndarray, earlier: np.ndarray) -> np.ndarray:
    """Return which repeats are of a sample whose scores, of several values, are all the same again."""
    sample, _ = grouped(cells.assessor.code[later], cells.prototype.code[later])
    other = np.bincount(sample, cells.score[later] != cells.score[earlier])
    values = np.bincount(np.unique(np.column_stack([sample, cells.score[later]]), axis=0)[:, 0].astype(int))
    return np.asarray(((other == 0) & (np.bincount(sample) >= _FEWEST_VALUES) & (values > 2))[sample])


def _repeats(rows: np.ndarray, *codes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the rows whose codes are those of an earlier row, and that earlier row."""
    group, first = grouped(*codes)
    again = np.flatnonzero(first[group] != np.arange(len(rows)))
    return rows[again], rows[first[group[again]]]


def _told_twice(cells: ScoreCells, later: np.ndarray, earlier: np.ndarray, *, same: bool) -> Iterator[Finding]:
    for where, cases in gathered(cells.assessor.code[later], lambda case: cells.place(later[case])):
        before, after = earlier[cases[0]], later[cases[0]]
        if same and len(cases) == 1:
            message = f"The score {format_typed(cells.score[after])} of row {cells.line[before]} stands here again."
        elif same:
            message = f"{len(cases):,} scores stand a second time with the same value; the first repeats row {{}}."
            message = message.format(cells.line[before])
        elif len(cases) == 1:
            message = (
                f"Two scores for the same sample: {format_typed(cells.score[before])} in row {cells.line[before]}, "
                f"{format_typed(cells.score[after])} here."
            )
        else:
            message = f"{len(cases):,} scores stand a second time with another value; the first contradicts row "
            message += f"{cells.line[before]}."
        kind = "score_given_twice" if same else "score_given_twice_differently"
        lines = cells.line[later[cases]]
        last = f"-{lines[-1]}" if len(lines) > 1 and (np.diff(lines) == 1).all() else ""
        advice = (
            "Both count until one is set aside by a written correction (afterfeel set STUDY correct "
            f"row={lines[0]}{last} new= --who NAME --why REASON). If the sample was tried twice, number the replicates."
        )
        yield Finding("warning", kind, where, message, advice)


def _not_numbered(cells: ScoreCells, rows: np.ndarray) -> list[Finding]:
    if not len(rows):
        return []
    return [
        Finding(
            "note",
            "repeats_not_numbered",
            f"scores, columns session and replicate: first at row {cells.line[rows[0]]}",
            f"{counted(len(rows), 'score')} repeat an earlier one and carry neither session nor replicate: they are "
            "taken as replicates.",
            "Number the replicates, so that a row entered twice can be told from a sample tried twice.",
        )
    ]


def _names(cells: ScoreCells, rows: np.ndarray) -> list[str]:
    return list(dict.fromkeys(cells.assessor.of[cells.assessor.code[rows]]))


# Which scores are not there: sessions missed, samples not scored, attributes left out, prototypes tried less
# often?
#
# What one would expect is what the servings say, and without them what more than half of the assessors did.


_KEPT = "The analysis uses the scores that are there; nobody is left out and nothing is filled in."
_MOST_LISTED = 12

_Codes = tuple[np.ndarray, ...]
"""Rows as columns of codes."""


def _score_gaps(study: Study, cells: ScoreCells) -> list[Finding]:
    """Return what is missing among the scores: rows that are not there (blank ones are `score_blank`)."""
    turns = distinct(cells.assessor.code, cells.sitting.code)
    samples = distinct(cells.assessor.code, cells.sitting.code, cells.prototype.code)
    planned = _planned(study, cells)
    absent = _samples_absent(turns, samples, planned)
    return [
        *_session_left_out(cells),
        *_sessions_missed(cells, turns),
        *_samples_not_scored(cells, absent, samples),
        *_attributes_left_out(cells, samples),
        *_never_scored(study, cells),
        *_pairs_never_scored(cells),
        *_nobody_incommon(cells),
        *_unequal_samples(cells, samples, absent, planned),
    ]


def _planned(study: Study, cells: ScoreCells) -> _Codes:
    """Return the samples of the servings, as far as assessor, session and prototype occur among the scores."""
    rows = _served(study, cells)
    known = np.logical_and.reduce([code >= 0 for code in rows])
    return tuple(code[known] for code in rows)


def _served(study: Study, cells: ScoreCells) -> _Codes:
    """Return assessor, session and prototype of the servings, -1 for what does not occur among the scores."""
    servings = study.table("servings")
    names = {"assessor": cells.assessor, "session": cells.sitting, "prototype": cells.prototype}
    return tuple(own.codes_of(servings[column]) for column, own in names.items())


def _join(*parts: _Codes) -> _Codes:
    return tuple(np.concatenate(columns) for columns in zip(*parts, strict=True))


def _without(rows: _Codes, others: _Codes) -> _Codes:
    """Return the different ones of the rows that are not among the others, in sorted order."""
    new = distinct(*(code[~among(rows, others)] for code in rows))
    order = np.lexsort(new[::-1])
    return tuple(code[order] for code in new)


def _session_left_out(cells: ScoreCells) -> Iterator[Finding]:
    """Return rows without a session (or replicate) where others have one."""
    rows = np.flatnonzero(cells.sitting.blank)
    if len(cells.sitting) == 1:
        return
    for where, cases in gathered(cells.assessor.code[rows], lambda case: cells.place(rows[case])):
        message = f"{counted(len(cases), 'score')} without a {cells.sitting_word}, where others have one."
        advice = f"Fill in the {cells.sitting_word}. Until then these scores count as one more {cells.sitting_word}."
        yield Finding("warning", f"{cells.sitting_word}_left_out", where, message, advice)


def _sessions_missed(cells: ScoreCells, turns: _Codes) -> Iterator[Finding]:
    """Return the sessions that more than half of the assessors attended and somebody did not."""
    attended = np.bincount(turns[1], minlength=len(cells.sitting))
    usual = np.flatnonzero(2 * attended > len(cells.assessor))
    everybody = np.arange(len(cells.assessor))
    assessor, sitting = _without((np.repeat(everybody, len(usual)), np.tile(usual, len(everybody))), turns)
    for where, cases in gathered(assessor, lambda case: f"scores: {told_turn(cells, assessor[case], sitting[case])}"):
        who, which = first_few(cells.assessor.told(assessor[cases])), first_few(cells.sitting.told(sitting[cases]))
        told = which if which.casefold().startswith(cells.sitting_word) else f"{cells.sitting_word} {which}"
        message = f"{who} gave no scores in {told}, in which most of the others did."
        yield Finding("note", f"{cells.sitting_word}_missed", where, message, _KEPT)


def _samples_absent(turns: _Codes, samples: _Codes, planned: _Codes) -> _Codes:
    """Return the samples one would expect in the sittings that took place, and that have no row."""
    by_plan = tuple(code[among(planned[:2], turns)] for code in planned)
    assessor, sitting = _without(turns, planned[:2])
    usual_sitting, usual_prototype = common((samples[1],), samples[2], (turns[1],))
    of_turn, of_usual = matched(sitting, usual_sitting)
    by_custom = (assessor[of_turn], sitting[of_turn], usual_prototype[of_usual])
    return _without(_join(by_plan, by_custom), samples)


def _samples_not_scored(cells: ScoreCells, absent: _Codes, samples: _Codes) -> Iterator[Finding]:
    assessor, sitting, prototype = absent
    alone = _without_others(samples)

    def place(case: int) -> str:
        return f"scores: {told_turn(cells, assessor[case], sitting[case])}, {cells.prototype.of[prototype[case]]}"

    for where, cases in gathered(assessor, place):
        what = first_few(cells.prototype.told(prototype[cases]))
        message = f"{counted(len(cases), 'sample')} of {what} should have been scored and have no scores at all."
        other = [(at, sitting[case]) for case in cases for at in alone.get((assessor[case], prototype[case]), ())]
        told = first_few([f"{cells.sitting.of[at]} seems to be {cells.sitting.of[meant]}" for at, meant in other])
        slip = (
            f"One person alone has another {cells.sitting_word}, and {told}: if so, afterfeel set STUDY rename session."
        )
        yield Finding(
            "note", "sample_not_scored", where, message, f"{slip if other else 'Look for the ballot.'} {_KEPT}"
        )


def _without_others(samples: _Codes) -> dict[tuple[int, int], list[int]]:
    """Return person and prototype to the sittings that only this person has, as a mistyped one is."""
    people = np.bincount(distinct(*samples[:2])[1])
    found: dict[tuple[int, int], list[int]] = {}
    for who, at, of in np.transpose(samples)[people[samples[1]] == 1].tolist():
        found.setdefault((who, of), []).append(at)
    return found


def _attributes_left_out(cells: ScoreCells, samples: _Codes) -> Iterator[Finding]:
    """Return attributes without a row in a sample, where most others who scored that sample have one."""
    entries = distinct(cells.assessor.code, cells.sitting.code, cells.prototype.code, cells.attribute.code)
    *usual_sample, usual_attribute = common(entries[1:3], entries[3], samples[1:])
    number = len(usual_attribute)
    kind, _ = grouped(*_join(tuple(usual_sample), samples[1:]))
    of_sample, of_usual = matched(kind[number:], kind[:number])
    expected = (*(code[of_sample] for code in samples), usual_attribute[of_usual])
    assessor, sitting, prototype, attribute = _without(expected, entries)

    def place(case: int) -> str:
        turn = told_turn(cells, assessor[case], sitting[case])
        return f"scores: {turn}, {cells.prototype.of[prototype[case]]}, {cells.attribute.of[attribute[case]]}"

    for where, cases in gathered(assessor, place):
        what = first_few(cells.attribute.told(attribute[cases]))
        message = f"{counted(len(cases), 'score')} of {what} missing from samples that were otherwise scored."
        yield Finding("note", "attribute_left_out", where, message, f"Look at the ballot. {_KEPT}")


def _never_scored(study: Study, cells: ScoreCells) -> Iterator[Finding]:
    """Return prototypes and attributes that are listed but have no score at all."""
    scored = np.isfinite(cells.score)
    for table, names in (("prototypes", cells.prototype), ("attributes", cells.attribute)):
        noun = table[:-1]
        with_score = {"", *names.told(np.unique(names.code[scored]))}
        known = study.table(table)[noun].unique().tolist() if table in study.tables else []
        without = [name for name in known if name not in with_score]
        if without:
            message = f"No scores for {counted(len(without), noun)} of the study: {first_few(without, _MOST_LISTED)}."
            advice = (
                f"Nothing can be said about it. Score it, or take it out of {table} if it is not part of the study."
            )
            yield Finding("note", f"{noun}_not_scored", table, message, advice)


def _pairs_never_scored(cells: ScoreCells) -> Iterator[Finding]:
    """Return attributes on which some prototype has no score, although it has scores elsewhere."""
    rows = np.flatnonzero(np.isfinite(cells.score))
    prototype, attribute = cells.prototype.code[rows], cells.attribute.code[rows]
    _, first = grouped(prototype, attribute)
    scored = np.unique(prototype)
    having = np.bincount(attribute[first], minlength=len(cells.attribute))
    short = np.flatnonzero((having > 0) & (having < len(scored)))
    for where, cases in gathered(short, lambda case: f"scores, attribute {cells.attribute.of[short[case]]}"):
        attributes = short[cases]
        have = prototype[first][attribute[first] == attributes[0]]
        lacking = first_few(list(cells.prototype.of[np.setdiff1d(scored, have)]), _MOST_LISTED)
        message = f"No score at all for {lacking}."
        if len(cases) > 1:
            message = (
                f"{len(cases):,} attributes lack some prototypes; {cells.attribute.of[attributes[0]]} lacks {lacking}."
            )
        advice = "On this attribute the prototype cannot be compared, and the map leaves one of the two out."
        yield Finding("warning", "prototype_never_scored", where, message, advice)


def _nobody_incommon(cells: ScoreCells) -> list[Finding]:
    """Return whether no chain of people who scored both joins some prototypes to the others."""
    rows = np.isfinite(cells.score) & ~cells.prototype.blank & ~cells.assessor.blank
    met = np.zeros((len(cells.prototype), len(cells.assessor)))
    met[cells.prototype.code[rows], cells.assessor.code[rows]] = 1
    scored = np.flatnonzero(met.any(axis=1))
    part = joined(met[scored])
    if not part.any():
        return []
    sets = [first_few(cells.prototype.told(scored[part == number]), _MOST_LISTED) for number in range(part.max() + 1)]
    message = f"Nobody scored prototypes of two of these sets, which may differ by the people: {'; '.join(sets)}."
    advice = (
        "Their difference counts on people who differ by chance alone, as where chance decided who scores what; two "
        "groups that were chosen may differ by more. Let the same people score both."
    )
    return [Finding("warning", "nobody_in_common", "scores", message, advice)]


def _unequal_samples(cells: ScoreCells, samples: _Codes, absent: _Codes, planned: _Codes) -> list[Finding]:
    """Return whether the prototypes were meant to be tried equally often; single losses are told elsewhere."""
    keys = (cells.assessor, cells.sitting, cells.replicate, cells.prototype)
    left_out = cells.settled & np.isnan(cells.score)  # set aside by a correction, as the copy of a line is
    rows = np.flatnonzero(~left_out & ~(cells.sitting.blank & (len(cells.sitting) > 1)))
    *_, tried, _ = distinct(*(names.code[rows] for names in keys), or_none(cells.position[rows]))
    not_tried = _join(absent, _without(planned, _join(samples, absent)))[2]
    if (cells.sitting.blank & cells.replicate.blank).all():  # then nothing but its scores tells how often one was tried
        scored = np.zeros((len(cells.prototype), len(cells.attribute)), dtype=int)
        np.add.at(scored, (cells.prototype.code[rows], cells.attribute.code[rows]), 1)
        tried = np.repeat(np.arange(len(scored)), scored.max(axis=1, initial=0))
    counts = np.bincount(np.concatenate([tried, not_tried]), minlength=len(cells.prototype))
    if counts.min() == counts.max():
        return []
    order = np.argsort(counts, kind="stable")
    shown = first_few([f"{cells.prototype.of[code]} {counts[code]}" for code in order], _MOST_LISTED)
    message = f"The prototypes were not tried equally often; samples: {shown}."
    advice = "Those tried more often are known better. Every interval says how well; compare intervals, not only means."
    return [Finding("note", "unequal_replicates", "scores", message, advice)]


# Do the scores agree with the servings: the right prototype, in the right session, at the right position?


def _serving_order(study: Study, cells: ScoreCells) -> list[Finding]:
    """Return samples that were scored but not served, or served at another position; none without servings."""
    if "servings" not in study.tables or cells.sitting_word != "session":
        return []
    served, position = _served(study, cells), study.table("servings")["position"].to_numpy(dtype=float)
    known = np.logical_and.reduce([code >= 0 for code in served])
    turns = distinct(*(code[(served[0] >= 0) & (served[1] >= 0)] for code in served[:2]))
    served, position = tuple(code[known] for code in served), position[known]
    codes = (cells.assessor.code, cells.sitting.code, cells.prototype.code)
    _, first = grouped(*codes, or_none(cells.position))
    scored, rows = tuple(code[first] for code in codes), first
    planned, right = among(scored[:2], turns), among(scored, served)
    both = or_none(np.concatenate([position, cells.position[rows]]))
    in_place = among((*scored, both[len(position) :]), (*served, both[: len(position)]))
    elsewhere = right & ~in_place & np.isfinite(cells.position[rows])
    return [
        *_session_not_planned(cells, rows[_once(~planned & ~cells.sitting.blank[rows], scored[:2])]),
        *_not_served(cells, rows[_once(planned & ~right, scored)]),
        *_other_position(cells, rows[elsewhere], tuple(code[elsewhere] for code in scored), served, position),
    ]


def _once(chosen: np.ndarray, codes: tuple[np.ndarray, ...]) -> np.ndarray:
    """Return the chosen rows, but only the first of those that are equal in the codes."""
    rows = np.flatnonzero(chosen)
    _, first = grouped(*(code[rows] for code in codes))
    return rows[first]


def _session_not_planned(cells: ScoreCells, rows: np.ndarray) -> Iterator[Finding]:
    for where, cases in gathered(cells.assessor.code[rows], lambda case: f"scores: {cells.turn(rows[case])}"):
        message = f"{counted(len(cases), 'sitting')} with scores but without servings."
        advice = "Correct the session or the assessor, or add the servings, so that order and codes can be checked."
        yield Finding("warning", "session_not_served", where, message, advice)


def _not_served(cells: ScoreCells, rows: np.ndarray) -> Iterator[Finding]:
    for where, cases in gathered(cells.assessor.code[rows], lambda case: f"scores: {cells.sample(rows[case])}"):
        message = f"{counted(len(cases), 'sample')} with scores that the servings do not hold."
        advice = "Check the code on the ballot against the servings: the scores may belong to another prototype."
        yield Finding("warning", "sample_not_served", where, message, advice)


def _other_position(
    cells: ScoreCells,
    rows: np.ndarray,
    samples: tuple[np.ndarray, ...],
    served: tuple[np.ndarray, ...],
    position: np.ndarray,
) -> Iterator[Finding]:
    for where, cases in gathered(cells.assessor.code[rows], lambda case: f"scores: {cells.sample(rows[case])}"):
        first = int(cases[0])
        same = np.logical_and.reduce([code == sample[first] for code, sample in zip(served, samples, strict=True)])
        given, planned = format_typed(float(cells.position[rows[first]])), format_typed(float(position[same][0]))
        message = f"Scored at position {given}, served at position {planned}."
        if len(cases) > 1:
            message = f"{counted(len(cases), 'sample')} at another position than served. The first: {message.lower()}"
        advice = "Check the ballots: samples may have been exchanged, or the order was changed and not written down."
        yield Finding("warning", "position_differs_from_serving", where, message, advice)
