"""Which prototype to make next: nearer to the target, telling more, or both?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.emollients.descriptors import blend_warnings
from panel.models.emollients.prediction_model import PredictionModel, model_rows, prediction_model
from panel.models.emollients.predictions import REGION_TOLERANCE, Targets, study_targets, target_ends, what_if
from panel.models.prototypes.differences import Differences
from panel.stats.arrays import Array
from panel.stats.formulas.composition import hull_place
from panel.stats.formulas.mixtures import information_gain, predict_rows, rounded_to_total
from panel.stats.mixed.inference import Estimates
from panel.study.formulas import SAME_AMOUNT, joint_changes
from panel.study.study import Study

# A prediction that meets less than so many windows more than what there is comes no nearer; a setting of ours.
_NEARER = 0.1
# target: most target windows likely met. learn: most new information inside the region. untangle: moves emollients
# apart that always changed together; outside the region, so without numbers.


@dataclass(frozen=True, eq=False, slots=True)
class NextPrototypes:
    """One to three prototypes to make and test next; none is called the best there is.

    Parameters
    ----------
    proposals
        `proposal purpose inside windows expected nearer rank_gain gain`: number of target windows, how many of them the
        prototype is expected to meet (the sum of the chances), whether that is more than any prototype meets that was
        made, how many terms of a model with interactions and curvature it sets free, and what it adds to log det X'X of
        the model in use.
    tested
        `prototype expected best`: how many windows the prototypes that were made meet, counted in the same way; `best`
        is True for the first of those that meet most.
    blends
        `proposal ingredient percent`, per cent of the formula.
    profiles
        `proposal` and the columns of a predicted profile; numbers only inside the tested region.
    teaches
        `proposal kind about`: `new level` (of a swap or emollient), `curvature`, `alias broken`.
    warnings
        `proposal kind value versus about words`: see `panel.models.emollients.descriptors`.
    """

    proposals: pd.DataFrame
    tested: pd.DataFrame
    blends: pd.DataFrame
    profiles: pd.DataFrame
    teaches: pd.DataFrame
    warnings: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def propose_next(
    study: Study,
    *,
    targets: Targets | None = None,
    differences: Differences | None = None,
    model: PredictionModel | None = None,
) -> NextPrototypes:
    """Propose what to make next; ModelError if nothing can be predicted from the prototypes there are.

    Parameters
    ----------
    targets
        Target windows; by default those of the study's attributes.
    differences, model
        Answers that are at hand already.
    """
    known = prediction_model(study, differences) if model is None else model
    wanted = study_targets(study) if targets is None else targets
    candidates = _candidate_blends(known)
    chosen = _chosen(known, candidates, wanted)
    blends = [(purpose, candidates[place]) for purpose, place in chosen]
    apart = _untangling(study, known)
    if apart is not None:
        blends.append(("untangle", apart))
    if not blends:
        raise ModelError(
            "Every blend between the prototypes that one could weigh has been made. Widen the region: plan a new swap."
        )
    return _result(study, known, wanted, blends, len(candidates))


def _chances(model: PredictionModel, found: Estimates, targets: Targets) -> Array:
    """Return for each blend and attribute with a window the chance to fall into it."""
    low, high = target_ends(targets, model.level.attributes)
    wanted = ~(np.isnan(low) & np.isnan(high))
    return found.chance_between(low, high)[:, wanted]


def _gains(model: PredictionModel, amounts: Array) -> tuple[NDArray[np.int64], Array]:
    """Return what each blend adds to the model with interactions and curvature."""
    tested, _ = model.moves.coordinates(model.level.amounts.to_numpy(dtype=float))
    z, _ = model.moves.coordinates(amounts)
    return information_gain(model_rows(tested, "curved"), model_rows(z, "curved"))


def _tested(model: PredictionModel, targets: Targets) -> pd.DataFrame:
    """Return how many windows each prototype meets, from its own mean and the panel's own error."""
    mean = model.level.means.to_numpy(dtype=float)
    std_error = np.broadcast_to(np.sqrt(model.level.panel_variance), mean.shape)
    found = Estimates(mean, std_error, np.broadcast_to(model.level.panel_df, mean.shape))
    expected = _chances(model, found, targets).sum(axis=1)
    best = np.arange(len(expected)) == int(np.argmax(expected)) if targets else np.zeros(len(expected), bool)
    return pd.DataFrame({"prototype": model.level.means.index.astype("str"), "expected": expected, "best": best})


