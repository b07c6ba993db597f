"""The mean of each instrument measure for each prototype, in one unit, and how well readings repeat."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.study.study import Study
from panel.study.units import UNITS_WITHOUT_RATIOS, commonest_unit, convert, known_unit, same_quantity

FEWEST_REPEATS = 3  # common practice, no source
_KEY = ["measure", "prototype"]


@dataclass(frozen=True, eq=False, slots=True)
class ReadingMeans:
    """Readings gathered by prototype and measure.

    Parameters
    ----------
    means
        `prototype measure unit estimate sd n std_error cv n_batches`: mean (of batch means where there are several
        batches), standard deviation of repeats inside a batch, number of readings, standard error over batches, or
        over repeats where there is one batch; coefficient of variation, NaN where a ratio says nothing (pH, °C).
    measures
        One row per measure: `measure unit n_prototypes fewest most cv noise_share ratios temperature_low
        temperature_high`. `fewest` and `most` readings of a prototype, median cv, the part of the differences between
        prototypes that scatter of readings alone would give, whether ratios of values make sense, temperatures.
    left_out
        `measure why`.
    notes
        What was done to the readings, and what to know of them.
    """

    means: pd.DataFrame
    measures: pd.DataFrame
    left_out: pd.DataFrame
    notes: tuple[str, ...]

    @property
    def wide(self) -> pd.DataFrame:
        """Means with one row per prototype and one column per measure, in the order of the study."""
        table = self.means.pivot_table(index="prototype", columns="measure", values="estimate", sort=False)
        return table[list(self.measures["measure"])]


def reading_means(study: Study, from_curves: pd.DataFrame | None = None) -> ReadingMeans:
    """Gather the readings of `study`, and those reduced from its curves (`prototype measure unit value repeat`).

    A measure that stands in the readings table is not taken from the curves as well. ModelError if there are none.
    """
    frame, notes = _all_readings(study, from_curves)
    frame, left_out, unit_notes = _one_unit_each(frame)
    frame, size_notes = _sizes(frame)
    if frame.empty:
        raise ModelError(
            "The study has no instrument readings that can be used. Add the table readings, one row per reading: "
            "prototype, measure, unit, value, and batch, repeat, temperature_c where known."
        )
    means = _means(frame, study.prototypes)
    measures = _measures(means, frame)
    return ReadingMeans(means, measures, left_out, (*notes, *unit_notes, *size_notes, *_on_measures(measures)))


def same_measure(first: str, second: str) -> bool:
    """Return whether two names stand for one measure: capitals and the number of spaces do not count."""
    return bare_measure(first) == bare_measure(second)


def bare_measure(name: str) -> str:
    """Return the name of a measure without capitals and needless spaces."""
    return " ".join(name.split()).casefold()


def _all_readings(study: Study, from_curves: pd.DataFrame | None) -> tuple[pd.DataFrame, list[str]]:
    """Return the readings with a value, each measure under the spelling that came first."""
    notes = []
    table = study.table("readings")
    frame = table.loc[table["value"].notna()]
    if len(table) > len(frame):
        notes.append(f"{len(table) - len(frame)} of {len(table)} readings have no value and do not count.")
    if from_curves is not None and len(from_curves):
        bare = from_curves["measure"].map(bare_measure)
        twice = bare.isin(set(frame["measure"].map(bare_measure)))
        frame = pd.concat([frame, from_curves.loc[~twice]], ignore_index=True)
        text = ["prototype", "measure", "unit", "batch", "repeat", "note"]
        frame[text] = frame[text].fillna("").astype("str")
        if twice.any():
            named = ", ".join(dict.fromkeys(from_curves.loc[twice, "measure"]))
            notes.append(f"Taken from the table of readings, not from the curves: {named}.")
    strange = ~frame["prototype"].isin(study.prototypes)
    if strange.any():
        named = ", ".join(dict.fromkeys(frame.loc[strange, "prototype"]))
        notes.append(f"Readings of what is no prototype of this study do not count: {named}.")
    frame = frame.loc[~strange]
    spelling: dict[str, str] = {}
    for name in frame["measure"].unique():
        spelling.setdefault(bare_measure(str(name)), " ".join(str(name).split()))
    return frame.assign(measure=frame["measure"].map(lambda name: spelling[bare_measure(name)])), notes


def _one_unit_each(frame: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    """Bring the readings of each measure to one unit, and leave out measures where that cannot be done."""
    parts, left_out, notes = [], [], []
    for measure, rows in frame.groupby("measure", sort=False):
        units = list(dict.fromkeys(rows["unit"]))
        target = commonest_unit(rows["unit"])
        if not all(same_quantity(unit, target) for unit in units):
            left_out.append((str(measure), f"its units do not measure the same thing: {', '.join(units)}"))
            continue
        if known_unit(target) is None:
            notes.append(f"The unit {target} of {measure} is not known here; its values are taken as they stand.")
            parts.append(rows)
            continue
        different = list(dict.fromkeys(unit for unit in units if known_unit(unit) != target))
        if different:
            count = int(rows["unit"].isin(different).sum())
            notes.append(
                f"{measure} comes in several units: {count} readings in {', '.join(different)} became {target}."
            )
        values = [float(convert(value, unit, target)) for value, unit in zip(rows["value"], rows["unit"], strict=True)]
        parts.append(rows.assign(value=values, unit=target))
    kept = pd.concat(parts) if parts else frame.iloc[:0]
    notes += [f"Left out, because {why}: {measure}. Correct the units." for measure, why in left_out]
    return kept, pd.DataFrame(left_out, columns=["measure", "why"], dtype="str"), notes


def _sizes(frame: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Turn measures whose values are all below zero (a pull, written as a negative force) into sizes."""
    by_measure = frame.groupby("measure", sort=False)["value"]
    negative = by_measure.transform("max") < 0
    mixed = (by_measure.transform("min") < 0) & ~negative & (by_measure.transform("max") > 0)
    notes = []
    if negative.any():
        named = ", ".join(dict.fromkeys(frame.loc[negative, "measure"]))
        notes.append(f"All values lie below zero, so their size is used: {named}.")
    if mixed.any():
        named = ", ".join(dict.fromkeys(frame.loc[mixed, "measure"]))
        notes.append(f"Some values lie below and some above zero; check the sign: {named}.")
    return frame.assign(value=frame["value"].mask(negative, -frame["value"])), notes


