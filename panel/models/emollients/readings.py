"""What do the instruments say beside the panel, and where do the two go together?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.checks.batches import batch_age, making_day
from panel.checks.confounds import find_confounds, making_confounds
from panel.errors import ModelError
from panel.models.emollients.curves import ReducedCurves, reduce_curves
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.map import JointMap, joint_map
from panel.models.prototypes.panel_design import in_order
from panel.models.prototypes.verdict import CANNOT_TELL, correlation_ends, with_deciding
from panel.stats.comparing.group_means import paired_contrasts
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, below, benjamini_hochberg, holm
from panel.stats.formulas.composition import independent_moves
from panel.stats.maps.links import correlation_interval, correlations, needed_correlation
from panel.study.formulas import blend_rounding, emollient_blend, joint_changes, matched_pairs
from panel.study.naming import bare_measure, declared_pairs
from panel.study.numbers_read import convert, known_unit, same_quantity
from panel.study.scores_used import scores_used
from panel.study.study import Study
from panel.words import capital, format_list, level_digits, level_words


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
        Pairs declared beforehand: `attribute measure expected source declared estimate n p_value ci_low ci_high needed
        verdict stands_out`; estimate = correlation over the prototypes, `stands_out` over all of them by Holm.
    screening
        All other pairs, adjusted by Benjamini and Hochberg: `attribute measure estimate n p_value p_adjusted told_low
        told_high told_level stands_out`.
    swaps
        `measure unit swap removed added percent n_pairs estimate std_error df ci_low ci_high ratio ratio_ci_low
        ratio_ci_high ratio_lowest ratio_highest change goes_along`: what each swap did to each measure. `change` is
        `more` or `less` where the interval of the ratio, or else of the difference, leaves no doubt; `goes_along` names
        what the swap cannot be told from, and then it is credited with nothing.
    map
        Panel and instruments on one map, or None where there is too little for one.
    left_out
        `measure why`.
    """

    means: pd.DataFrame
    measures: pd.DataFrame
    panel: pd.DataFrame
    partners: pd.DataFrame
    screening: pd.DataFrame
    swaps: pd.DataFrame
    map: JointMap | None
    left_out: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def join_readings(
    study: Study, *, means: pd.DataFrame | None = None, curves: ReducedCurves | None = None
) -> JoinedReadings:
    """Join the instrument readings of `study`, and what its curves reduce to, to the panel's estimated means.

    Parameters
    ----------
    means
        The panel's estimated means (`attribute prototype estimate`) if they are at hand; else they are estimated.
    curves
        The reduced curves if they are at hand; else the study's curves are reduced.

    Raises
    ------
    ModelError
        If the study has no readings that can be used.
    """
    extra: list[str] = []
    curves = curves or _curves(study, extra)
    readings = _reading_means(study, None if curves is None else curves.readings)
    panel = _panel(study, means, extra)
    pairs, absent = declared_pairs(study, readings.measures["measure"])
    links = _all_links(panel, readings.wide)
    untold = _untold(study, panel.loc[panel.index.isin(readings.wide.index)])
    links = links.assign(p_value=links["p_value"].mask(links["attribute"].isin(untold)))
    partners = _partner_links(links, pairs)
    screening = _screening_list(links, pairs)
    swaps = _reading_swaps(study, readings)
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
        method=_joined_method(len(partners), len(screening), mapped=together is not None),
        notes=(
            *_on_untold(study, untold),
            *_joined_notes(study, readings.means, absent, swaps),
            *readings.notes,
            *extra,
        ),
    )


def _curves(study: Study, extra: list[str]) -> ReducedCurves | None:
    if study.table("curves").empty:
        return None
    try:
        return reduce_curves(study)
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


# The mean of each instrument measure for each prototype, in one unit, and how well readings repeat.


_FEWEST_REPEATS = 3  # common practice, no source
_KEY = ["measure", "prototype"]


@dataclass(frozen=True, eq=False, slots=True)
class _ReadingMeans:
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


