"""Were the scores given with care and room: no straight lines, no handful of steps, no pile at an end of the scale?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import gammaln, stdtr

from panel.checks.finding import WIDEST_OFFSET, Dates, Finding, Names, gathered, grouped, read_dates
from panel.checks.sound_study import scales
from panel.stats.arrays import ratio
from panel.stats.assessors.scaling import profile_exchange
from panel.study.scores_used import scores_used
from panel.study.study import Study
from panel.study.tables import CANNOT_JUDGE
from panel.words import counted, first_few, format_list, format_typed

_FEWEST_ALIKE = 3
"""Two equal scores say nothing; lines of three and more are looked at."""

_CHANCE_PER_STUDY = 0.05
"""A line of equal scores is told when fewer than one study in twenty would hold one by chance."""

_FEW_VALUES = 5
"""A scale used in no more steps than this is told."""

_ENOUGH_FOR_STEPS = 20
"""Number of scores from which on few different values are no accident."""

_STEPS_IN_SCALE = 20
"""Scales with fewer whole units than this (9-point, 0 to 10) are made of steps: nothing to tell."""

_PILED_SHARE = 0.20
"""Share of scores at one end of the scale above which differences there can no longer be seen."""

_ENOUGH_FOR_PILE = 10
"""Number of scores below which a share says nothing."""


def straight_lines(cells: ScoreCells) -> list[Finding]:
    """Return who gave one and the same score to all attributes of a sample, or to all prototypes of an attribute.

    Equal scores come by chance too, the more the coarser the scale is used. So the chance is reckoned from how
    often each score was given, by the other assessors and by this one elsewhere, and a line is told when the
    number of lines looked at, times the chance of one, is below 0.05. A whole session with one score is told once,
    not once for each line in it.
    """
    rows = np.flatnonzero(np.isfinite(cells.score))
    a, p, k, s, r = (
        names.code[rows] for names in (cells.assessor, cells.prototype, cells.attribute, cells.sitting, cells.replicate)
    )
    score, whole = cells.score[rows], np.zeros(len(rows), dtype=np.int64)
    turns, sizes, in_turn = _lines(score, (a, s), a, whole, at_least=2 * _FEWEST_ALIKE)
    findings = _told_lines(cells, rows[turns], sizes, "same_score_throughout")
    lines, sizes, _ = _lines(score, (a, s, r, p), a, whole, at_least=_FEWEST_ALIKE, leave_out=in_turn)
    findings += _told_lines(cells, rows[lines], sizes, "same_score_all_attributes")
    lines, sizes, _ = _lines(score, (a, s, r, k), a, k, at_least=_FEWEST_ALIKE, leave_out=in_turn)
    return findings + _told_lines(cells, rows[lines], sizes, "same_score_all_prototypes")


def _lines(
    score: np.ndarray,
    keys: tuple[np.ndarray, ...],
    assessor: np.ndarray,
    pool: np.ndarray,
    *,
    at_least: int,
    leave_out: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return first row and size of each line to tell, and which rows are in one; chance is within each `pool`."""
    group, first = grouped(*keys)
    size = np.bincount(group)
    equal = np.bincount(group, weights=score != score[first[group]]) == 0
    if leave_out is not None:
        equal &= ~leave_out[first]
    looked_at = size >= at_least
    candidates = np.flatnonzero(equal & looked_at)
    in_line = np.zeros(len(size), dtype=bool)
    in_line[candidates] = True
    chance = _chance_of_line(score, assessor, pool, in_line[group], first[candidates], size[candidates])
    told = candidates[chance * looked_at.sum() < _CHANCE_PER_STUDY]
    return first[told], size[told], np.isin(group, told)


