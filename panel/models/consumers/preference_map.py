"""Towards where on the panel's map does liking rise, for all consumers and for each group of them?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panel.checks.confounds import find_confounds
from panel.errors import ModelError
from panel.models.consumers.answers import kind_confounds, numeric_answers
from panel.models.consumers.liking_checks import without_order
from panel.models.consumers.segments import Segments, find_segments
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.map import PrototypeMap, find_map
from panel.models.prototypes.verdict import correlation_ends, with_deciding
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, below, holm
from panel.stats.maps.groups import without_levels
from panel.stats.maps.links import correlations, direction_interval, fit_plane, inside_hull, needed_correlation
from panel.study.study import Study
from panel.words import capital

_FEWEST_PROTOTYPES = 6  # with five the circular model has one degree of freedom left
_DRAWS, _FEWER_DRAWS, _MANY = 1000, 200, 1000  # draws of consumers; fewer where there are more than `_MANY` of them
_MAP_DRAWS = 100  # the regions of the map are not used here
_GRID = 41  # places along each side of the map
_FEWEST_OWN = 6  # prototypes a consumer has to have tried for a model of his own
_REACH = 0.02  # of the map beyond the outermost prototypes


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
        `segment n_consumers slope_1 slope_2 angle angle_low angle_high share p_value p_adjusted clear`: the vector
        model of the mean liking on the two components: direction of the steepest rise in degrees anticlockwise from the
        first component, its interval when consumers are drawn anew (ends as angles, not wrapped), `share` of the
        variation of the means it describes (R2), and its F test, whose unit is the prototype; `clear` by that, Holm
        over the groups, and never where a factor of the test goes wholly along with prototypes.
    ideals
        `segment peak component_1 component_2 inside share curvature_p_value drawn_peak ci_low_1 ci_high_1 ci_low_2
        ci_high_2 curvature_p_adjusted shown`: the circular ideal-point model; `peak` is True where liking falls off
        around the point,
        `inside` whether it lies among the prototypes, `drawn_peak` the share of draws of consumers with a peak, the
        intervals those of its place in these draws; `shown` where a peak describes liking better than a direction
        alone.
    shares
        `component_1 component_2 share`: places among the prototypes, and the share of consumers whose own vector model
        puts their liking there above their own mean.
    sensations
        `segment attribute estimate n p_value p_adjusted told_low told_high told_level shown`: correlation of mean
        liking and the panel's mean over the prototypes; `shown` by Holm over all these pairs.
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
    method: str
    notes: tuple[str, ...]


def map_preferences(
    study: Study,
    rng: np.random.Generator,
    *,
    question: str | None = None,
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
    segments, placed, means
        The groups, the panel's map and the panel's means where they are at hand already.

    Raises
    ------
    ModelError
        If the panel's scores or the liking answers are missing, or fewer than six prototypes have both.
    """
    answers, _ = without_order(numeric_answers(study, "liking", question))
    means = find_differences(study).means if means is None else means
    placed = find_map(study, draws=_MAP_DRAWS, rng=rng, means=means) if placed is None else placed
    both = _in_both(placed, answers.frame)
    groups = find_segments(study, rng, question=answers.question) if segments is None else segments
    frame = answers.frame[both].dropna(how="all")
    own = pd.DataFrame(without_levels(frame.to_numpy(dtype=float)), index=frame.index, columns=both)
    places = placed.prototypes.set_index("prototype").loc[both].reset_index()
    points = places[["component_1", "component_2"]].to_numpy(dtype=float)
    segment = groups.consumers.set_index("assessor")["segment"].reindex(own.index)
    several = range(1, groups.n_groups + 1) if groups.n_groups > 1 else ()
    liked = {0: own} | {group: own.loc[(segment == group).to_numpy()] for group in several}
    profile = means.pivot_table(index="prototype", columns="attribute", values="estimate").loc[both]
    order = [name for name in study.attributes if name in profile.columns]
    untold = _untold(study, both, order)
    draws = _DRAWS if len(frame) <= _MANY else _FEWER_DRAWS
    sensations = pd.concat([_sensation_rows(*each, profile[order]) for each in liked.items()], ignore_index=True)
    sensations["p_value"] = sensations["p_value"].mask(sensations["attribute"].isin(untold))
    sensations = with_deciding(sensations, ends=correlation_ends)
    drawn = [(*each, points, _drawn(each[1], draws, rng)) for each in liked.items()]
    return PreferenceMap(
        places=places,
        liking=pd.concat([_liking(*each) for each in liked.items()], ignore_index=True),
        directions=_told(pd.DataFrame([_direction_rows(*each) for each in drawn]), untold),
        ideals=_told_peaks(pd.DataFrame([_ideal_rows(*each) for each in drawn]), untold),
        shares=_share_rows(own, points),
        sensations=sensations.assign(shown=below(sensations["p_adjusted"])),
        limit=float(needed_correlation(len(both), LEVEL)),
        components=placed.components[["component", "share"]],
        n_consumers=len(frame),
        question=answers.question,
        method=_method(placed, len(both), draws),
        notes=(*_on_untold(untold), *_notes(placed, len(both), profile.shape[1])),
    )