def _reading_means(study: Study, from_curves: pd.DataFrame | None = None) -> _ReadingMeans:
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
    return _ReadingMeans(means, measures, left_out, (*notes, *unit_notes, *size_notes, *_on_measures(measures)))


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
        written = [known_unit(text) or text for text in rows["unit"]]
        target = max(dict.fromkeys(written), key=written.count)  # the commonest, the first of several
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
    return ~(unit.isin(("pH", "°C")) | (measure.map(bare_measure) == "ph"))


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
    few = measures.loc[measures["fewest"] < _FEWEST_REPEATS, "measure"]
    if len(few):
        yield f"Fewer than {_FEWEST_REPEATS} readings of some prototype, so scatter is hardly known: {', '.join(few)}."
    warmer = measures.loc[measures["temperature_high"] > measures["temperature_low"]]
    for row in warmer.to_dict("records"):
        yield (
            f"{row['measure']} was read at {row['temperature_low']:g} to {row['temperature_high']:g} °C; what looks "
            "like a prototype may be the temperature."
        )
    noisy = measures.loc[measures["noise_share"] > 0.5, "measure"]
    if len(noisy):
        yield f"More than half of the variance between prototypes is scatter between readings: {', '.join(noisy)}."


# Which instrument measure goes with which attribute: pairs declared beforehand first, then a screening list.


AS_EXPECTED, AGAINST, _LINKED = "as expected", "against expectation", "linked"


def _untold(study: Study, panel: pd.DataFrame) -> dict[str, str]:
    """Return the attributes on which a factor of the test goes wholly along with some prototypes, each with its words.

    What their means share with a reading may be that factor, such as the session.
    """
    if panel.empty:
        return {}
    confounds = find_confounds(study)
    scored = {str(name): list(panel.index[panel[name].notna()]) for name in panel.columns}
    return {name: because for name, own in scored.items() if (because := confounds.untold_among(name, own))}


def _on_untold(study: Study, untold: dict[str, str]) -> Iterator[str]:
    for because in dict.fromkeys(untold.values()):
        named = format_list([study.attribute_words(name) for name, own in untold.items() if own == because])
        yield (
            f"{capital(because)}: what the panel's means share with a reading may be that. Of {named} no "
            "correlation with a reading is told."
        )


def _all_links(panel: pd.DataFrame, instruments: pd.DataFrame) -> pd.DataFrame:
    """Correlate every attribute with every measure: `attribute measure estimate n p_value`.

    Both tables have one row per prototype; pairs that cannot be correlated are left out.
    """
    together = instruments.reindex(panel.index)
    found = correlations(panel.to_numpy(dtype=float), together.to_numpy(dtype=float))
    p, q = found["estimate"].shape
    frame = pd.DataFrame(
        {
            "attribute": pd.Series(np.repeat(np.asarray(panel.columns, dtype=object), q), dtype="str"),
            "measure": pd.Series(np.tile(np.asarray(together.columns, dtype=object), p), dtype="str"),
            **{name: values.ravel() for name, values in found.items()},
        }
    )
    return frame.loc[frame["estimate"].notna()].reset_index(drop=True)