def _chance_of_line(
    score: np.ndarray, assessor: np.ndarray, pool: np.ndarray, in_line: np.ndarray, rows: np.ndarray, size: np.ndarray
) -> np.ndarray:
    """Return for each line the chance that so many scores are equal: by the others' scores or by one's own, the larger.

    The others: sum over the values of share ** size, with the shares of their scores in the same pool. One's own:
    the chance that so many of the scores outside lines, drawn without putting back, are equal. 1 without either.

    Parameters
    ----------
    score, assessor, pool, in_line
        For each score: its value, who gave it, among which scores chance is reckoned, whether it is in a line.
    rows, size
        For each line: one of its rows, and its number of scores.
    """
    chance = np.ones(len(rows))
    value = pd.factorize(score)[0].astype(np.int64)
    kinds, first = grouped(pool[rows], assessor[rows], size)
    for in_pool in np.unique(pool[rows]):
        of_pool = pool == in_pool
        of_all = np.bincount(value[of_pool], minlength=int(value.max()) + 1)
        for kind in np.flatnonzero(pool[rows[first]] == in_pool):
            row, length = rows[first[kind]], int(size[first[kind]])
            mine = assessor == assessor[row]
            others = of_all - np.bincount(value[of_pool & mine], minlength=len(of_all))
            own = np.bincount(value[mine & ~in_line], minlength=len(of_all))
            chances = [((others / others.sum()) ** length).sum()] if others.any() else []
            chances += [_equal_draws(own, length)] if own.any() else []
            chance[kinds == kind] = max(chances, default=1.0)
    return chance


def _equal_draws(counts: np.ndarray, number: int) -> float:
    """Return the chance that so many draws without putting back are equal; of as many as there are, if fewer."""
    of_all = int(counts.sum())
    number = min(number, of_all)
    enough = counts[counts >= number]
    ways = gammaln(enough + 1) - gammaln(enough - number + 1) - gammaln(of_all + 1) + gammaln(of_all - number + 1)
    return float(np.exp(ways).sum())


_LINE_WORDS = {
    "same_score_throughout": "every sample and attribute of the {}",
    "same_score_all_attributes": "all attributes of the sample",
    "same_score_all_prototypes": "all prototypes of the attribute",
}


def _told_lines(cells: ScoreCells, rows: np.ndarray, size: np.ndarray, kind: str) -> list[Finding]:
    def where(case: int) -> str:
        row = int(rows[case])
        if kind == "same_score_all_attributes":
            return f"scores: {cells.sample(row)}"
        turn = f"scores: {cells.turn(row)}"
        return turn if kind == "same_score_throughout" else f"{turn}, {_attribute(cells, row)}"

    findings = []
    for place, cases in gathered(cells.assessor.code[rows], where):
        alike = format_typed(cells.score[rows[cases[0]]])
        alike_in = _LINE_WORDS[kind].format(cells.sitting_word)
        message = f"The same score, {alike}, for {alike_in} ({size[cases[0]]} scores)."
        if len(cases) > 1:
            message = f"{len(cases):,} times the same score for {alike_in}; the first time {alike}."
        advice = (
            "Ask the assessor, and look at the raw ballot. Leave the scores out only by a rule recorded before "
            "unblinding, and show both results."
        )
        findings.append(Finding("warning", kind, place, message, advice))
    return findings


def _entered_twice(cells: ScoreCells) -> list[Finding]:
    """Return turns of two people, or two of one, with the same score for every prototype and attribute.

    People agree, and steps are few, so turns are told when the number of pairs of turns, times the chance of one, is
    below 0.05; the chance is the product of the shares that its scores have among all scores of their cells.
    """
    rows = np.flatnonzero(np.isfinite(cells.score))
    names = (cells.attribute, cells.prototype, cells.sitting, cells.assessor)
    rows = rows[np.lexsort((cells.score[rows], *(each.code[rows] for each in names)))]
    k, p, s, a = (each.code[rows] for each in names)
    cell, _ = grouped(p, k)
    value, _ = grouped(cell, np.unique(cells.score[rows], return_inverse=True)[1])
    chance = np.log(np.bincount(value)[value] / np.bincount(cell)[cell])
    _, first = grouped(a, s)
    alike: dict[bytes, list[slice]] = {}
    for turn in map(slice, first.tolist(), [*first[1:].tolist(), len(rows)]):
        if np.ptp(cells.score[rows[turn]]) > 0:  # else a straight line
            alike.setdefault(np.column_stack((cell[turn], value[turn])).tobytes(), []).append(turn)
    rare = np.log(_CHANCE_PER_STUDY / max(len(first) * (len(first) - 1) / 2, 1))
    whose: dict[tuple[str, ...], list[list[slice]]] = {}
    for turns in alike.values():
        if len(turns) > 1 and chance[turns[0]].sum() < rare:
            people = dict.fromkeys(str(cells.assessor.of[a[turn.start]]) for turn in turns)
            whose.setdefault(tuple(people), []).append(turns)
    return [_told_twice(cells, rows, people, turns) for people, turns in whose.items()]