def _chosen(model: PredictionModel, amounts: Array, targets: Targets) -> list[tuple[str, int]]:
    """Return purpose and number of the blend nearest to the target and of the one that tells most."""
    if not len(amounts):
        return []
    found = predict_rows(model.fit, model.rows(amounts), model.variance, model.df)
    expected = _chances(model, found, targets).sum(axis=1)
    rank_gain, gain = _gains(model, amounts)
    chosen = [("target", int(np.argmax(expected.round(9))))] if targets else []
    order = np.lexsort((-expected, -gain.round(9), -rank_gain))
    telling = [int(place) for place in order if place not in [taken for _, taken in chosen]]
    return [*chosen, *(("learn", place) for place in telling[:1])]


def _untangling(study: Study, model: PredictionModel) -> Array | None:
    """Return the base with half of a joint change made, so that emollients which never changed apart do; or None."""
    joint = joint_changes(study)
    columns = list(model.level.emollients)
    base = model.level.base_amounts
    for removed, added in dict.fromkeys(zip(joint["removed"].astype(str), joint["added"].astype(str), strict=True)):
        gone, came = removed.split(" + "), added.split(" + ")
        if not {*gone, *came} <= set(columns) or len(gone) + len(came) < 3:
            continue
        amounts = base.copy()
        mass = min(base[columns.index(gone[0])], float(np.ptp(model.level.amounts[came[0]].to_numpy(dtype=float))))
        if mass <= SAME_AMOUNT:
            continue
        amounts[columns.index(gone[0])] -= mass
        amounts[columns.index(came[0])] += mass
        return amounts
    return None


def _result(
    study: Study, model: PredictionModel, targets: Targets, blends: list[tuple[str, Array]], candidates: int
) -> NextPrototypes:
    columns = model.level.emollients
    base = dict(zip(columns, model.level.base_amounts.tolist(), strict=True))
    tested = _tested(model, targets)
    most = float(tested["expected"].max())
    rows, amounts_rows, profiles, teaches, warnings = [], [], [], [], []
    for number, (purpose, amounts) in enumerate(blends, start=1):
        blend = dict(zip(columns, amounts.tolist(), strict=True))
        told = what_if(model, blend, targets, inside=purpose != "untangle")
        rank_gain = _gains(model, amounts[None])[0]
        gain = information_gain(model.rows(model.level.amounts.to_numpy(float)), model.rows(amounts))[1]
        expected = float(told.profile["chance"].sum()) if told.inside else float("nan")
        nearer = bool(targets) and expected > most + _NEARER
        wanted = (len(targets), expected, nearer)
        rows.append((number, purpose, told.inside, *wanted, int(rank_gain[0]), float(gain[0])))
        amounts_rows += [(number, name, amount) for name, amount in blend.items() if amount > SAME_AMOUNT]
        profiles.append(told.profile)
        teaches += [(number, kind, about) for kind, about in _teaches(model, amounts, purpose, int(rank_gain[0]))]
        warnings.append(blend_warnings(study, blend, base))
    head = ["proposal", "purpose", "inside", "windows", "expected", "nearer", "rank_gain", "gain"]
    return NextPrototypes(
        proposals=pd.DataFrame(rows, columns=head).astype({"purpose": "str"}),
        tested=tested,
        blends=pd.DataFrame(amounts_rows, columns=["proposal", "ingredient", "percent"]).astype({"ingredient": "str"}),
        profiles=_proposal_first(profiles),
        teaches=pd.DataFrame(teaches, columns=["proposal", "kind", "about"]).astype({"kind": "str", "about": "str"}),
        warnings=_proposal_first(warnings),
        method=_method(model, candidates),
        notes=tuple(_notes(study, model, targets)),
    )


def _proposal_first(frames: list[pd.DataFrame]) -> pd.DataFrame:
    """Return the frames of all proposals below each other, their numbers before all else."""
    return (
        pd.concat(dict(enumerate(frames, start=1)), names=["proposal"]).reset_index("proposal").reset_index(drop=True)
    )


