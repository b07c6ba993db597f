"""Towards where on the panel's map does liking rise, for all consumers and for each group of them?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.consumers.answers import numeric_answers
from panel.models.consumers.preference import Liked, direction_rows, ideal_rows, sensation_rows, share_rows
from panel.models.consumers.segments import Segments, find_segments
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.map import PrototypeMap, find_map
from panel.stats.maps.groups import without_levels
from panel.stats.maps.links import needed_correlation
from panel.study.study import Study

LEVEL = 0.95
FEWEST_PROTOTYPES = 6  # with five the circular model has one degree of freedom left
DRAWS, FEWER_DRAWS, MANY = 1000, 200, 1000  # draws of consumers; fewer where there are more than `MANY` of them
MAP_DRAWS = 100  # the regions of the map are not used here


@dataclass(frozen=True, eq=False, slots=True)
class PreferenceMap:
    """Consumers' liking over the panel's map; all frames tidy and unrounded. Segment 0 is all consumers.

    Parameters
    ----------
    places
        `prototype component_1 component_2`: the panel's map.
    liking
        `segment prototype estimate n`: mean liking, the consumers' own levels taken out.
    directions
        `segment n_consumers slope_1 slope_2 angle angle_low angle_high share p_value`: the vector model of the mean
        liking on the two components: direction of the steepest rise in degrees anticlockwise from the first component,
        its interval when consumers are drawn anew (ends as angles, not wrapped), `share` of the variation of the means
        it describes (R2), and its F test, whose unit is the prototype.
    ideals
        `segment peak component_1 component_2 inside share curvature_p_value drawn_peak ci_low_1 ci_high_1 ci_low_2
        ci_high_2`: the circular ideal-point model; `peak` is True where liking falls off around the point, `inside`
        whether it lies among the prototypes, `drawn_peak` the share of draws of consumers with a peak, the intervals
        those of its place in these draws.
    shares
        `component_1 component_2 share`: places among the prototypes, and the share of consumers whose own vector model
        puts their liking there above their own mean.
    sensations
        `segment attribute estimate n p_value ci_low ci_high beyond`: correlation of mean liking and the panel's mean
        over the prototypes; `beyond` where it is larger than chance makes a single pair.
    limit
        The correlation a single pair chosen beforehand needs.
    components
        `component share` of the panel's map.
    """

    places: pd.DataFrame
    liking: pd.DataFrame
    directions: pd.DataFrame
    ideals: pd.DataFrame
    shares: pd.DataFrame
    sensations: pd.DataFrame
    limit: float
    components: pd.DataFrame
    n_consumers: int
    question: str
    level: float
    method: str
    notes: tuple[str, ...]


def map_preferences(
    study: Study,
    rng: np.random.Generator,
    *,
    question: str | None = None,
    level: float = LEVEL,
    segments: Segments | None = None,
    placed: PrototypeMap | None = None,
    means: pd.DataFrame | None = None,
) -> PreferenceMap:
    """Describe how liking changes over the panel's map of the prototypes (external preference mapping).

    Parameters
    ----------
    rng
        Source of the draws of consumers.
    question
        Which liking question; by default the first.
    level
        Level of the intervals.
    segments, placed, means
        The groups, the panel's map and the panel's means where they are at hand already.

    Raises
    ------
    ModelError
        If the panel's scores or the liking answers are missing, or fewer than six prototypes have both.
    """
    answers = numeric_answers(study, "liking", question)
    means = find_differences(study).means if means is None else means
    placed = find_map(study, draws=MAP_DRAWS, rng=rng, means=means) if placed is None else placed
    both = _in_both(placed, answers.frame)
    groups = find_segments(study, rng, question=answers.question, level=level) if segments is None else segments
    frame = answers.frame[both].dropna(how="all")
    own = pd.DataFrame(without_levels(frame.to_numpy(dtype=float)), index=frame.index, columns=both)
    places = placed.prototypes.set_index("prototype").loc[both].reset_index()
    points = places[["component_1", "component_2"]].to_numpy(dtype=float)
    liked = [Liked(0, own), *_by_group(own, groups)]
    profile = means.pivot_table(index="prototype", columns="attribute", values="estimate").loc[both]
    order = [name for name in study.attributes if name in profile.columns]
    draws = DRAWS if len(frame) <= MANY else FEWER_DRAWS
    drawn = [(each, points, each.drawn(draws, rng), level) for each in liked]
    return PreferenceMap(
        places=places,
        liking=pd.concat([each.table() for each in liked], ignore_index=True),
        directions=pd.DataFrame([direction_rows(*each) for each in drawn]),
        ideals=pd.DataFrame([ideal_rows(*each) for each in drawn]),
        shares=share_rows(own, points),
        sensations=pd.concat([sensation_rows(each, profile[order], level) for each in liked], ignore_index=True),
        limit=float(needed_correlation(len(both), level)),
        components=placed.components[["component", "share"]],
        n_consumers=len(frame),
        question=answers.question,
        level=level,
        method=_method(placed, len(both), draws),
        notes=tuple(_notes(placed, len(both), profile.shape[1], level)),
    )


def _in_both(placed: PrototypeMap, frame: pd.DataFrame) -> list[str]:
    """Return the prototypes that are on the panel's map and were tried by consumers."""
    both = [str(name) for name in placed.prototypes["prototype"] if name in frame.columns]
    if len(both) < FEWEST_PROTOTYPES:
        raise ModelError(
            f"A preference map needs at least {FEWEST_PROTOTYPES} prototypes that the panel scored and consumers "
            f"tried; there are {len(both)}. With so few nearly any direction fits; compare the mean liking instead."
        )
    return both


def _by_group(own: pd.DataFrame, groups: Segments) -> list[Liked]:
    if groups.n_groups < 2:
        return []
    segment = groups.consumers.set_index("assessor")["segment"].reindex(own.index)
    return [Liked(group, own.loc[(segment == group).to_numpy()]) for group in range(1, groups.n_groups + 1)]


def _method(placed: PrototypeMap, n: int, draws: int) -> str:
    return (
        f"External preference mapping: the mean liking of {n} prototypes, consumers' own levels taken out, regressed "
        f"on the first two components of the panel's map ({placed.matrix} matrix) by a vector model and by a circular "
        f"ideal-point model. Intervals by drawing consumers anew ({draws} times); tests have the prototype as their "
        "unit. The share of consumers comes from a vector model for each consumer who tried enough prototypes."
    )


def _notes(placed: PrototypeMap, n: int, n_attributes: int, level: float) -> list[str]:
    left = 1 - float(placed.components["share"].iloc[:2].sum())
    return [
        f"{n} prototypes are {n} points: read the map as a hint where to look, and make and test what it suggests.",
        "The intervals say how the direction would move with other consumers like these, for these very prototypes; "
        "they do not hold the scatter of the prototypes around the model, nor that of the panel's own means.",
        "The share of pleased consumers at a place depends on the direction in which it lies from the middle, not on "
        "how far out it is; near the middle it says little.",
        f"About {100 * left:.0f} % of the differences the panel found are not on the two components; liking may "
        "depend on them.",
        f"With {n_attributes} attributes about {(1 - level) * n_attributes:.1f} go beyond the limit by chance alone, "
        "and attributes that go together cannot be told apart: no correlation here shows a cause.",
    ]