def _means(frame: pd.DataFrame, prototypes: tuple[str, ...]) -> pd.DataFrame:
    batches = frame.groupby([*_KEY, "batch"], sort=False)["value"].agg(["mean", "size", "var"]).reset_index()
    batches["squares"] = batches["var"].fillna(0.0) * (batches["size"] - 1)
    by_prototype = batches.groupby(_KEY, sort=False)
    means = by_prototype.agg(
        estimate=("mean", "mean"), between=("mean", "std"), squares=("squares", "sum"), n=("size", "sum"),
        n_batches=("size", "size"),
    ).reset_index()  # fmt: skip
    inside = means["n"] - means["n_batches"]
    means["sd"] = np.sqrt(means["squares"] / inside.where(inside > 0))
    repeats = means["sd"] / np.sqrt(means["n"])
    means["std_error"] = repeats.where(means["n_batches"] == 1, means["between"] / np.sqrt(means["n_batches"]))
    means["unit"] = means["measure"].map(frame.groupby("measure")["unit"].first())
    ratios = _has_ratios(means["measure"], means["unit"])
    means["cv"] = (means["sd"] / means["estimate"]).where(ratios & (means["estimate"] > 0))
    order = {name: place for place, name in enumerate(prototypes)}
    first = {name: place for place, name in enumerate(dict.fromkeys(frame["measure"]))}
    means = means.sort_values(_KEY, key=lambda names: names.map(first if names.name == "measure" else order))
    columns = ["prototype", "measure", "unit", "estimate", "sd", "n", "std_error", "cv", "n_batches"]
    return means[columns].reset_index(drop=True)


def _has_ratios(measure: pd.Series, unit: pd.Series) -> pd.Series:
    return ~(unit.isin(UNITS_WITHOUT_RATIOS) | (measure.map(bare_measure) == "ph"))


def _measures(means: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    own = means.assign(noise=means["sd"] ** 2 / means["n"])
    grouped = own.groupby("measure", sort=False)
    found = grouped.agg(
        unit=("unit", "first"), n_prototypes=("prototype", "size"), fewest=("n", "min"), most=("n", "max"),
        cv=("cv", "median"), noise=("noise", "mean"), spread=("estimate", "var"),
    )  # fmt: skip
    found["noise_share"] = (found["noise"] / found["spread"].where(found["spread"] > 0)).clip(upper=1.0)
    temperatures = frame.groupby("measure", sort=False)["temperature_c"]
    found["temperature_low"], found["temperature_high"] = temperatures.min(), temperatures.max()
    found = found.reset_index()
    found["ratios"] = _has_ratios(found["measure"], found["unit"])
    columns = ["measure", "unit", "n_prototypes", "fewest", "most", "cv", "noise_share", "ratios"]
    return found[[*columns, "temperature_low", "temperature_high"]]


def _on_measures(measures: pd.DataFrame) -> Iterator[str]:
    few = measures.loc[measures["fewest"] < FEWEST_REPEATS, "measure"]
    if len(few):
        yield f"Fewer than {FEWEST_REPEATS} readings of some prototype, so scatter is hardly known: {', '.join(few)}."
    warmer = measures.loc[measures["temperature_high"] > measures["temperature_low"]]
    for row in warmer.to_dict("records"):
        yield (
            f"{row['measure']} was read at {row['temperature_low']:g} to {row['temperature_high']:g} °C; what looks "
            "like a prototype may be the temperature."
        )
    noisy = measures.loc[measures["noise_share"] > 0.5, "measure"]
    if len(noisy):
        yield f"Scatter of readings alone explains most of the differences between prototypes in {', '.join(noisy)}."
