"""Which mixed model the scores of a panel call for, the arrays it is fitted to, and the fit."""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.checks.confounds import GROUP, WHOLLY, Confounds, find_confounds, sets_of_scores
from panel.errors import ModelError
from panel.stats.arrays import Array, Codes, different, ratio
from panel.stats.comparing.group_means import ASSESSOR, BATCH, INTERACTION, SITTING, relative_variances
from panel.stats.mixed.moments import missing_patterns
from panel.stats.mixed.reml import MixedFit, fit_mixed_model
from panel.stats.mixed.residuals import nothing_left
from panel.stats.orders.block_designs import NO_DIRECTION, both_sets, contrasts_of, sets_told
from panel.study.scores_used import ScoresUsed, batch_of_score, scores_used, serving_of_score
from panel.study.study import Numbered, Study, kept, natural_order, placed

_TERM_WORDS = {
    ASSESSOR: "assessor",
    INTERACTION: "assessor x prototype",
    SITTING: "assessor x session",
    BATCH: "batch within prototype",
}


VARIANCE_COLUMNS = {ASSESSOR: "assessor", INTERACTION: "assessor_prototype", SITTING: "session", BATCH: "batch"}


@dataclass(frozen=True, eq=False, slots=True)
class PanelDesign:
    """Attributes that share one model, with the arrays of that model.

    Parameters
    ----------
    attributes, prototypes
        Names of the columns of `response` and of the first columns of `fixed`.
    response
        (n, q) scores, NaN where missing.
    fixed
        (n, p) columns: one per prototype, then sum-to-zero contrasts of the sessions and of the covariates.
    factors
        What is fixed beside the prototype: `session` and the covariates that are in the model.
    terms
        Random terms in the numbering of `panel.stats.mixed.reml`.
    groups
        Group numbers (n,) of each random term.
    cube
        The scores as (assessors, prototypes, sessions, repetitions, q) where every cell is filled alike, else None.
    dropped
        Fixed factors that are left out, in part or whole, because the ones before already say the same.
    sets
        Number of the set each prototype belongs to: differences have an estimate within a set, none between sets.
    """

    attributes: tuple[str, ...]
    prototypes: tuple[str, ...]
    assessors: tuple[str, ...]
    response: Array
    fixed: Array
    terms: tuple[int, ...]
    groups: list[Codes]
    cube: Array | None
    factors: tuple[str, ...]
    dropped: tuple[str, ...]
    sets: Codes

    def only(self, chosen: NDArray[np.bool_]) -> PanelDesign:
        """Return the design of the `chosen` attributes alone."""
        return replace(
            self,
            attributes=tuple(np.array(self.attributes, dtype=object)[chosen]),
            response=self.response[:, chosen],
            cube=None if self.cube is None else self.cube[..., chosen],
        )

    @property
    def sentence(self) -> str:
        """The model in words."""
        whole = ", ".join(("prototype", *(name for name in self.factors if name not in self.dropped)))
        random = ", ".join(_TERM_WORDS[term] for term in self.terms)
        model = f"score = {whole} (fixed) + {random} (random) + residual"
        if self.dropped:
            told = ", ".join(name.replace("_", " ") for name in self.dropped)
            model += f"; {told} only as far as told from the prototypes"
        if self.sets.any():
            model += f"; prototypes compared only within {self.set_words}"
        return model

    @property
    def set_words(self) -> str:
        """The sets of prototypes that can be compared, in words."""
        return " | ".join(
            ", ".join(name for name, own in zip(self.prototypes, self.sets, strict=True) if own == number)
            for number in range(int(self.sets.max()) + 1)
        )

    def told(self, contrasts: Array) -> NDArray[np.bool_]:
        """Return which contrasts of the prototypes (m, p) have an estimate: those that add up to zero in every set."""
        own = contrasts[:, : len(self.prototypes)] @ np.eye(int(self.sets.max()) + 1)[self.sets]
        return np.asarray(np.abs(own).max(axis=1) <= NO_DIRECTION * np.abs(contrasts).max(axis=1))