def _partner_links(links: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """Return the declared pairs with their correlation and what it says of the expectation.

    Columns `attribute measure expected source declared estimate n p_value ci_low ci_high needed verdict stands_out`.
    Each pair was chosen beforehand and asks its own question, so that the verdict, the p-value and the interval are its
    own; `stands_out` says whether it would be told with all declared pairs counted as one family (Holm). `needed` is
    the |r| for p < 1 - level. Without p-value and interval where the panel's means cannot be told from a factor.
    """
    found = pairs.merge(links, on=["attribute", "measure"], how="inner")
    ends = correlation_interval(found["estimate"].where(found["p_value"].notna()), found["n"], ALPHA)
    found["ci_low"], found["ci_high"] = ends
    found["needed"] = needed_correlation(found["n"], LEVEL)
    found["verdict"] = pd.Series(
        [_verdict(row["estimate"], row["p_value"], row["expected"]) for row in found.to_dict("records")], dtype="str"
    )
    return found.assign(stands_out=below(holm(found["p_value"])))


def _screening_list(links: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """Return all pairs that were not declared, the smallest p-value first, under Benjamini and Hochberg."""
    declared = pd.MultiIndex.from_frame(pairs[["attribute", "measure"]])
    links = links.loc[links["p_value"].notna()]
    others = links.loc[~pd.MultiIndex.from_frame(links[["attribute", "measure"]]).isin(declared)]
    others = with_deciding(others, benjamini_hochberg, correlation_ends)
    others["stands_out"] = below(others["p_adjusted"])
    return others.sort_values("p_value", kind="stable", ignore_index=True)


def _verdict(estimate: float, p_value: float, expected: str) -> str:
    if not below(p_value):
        return CANNOT_TELL
    if not expected:
        return _LINKED
    return AS_EXPECTED if (estimate > 0) == (expected == "same") else AGAINST


# What each emollient swap did to the instrument measures. No people stand behind it: pairs of prototypes do.

_FEWEST_PAIRS = 3  # with two pairs the interval has one degree of freedom: 12.7 standard errors
_CHANGE = ["swap", "removed", "added", "percent"]
_COLUMNS = [
    "measure", "unit", *_CHANGE, "n_pairs", "estimate", "std_error", "df", "ci_low", "ci_high", "ratio", "ratio_ci_low",
    "ratio_ci_high", "ratio_lowest", "ratio_highest", "change", "goes_along",
]  # fmt: skip


def _reading_swaps(study: Study, readings: _ReadingMeans) -> pd.DataFrame:
    """Return one row per measure and swap (or joint change): mean difference and mean ratio over the matched pairs.

    `estimate` is the reading with the swap minus without it, `ratio` their geometric mean ratio (NaN where ratios say
    nothing), `ratio_lowest` and `ratio_highest` the ends over the pairs. The unit of inference is the matched pair of
    prototypes, one batch each: intervals need three pairs that share no prototype, and are NaN otherwise. They hold
    batch, reading and whatever the swap does differently in different company.
    """
    if study.table("formulas").empty:
        return _empty()
    pairs = pd.concat([matched_pairs(study), joint_changes(study)], ignore_index=True)
    wide = readings.wide
    pairs = pairs.loc[pairs["prototype"].isin(wide.index) & pairs["versus"].isin(wide.index)]
    parts = [_effect(wide, rows, readings) for _, rows in pairs.groupby("swap", sort=False)]
    if not parts:
        return _empty()
    frame = pd.concat(parts, ignore_index=True)
    confounds = making_confounds(study)
    along = [", ".join(confounds.not_credited("", str(swap))["factor"]) for swap in frame["swap"]]
    return in_order(frame.assign(change=_changes(frame), goes_along=along)[_COLUMNS], "measure", wide.columns)


def _effect(wide: pd.DataFrame, pairs: pd.DataFrame, readings: _ReadingMeans) -> pd.DataFrame:
    after, before = (wide.loc[list(pairs[end])].to_numpy(dtype=float) for end in ("prototype", "versus"))
    ratios = readings.measures["ratios"].to_numpy() & ((after > 0) | np.isnan(after)).all(axis=0)
    ratios &= ((before > 0) | np.isnan(before)).all(axis=0)
    logs = np.full_like(after, np.nan)
    logs[:, ratios] = np.log(after[:, ratios] / before[:, ratios])
    difference, ratio = paired_contrasts(after - before, LEVEL), paired_contrasts(logs, LEVEL)
    shared = pd.concat([pairs["prototype"], pairs["versus"]]).duplicated().any()
    told = (difference.n >= _FEWEST_PAIRS) & ~shared
    known = difference.n > 0
    ends = {"lowest": np.fmin.reduce(logs, axis=0), "highest": np.fmax.reduce(logs, axis=0)}
    frame = pd.DataFrame(
        {
            "measure": list(wide.columns),
            "unit": list(readings.measures["unit"]),
            **{column: pairs[column].iloc[0] for column in _CHANGE},
            "n_pairs": difference.n,
            "estimate": difference.estimate,
            **{name: np.where(told, getattr(difference, name), np.nan) for name in ("std_error", "df")},
            **{name: np.where(told, getattr(difference, name), np.nan) for name in ("ci_low", "ci_high")},
            "ratio": np.exp(ratio.estimate),
            **{f"ratio_{name}": np.where(told, np.exp(getattr(ratio, name)), np.nan) for name in ("ci_low", "ci_high")},
            **{f"ratio_{name}": np.exp(end) for name, end in ends.items()},
        }
    )
    return frame.loc[known]


def _changes(frame: pd.DataFrame) -> NDArray[np.str_]:
    """Return `more` or `less` where an interval leaves no doubt: that of the ratio where there is one."""
    by_ratio = frame["ratio_ci_low"].notna()
    low = frame["ci_low"].where(~by_ratio, frame["ratio_ci_low"] - 1)
    high = frame["ci_high"].where(~by_ratio, frame["ratio_ci_high"] - 1)
    return np.select([low > 0, high < 0], ["more", "less"], "")


def _empty() -> pd.DataFrame:
    words = ("measure", "unit", "swap", "removed", "added", "change", "goes_along")
    return pd.DataFrame({name: pd.Series(dtype="str" if name in words else "float64") for name in _COLUMNS})


# How readings were joined to the panel, and what to know before trusting it.


def _joined_method(n_partners: int, n_screened: int, *, mapped: bool) -> str:
    """Return how it was done, as one paragraph for the report."""
    text = (
        "Readings are averaged by prototype (over batches where there are several) and correlated with the panel's "
        "estimated means over the prototypes (Pearson's r, two-sided t test, and the exact interval of normal data, "
        f"which leaves out zero where the test tells). Pairs declared beforehand come first ({n_partners}): each is "
        f"judged by its own p-value and {level_words(LEVEL)}, and beside it stands whether it is told beside all "
        f"of them (Holm). The other {n_screened} pairs of attribute and measure are a screening "
        "list under Benjamini and Hochberg. A swap's effect on a measure is the mean difference and the geometric mean "
        f"ratio over its matched pairs, with {level_digits(LEVEL)} t intervals over pairs that share no prototype."
    )
    if not mapped:
        return text
    return (
        f"{text} Joint map: multiple factor analysis of two blocks, panel and instruments; every attribute and measure "
        "standardised, each block divided by the first singular value of its own."
    )


def _joined_notes(study: Study, means: pd.DataFrame, absent: pd.DataFrame, swaps: pd.DataFrame) -> tuple[str, ...]:
    """Return the cautions that apply to this study."""
    return (
        "The unit of inference is the prototype, mostly with one batch behind it: neither the number of readings nor "
        "the number of assessors makes a correlation surer.",
        "An instrument never stands in for the panel: a claim about what people feel needs people.",
        *_on_absent(study, absent),
        *_on_moves(study),
        *_on_batches(study, means),
        *_on_swaps(study, swaps),
    )


def _on_absent(study: Study, absent: pd.DataFrame) -> Iterator[str]:
    if len(absent):
        named = ", ".join(
            f"{row.measure} (for {study.attribute_words(str(row.attribute))})" for row in absent.itertuples()
        )
        yield f"Declared as partner but not measured: {named}."


def _on_moves(study: Study) -> Iterator[str]:
    blend = emollient_blend(study)
    if len(blend) < 2:
        return
    count = independent_moves(blend.to_numpy(), blend_rounding(study))
    yield (
        f"The {len(blend)} blends differ in {count} independent directions only, so much goes together in these "
        "prototypes that need not in others. That two things go together does not say that one makes the other."
    )


def _on_batches(study: Study, means: pd.DataFrame) -> Iterator[str]:
    if not (means["n_batches"] > 1).any():
        yield "One batch per prototype: readings cannot tell the prototype from the luck of its batch."
    readings = study.table("readings")
    named = readings.loc[readings["batch"] != "", ["prototype", "batch"]].drop_duplicates()
    scored = scores_used(study).frame
    judged = scored.loc[scored["batch"] != "", ["prototype", "batch"]].drop_duplicates()
    both = set(named["prototype"]) & set(judged["prototype"])
    shared = named.merge(judged, on=["prototype", "batch"])
    apart = [name for name in study.prototypes if name in both - set(shared["prototype"])]
    if apart:
        yield f"The instruments measured another batch than the panel judged: {', '.join(apart)}."
    batches = study.table("batches")
    used = batches.loc[batches["batch"].isin(named["batch"])]
    for finding in batch_age(used):
        yield f"{finding.message} ({finding.where})"


def _on_swaps(study: Study, swaps: pd.DataFrame) -> Iterator[str]:
    if swaps.empty:
        return
    yield (
        "Swap effects on readings rest on matched pairs of prototypes. No people stand behind them, so there is no "
        "test over assessors; an interval holds batch, readings, and what a swap does differently in other company."
    )
    told = int(swaps["std_error"].notna().sum())
    if told > 1:
        yield f"These are {told} intervals, each by itself; among that many, about one in twenty misses by chance."
    if swaps["std_error"].isna().any():
        few = ", ".join(dict.fromkeys(swaps.loc[swaps["std_error"].isna(), "swap"]))
        yield f"Without interval, because there are fewer than three pairs or they share prototypes: {few}."
    for finding in making_day(making_confounds(study)):
        yield finding.message
