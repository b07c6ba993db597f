"""What each emollient swap did to each attribute, inside this base and for these assessors."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.emollients.aliases import find_aliases
from panel.models.emollients.contrasts import ScoreArray, contrast_frame, mean_by, pair_differences, score_array
from panel.models.emollients.descriptors import find_descriptors
from panel.models.emollients.swap_notes import swap_notes
from panel.stats.comparing.multiplicity import benjamini_hochberg
from panel.stats.formulas.composition import Moves, independent_moves
from panel.study.blend import blend_rounding, emollient_blend
from panel.study.study import Study
from panel.study.swaps import formula_pairs, oriented

_CHANGE = ["swap", "removed", "added", "percent"]


@dataclass(frozen=True, eq=False, slots=True)
class TracedSwaps:
    """What the swaps of a study did.

    Parameters
    ----------
    n_moves, moves
        How many directions the blends differ in; per singular value of the centred blends (in per cent of the
        emollient part): `move singular_value tolerance counts`.
    aliases
        Emollients and blend descriptors that move together: `group kind descriptor sign`. Weak descriptors take no
        part.
    swaps
        One row per attribute and swap: `attribute swap removed added percent estimate std_error df statistic p_value
        p_adjusted ci_low ci_high n_pairs n_assessors`. The estimate is the score with the swap minus without it.
    joint
        The same for changes of several emollients that never change apart: the effect belongs to all of them.
    interactions
        One row per attribute and two swaps, `swap` and `with_swap`: how much more one swap does where the other has
        been made; `n_squares` sets of four prototypes.
    pairs
        The matched pairs behind it: `removed added percent prototype versus swap`.
    unpaired
        Pairs of prototypes that are no swap: `prototype versus kind removed added percent`.
    level, method, notes
        Confidence level of the intervals, how it was done, and what to know before trusting it.
    """

    n_moves: int
    moves: pd.DataFrame
    aliases: pd.DataFrame
    swaps: pd.DataFrame
    joint: pd.DataFrame
    interactions: pd.DataFrame
    pairs: pd.DataFrame
    unpaired: pd.DataFrame
    level: float
    method: str
    notes: tuple[str, ...]


def trace_swaps(study: Study, level: float = 0.95) -> TracedSwaps:
    """Trace differences between the prototypes of `study` back to their emollient swaps.

    For each assessor a swap's contrast is the mean over its matched pairs of the mean over sittings of
    score(prototype) - score(versus); then a paired t test over assessors. ModelError if there are fewer than two
    formulas with emollients, or no scores for them.
    """
    blend = _blend(study)
    descriptors = find_descriptors(study)
    scores = score_array(study, tuple(blend.index))
    differing = formula_pairs(study)
    pairs = oriented(differing.loc[differing["kind"] == "swap"])
    together = oriented(differing.loc[differing["kind"] == "joint"])
    effects = _effects(scores, pd.concat([pairs, together], ignore_index=True), level)
    single = effects["swap"].isin(pairs["swap"])
    moves = independent_moves(blend.to_numpy(), blend_rounding(study))
    return TracedSwaps(
        n_moves=moves.count,
        moves=_moves_frame(moves),
        aliases=find_aliases(blend, descriptors.wide[list(descriptors.sound)]),
        swaps=effects.loc[single].reset_index(drop=True),
        joint=effects.loc[~single].reset_index(drop=True),
        interactions=_interactions(scores, pairs, level),
        pairs=pairs,
        unpaired=differing.loc[~differing["kind"].isin(["swap", "joint"])].reset_index(drop=True),
        level=level,
        method=_method(level, len(effects)),
        notes=swap_notes(study, scores, pairs, together, differing),
    )


def _blend(study: Study) -> pd.DataFrame:
    """Return the blends, or say what is missing to have at least two."""
    blend = emollient_blend(study)
    if study.table("formulas").empty:
        raise ModelError(
            "The study has no formulas, so no difference can be traced to an emollient. Add the table formulas, one "
            "row per ingredient and prototype: prototype, ingredient (INCI), percent, kind (emollient ...)."
        )
    if len(blend) < 2:
        raise ModelError(
            "Fewer than two prototypes have a complete formula with an emollient. Add the formulas of the others, fill "
            "in missing amounts, and write 'emollient' as the kind of each emollient."
        )
    return blend


def _moves_frame(moves: Moves) -> pd.DataFrame:
    size = moves.singular_values.size
    return pd.DataFrame(
        {
            "move": np.arange(1, size + 1),
            "singular_value": moves.singular_values,
            "tolerance": np.full(size, moves.tolerance),
            "counts": np.arange(size) < moves.count,
        }
    )


def _effects(scores: ScoreArray, pairs: pd.DataFrame, level: float) -> pd.DataFrame:
    """Return the tested contrast of every change of emollients in `pairs`, one family of tests for all of them."""
    differences = pair_differences(scores, pairs)
    changes = pairs[_CHANGE].drop_duplicates(ignore_index=True)
    members = [np.flatnonzero(pairs["swap"] == swap) for swap in changes["swap"]]
    frame = contrast_frame(mean_by(differences, members), scores.attributes, changes, level)
    seen = np.any(~np.isnan(differences), axis=0)
    n_pairs = {
        (attribute, swap): int(np.count_nonzero(seen[place, rows]))
        for place, attribute in enumerate(scores.attributes)
        for swap, rows in zip(changes["swap"], members, strict=True)
    }
    keys = zip(frame["attribute"], frame["swap"], strict=True)
    frame["n_pairs"] = pd.Series([n_pairs[key] for key in keys], dtype="int64")
    frame["p_adjusted"] = benjamini_hochberg(frame["p_value"])
    return frame[_order_of_columns("swap", "removed", "added", "percent", counted="n_pairs")]


def _order_of_columns(*change: str, counted: str) -> list[str]:
    tests = ["estimate", "std_error", "df", "statistic", "p_value", "p_adjusted", "ci_low", "ci_high"]
    return ["attribute", *change, *tests, counted, "n_assessors"]


def _interactions(scores: ScoreArray, pairs: pd.DataFrame, level: float) -> pd.DataFrame:
    """Return how much more each swap does where another has been made, from squares of four prototypes."""
    squares = _squares(pairs)
    changes = squares[["swap", "with_swap"]].drop_duplicates(ignore_index=True)
    members = [
        np.flatnonzero((squares["swap"] == swap) & (squares["with_swap"] == other))
        for swap, other in zip(changes["swap"], changes["with_swap"], strict=True)
    ]
    changes["n_squares"] = pd.Series([len(rows) for rows in members], dtype="int64")
    differences = pair_differences(scores, pairs)
    extra = differences[..., squares["both"]] - differences[..., squares["alone"]]
    frame = contrast_frame(mean_by(extra, members), scores.attributes, changes, level)
    frame["p_adjusted"] = benjamini_hochberg(frame["p_value"])
    return frame[_order_of_columns("swap", "with_swap", counted="n_squares")]


def _squares(pairs: pd.DataFrame) -> pd.DataFrame:
    """Return the squares of two swaps: the numbers of the pairs that show `swap` with the other made and alone."""
    rows = list(zip(pairs["swap"], pairs["prototype"], pairs["versus"], strict=True))
    known = set(rows)
    found: list[tuple[str, str, int, int]] = []
    for swap, other in combinations(dict.fromkeys(pairs["swap"]), 2):
        places = [place for place, row in enumerate(rows) if row[0] == swap]
        found += [
            (swap, other, alone, both)
            for alone in places
            for both in places
            if {(other, rows[both][1], rows[alone][1]), (other, rows[both][2], rows[alone][2])} <= known
        ]
    frame = pd.DataFrame(found, columns=["swap", "with_swap", "alone", "both"])
    return frame.astype({"swap": "str", "with_swap": "str", "alone": "int64", "both": "int64"})


def _method(level: float, n_tests: int) -> str:
    return (
        "For each assessor and attribute, a swap's contrast is the mean over its matched pairs of the mean over "
        "sittings of the score with the swap minus the score without it, both scored in the same session and "
        "replicate; a paired t test over assessors tests its mean "
        f"(intervals at {100 * level:g} %, not adjusted). P-values are adjusted by Benjamini and Hochberg over the "
        f"family of all {n_tests} tests of attributes x swaps; the interactions form a family of their own."
    )