@dataclass(frozen=True, eq=False, slots=True)
class ScoreArray:
    """Scores as one row per sitting-down to one sample, one column per attribute."""

    assessor: Codes
    prototype: Codes
    session: Codes
    batch: Codes
    assessors: tuple[str, ...]
    prototypes: tuple[str, ...]
    sessions: tuple[str, ...]
    attributes: tuple[str, ...]
    scores: Array
    covariates: Mapping[str, Codes]


_OF_SAMPLE = ("assessor", "prototype", "session", "replicate", "batch")


def score_array(
    scores: Numbered,
    prototypes: tuple[str, ...],
    attributes: tuple[str, ...],
    covariates: Mapping[str, pd.Series] | None = None,
    batches: tuple[Codes, list[str]] | None = None,
) -> ScoreArray:
    """Spread the long scores: rows are assessor x prototype x session x replicate x batch, columns the attributes.

    Scores that share all of these, and their covariates, are repetitions and get rows of their own. `covariates` are
    further facts of each sample, by name, one label per row of `scores`; `batches` its batch where it is not as
    the scores name it. Sessions and covariates stand in the natural order of their names, so that the order of the rows
    decides nothing, not even which part of a factor is left out.
    """
    facts = {name: _in_natural_order(labels) for name, labels in (covariates or {}).items()}
    columns = {name: scores[name] for name in (*_OF_SAMPLE, "attribute")} | ({"batch": batches} if batches else {})
    orders = {"prototype": prototypes, "attribute": attributes, "session": natural_order(columns["session"][1])}

    def placed_at(name: str, rows: Codes | slice) -> Codes:
        code, names = columns[name]
        return placed(code[rows], names, orders.get(name, names))

    apart = [name for name in _OF_SAMPLE if len(orders.get(name, columns[name][1])) > 1]
    begins = _beginnings([columns[name][0] for name in apart] + list(facts.values()), len(scores))
    sample = np.zeros(len(begins), dtype=np.intp)
    for name in apart:
        sample = sample * len(orders.get(name, columns[name][1])) + placed_at(name, begins)
    for of in facts.values():  # what differs in them is another sample, whatever the order of the rows
        sample = sample * (int(of.max(initial=0)) + 1) + of[begins]
    ranks, samples = _ranked(sample)
    counts, attribute = np.diff(begins, append=len(scores)), placed_at("attribute", slice(None))
    row, k, values = np.repeat(ranks, counts), len(attributes), scores.rows["score"].to_numpy(dtype=float)
    spread = _spread(row * k + attribute, values, samples * k)
    if np.count_nonzero(spread == spread) < len(values):  # some share their cell
        repeat = _times_seen(row * k + attribute)
        row, samples = _ranked(row * (int(repeat.max()) + 1) + repeat)
        begins = _beginnings([row], len(row))
        ranks, spread = row[begins], _spread(row * k + attribute, values, samples * k)
    first = np.empty(samples, dtype=np.intp)
    first[ranks[::-1]] = begins[::-1]  # those of one sample often follow each other
    levels = {name: tuple(map(str, orders.get(name, columns[name][1]))) for name in columns}
    return ScoreArray(
        placed_at("assessor", first),
        placed_at("prototype", first),
        placed_at("session", first),
        placed_at("batch", first),
        levels["assessor"],
        levels["prototype"],
        levels["session"],
        levels["attribute"],
        spread.reshape(samples, k),
        {name: of[first] for name, of in facts.items()},
    )


def _spread(cell: Codes, values: Array, size: int) -> Array:
    """Return the values in so many cells, each in its own; nothing in the others."""
    found = np.full(size, np.nan)
    found[cell] = values
    return found


