"""Liking looked at in other ways: by ranks, and by place in the serving."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.consumers.answers import AnswersRead
from panel.models.prototypes.ranks import FRIEDMAN, rank_tables
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import below
from panel.stats.mixed.inference import estimate_contrasts, test_contrasts
from panel.stats.mixed.reml import fit_mixed_model
from panel.study.study import natural_order

_MOST_LOST = 0.5  # share of the consumers; with more gaps than this the serving was meant to be incomplete
_BEFORE = "the sample before"
_SERVING_COLUMNS = ["effect", "statistic", "df", "df_error", "p_value", "prototype_p_value"]
_POSITION_COLUMNS = ["position", "n", "estimate", "std_error"]
_NOTHING = 1e-9  # of the size of an effect's columns: what is left beside the others by rounding only


def ranks_beside(frame: pd.DataFrame) -> tuple[list[dict[str, Any]], str, str, list[str]]:
    """Rank the prototypes within each consumer: Friedman's test on complete rows, unless most rows have gaps.

    Where more than half of the consumers have gaps by design, the test of Skillings and Mack uses them.
    Returns its row among the tests (none where there is no test), why it loses the other consumers, how, and notes.
    """
    complete = frame.notna().all(axis=1)
    by_design = complete.mean() < _MOST_LOST
    ranked = frame if by_design else frame.loc[complete]
    try:
        found = rank_tables("liking", ranked)[0]
    except ModelError as error:
        return [], "", "no rank test", [f"There is no rank test beside it: {error}"]
    n = int(found["n_assessors"])
    used = ranked.loc[ranked.notna().sum(axis=1) >= 2]
    name, n_answers = str(found["method"]), int(used.notna().to_numpy().sum())
    row = {
        "test": name,
        **{key: float(found[key]) for key in ("statistic", "df", "p_value")},
        "df_error": np.nan,
        "n_consumers": n,
        "n_answers": n_answers,
    }
    kind = "exact" if found["exact"] else "chi-square"
    lost = len(frame) - n
    why = "did not try every prototype" if name == FRIEDMAN else "tried one prototype only"
    return [row], why if lost else "", f"{name}'s test of the ranks within each consumer ({kind} p-value)", []


def without_order(answers: AnswersRead) -> tuple[AnswersRead, pd.DataFrame]:
    """Take the place in the serving out of answers, as far as it can be told from people and prototypes.

    What position, session and the sample before add on average over all people is estimated by least squares beside
    people and prototypes, and subtracted; the mean of each prototype stays as least squares gives it.

    Returns
    -------
    answers, effects
        The answers with `frame` changed, and `effect statistic df df_error p_value prototype_p_value matters`, without
        rows where no place is recorded.
    """
    effects, _ = serving_effects(answers)
    effects = effects.assign(matters=below(effects["p_value"]))
    rows, columns, parts, _ = _with_serving(answers)
    if not parts:
        return answers, effects
    person = pd.factorize(rows["assessor"])[0].astype(np.intp)
    k = answers.frame.shape[1]
    every = np.column_stack([columns, rows["answer"].to_numpy(dtype=float)])
    level = np.zeros((person.max() + 1, every.shape[1]))
    np.add.at(level, person, every)
    left = every - (level / np.bincount(person)[:, None])[person]
    left = left[:, k:] - left[:, :k] @ np.linalg.lstsq(left[:, :k], left[:, k:], rcond=None)[0]
    order, answer = left[:, :-1], left[:, -1]
    taken = rows.assign(taken=order @ np.linalg.lstsq(order, answer, rcond=None)[0]).pivot_table(
        index="assessor", columns="prototype", values="taken"
    )
    taken = taken.reindex(index=answers.frame.index, columns=answers.frame.columns).fillna(0.0)
    return replace(answers, frame=answers.frame - taken), effects


def _tried_before(rows: pd.DataFrame) -> pd.Series:
    """Return the prototype that the same person tried just before in the same session; NaN for the first."""
    ordered = rows.sort_values(["assessor", "session", "position"], kind="stable")
    before = ordered.groupby(["assessor", "session"])["prototype"].shift()
    apart = ordered.groupby(["assessor", "session"])["position"].diff()
    return before.where(apart == 1).reindex(rows.index)


def serving_effects(answers: AnswersRead) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Test session, position and the sample before as further fixed effects; return tests, and the mean by position."""
    rows, columns, parts, positions = _with_serving(answers)
    none = pd.DataFrame({name: pd.Series(dtype="float64") for name in _SERVING_COLUMNS}).astype({"effect": "str"})
    no_positions = pd.DataFrame({name: pd.Series(dtype="float64") for name in _POSITION_COLUMNS})
    if not parts:
        return none, no_positions
    person = pd.factorize(rows["assessor"])[0].astype(np.intp)
    response = rows["answer"].to_numpy(dtype=float)[:, None]
    try:
        fit = fit_mixed_model(response, columns, [person])
    except ModelError:
        return none, no_positions
    if not fit.told_apart[0]:
        return none, no_positions
    everything = np.eye(columns.shape[1])
    k = answers.frame.shape[1]
    order = [list(answers.frame.columns).index(name) for name in natural_order(map(str, answers.frame.columns))]
    same = test_contrasts(fit, everything[order[1:]] - everything[order[:1]])
    told = []
    for effect, part in parts.items():
        test = test_contrasts(fit, everything[part])
        told.append((effect, test.statistic[0], float(test.df), test.df_error[0], test.p_value[0], same.p_value[0]))
    if not positions:
        return pd.DataFrame(told, columns=_SERVING_COLUMNS), no_positions
    own = everything[parts["position"]]
    contrasts = np.vstack([own, -own.sum(axis=0)])
    contrasts[:, :k] = 1 / k
    found = estimate_contrasts(fit, contrasts)
    by_position = pd.DataFrame(
        {
            "position": positions,
            "n": [int((rows["position"] == place).sum()) for place in positions],
            "estimate": found.estimate[0],
            "std_error": found.std_error[0],
        }
    )
    return pd.DataFrame(told, columns=_SERVING_COLUMNS), by_position