def _told_twice(cells: ScoreCells, rows: np.ndarray, people: tuple[str, ...], alike: list[list[slice]]) -> Finding:
    """Return what is said of turns with the same scores, of several people or of one."""
    size = sum(turns[0].stop - turns[0].start for turns in alike)
    who = format_list(people)
    if len(people) == 1:
        who = format_list([cells.turn(rows[turn.start]) for turn in alike[0]])
    message = f"The same {counted(size, 'score')} for {who}: each prototype and attribute alike."
    advice = "See whether one sheet was entered twice, or one person has two codes; keep what was given."
    return Finding("warning", "scores_entered_twice", f"scores: {people[0]}", message, advice)


_GO_TOGETHER = 0.8
"""Correlation of the ups and downs of two people from which on one sheet is likelier; a setting of ours."""

_MOST_PEOPLE = 200
"""Of more there would be too many pairs for any to stand out."""

_SAME_AGAIN = 0.2
"""Share of scores given a second time from which on equal steps alone bring ups and downs together."""


def _nearly_twice(cells: ScoreCells) -> list[Finding]:
    """Return pairs of people whose scores go up and down together from sitting to sitting, as two sheets of one do.

    People may see the prototypes alike; how the scores of one prototype change from sitting to sitting, beside what
    changes for all of it and for all of a sitting, is each person's own. Degrees of freedom are those of the samples,
    times how many attributes vary as if alone (trace squared over the sum of squares of their covariances), so that an
    impression of the whole sample counts once. Told below 0.05 over all pairs; of those who scored everything.
    """
    scores = _laid_out(cells)
    whole = np.flatnonzero(np.isfinite(scores).all(axis=(1, 2, 3))) if scores is not None else np.zeros(0, dtype=int)
    if scores is None or not 4 <= len(whole) <= _MOST_PEOPLE:
        return []
    own = scores[whole]
    again = (np.abs(np.diff(np.sort(own, axis=1), axis=1)) < 1e-9).mean(axis=(1, 2, 3))
    own = own - own.mean(axis=1, keepdims=True) - own.mean(axis=2, keepdims=True) + own.mean(axis=(1, 2), keepdims=True)
    own = own - np.median(own, axis=0)  # a mean would hand a slip on to all
    spread = 1.4826 * np.median(np.abs(own), axis=(0, 1, 2))  # a normal distribution's standard deviation
    own = np.clip(own[..., spread > 1e-9] / spread[spread > 1e-9], -2, 2)  # no single slip decides
    if not own.size:
        return []
    together = np.tensordot(own, own, (range(3), range(3)))
    free = (own.shape[1] - 1) * (own.shape[2] - 1) * np.trace(together) ** 2 / (together**2).sum()
    first, second = np.triu_indices(len(whole), 1)
    with np.errstate(divide="ignore", invalid="ignore"):  # of somebody who never changes there is nothing to correlate
        r = np.nan_to_num(np.corrcoef(own.reshape(len(whole), -1)))[first, second]
        chance = stdtr(free - 1, -r * np.sqrt((free - 1) / (1 - r**2)))
    told = (r >= _GO_TOGETHER) & (r < 1 - 1e-9) & (chance * len(r) < _CHANCE_PER_STUDY)
    told &= np.maximum(again[first], again[second]) < _SAME_AGAIN
    return [_told_nearly(cells, whole[[first[k], second[k]]], float(r[k])) for k in np.flatnonzero(told)]


def _told_nearly(cells: ScoreCells, people: np.ndarray, r: float) -> Finding:
    who = [str(name) for name in cells.assessor.of[people]]
    message = (
        f"The scores of {format_list(who)} go up and down together from {cells.sitting_word} to {cells.sitting_word} "
        f"(correlation {r:.2f}), more than chance would give in one study out of twenty."
    )
    advice = "See whether one sheet was entered twice with small changes, or one person has two codes."
    return Finding("warning", "scores_nearly_twice", f"scores: {who[0]}", message, advice)


