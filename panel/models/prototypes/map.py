"""Where the prototypes lie to each other when all attributes are seen together, and on one map with the instruments."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.prototypes.differences import estimated_means
from panel.models.prototypes.panel_design import assessor_means, fit_study
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import LEVEL
from panel.stats.maps.components import (
    Components,
    Matrix,
    MultipleFactors,
    chance_shares,
    multiple_factors,
    principal_components,
    varies_not,
)
from panel.stats.maps.draws import cloud_covariances, ellipses, resampled_means, turned_onto, two_component_scores
from panel.study.scores_used import scores_used
from panel.study.study import Study
from panel.words import DOWN, format_share, level_digits

_FEWEST_PROTOTYPES = 3
_FEWEST_ATTRIBUTES = 2
_FEWEST_DRAWS = 100
# With three assessors the radius is 28 standard errors: such a region says nothing.
_FEWEST_ASSESSORS = 4

_REGION_COLUMNS = ["prototype", "centre_1", "centre_2", "half_axis_1", "half_axis_2", "angle", "assessors"]


@dataclass(frozen=True, eq=False, slots=True)
class PrototypeMap:
    """A map of the prototypes on the first two principal components of their estimated means.

    Parameters
    ----------
    components
        `component eigenvalue share chance_share`: every component; `chance_share` is what this component
        exceeds in 5 of 100 cases when attributes are unrelated.
    prototypes
        `prototype component_1 component_2`.
    attributes
        `attribute component loading verdict`: correlation of the attribute with components 1 and 2; the verdict of the
        comparison on it, empty where it is not known.
    regions
        `prototype centre_1 centre_2 half_axis_1 half_axis_2 angle assessors`: ellipses, angle of the longer
        half axis to component 1 in degrees, anticlockwise; NaN where too few assessors scored the prototype.
    matrix
        `covariance` or `correlation`.
    """

    components: pd.DataFrame
    prototypes: pd.DataFrame
    attributes: pd.DataFrame
    regions: pd.DataFrame
    matrix: Matrix
    method: str
    notes: tuple[str, ...]


def find_map(
    study: Study,
    *,
    matrix: Matrix | None = None,
    draws: int = 1000,
    rng: np.random.Generator,
    means: pd.DataFrame | None = None,
    compared: pd.DataFrame | None = None,
) -> PrototypeMap:
    """Return the map of the study's prototypes with a region for each.

    Parameters
    ----------
    study
        A study with scores.
    matrix
        That of `usual_matrix` if none is named.
    draws
        How many panels to draw from the assessors for the regions.
    rng
        Source of the draws; the same generator state gives the same map.
    means
        Estimated means `attribute prototype estimate`, where they are at hand already.
    compared
        `attribute verdict` of the comparison, where it is at hand.

    Raises
    ------
    ModelError
        With fewer than three prototypes or two attributes that can be placed, or settings out of range.
    """
    if means is None:
        means = estimated_means(study, fit_study(study))
    spans = {attribute: _span(study, attribute) for attribute in study.attributes}
    found = _map_of_means(
        means,
        scores_used(study).frame,
        prototypes=study.prototypes,
        attributes=study.attributes,
        spans=spans,
        matrix=matrix or usual_matrix(study),
        draws=draws,
        rng=rng,
        words=study.attribute_words,
    )
    if compared is None:
        return found
    verdicts = found.attributes["attribute"].map(dict(zip(compared["attribute"], compared["verdict"], strict=True)))
    return replace(found, attributes=found.attributes.assign(verdict=verdicts))


def usual_matrix(study: Study) -> Matrix:
    """Return `covariance` where all attributes share one scale, `correlation` where they have several."""
    return "correlation" if len(set(study.scales(study.attributes))) > 1 else "covariance"


def _map_of_means(
    means: pd.DataFrame,
    scores: pd.DataFrame,
    *,
    prototypes: Sequence[str],
    attributes: Sequence[str],
    rng: np.random.Generator,
    spans: dict[str, float] | None = None,
    matrix: Matrix = "covariance",
    draws: int = 1000,
    words: Callable[[str], str] = str,
) -> PrototypeMap:
    """Return the map of estimated means (`attribute prototype estimate`), regions from the single scores.

    `scores` has the columns `assessor prototype attribute score`; `spans` the length of each attribute's
    scale, `words` what it is called. Otherwise as `find_map`.
    """
    _check_settings(matrix, draws)
    of = dict(zip(zip(means["prototype"], means["attribute"], strict=True), means["estimate"], strict=True))
    columns = {name: [of.get((prototype, name), np.nan) for prototype in prototypes] for name in attributes}
    wide = pd.DataFrame(columns, index=list(prototypes))
    kept, left_out = _placeable(wide)
    out = {kind: those if kind == "prototypes" else [*map(words, those)] for kind, those in left_out.items()}
    table = kept.to_numpy(dtype=float)
    main = principal_components(table, matrix)
    by_assessor = assessor_means(scores, list(kept.index), list(kept.columns))
    regions, drawn = _regions(main, by_assessor, list(kept.index), matrix, draws, rng)
    components = _components(main, chance_shares(table, matrix, rng))
    return PrototypeMap(
        components=components,
        prototypes=_places(main, list(kept.index)),
        attributes=_loadings(main, list(kept.columns)),
        regions=regions,
        matrix=matrix,
        method=_map_method(kept.shape, by_assessor, matrix, drawn),
        notes=tuple(_map_notes(kept, components, regions, out, spans or {}, matrix, (draws, drawn))),
    )


def _check_settings(matrix: str, draws: int) -> None:
    if matrix not in ("covariance", "correlation"):
        raise ModelError(f"A map can use the covariance or the correlation matrix, not {matrix!r}.")
    if draws < _FEWEST_DRAWS:
        raise ModelError(f"{draws} draws are too few for regions; ask for at least {_FEWEST_DRAWS}.")


def _placeable(wide: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, list[str]]]:
    """Return the means that can be mapped, and by reason what is left out."""
    scored = wide.notna().any(axis=1)
    rows = wide[scored]
    gaps = rows.isna().any(axis=0)
    rows = rows.loc[:, ~gaps]
    flat = pd.Series(varies_not(rows.to_numpy(dtype=float)), index=rows.columns) if len(rows) else gaps
    kept = rows.loc[:, ~flat.reindex(rows.columns)]
    if len(kept) < _FEWEST_PROTOTYPES:
        raise ModelError(
            f"A map needs at least {_FEWEST_PROTOTYPES} prototypes with estimated means; there are {len(kept)}."
            " With two, look at their differences attribute by attribute."
        )
    if kept.shape[1] < _FEWEST_ATTRIBUTES:
        raise ModelError(
            f"A map needs at least {_FEWEST_ATTRIBUTES} attributes estimated for every prototype and varying"
            f" between them; there are {kept.shape[1]}. Look at the attributes one by one."
        )
    left_out = {
        "prototypes": [str(name) for name in wide.index[~scored]],
        "not_estimated": [str(name) for name in gaps.index[gaps]],
        "flat": [str(name) for name in flat.index[flat]],
    }
    return kept, left_out


def _regions(
    main: Components, by_assessor: Array, prototypes: list[str], matrix: Matrix, draws: int, rng: np.random.Generator
) -> tuple[pd.DataFrame, int]:
    """Return the ellipses and how many draws could be used."""
    target = main.scores[:, :2]
    people = np.isfinite(by_assessor).sum(axis=0).min(axis=1)  # behind the attribute least scored
    half_axes, angles, drawn = np.full((len(target), 2), np.nan), np.full(len(target), np.nan), 0
    if len(by_assessor) >= _FEWEST_ASSESSORS:
        means = resampled_means(by_assessor, rng, draws)
        drawn = len(means)
        if drawn >= _FEWEST_DRAWS:
            cloud = turned_onto(target, two_component_scores(means, matrix))
            axes, turns = ellipses(cloud_covariances(cloud, len(by_assessor)), people, LEVEL)
            enough = people >= _FEWEST_ASSESSORS
            half_axes[enough], angles[enough] = axes[enough], turns[enough]
    columns = [prototypes, target[:, 0], target[:, 1], half_axes[:, 0], half_axes[:, 1], angles, people]
    return pd.DataFrame(dict(zip(_REGION_COLUMNS, columns, strict=True))), drawn


def _components(main: Components, chance: Array) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "component": np.arange(1, len(main.shares) + 1),
            "eigenvalue": main.eigenvalues,
            "share": main.shares,
            "chance_share": np.quantile(chance, 0.95, axis=0),
        }
    )


def _places(main: Components, prototypes: list[str]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "prototype": pd.Series(prototypes, dtype="str"),
            "component_1": main.scores[:, 0],
            "component_2": main.scores[:, 1],
        }
    )


def _loadings(main: Components, attributes: list[str]) -> pd.DataFrame:
    """Return the correlations with components 1 and 2, one row each."""
    return pd.DataFrame(
        {
            "attribute": pd.Series(np.repeat(attributes, 2), dtype="str"),
            "component": np.tile([1, 2], len(attributes)),
            "loading": main.loadings[:, :2].ravel(),
            "verdict": "",
        }
    )


def _span(study: Study, attribute: str) -> float:
    scale = study.scale(attribute)
    return float("nan") if scale is None else scale[1] - scale[0]


# How a map was made, and what a reader must know before trusting it.


_LOW_SHARE = 0.70
_FEW_PROTOTYPES = 5
_FEW_ATTRIBUTES = 3


def _map_method(shape: tuple[int, int], by_assessor: Array, matrix: Matrix, drawn: int) -> str:
    """Return how the map was made, as one paragraph for the report."""
    rows, columns = shape
    text = (
        f"Principal components of the {matrix} matrix of {rows} prototypes by {columns} attributes"
        " (estimated means, divisor prototypes - 1; on each component the attribute with the largest weight"
        " points to the positive side)."
    )
    if not drawn:
        return text
    gaps = "" if np.isfinite(by_assessor).all() else " Gaps were met by least squares within assessors."
    return (
        f"{text} Regions: {drawn} panels drawn with replacement from the {len(by_assessor)} assessors, each"
        " draw's map turned and if need be mirrored, not stretched, onto this one (Procrustes); ellipse from"
        f" the draws' covariance with Hotelling's radius for {level_digits(LEVEL)} (assessors - 1 degrees of freedom)"
        f" around each prototype by itself.{gaps}"
    )


_REASONS = {
    "prototypes": "have no estimated mean",
    "not_estimated": "have no estimated mean for every prototype",
    "flat": "have the same mean for all prototypes",
}


def _map_notes(
    table: pd.DataFrame,
    components: pd.DataFrame,
    regions: pd.DataFrame,
    left_out: dict[str, list[str]],
    spans: dict[str, float],
    matrix: Matrix,
    draws: tuple[int, int],
) -> Iterator[str]:
    """Yield the cautions that apply to this map; `draws` is how many were asked for and could be used."""
    for kind, why in _REASONS.items():
        if left_out.get(kind):
            yield f"Left out of the map, because they {why}: {', '.join(left_out[kind])}."
    share, first = float(components["share"].iloc[:2].sum()), components.iloc[0]
    if share < _LOW_SHARE:
        yield (
            f"The two axes carry only {format_share(share, rounding=DOWN)} of the differences: prototypes that lie"
            " together here may be apart in what the map leaves out."
        )
    if not first["share"] > first["chance_share"]:
        yield (
            f"The first axis carries {format_share(first['share'])}; attributes that have nothing to do with"
            f" each other would reach {format_share(first['chance_share'])} in one case of twenty."
            " Do not read a pattern into this map."
        )
    prototypes, attributes = table.shape
    if prototypes < _FEW_PROTOTYPES:
        yield (
            f"With {prototypes} prototypes two axes hold nearly everything by arithmetic alone; a map begins"
            f" to say something with {_FEW_PROTOTYPES} or more."
        )
    elif attributes < _FEW_ATTRIBUTES:
        yield f"With {attributes} attributes the map only turns them; plot one against the other instead."
    yield from _on_scales(table, spans, matrix)
    without, (asked, drawn) = regions.loc[regions["half_axis_1"].isna(), "prototype"], draws
    if len(without):
        yield (
            f"No region for {', '.join(without)}: fewer than four assessors scored one of its attributes,"
            " or too few draws link the prototypes."
        )
    elif drawn < asked:
        yield f"{asked - drawn} of {asked} draws were left out: their assessors do not link all prototypes."


def _on_scales(table: pd.DataFrame, spans: dict[str, float], matrix: Matrix) -> Iterator[str]:
    known = {spans[name] for name in table.columns if np.isfinite(spans.get(name, np.nan))}
    if matrix == "correlation":
        yield (
            "Each attribute counts the same here, also one in which the prototypes hardly differ; the regions"
            " are then a little too small (in simulations 95 % regions held the true place 84 to 95 times in 100)."
        )
    elif len(known) > 1:
        lengths = ", ".join(f"{length:g}" for length in sorted(known))
        yield (
            f"The attributes have scales of different length ({lengths}); the longer ones dominate this map."
            " Use the correlation matrix."
        )


PANEL, INSTRUMENTS, BOTH = "panel", "instruments", "both"
_FEWEST_ON_BOTH, _FEWEST_COLUMNS = 4, 2


@dataclass(frozen=True, eq=False, slots=True)
class JointMap:
    """Multiple factor analysis of the panel's means and the instruments' means.

    Parameters
    ----------
    components
        `component eigenvalue share panel instruments`: the last two are the parts of the component that come from
        each block.
    prototypes
        `prototype block component_1 component_2`: where `both` together place it, and each block alone.
    columns
        `block name component loading`: correlations of attributes and measures with components 1 and 2.
    rv, rv_by_chance
        How alike panel and instruments place the prototypes, 0 to 1, and what shuffled prototypes would give on
        average.
    left_out
        Prototypes, attributes and measures that cannot take part.
    """

    components: pd.DataFrame
    prototypes: pd.DataFrame
    columns: pd.DataFrame
    rv: float
    rv_by_chance: float
    left_out: tuple[str, ...]

    @property
    def agree(self) -> bool:
        """Whether panel and instruments place the prototypes more alike than exchanged prototypes would be placed."""
        return self.rv > self.rv_by_chance


def joint_map(panel: pd.DataFrame, instruments: pd.DataFrame) -> JointMap:
    """Return the joint map of two tables with one row per prototype.

    Attributes and measures that are not known for all prototypes, or do not vary, are left out, after prototypes that
    one of the two does not know at all. ModelError if what remains is too little.
    """
    known = [name for name in panel.index if name in instruments.index]
    tables = {PANEL: panel.loc[known], INSTRUMENTS: instruments.loc[known]}
    kept = {block: _complete(table) for block, table in tables.items()}
    if len(known) < _FEWEST_ON_BOTH or min(table.shape[1] for table in kept.values()) < _FEWEST_COLUMNS:
        raise ModelError(
            f"A joint map needs at least {_FEWEST_ON_BOTH} prototypes that were both scored and measured, and "
            f"{_FEWEST_COLUMNS} attributes and {_FEWEST_COLUMNS} measures known for all of them; there are "
            f"{len(known)}, {kept[PANEL].shape[1]} and {kept[INSTRUMENTS].shape[1]}."
        )
    found = multiple_factors([table.to_numpy(dtype=float) for table in kept.values()])
    if found.eigenvalues.size < 2:
        raise ModelError("Panel and instruments differ in one direction only: look at one pair instead of a map.")
    left_out = [
        name for name in {**dict.fromkeys(panel.index), **dict.fromkeys(instruments.index)} if name not in known
    ]
    left_out += [name for block, table in tables.items() for name in table.columns if name not in kept[block]]
    return JointMap(
        components=_joint_components(found),
        prototypes=_joint_places(found, known),
        columns=_columns(found, [(block, name) for block, table in kept.items() for name in table.columns]),
        rv=float(found.rv[0, 1]),
        rv_by_chance=float(found.rv_by_chance[0, 1]),
        left_out=tuple(map(str, left_out)),
    )


def _complete(table: pd.DataFrame) -> pd.DataFrame:
    table = table.loc[:, table.notna().all(axis=0)]
    return table.loc[:, ~varies_not(table.to_numpy(dtype=float))] if len(table) else table


def _joint_components(found: MultipleFactors) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "component": np.arange(1, found.eigenvalues.size + 1),
            "eigenvalue": found.eigenvalues,
            "share": found.shares,
            PANEL: found.contributions[0],
            INSTRUMENTS: found.contributions[1],
        }
    )


def _joint_places(found: MultipleFactors, prototypes: list[str]) -> pd.DataFrame:
    views = {BOTH: found.scores, PANEL: found.partial_scores[0], INSTRUMENTS: found.partial_scores[1]}
    return pd.concat(
        [
            pd.DataFrame(
                {
                    "prototype": pd.Series(prototypes, dtype="str"),
                    "block": pd.Series([block] * len(prototypes), dtype="str"),
                    "component_1": scores[:, 0],
                    "component_2": scores[:, 1],
                }
            )
            for block, scores in views.items()
        ],
        ignore_index=True,
    )


def _columns(found: MultipleFactors, names: list[tuple[str, str]]) -> pd.DataFrame:
    rows = [(*each, component) for each in names for component in (1, 2)]
    frame = pd.DataFrame(rows, columns=["block", "name", "component"])
    return frame.assign(loading=found.loadings[:, :2].ravel())