def _with_serving(answers: AnswersRead) -> tuple[pd.DataFrame, Array, dict[str, slice], list[float]]:
    """Return the answers with a known place, their fixed columns, which of these are which effect, and the positions.

    Of an effect that follows in part from the ones before stays the part that can be told: served forwards and
    backwards, what the first and the last place share is the prototypes'. What follows wholly (each session holds other
    prototypes only) is left out. Positions are given where all of them can be told.
    """
    rows = answers.rows
    known = rows["position"].notna() if rows["position"].notna().any() else rows["session"] != ""
    rows = rows.loc[known]
    columns = np.eye(answers.frame.shape[1])[answers.frame.columns.get_indexer(pd.Index(rows["prototype"]))]
    columns = columns[:, columns.any(axis=0)]
    parts: dict[str, slice] = {}
    positions: list[float] = []
    if columns.shape[1] < answers.frame.shape[1]:
        return rows, columns, parts, positions
    before = _tried_before(rows)
    for effect, codes in (("session", rows["session"]), ("position", rows["position"]), (_BEFORE, before)):
        code, levels = pd.factorize(codes, sort=True)
        if len(levels) < 2 or (effect != _BEFORE and (code < 0).any()):
            continue
        each = np.where(code[:, None] < 0, 0.0, np.eye(len(levels))[code])  # the first sample comes after none
        other = np.where(code[:, None] < 0, 0.0, each[:, -1:])
        more = each[:, :-1] - other
        proposed = np.hstack([columns, more])
        whole = np.linalg.matrix_rank(proposed.T @ proposed, hermitian=True) == proposed.shape[1]
        if not whole:
            proposed = np.hstack([columns, _beside(columns, more)])
        if proposed.shape[1] == columns.shape[1]:
            continue
        parts[effect] = slice(columns.shape[1], proposed.shape[1])
        columns = proposed
        positions = [float(level) for level in levels] if effect == "position" and whole else positions
    return rows, columns, parts, positions


def _beside(columns: Array, more: Array) -> Array:
    """Return columns that span what `more` adds to `columns`, of their size."""
    left = more - columns @ np.linalg.lstsq(columns, more, rcond=None)[0]
    basis, size, _ = np.linalg.svd(left, full_matrices=False)
    return np.asarray(basis[:, size > _NOTHING * np.linalg.norm(more)] * np.sqrt(len(more)))