def _few_steps(cells: ScoreCells) -> list[Finding]:
    """Return attributes, and assessors, whose scores use a wide scale in five steps or fewer.

    An attribute whose scores all lie at one end is `_piled_at_end`; an assessor who only ever gives one score is one
    of the `straight_lines`.
    """
    wide = (cells.highest - cells.lowest >= _STEPS_IN_SCALE)[cells.attribute.code]
    rows = np.flatnonzero(np.isfinite(cells.score) & wide)
    attribute, score = cells.attribute.code[rows], cells.score[rows]
    inside = (score != cells.lowest[attribute]) & (score != cells.highest[attribute])
    steps = _steps(attribute, score, len(cells.attribute))
    some_inside = np.bincount(attribute[inside], minlength=len(cells.attribute)) > 0
    in_steps = ((steps > 1) | ((steps == 1) & some_inside)) & (steps <= _FEW_VALUES)
    elsewhere = rows[~in_steps[attribute]]
    assessor = cells.assessor.code[elsewhere]
    steps_of = _steps(assessor, cells.score[elsewhere], len(cells.assessor))
    return [
        *_told_steps(cells, rows[in_steps[attribute]], "attribute"),
        *_told_steps(cells, elsewhere[((steps_of > 1) & (steps_of <= _FEW_VALUES))[assessor]], "assessor"),
    ]


def _steps(code: np.ndarray, score: np.ndarray, number: int) -> np.ndarray:
    """Return the number of different scores of each code, 0 where there are too few scores to tell."""
    _, first = grouped(code, pd.factorize(score)[0].astype(np.int64))
    different = np.bincount(code[first], minlength=number)
    return np.where(np.bincount(code, minlength=number) >= _ENOUGH_FOR_STEPS, different, 0)


def _told_steps(cells: ScoreCells, rows: np.ndarray, noun: str) -> Iterator[Finding]:
    names = cells.attribute if noun == "attribute" else cells.assessor
    code = names.code[rows]
    found = code[np.sort(np.unique(code, return_index=True)[1])]
    for where, cases in gathered(np.arange(len(found)), lambda case: f"scores, {noun} {names.of[found[case]]}"):
        values = np.unique(cells.score[rows[np.isin(code, found[cases])]])
        shown = first_few([format_typed(value) for value in values], _FEW_VALUES)
        message = f"Only {len(values)} different scores are used: {shown}."
        if len(values) == 1:
            message = f"Every score is the same: {shown}."
        advice = "The scale was used in steps; small differences cannot show. Remind the assessors of the whole line."
        yield Finding("note", "scale_used_in_steps", where, message, advice)


def _piled_at_end(cells: ScoreCells) -> Iterator[Finding]:
    """Return attributes with more than a fifth of the scores at the lowest, or at the highest, possible score."""
    rows = np.flatnonzero(np.isfinite(cells.score))
    code, number = cells.attribute.code[rows], len(cells.attribute)
    total = np.bincount(code, minlength=number)
    for end, limits in (("lowest", cells.lowest), ("highest", cells.highest)):
        at_end = np.bincount(code, weights=cells.score[rows] == limits[code], minlength=number).astype(int)
        found = np.flatnonzero((total >= _ENOUGH_FOR_PILE) & (at_end > _PILED_SHARE * total))

        def place(case: int, found: np.ndarray = found) -> str:
            return f"scores, attribute {cells.attribute.of[found[case]]}"

        for where, cases in gathered(np.arange(len(found)), place):
            piled, of_all = int(at_end[found[cases]].sum()), int(total[found[cases]].sum())
            message = f"{piled:,} of {of_all:,} scores are the {end} possible score."
            advice = (
                "Prototypes beyond that end look alike, and differences come out too small. Look at the scores "
                "themselves, not only at means."
            )
            yield Finding("note", f"scores_at_{end}_end", where, message, advice)


def _attribute(cells: ScoreCells, row: int) -> str:
    return str(cells.attribute.of[cells.attribute.code[row]])


# The scores as numbers and codes: what every check of the scores starts from.


