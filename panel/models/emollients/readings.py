"""What do the instruments say beside the panel, and where do the two go together?"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from panel.errors import ModelError
from panel.models.emollients.curves import ReducedCurves, reduce_curves
from panel.models.emollients.joint_map import JointMap, joint_map
from panel.models.emollients.partners import all_links, declared_pairs, partner_links, screening_list
from panel.models.emollients.reading_means import reading_means
from panel.models.emollients.reading_notes import joined_method, joined_notes
from panel.models.emollients.reading_swaps import reading_swaps
from panel.models.prototypes.differences import find_differences
from panel.study.study import Study


@dataclass(frozen=True, eq=False, slots=True)
class JoinedReadings:
    """Instrument readings joined to the panel; all frames tidy and unrounded.

    Parameters
    ----------
    means
        `prototype measure unit estimate sd n std_error cv n_batches`: one row per prototype and measure.
    measures
        `measure unit n_prototypes fewest most cv noise_share ratios temperature_low temperature_high`.
    panel
        The panel's estimated means, one row per prototype and one column per attribute; empty without scores.
    partners
        Pairs declared beforehand: `attribute measure expected source declared estimate ci_low ci_high n p_value
        p_adjusted needed verdict`; estimate = correlation over the prototypes, p_adjusted by Holm.
    screening
        All other pairs: `attribute measure estimate ci_low ci_high n p_value p_adjusted`, Benjamini-Hochberg.
    swaps
        `measure unit swap removed added percent n_pairs estimate std_error df ci_low ci_high ratio ratio_ci_low
        ratio_ci_high ratio_lowest ratio_highest`: what each swap did to each measure.
    map
        Panel and instruments on one map, or None where there is too little for one.
    left_out
        `measure why`.
    level, method, notes
        Level of the intervals, how it was done, and what to know before trusting it.
    """

    means: pd.DataFrame
    measures: pd.DataFrame
    panel: pd.DataFrame
    partners: pd.DataFrame
    screening: pd.DataFrame
    swaps: pd.DataFrame
    map: JointMap | None
    left_out: pd.DataFrame
    level: float
    method: str
    notes: tuple[str, ...]


def join_readings(
    study: Study,
    *,
    means: pd.DataFrame | None = None,
    curves: ReducedCurves | None = None,
    level: float = 0.95,
) -> JoinedReadings:
    """Join the instrument readings of `study`, and what its curves reduce to, to the panel's estimated means.

    Parameters
    ----------
    means
        The panel's estimated means (`attribute prototype estimate`) if they are at hand; else they are estimated.
    curves
        The reduced curves if they are at hand; else the study's curves are reduced.
    level
        Level of the intervals; a declared pair counts as seen where p < 1 - level.

    Raises
    ------
    ModelError
        If the study has no readings that can be used.
    """
    extra: list[str] = []
    curves = curves or _curves(study, level, extra)
    readings = reading_means(study, None if curves is None else curves.readings)
    panel = _panel(study, means, extra)
    pairs, absent = declared_pairs(study, readings.measures["measure"])
    links = all_links(panel, readings.wide, level)
    partners = partner_links(links, pairs, level)
    screening = screening_list(links, pairs)
    swaps = reading_swaps(study, readings, level)
    together = _map(panel, readings.wide, extra)
    return JoinedReadings(
        means=readings.means,
        measures=readings.measures,
        panel=panel,
        partners=partners,
        screening=screening,
        swaps=swaps,
        map=together,
        left_out=readings.left_out,
        level=level,
        method=joined_method(len(partners), len(screening), level, mapped=together is not None),
        notes=(*joined_notes(study, readings.means, absent, swaps), *readings.notes, *extra),
    )


def _curves(study: Study, level: float, extra: list[str]) -> ReducedCurves | None:
    if study.table("curves").empty:
        return None
    try:
        return reduce_curves(study, level=level)
    except ModelError as error:
        extra.append(f"The curves take no part: {error}")
        return None


def _panel(study: Study, means: pd.DataFrame | None, extra: list[str]) -> pd.DataFrame:
    """Return the panel's means, one row per prototype; empty, with a note, where the panel has none."""
    if means is None:
        try:
            means = find_differences(study).means
        except ModelError as error:
            extra.append(f"No panel stands beside the readings: {error}")
            return pd.DataFrame(index=pd.Index([], dtype="str"))
    wide = means.pivot_table(index="prototype", columns="attribute", values="estimate")
    rows = [name for name in study.prototypes if name in wide.index]
    return wide.loc[rows, [name for name in study.attributes if name in wide.columns]]


def _map(panel: pd.DataFrame, instruments: pd.DataFrame, extra: list[str]) -> JointMap | None:
    try:
        found = joint_map(panel, instruments)
    except ModelError as error:
        extra.append(str(error))
        return None
    if found.left_out:
        extra.append(
            f"Without part in the joint map, not known throughout or not varying: {', '.join(found.left_out)}."
        )
    return found