def _untold(study: Study, prototypes: list[str], attributes: list[str]) -> dict[str, str]:
    """Return the attributes whose means cannot be told from a factor of the test, all where liking cannot, with why."""
    liked = kind_confounds(study, "liking").untold_among("", prototypes)
    confounds = find_confounds(study)
    told = {name: liked or confounds.untold_among(name, prototypes) for name in attributes}
    return {name: because for name, because in told.items() if because}


def _on_untold(untold: dict[str, str]) -> list[str]:
    """Return why nothing is told of liking and what the panel feels, for the notes."""
    return [
        f"{capital(because)}: what liking shares with the panel's means may be that, so none of it is told."
        for because in dict.fromkeys(untold.values())
    ]


def _by_holm(rows: pd.DataFrame, p_value: str) -> pd.Series:
    """Return p-values adjusted over the groups; those of all consumers beside groups stay as they are."""
    groups = rows["segment"] > 0
    return rows[p_value].where(~groups, pd.Series(holm(rows[p_value].where(groups)), rows.index))


def _told(rows: pd.DataFrame, untold: dict[str, str]) -> pd.DataFrame:
    adjusted = _by_holm(rows, "p_value")
    return rows.assign(p_adjusted=adjusted, clear=below(adjusted) & (not untold))


def _told_peaks(rows: pd.DataFrame, untold: dict[str, str]) -> pd.DataFrame:
    adjusted = _by_holm(rows, "curvature_p_value")
    return rows.assign(curvature_p_adjusted=adjusted, shown=rows["peak"] & below(adjusted) & (not untold))


def _in_both(placed: PrototypeMap, frame: pd.DataFrame) -> list[str]:
    """Return the prototypes that are on the panel's map and were tried by consumers."""
    both = [str(name) for name in placed.prototypes["prototype"] if name in frame.columns]
    if len(both) < _FEWEST_PROTOTYPES:
        raise ModelError(
            f"A preference map needs at least {_FEWEST_PROTOTYPES} prototypes that the panel scored and consumers "
            f"tried; there are {len(both)}. With so few nearly any direction fits; compare the mean liking instead."
        )
    return both


def _means(own: pd.DataFrame) -> Array:
    return np.asarray(own.mean().to_numpy(dtype=float))


def _liking(segment: int, own: pd.DataFrame) -> pd.DataFrame:
    """Return `segment prototype estimate n`."""
    return pd.DataFrame(
        {
            "segment": segment,
            "prototype": pd.Series(own.columns, dtype="str"),
            "estimate": _means(own),
            "n": own.notna().sum().to_numpy(),
        }
    )


def _drawn(own: pd.DataFrame, draws: int, rng: np.random.Generator) -> Array:
    """Return mean likings (prototypes, draws) of consumers drawn anew; without draws that miss a prototype."""
    value = own.to_numpy(dtype=float)
    n = len(value)
    times = rng.multinomial(n, np.full(n, 1 / n), size=draws).astype(float)
    present = np.isfinite(value)
    count = times @ present
    total = times @ np.where(present, value, 0.0)
    whole = (count > 0).all(axis=1)
    return np.asarray((total[whole] / count[whole]).T)


def _direction_rows(segment: int, own: pd.DataFrame, points: Array, drawn: Array) -> dict[str, Any]:
    """Return one row of `PreferenceMap.directions`."""
    fit = fit_plane(points, _means(own)[:, None])
    slope = fit["slope"][0]
    low, high = direction_interval(fit_plane(points, drawn)["slope"], slope, LEVEL)
    angle = float(np.degrees(np.arctan2(slope[1], slope[0])))
    return {
        "segment": segment,
        "n_consumers": len(own),
        "slope_1": float(slope[0]),
        "slope_2": float(slope[1]),
        "angle": angle,
        "angle_low": angle + low,
        "angle_high": angle + high,
        "share": float(fit["r2"][0]),
        "p_value": float(fit["p_value"][0]),
    }