@dataclass(frozen=True, eq=False, slots=True)
class ScoreCells:
    """The rows of the scores table that name an assessor, a prototype and an attribute, one entry each.

    Parameters
    ----------
    line
        Line of the file on which the row stands.
    score
        The score after written corrections; NaN where it is blank or was set aside.
    settled
        True where a written correction concerns the row.
    unable
        True where the assessor said that it cannot be judged.
    sitting
        The session; where no row has one, the replicate.
    sitting_word
        `session` or `replicate`: which of the two `sitting` is.
    lowest, highest
        Lowest and highest possible score of each attribute (by attribute code), NaN where unknown.
    """

    line: np.ndarray
    score: np.ndarray
    settled: np.ndarray
    unable: np.ndarray
    assessor: Names
    prototype: Names
    attribute: Names
    sitting: Names
    replicate: Names
    sitting_word: str
    position: np.ndarray
    batch: pd.Series
    recorded_at: pd.Series
    lowest: np.ndarray
    highest: np.ndarray

    def place(self, row: int) -> str:
        """Return where a row is, such as `scores, row 812: A02, session 2, P4, AF_GREASE`."""
        return f"scores, row {self.line[row]}: {self.sample(row)}, {self.attribute.of[self.attribute.code[row]]}"

    def sample(self, row: int) -> str:
        """Return whose sample of what a row belongs to, such as `A02, session 2, P4`."""
        return f"{self.turn(row)}, {self.prototype.of[self.prototype.code[row]]}"

    def turn(self, row: int) -> str:
        """Return who sat when, such as `A02, session 2`."""
        return told_turn(self, self.assessor.code[row], self.sitting.code[row])


def check_patterns(study: Study, cells: ScoreCells) -> list[Finding]:
    """Return what is peculiar about times, steps, ends of the scale and whole profiles of the scores."""
    return [
        *_score_times(study, cells),
        *_entered_twice(cells),
        *_nearly_twice(cells),
        *_few_steps(cells),
        *_piled_at_end(cells),
        *_exchanged_profiles(cells),
    ]


def score_cells(study: Study) -> ScoreCells:
    """Return the scores of a sound study as codes (see `panel.checks.finding`)."""
    score, settled = _after_corrections(study)
    rows, named = _named(study.scores)
    session, replicate, attribute = (Names.read(rows[name]) for name in ("session", "replicate", "attribute"))
    by_session = bool((session.of != "").any())
    lowest, highest = scales(study, attribute.of)
    return ScoreCells(
        line=np.flatnonzero(named) + 2,
        score=score[named],
        settled=settled[named],
        unable=(rows["flag"].str.strip().str.casefold() == CANNOT_JUDGE).to_numpy(dtype=bool),
        assessor=Names.read(rows["assessor"]),
        prototype=Names.read(rows["prototype"]),
        attribute=attribute,
        sitting=session if by_session else replicate,
        replicate=replicate,
        sitting_word="session" if by_session else "replicate",
        position=rows["position"].to_numpy(dtype=float),
        batch=rows["batch"],
        recorded_at=rows["recorded_at"],
        lowest=lowest,
        highest=highest,
    )


def _named(scores: pd.DataFrame) -> tuple[pd.DataFrame, np.ndarray]:
    """Return the rows that name assessor, prototype and attribute, and which rows those are."""
    named = np.ones(len(scores), dtype=bool)
    for name in ("assessor", "prototype", "attribute"):
        if "" in scores[name].unique():
            named &= (scores[name] != "").to_numpy(dtype=bool)
    return (scores if named.all() else scores[named]), named


def told_turn(cells: ScoreCells, assessor: int, sitting: int) -> str:
    """Return who sat when, by the codes of assessor and sitting."""
    name = cells.sitting.of[sitting]
    told = name if str(name).casefold().startswith(cells.sitting_word) else f"{cells.sitting_word} {name}"
    return f"{cells.assessor.of[assessor]}, {told}" if name else str(cells.assessor.of[assessor])


def _after_corrections(study: Study) -> tuple[np.ndarray, np.ndarray]:
    """Return the scores after the written corrections, and which rows those concern."""
    scores = study.scores
    settled = np.zeros(len(scores), dtype=bool)
    if "corrections" not in study.tables or study.table("corrections").empty:
        return scores["score"].to_numpy(dtype=float), settled
    used = scores_used(Study(study.tables))  # without the facts: rules are the analysis's business
    settled[used.corrected["row"].to_numpy(dtype=int) - 2] = True
    settled[used.set_aside["row"].to_numpy(dtype=int) - 2] = True
    return used.frame["score"].reindex(scores.index).to_numpy(dtype=float), settled


# Did an assessor's scores of two prototypes change places in a session?


"""A pair is told when fewer than one honest study in twenty would hold one."""

_SMALLEST_GAIN = 0.5
"""Share of the disagreement that must go away when the two profiles are exchanged."""