def _beginnings(codes: Sequence[Codes], n: int) -> Codes:
    """Return the rows of `n` at which one of the codes is another than in the row before."""
    begins = np.zeros(n, dtype=bool)
    begins[:1] = True
    for code in codes:
        begins[1:] |= code[1:] != code[:-1]
    return np.flatnonzero(begins)


def _in_natural_order(labels: pd.Series) -> Codes:
    return np.asarray(pd.Index(natural_order(labels.unique())).get_indexer(pd.Index(labels)))


def _ranked(key: Codes) -> tuple[Codes, int]:
    """Return the rank of each key among the different ones, and how many these are."""
    if int(key.max(initial=0)) <= 4 * len(key) and int(key.min(initial=0)) == 0:  # quicker than to sort
        there = np.bincount(key) > 0
        return (np.cumsum(there) - 1)[key], int(there.sum())
    row, different = pd.factorize(key, sort=True)  # np.unique sorts every score
    return row, len(different)


def _times_seen(key: Codes) -> Codes:
    """Return how often each key stood in the rows before."""
    if (most := int(key.max(initial=0))) <= 4 * len(key):  # quicker than to sort
        there = np.zeros(most + 1, dtype=bool)
        there[key] = True
        if np.count_nonzero(there) == len(key):
            return np.zeros(len(key), dtype=np.intp)
    order = np.argsort(key, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(key[order]) != 0]) if len(key) else np.zeros(0, dtype=np.intp)
    seen = np.empty(len(key), dtype=np.intp)
    seen[order] = np.arange(len(key)) - np.repeat(starts, np.diff(np.r_[starts, len(key)]))
    return seen


def _panel_designs(
    array: ScoreArray, sets: Mapping[str, Mapping[str, int]], without: Container[int] = ()
) -> Iterator[PanelDesign]:
    """Yield the attributes grouped by the model their scores call for, those of the columns in `without` left out.

    `sets`: attribute to prototype to the number of the set within which it can be compared, whatever else is known.
    """
    alike: dict[tuple[bytes, tuple[int, ...], bool, bytes], list[int]] = {}
    for rows, columns in missing_patterns(array.scores):
        scored = np.bincount(array.prototype[rows], minlength=len(array.prototypes)) > 0
        terms, with_session = _terms(array, rows)
        of_model = _sets_of_model(array, rows, scored, with_session)
        for column in (column for column in columns.tolist() if column not in without):
            known = sets.get(array.attributes[column], {})
            apart = np.array([known.get(name, 0) for name in array.prototypes], dtype=np.intp)[scored]
            both = both_sets(of_model, apart) if apart.any() else of_model
            key = scored.tobytes(), terms, with_session, both.tobytes()
            alike.setdefault(key, []).append(column)
    for (held, terms, with_session, held_apart), together in sorted(alike.items(), key=lambda item: min(item[1])):
        yield _design(
            array,
            np.sort(together),
            np.frombuffer(held, dtype=bool),
            terms,
            with_session,
            np.frombuffer(held_apart, dtype=np.intp),
        )


def _sets_of_model(array: ScoreArray, rows: np.ndarray, scored: np.ndarray, with_session: bool) -> Codes:
    """Return the sets of prototypes between which the fixed factors leave no difference to estimate."""
    kept = np.flatnonzero(scored)
    factors = [array.session[rows]] if with_session else []
    factors += [codes[rows] for codes in array.covariates.values()]
    if not factors:
        return np.zeros(len(kept), dtype=np.intp)
    return sets_told(np.eye(len(kept))[np.searchsorted(kept, array.prototype[rows])], factors)