def _ideal_rows(segment: int, own: pd.DataFrame, points: Array, drawn: Array) -> dict[str, Any]:
    """Return one row of `PreferenceMap.ideals`."""
    fit = fit_plane(points, _means(own)[:, None])
    again = fit_plane(points, drawn)
    peaked = again["curvature"] < 0
    ends = [ALPHA / 2, (1 + LEVEL) / 2]
    limits = np.quantile(again["peak"][peaked], ends, axis=0) if peaked.any() else np.full((2, 2), np.nan)
    return {
        "segment": segment,
        "peak": bool(fit["curvature"][0] < 0),
        "component_1": float(fit["peak"][0, 0]),
        "component_2": float(fit["peak"][0, 1]),
        "inside": bool(inside_hull(points, fit["peak"])[0]),
        "share": float(fit["circular_r2"][0]),
        "curvature_p_value": float(fit["curvature_p_value"][0]),
        "drawn_peak": float(peaked.mean()),
        "ci_low_1": float(limits[0, 0]),
        "ci_high_1": float(limits[1, 0]),
        "ci_low_2": float(limits[0, 1]),
        "ci_high_2": float(limits[1, 1]),
    }


def _share_rows(own: pd.DataFrame, points: Array) -> pd.DataFrame:
    """Return `component_1 component_2 share` over a grid among the prototypes.

    Consumers with the same gaps share their points and are fitted together.
    """
    value = own.to_numpy(dtype=float)
    present = np.isfinite(value)
    above = []
    low, high = points.min(axis=0), points.max(axis=0)
    room = _REACH * (high - low)
    across, up = np.meshgrid(*(np.linspace(a, b, _GRID) for a, b in zip(low - room, high + room, strict=True)))
    places = np.column_stack([across.ravel(), up.ravel()])
    places = places[inside_hull(points, places)]
    for pattern in np.unique(present, axis=0):
        if pattern.sum() < _FEWEST_OWN:
            continue
        rows = value[(present == pattern).all(axis=1)][:, pattern]
        fit = fit_plane(points[pattern], rows.T)
        predicted = fit["intercept"] + places @ fit["slope"].T
        above.append(predicted > rows.mean(axis=1))
    if not above or not len(places):
        return pd.DataFrame({name: pd.Series(dtype="float64") for name in ("component_1", "component_2", "share")})
    share = np.hstack(above).mean(axis=1)
    return pd.DataFrame({"component_1": places[:, 0], "component_2": places[:, 1], "share": share})


def _sensation_rows(segment: int, own: pd.DataFrame, profile: pd.DataFrame) -> pd.DataFrame:
    """Return `segment attribute estimate n p_value`, prototypes by attributes in `profile`."""
    found = correlations(_means(own)[:, None], profile.to_numpy(dtype=float))
    columns = {name: values[0] for name, values in found.items()}
    return pd.DataFrame({"segment": segment, "attribute": pd.Series(profile.columns, dtype="str"), **columns})


def _method(placed: PrototypeMap, n: int, draws: int) -> str:
    return (
        f"External preference mapping: the mean liking of {n} prototypes, consumers' own levels taken out, regressed "
        f"on the first two components of the panel's map ({placed.matrix} matrix) by a vector model and by a circular "
        f"ideal-point model. Intervals by drawing consumers anew ({draws} times); tests have the prototype as their "
        "unit. The share of consumers comes from a vector model for each consumer who tried enough prototypes."
    )


def _notes(placed: PrototypeMap, n: int, n_attributes: int) -> list[str]:
    left = 1 - float(placed.components["share"].iloc[:2].sum())
    return [
        f"{n} prototypes are {n} points: read the map as a hint where to look, and make and test what it suggests.",
        "The intervals say how the direction would move with other consumers like these, for these very prototypes; "
        "they do not hold the scatter of the prototypes around the model, nor that of the panel's own means.",
        "The share of pleased consumers at a place depends on the direction in which it lies from the middle, not on "
        "how far out it is; near the middle it says little.",
        f"About {100 * left:.0f} % of the differences the panel found are not on the two components; liking may "
        "depend on them.",
        f"Correlations with {n_attributes} attributes are adjusted by Holm over all attributes and groups. Attributes "
        "that go together cannot be told apart: no correlation here shows a cause.",
    ]