_FEWEST_ATTRIBUTES = 3
_FEWEST_PROTOTYPES = 4
"""The pair in question says nothing about the noise; at least two more prototypes must."""

_MOST_PROTOTYPES = 30
"""Beyond that there are so many pairs that none would stand out."""

_LARGEST_FILL = 20
"""Largest number of cells of the full plan (everybody, everything) per score that is still worth laying out."""


def _exchanged_profiles(cells: ScoreCells) -> list[Finding]:
    """Return pairs of prototypes whose profiles seem to have changed places, one note for each pair and assessor.

    For each assessor and session the difference between two prototypes over all attributes is held against the
    same difference in that assessor's other sessions. Both point the same way when nothing went wrong, whatever
    the prototypes are. The rule: they point opposite ways by more than chance allows in one study out of twenty,
    and exchanging the two removes more than half of the disagreement (`panel.stats.assessors.scaling`).
    """
    scores = _laid_out(cells)
    if scores is None:
        return []
    exchange = profile_exchange(scores)
    looked_at = np.isfinite(exchange["chance"])
    unlikely = np.where(looked_at, exchange["chance"], 1.0) * looked_at.sum() < _CHANCE_PER_STUDY
    assessor, sitting, pair = np.nonzero(unlikely & (exchange["gain"] > _SMALLEST_GAIN))
    return _told_pairs(cells, np.stack([assessor, sitting, exchange["first"][pair], exchange["second"][pair]], axis=1))


def _told_pairs(cells: ScoreCells, found: np.ndarray) -> list[Finding]:
    """Return one note for each assessor and pair, naming the sessions in question."""
    pairs: dict[tuple[int, int, int], list[str]] = {}
    for assessor, sitting, first, second in found.tolist():
        pairs.setdefault((assessor, first, second), []).append(str(cells.sitting.of[sitting]))
    findings = []
    for (assessor, first, second), sittings in pairs.items():
        names = f"{cells.prototype.of[first]} and {cells.prototype.of[second]}"
        turn = f"{cells.sitting_word} {' or '.join(sittings[:2])}" if len(sittings) < 3 else first_few(sittings)
        message = (
            f"The profiles of {names} look exchanged: over all attributes they differ the opposite way to this "
            f"assessor's other {cells.sitting_word}s, more than chance would give in one study out of twenty."
        )
        advice = "It may be chance. Compare codes and ballots of the two samples before you think of a correction."
        where = f"scores: {cells.assessor.of[assessor]}, {turn}, {names}"
        findings.append(Finding("note", "profiles_exchanged", where, message, advice))
    return findings


def _laid_out(cells: ScoreCells) -> np.ndarray | None:
    """Return mean scores [assessor, session, prototype, attribute], NaN where there is none.

    None if there are too few of anything, or if the scores fill too little of the plan to compare sessions.
    """
    shape = tuple(len(names) for names in (cells.assessor, cells.sitting, cells.prototype, cells.attribute))
    size = float(np.prod(shape, dtype=float))
    if shape[1] < 2 or not _FEWEST_PROTOTYPES <= shape[2] <= _MOST_PROTOTYPES or shape[3] < _FEWEST_ATTRIBUTES:
        return None
    if size > _LARGEST_FILL * len(cells.line):
        return None
    rows = np.flatnonzero(np.isfinite(cells.score))
    codes = (cells.assessor.code, cells.sitting.code, cells.prototype.code, cells.attribute.code)
    flat = np.ravel_multi_index(tuple(code[rows] for code in codes), shape)
    count = np.bincount(flat, minlength=int(size))
    total = np.bincount(flat, weights=cells.score[rows], minlength=int(size))
    return ratio(total, count).reshape(shape)


# Can the times of the scores be true: nothing scored before it was made, sessions in their order?


def _score_times(study: Study, cells: ScoreCells) -> list[Finding]:
    """Return scores whose time of entry cannot be true; none where no times were recorded."""
    recorded = read_dates(cells.recorded_at)
    if np.isnat(recorded.values).all():
        return []
    return [*_before_making(study, cells, recorded), *_sessions_out_of_order(cells, recorded)]