def _terms(array: ScoreArray, rows: np.ndarray) -> tuple[tuple[int, ...], bool]:
    """Return the random terms these rows can tell apart, and whether sessions enter the model.

    Assessor x prototype needs some pair scored more than once; assessor x session needs somebody with two
    sessions and a sitting with two samples; batch needs two of each prototype, for a difference from one that was made
    once can be told in these batches only, whatever is known of others. Sessions that one person attended alone are no
    sessions of the panel: what they have in common is that person's.
    """
    assessor, prototype, session = array.assessor[rows], array.prototype[rows], array.session[rows]
    pair = assessor * len(array.prototypes) + prototype
    sitting = assessor * len(array.sessions) + session
    terms = [ASSESSOR]
    if _times_seen(pair).any():
        terms.append(INTERACTION)
    attended = _ranked(sitting)[1]
    with_session = 1 < different(session) < attended
    if different(assessor) < attended < len(sitting):
        terms.append(SITTING)
    most = int(array.batch.max(initial=0)) + 1
    of_prototype = np.unique(prototype * most + array.batch[rows])
    if np.unique(of_prototype // most, return_counts=True)[1].min(initial=2) > 1 and len(of_prototype) < len(pair):
        terms.append(BATCH)
    return tuple(terms), with_session


def _design(
    array: ScoreArray, columns: Codes, held: np.ndarray, terms: tuple[int, ...], with_session: bool, sets: Codes
) -> PanelDesign:
    scores, every = array.scores, len(columns) == array.scores.shape[1]
    rows = np.isfinite(scores if every else scores[:, columns]).any(axis=1)
    response = scores if every and rows.all() else scores[np.ix_(rows, columns)]
    kept = np.flatnonzero(held)
    prototype = np.searchsorted(kept, array.prototype[rows])
    names, assessor = np.unique(array.assessor[rows], return_inverse=True)
    person = assessor.reshape(-1)
    attended = np.unique(array.session[rows], return_inverse=True)[1].reshape(-1)
    session = attended if with_session else np.zeros_like(attended)
    factors = {"session": session} if with_session else {}
    factors |= {name: codes[rows] for name, codes in array.covariates.items()}
    fixed, dropped = fixed_columns(np.eye(int(prototype.max()) + 1)[prototype], factors, response)
    code = {
        ASSESSOR: person,
        INTERACTION: person * len(kept) + prototype,
        SITTING: person * (int(attended.max(initial=0)) + 1) + attended,
        BATCH: prototype * (int(array.batch.max(initial=0)) + 1) + array.batch[rows],
    }
    balanced = not dropped and not array.covariates and BATCH not in terms
    return PanelDesign(
        attributes=tuple(array.attributes[column] for column in columns),
        prototypes=tuple(map(array.prototypes.__getitem__, kept)),
        assessors=tuple(map(array.assessors.__getitem__, names)),
        response=response,
        fixed=fixed,
        terms=terms,
        groups=[code[term] for term in terms],
        cube=_cube(response, person, prototype, session) if balanced else None,
        factors=tuple(factors),
        dropped=dropped,
        sets=sets,
    )


def fixed_columns(columns: Array, factors: Mapping[str, Codes], response: Array) -> tuple[Array, tuple[str, ...]]:
    """Return the columns and the contrasts of the factors that every attribute can tell from those before."""
    dropped = []
    patterns = [rows for rows, _ in missing_patterns(response)] if factors else []
    for name, codes in factors.items():
        contrasts = contrasts_of(codes)
        proposed = np.hstack([columns, contrasts])
        if _full_rank(proposed, patterns):
            columns = proposed
            continue
        dropped.append(name)
        for contrast in contrasts.T:
            proposed = np.column_stack([columns, contrast])
            columns = proposed if _full_rank(proposed, patterns) else columns
    return columns, tuple(dropped)


def _full_rank(columns: Array, patterns: list[NDArray[np.bool_]]) -> bool:
    """Return whether no column follows from the others, for every pattern of missing scores."""
    return all(
        np.linalg.matrix_rank(columns[rows].T @ columns[rows], hermitian=True) == columns.shape[1] for rows in patterns
    )


def _cube(response: Array, assessor: Codes, prototype: Codes, session: Codes) -> Array | None:
    """Return the scores as (assessors, prototypes, sessions, repetitions, q) if all cells are filled alike."""
    shape = tuple(int(codes.max()) + 1 for codes in (assessor, prototype, session))
    cell = np.ravel_multi_index((assessor, prototype, session), shape)
    counts = np.bincount(cell, minlength=int(np.prod(shape)))
    if counts.min() != counts.max() or not np.isfinite(response).all():
        return None
    order = np.argsort(cell, kind="stable")
    return response[order].reshape(*shape, int(counts[0]), response.shape[1])


# What is recorded of each serving beside the prototype: its position, its site, whether it was first on that arm.


_SERVING_FACTS = ("position", "site", "first_on_site")
_PLACE_ON_ARM = re.compile(r"[\s,;:./_-]*\d+$|[\s,;:./_-]+[A-Za-z]$")
"""What stands behind the name of an arm: `left forearm 3`, `left-B`, `L2`."""

_CONSTANT = {
    "position": "All scores are from one position, so there is no effect of it to take out. Leave it out of the model.",
    "site": "All scores are from one site, so there is no effect of it to take out. Leave it out of the model.",
    "first_on_site": (
        "Every serving is the first on its site, so there is no effect of it to take out. Where sites lie on one "
        "arm, give them its name and a number, such as 'left forearm 1'; otherwise leave it out of the model."
    ),
}


def _serving_labels(study: Study, scores: pd.DataFrame, names: Sequence[str]) -> dict[str, pd.Series]:
    """Return, for each of `names`, one label per row of `scores`.

    The position stands with the score or in the servings; the site is in the servings. The first on a site is the first
    of its session on that arm: `left forearm 1` and `left forearm 2` are one arm.

    Raises
    ------
    ModelError
        If a name is none of `_SERVING_FACTS`, it is not recorded for every score, or it is the same for all of them.
    """
    unknown = [name for name in names if name not in _SERVING_FACTS]
    if unknown:
        raise ModelError(f"{unknown[0]!r} cannot be taken out; choose among {', '.join(_SERVING_FACTS)}.")
    labels = _all_labels(study, scores)
    for name in names:
        missing = int((labels[name] == "").sum())
        if missing:
            raise ModelError(
                f"{name.replace('_', ' ').capitalize()} is not recorded for {missing} of {len(scores)} scores, so it "
                "cannot be taken out. Add it to the table servings, or leave it out of the model."
            )
        if labels[name].nunique() < 2:
            raise ModelError(_CONSTANT[name])
    return {name: labels[name] for name in names}


def _all_labels(study: Study, scores: pd.DataFrame) -> pd.DataFrame:
    """Return `position site first_on_site` for every score, empty where not recorded."""
    key = ["session", "assessor", "prototype"]
    servings = study.table("servings")
    servings = servings.loc[~servings.duplicated(key, keep=False)]
    # an arm is a site without the number or letter behind it, where that makes groups
    stripped = servings["site"].str.replace(_PLACE_ON_ARM, "", regex=True)
    arm = servings["site"].where(stripped == "", stripped)
    together = pd.DataFrame({"session": servings["session"], "assessor": servings["assessor"], "arm": arm})
    arm = arm if together.duplicated().any() else servings["site"]
    first = servings.groupby([servings["session"], servings["assessor"], arm])["position"].transform("min")
    facts = servings[key].assign(
        served_at=servings["position"],
        site=servings["site"],
        first_on_site=(servings["position"] == first).map({True: "yes", False: "no"}).where(servings["site"] != "", ""),
    )
    joined = scores[[*key, "position"]].merge(facts, on=key, how="left").set_axis(scores.index, axis=0)
    position = joined["position"].fillna(joined["served_at"])
    return pd.DataFrame(
        {
            "position": position.map("{:g}".format).where(position.notna(), ""),
            "site": joined["site"].fillna(""),
            "first_on_site": joined["first_on_site"].fillna(""),
        }
    ).astype("str")


# Each assessor's own mean of each prototype on each attribute, as an array.


def assessor_means(scores: pd.DataFrame, prototypes: Sequence[str], attributes: Sequence[str]) -> Array:
    """Return each assessor's mean score; shape (assessors, prototypes, attributes), NaN where there is none.

    Assessors who scored fewer than two of the prototypes compare nothing and are not counted.
    """
    numbered, asked = Numbered(scores), {"prototype": prototypes, "attribute": attributes}
    prototype, attribute = (placed(*numbered[name], order) for name, order in asked.items())
    used = (prototype >= 0) & (attribute >= 0)
    who, people = pd.factorize(numbered["assessor"][0][used])
    shape = len(people), len(prototypes), len(attributes)
    cell, size = np.ravel_multi_index((who, prototype[used], attribute[used]), shape), int(np.prod(shape))
    total = np.bincount(cell, scores["score"].to_numpy(dtype=float)[used], size)
    values = ratio(total, np.bincount(cell, minlength=size)).reshape(shape)
    return values[np.isfinite(values).any(axis=2).sum(axis=1) >= 2]


# The panel's model, fitted.


NOTHING_JOINED = (
    "no two prototypes were scored in one session, on one day and by one group of assessors, nor joined through "
    "others, so that no difference can be told from these"
)


@dataclass(frozen=True, eq=False, slots=True)
class PanelFit:
    """The panel's model of a study, for every question that rests on it.

    The scores `used`, their `confounds`, the `fits` of the attributes that share a model, and (attribute, why not) of
    the others.
    """

    used: ScoresUsed
    confounds: Confounds
    fits: list[tuple[PanelDesign, MixedFit]]
    left_out: list[tuple[str, str]]


def in_order(frame: pd.DataFrame, column: str, names: Iterable[str]) -> pd.DataFrame:
    """Return the rows in the order of `names` in a column; rows with one name stay as they stand to each other."""
    order = {name: place for place, name in enumerate(names)}
    return frame.sort_values(column, key=lambda own: own.map(order), kind="stable", ignore_index=True)


@kept
def fit_study(study: Study, adjust_for: Sequence[str] = ()) -> PanelFit:
    """Fit the panel's model to the scores that an analysis of `study` uses."""
    used, confounds = scores_used(study), find_confounds(study)
    array = _array_of(study, used.numbered, adjust_for) if adjust_for else _array_used(study)
    return PanelFit(used, confounds, *_fit_array(array, confounds.sets))


def fit_panel(
    study: Study, frame: pd.DataFrame, adjust_for: Sequence[str] = ()
) -> tuple[list[tuple[PanelDesign, MixedFit]], list[tuple[str, str]]]:
    """Fit every attribute of the scores in `frame` that can be fitted.

    Returns the fits, attributes that share a model together, and (attribute, why not) of the others.
    """
    scores = Numbered(frame)
    return _fit_array(_array_of(study, scores, adjust_for), sets_of_scores(study, scores))


def _fit_array(
    array: ScoreArray, sets: Mapping[str, Mapping[str, int]]
) -> tuple[list[tuple[PanelDesign, MixedFit]], list[tuple[str, str]]]:
    too_little = _too_little(array)
    left_out = [(array.attributes[column], why) for column, why in sorted(too_little.items())]
    fits: list[tuple[PanelDesign, MixedFit]] = []
    for design in _panel_designs(array, sets, too_little):
        if len(design.prototypes) == int(design.sets.max()) + 1:
            left_out += [(name, NOTHING_JOINED) for name in design.attributes]
            continue
        fitted, why_not = _fit_all(design)
        fits += fitted
        left_out += why_not
    return fits, left_out


def _fit_all(design: PanelDesign) -> tuple[list[tuple[PanelDesign, MixedFit]], list[tuple[str, str]]]:
    """Fit the attributes of a design, each alone where they cannot be fitted together; return why not of the rest."""
    try:
        fit = _fit(design)
    except ModelError as error:
        if len(design.attributes) == 1:
            return [], [(design.attributes[0], str(error))]
        each = [
            _fit_all(design.only(np.arange(len(design.attributes)) == place)) for place in range(len(design.attributes))
        ]
        return [found for fits, _ in each for found in fits], [why for _, left_out in each for why in left_out]
    reasons = nothing_left(fit, design.response, design.fixed, design.groups)
    left_out = [pair for pair in zip(design.attributes, reasons, strict=True) if pair[1]]
    if not left_out:
        return [(design, fit)], []
    if len(left_out) == len(reasons):
        return [], left_out
    rest = design.only(np.array([not why for why in reasons]))
    return [(rest, _fit(rest))], left_out


def designs_of(study: Study, frame: pd.DataFrame) -> list[PanelDesign]:
    """Return the models that the scores in `frame` call for."""
    scores = Numbered(frame)
    return list(_panel_designs(_array_of(study, scores), sets_of_scores(study, scores)))


def _array_of(study: Study, scores: Numbered, adjust_for: Sequence[str] = ()) -> ScoreArray:
    held = set(scores["attribute"][1])
    attributes = tuple(name for name in study.attributes if name in held)
    if find_confounds(study).uneven_orders and serving_of_score(study, scores.frame)[0].notna().all():
        adjust_for = tuple(dict.fromkeys(("position", *adjust_for)))
    covariates = _serving_labels(study, scores.frame, adjust_for) if adjust_for else {}
    covariates |= _groups_partly_along(study, scores.frame)
    return score_array(scores, study.prototypes, attributes, covariates, batch_of_score(study, scores))


def _groups_partly_along(study: Study, scores: pd.DataFrame) -> dict[str, pd.Series]:
    """Return the group of whoever gave each score where groups go partly along with pairs, and sessions don't say it.

    People of one group are then no sample of all: what lies between the groups would be told of the prototypes.
    """
    pairs = find_confounds(study).pairs
    if not ((pairs["factor"] == GROUP) & (pairs["kind"] != WHOLLY)).any():
        return {}
    own = study.table("assessors").drop_duplicates("assessor").set_index("assessor")["group"]
    group = scores["assessor"].map(own).fillna("")
    groups, sessions = set(group), set(scores["session"])
    told = len(set(zip(scores["session"], group, strict=True))) == len(sessions)
    return {} if told or "" in groups or len(groups) < 2 else {GROUP: group}


@kept
def _array_used(study: Study) -> ScoreArray:
    return _array_of(study, scores_used(study).numbered)


def _too_little(array: ScoreArray) -> dict[int, str]:
    """Return the columns whose scores, prototypes or assessors are all one, with the first reason."""
    why: dict[int, str] = {}
    for rows, columns in missing_patterns(array.scores):
        for codes, reason in (
            (array.assessor[rows], "only one assessor scored it"),
            (array.prototype[rows], "only one prototype was scored"),
        ):
            why |= dict.fromkeys(columns.tolist() if (codes == codes[:1]).all() else (), reason)
    highest, lowest = (of.reduce(array.scores, initial=np.nan) for of in (np.fmax, np.fmin))
    return why | dict.fromkeys(np.flatnonzero(highest == lowest).tolist(), "every score is the same")


def _fit(design: PanelDesign) -> MixedFit:
    start = None
    if design.cube is not None:
        start = relative_variances(design.cube, design.terms)
    return fit_mixed_model(design.response, design.fixed, design.groups, start)


def variance_rows(design: PanelDesign, fit: MixedFit) -> pd.DataFrame:
    """Return the variances, one row per attribute, NaN where the model has no such term."""
    columns = dict.fromkeys(["assessor", "assessor_prototype", "session", "batch"], np.nan)
    found = {VARIANCE_COLUMNS[term]: fit.variances[:, place] for place, term in enumerate(design.terms)}
    return pd.DataFrame({"attribute": design.attributes} | columns | found | {"residual": fit.variances[:, -1]})