def _teaches(model: PredictionModel, amounts: Array, purpose: str, rank_gain: int) -> list[tuple[str, str]]:
    """Return what is new about the blend: levels nobody tried, curvature, emollients moved apart."""
    if purpose == "untangle":
        off = model.moves.coordinates(amounts)[1][0]
        moved = np.abs(amounts - model.level.base_amounts) > SAME_AMOUNT
        names = [name for name, is_moved in zip(model.level.emollients, moved, strict=True) if is_moved]
        return [("alias broken", ", ".join(names))] if off > SAME_AMOUNT else []
    tested = model.level.amounts.to_numpy(dtype=float)
    if model.moves.kind == "swaps":
        z, made = model.moves.coordinates(amounts)[0][0], model.moves.coordinates(tested)[0]
        names, new = list(model.moves.names), np.abs(made - z).min(axis=0) > 1e-6
    else:
        names, new = list(model.level.emollients), np.abs(tested - amounts).min(axis=0) > SAME_AMOUNT
    told = [("new level", name) for name, is_new in zip(names, new, strict=True) if is_new]
    return [*told, ("curvature", "")] if rank_gain > 0 and told else told


def _method(model: PredictionModel, n: int) -> str:
    return (
        f"Of {n} blends inside the tested region that could be weighed and were not made: the one expected to meet "
        "most target windows (sum of the chances of the predicted means), and the one that adds most to a model with "
        "interactions and curvature: how many more of its terms can be told apart, then how closely all are known. "
        f"{model.method}"
    )


def _notes(study: Study, model: PredictionModel, targets: Targets) -> Iterator[str]:
    yield "Make it and test it beside the base: a prediction is no result."
    yield from model.level.notes
    if not targets:
        yield "The study states no target window, so nothing could be held against a target."
    beyond = [study.attribute_words(name) for name in targets if name not in model.level.means.columns]
    if beyond:
        yield f"Have a target window but no predicted mean: {', '.join(beyond)}."


# Blends worth considering next: between those that were made, in steps one can weigh, not made yet.


# Parts of a swap that are tried; with many swaps only the middle, or there would be thousands of blends.
_FINE, _COARSE = (0.0, 0.25, 0.5, 0.75, 1.0), (0.0, 0.5, 1.0)
_MOST_FINE = 4


def _candidate_blends(model: PredictionModel) -> Array:
    """Return amounts (blends x emollients, per cent of the formula) inside the tested region that nobody made.

    Where the blends consist of swaps: every combination of parts of the swaps, a slot split between the two emollients
    among them. Otherwise: middles and quarters between any two blends, and the middle of all. Amounts are rounded to
    0.01 %.
    """
    tested = model.level.amounts.to_numpy(dtype=float)
    grid = _parts_of_swaps(model) if model.moves.kind == "swaps" else _between(tested, model)
    new = np.abs(grid[:, None] - tested[None]).max(axis=2).min(axis=1) > REGION_TOLERANCE
    grid = np.unique(grid[new].round(6), axis=0)
    if model.moves.kind == "swaps" and not _box_is_tested(model):
        grid = grid[[hull_place(tested, blend)[0] <= REGION_TOLERANCE for blend in grid]]
    return grid.reshape(-1, tested.shape[1])


def _parts_of_swaps(model: PredictionModel) -> Array:
    moves = model.moves
    count = len(moves.names)
    parts = np.array(list(product(_FINE if count <= _MOST_FINE else _COARSE, repeat=count)))
    mass = np.abs(moves.directions).max(axis=1)
    weighed = (parts * mass).round(2) / mass
    amounts = moves.origin + weighed @ moves.directions
    return amounts[(amounts >= -1e-9).all(axis=1)].clip(min=0)


def _between(tested: Array, model: PredictionModel) -> Array:
    pairs = list(combinations(range(len(tested)), 2))
    first, second = tested[[i for i, _ in pairs]], tested[[j for _, j in pairs]]
    points = [first + part * (second - first) for part in (0.25, 0.5, 0.75)]
    total = float(model.level.base_amounts.sum())
    points = [*points, tested.mean(axis=0)[None]]
    stacked = np.vstack(points)
    return rounded_to_total(stacked[np.abs(stacked.sum(axis=1) - total) <= REGION_TOLERANCE], total)


def _box_is_tested(model: PredictionModel) -> bool:
    """Return whether every combination of whole swaps was made, so that all between them is inside."""
    z, _ = model.moves.coordinates(model.level.amounts.to_numpy(dtype=float))
    made = {tuple(row) for row in z.round(6) + 0.0}
    return all(corner in made for corner in product((0.0, 1.0), repeat=z.shape[1]))