def _before_making(study: Study, cells: ScoreCells, recorded: Dates) -> Iterator[Finding]:
    """Return the batches that have scores from before they were made."""
    batches = study.table("batches").drop_duplicates("batch")
    made = read_dates(batches["made_on"])
    batch = _batch_rows(batches, cells)
    rows = np.flatnonzero((batch >= 0) & ~np.isnat(recorded.values))
    of = batch[rows]
    # A time written with its distance from UTC and one without may come from clocks that differ.
    slack = np.where(recorded.has_offset[rows] != made.has_offset[of], WIDEST_OFFSET, np.timedelta64(0, "s"))
    earliest = np.where(recorded.has_time[rows], recorded.values[rows], recorded.values[rows] + np.timedelta64(1, "D"))
    early = rows[earliest + slack < made.values[of]]
    code, names = batch[early], batches["batch"].tolist()
    found = code[np.sort(np.unique(code, return_index=True)[1])]
    for where, cases in gathered(np.arange(len(found)), lambda case: f"scores, batch {names[found[case]]}"):
        concerned = early[np.isin(code, found[cases])]
        row = concerned[np.argmin(recorded.values[concerned])]
        score_time = _told_date(recorded.values[row], with_time=bool(recorded.has_time[row]))
        making = _told_date(made.values[batch[row]], with_time=bool(made.has_time[batch[row]]))
        message = (
            f"{counted(len(concerned), 'score')} recorded before the batch was made: the first on {score_time} "
            f"(row {cells.line[row]}), made on {making}."
        )
        advice = "Correct made_on, the batch of the scores, or the clock of the device that recorded them."
        yield Finding("warning", "scored_before_made", where, message, advice)


def _batch_rows(batches: pd.DataFrame, cells: ScoreCells) -> np.ndarray:
    """Return for each score the row of its batch; -1 where it names none and its prototype has not just one."""
    named = pd.Index(batches["batch"]).get_indexer(pd.Index(cells.batch))
    single = batches.reset_index(drop=True).drop_duplicates("prototype", keep=False)["prototype"]
    by_prototype = np.full(len(cells.prototype), -1)
    at = cells.prototype.of.get_indexer(pd.Index(single))
    by_prototype[at[at >= 0]] = single.index.to_numpy()[at >= 0]
    return np.where((cells.batch == "").to_numpy(dtype=bool), by_prototype[cells.prototype.code], named)


def _sessions_out_of_order(cells: ScoreCells, recorded: Dates) -> Iterator[Finding]:
    """Return who has a session begun before the end of one with a lower number; only numbered sessions can tell."""
    number = pd.to_numeric(pd.Series(cells.sitting.of), errors="coerce").to_numpy(dtype=float)[cells.sitting.code]
    rows = np.flatnonzero(np.isfinite(number) & ~np.isnat(recorded.values))
    if not len(rows):
        return
    group, first = grouped(cells.assessor.code[rows], cells.sitting.code[rows])
    order = np.argsort(group, kind="stable")
    starts = np.searchsorted(group[order], np.arange(len(first)))
    moments = recorded.values[rows][order].astype(np.int64)
    moments -= moments.min()
    turn = rows[first]
    in_order = np.lexsort((number[turn], cells.assessor.code[turn]))
    turn, assessor = turn[in_order], cells.assessor.code[turn][in_order]
    # every assessor's times lie after those of the one before, so that one running maximum serves all of them
    shift = assessor * (moments.max() + 1)
    begun = np.minimum.reduceat(moments, starts)[in_order] + shift
    ended = np.maximum.accumulate(np.maximum.reduceat(moments, starts)[in_order] + shift)
    same_person = assessor[1:] == assessor[:-1]
    found = turn[1:][same_person & (begun[1:] < ended[:-1])]
    for where, cases in gathered(cells.assessor.code[found], lambda case: f"scores: {cells.turn(found[case])}"):
        who = first_few(list(dict.fromkeys(cells.assessor.of[cells.assessor.code[found[cases]]])))
        message = f"By the recorded times this session of {who} began before an earlier one had ended."
        if len(cases) > 1:
            message = f"By the recorded times {len(cases):,} sessions began before an earlier one had ended ({who})."
        advice = "Check the session numbers of these scores, or the clock of the device that recorded them."
        yield Finding("warning", "sessions_out_of_order", where, message, advice)


def _told_date(moment: np.datetime64, *, with_time: bool) -> str:
    """Return a moment as `2025-03-10 16:00`, or only its day."""
    return np.datetime_as_string(moment, unit="m").replace("T", " ") if with_time else str(moment.astype("M8[D]"))
