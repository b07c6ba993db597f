"""May the batches be compared: recorded, of like age, in range, measured alike, and not confounded with a swap?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from panel.checks.confounds import MAKING_DAY, OF_TEST, WHOLLY, Confounds, find_confounds
from panel.checks.finding import Finding, Names, gathered, grouped, read_dates
from panel.checks.moments_recorded import batches_tested
from panel.checks.sound_study import sound_study
from panel.study.study import Study
from panel.study.tables import TABLES
from panel.words import counted, first_few, format_typed

_PH_RANGE = (4.5, 6.5)
"""pH of leave-on skin care; common practice, no source."""

_PH_SPREAD = 0.3
"""Difference in pH between prototypes worth knowing about; common practice, no source."""


def check_batches(study: Study, confounds: Confounds | None = None) -> list[Finding]:
    """Return what may make the batches of the scored prototypes differ for another reason than their formula.

    `confounds` is what is at hand already of the study as it stands.
    """
    sound = sound_study(study)
    # each prototype and batch once
    pairs = sound.scores[["prototype", "batch"]]
    _, first = grouped(*(Names.read(pairs[name]).code for name in pairs))
    pairs = pairs.iloc[first]
    scored = pairs[pairs["prototype"] != ""]
    if scored.empty:
        return []
    batches = batches_tested(sound)
    batches = batches[batches["prototype"] != ""]
    if batches.empty:
        message = "No batches are recorded: age, pH and making day of the samples cannot be checked."
        advice = f"Fill in the table batches: {', '.join(TABLES['batches'].column_names)}."
        return [Finding("note", "batches_not_recorded", "batches", message, advice)]
    named = batches["batch"].isin(scored.loc[scored["batch"] != "", "batch"])
    unnamed = batches["prototype"].isin(scored.loc[scored["batch"] == "", "prototype"])
    used = batches[named | unnamed].drop_duplicates("batch")
    return [
        *_without_batch(scored, batches),
        *_batch_of_other_prototype(scored, batches),
        *_pooled_or_single(scored, used),
        *batch_age(used),
        *_ph(used),
        *_viscosity(used),
        *making_day(find_confounds(sound) if confounds is None else confounds),
    ]


def _without_batch(scored: pd.DataFrame, batches: pd.DataFrame) -> Iterator[Finding]:
    names = pd.Index(scored["prototype"].unique())
    without = names[~names.isin(batches["prototype"])]
    for where, cases in gathered(np.arange(len(without)), lambda case: f"batches: {without[case]}"):
        message = f"{first_few(list(without[cases]))} was scored but has no batch."
        if len(cases) > 1:
            message = f"{len(cases):,} prototypes were scored but have no batch: {first_few(list(without[cases]))}."
        advice = "Add the batch with made_on and tested_on, so that age and making day can be checked."
        yield Finding("warning", "prototype_without_batch", where, message, advice)


def _batch_of_other_prototype(scored: pd.DataFrame, batches: pd.DataFrame) -> Iterator[Finding]:
    owner = dict(zip(reversed(batches["batch"].tolist()), reversed(batches["prototype"].tolist()), strict=True))
    pairs = zip(scored.index.tolist(), scored["batch"].tolist(), scored["prototype"].tolist(), strict=True)
    wrong = [pair for pair in pairs if owner.get(pair[1], pair[2]) != pair[2]]

    def place(case: int) -> str:
        return f"scores, row {wrong[case][0] + 2}: batch {wrong[case][1]}"

    for where, cases in gathered(np.arange(len(wrong)), place):
        _, batch, prototype = wrong[cases[0]]
        message = f"Scores of {prototype} name batch {batch}, which is a batch of {owner[batch]}."
        if len(cases) > 1:
            message = f"{len(cases):,} prototypes have scores from batches of others. The first: {message}"
        advice = "Correct the batch or the prototype: one of the two is wrong."
        yield Finding("warning", "batch_of_other_prototype", where, message, advice)


def _pooled_or_single(scored: pd.DataFrame, used: pd.DataFrame) -> Iterator[Finding]:
    """Return prototypes whose batches are pooled, or that every prototype is known from one batch only."""
    number = used.groupby("prototype", sort=False)["batch"].nunique()
    several = number.index[number > 1]
    if not len(several):
        message = "There is one batch of each prototype: the results describe these batches."
        advice = "Whether another batch would feel the same takes a second batch, best of the benchmark."
        if len(number):
            yield Finding("note", "one_batch_each", "batches", message, advice)
        return
    single = number.index[number == 1].tolist()
    unnamed = set(scored.loc[scored["batch"] == "", "prototype"])
    for where, cases in gathered(np.arange(len(several)), lambda case: f"batches: {several[case]}"):
        names = list(several[cases])
        untold = any(name in unnamed for name in names)
        batches = first_few(used.loc[used["prototype"].isin(names), "batch"].tolist())
        message = f"Scores of {first_few(names)} come from several batches: {batches}."
        advice = "Where the scores allow it, the comparison counts batches as units; how it was computed says so."
        if untold:
            message = (
                f"Several batches are pooled as {first_few(names)}: {batches}. The scores do not all say from which."
            )
            advice = "The analysis takes them for the same thing. Compare them, and name the batch of every score."
        if single:
            message += f" Of {first_few(single)} there is one: what is told is told in these batches."
        yield Finding("warning" if untold else "note", "batches_pooled", where, message, advice)


def _ph(used: pd.DataFrame) -> Iterator[Finding]:
    low, high = _PH_RANGE
    known = used[used["ph"].notna()]
    outside = known[(known["ph"] < low) | (known["ph"] > high)]
    names, values = outside["batch"].tolist(), outside["ph"].tolist()
    for where, cases in gathered(np.arange(len(outside)), lambda case: f"batches, batch {names[case]}"):
        shown = first_few([format_typed(values[case]) for case in cases])
        message = f"pH {shown} is outside {low} to {high}, the usual range of leave-on skin care."
        advice = (
            "Measure again at 24 h with a calibrated electrode. If it is right, ask the qualified person before "
            "anybody applies the batch."
        )
        yield Finding("note", "ph_outside_range", where, message, advice)
    inside = known.drop(outside.index)
    lowest, highest = inside["ph"].min(), inside["ph"].max()
    # the measured values carry two decimals; the slack keeps a difference of exactly 0.3 on the inside
    if len(inside) and highest - lowest > _PH_SPREAD + 1e-9:
        at = [str(inside.loc[inside["ph"] == value, "batch"].iloc[0]) for value in (lowest, highest)]
        apart = format_typed(round(highest - lowest, 4))
        message = f"The pH of the batches differs by {apart}: {format_typed(lowest)} in {at[0]}, "
        message += f"{format_typed(highest)} in {at[1]}."
        advice = "Adjust to the same pH: a difference in pH may be felt, and it changes thickeners."
        yield Finding("note", "ph_differs", "batches, ph", message, advice)


def _viscosity(used: pd.DataFrame) -> Iterator[Finding]:
    measured = used[used["viscosity_mpa_s"].notna()]
    methods = [method for method in measured["viscosity_method"].unique() if method]
    without = measured.loc[measured["viscosity_method"] == "", "batch"].tolist()
    if len(methods) > 1:
        message = f"Viscosity was measured in {len(methods)} ways: {first_few([repr(method) for method in methods])}."
        advice = "Values from different spindles, speeds or temperatures cannot be compared. Measure all the same way."
        yield Finding("warning", "viscosity_methods_differ", "batches, viscosity_method", message, advice)
    if without:
        message = f"Viscosity without a method for {counted(len(without), 'batch', 'batches')}: {first_few(without)}."
        advice = "Write down spindle, speed and temperature; without them the value means nothing."
        yield Finding("note", "viscosity_without_method", "batches, viscosity_method", message, advice)


# Were the batches old enough, and of like age, when they were tested?
#
# An emulsion goes on building its structure after it was made. Resting overnight is common practice (no source);
# a classic study of emollients in emulsions aged every one at least 48 hours and compared emulsions of about the
# same age (Goldemberg & de la Rosa 1971, J Soc Cosmet Chem 22:635).


YOUNGEST_HOURS = 24.0
"""Overnight rest; common practice, no source."""

_SETTLED_HOURS = 48.0
"""Goldemberg & de la Rosa 1971, J Soc Cosmet Chem 22:635: every emulsion was aged at least this long."""

_LARGEST_SPREAD_HOURS = 24.0
"""Batches of a test within a day of equal age; common practice, no source."""


_BEFORE_MADE = ("{who} tested {ages} before it was made.", "Correct made_on or tested_on.")

_YOUNG = (
    "{who} tested at an age of {ages}, under 24 h.",
    "The structure was still changing. Test again after 48 h, or keep this prototype out of the comparison by a rule "
    "recorded before unblinding.",
)

_NOT_SETTLED = (
    "{who} tested at an age of {ages}, under 48 h.",
    "Overnight rest is common practice; 48 h is safer, and butters, fatty alcohols and waxes keep moving for weeks. "
    "Test all prototypes at the same age.",
)


def batch_age(used: pd.DataFrame) -> list[Finding]:
    """Return batches tested too young, before they were made, at unlike ages, or at an unknown age."""
    ages = _ages(used)
    hours = ages["hours"]
    rested = hours >= YOUNGEST_HOURS
    return [
        *_unknown(ages),
        *_told(ages[hours < 0], "warning", "tested_before_made", *_BEFORE_MADE),
        *_told(ages[(hours >= 0) & ~rested], "warning", "batch_too_young", *_YOUNG),
        *_told(ages[rested & (hours < _SETTLED_HOURS)], "note", "batch_not_settled", *_NOT_SETTLED),
        *_spread(ages),
    ]


def _ages(used: pd.DataFrame) -> pd.DataFrame:
    """Return `batch prototype hours age`: the age at test, NaN where unknown, and in words.

    Where a time is missing it is counted in whole days.
    """
    made, tested = read_dates(used["made_on"]), read_dates(used["tested_on"])
    by_the_clock = made.has_time & tested.has_time
    elapsed = np.where(by_the_clock, tested.values - made.values, tested.days - made.days)
    hours = elapsed / np.timedelta64(1, "h")
    words = [_age(*each) for each in zip(np.abs(hours), by_the_clock, strict=True)]
    return used[["batch", "prototype"]].reset_index(drop=True).assign(hours=hours, age=words)


def _age(hours: float, by_the_clock: bool) -> str:
    if np.isnan(hours):
        return ""
    if by_the_clock:
        return f"{hours:.0f} h" if hours >= 1 else f"{60 * hours:.0f} min"
    return counted(round(hours / 24), "day") if hours else "less than a day"


def _told(ages: pd.DataFrame, severity: str, kind: str, words: str, advice: str) -> Iterator[Finding]:
    """Return findings about batches; `words` takes how many they are and their ages."""

    def place(case: int) -> str:
        return f"batches, batch {ages['batch'].iloc[case]} of {ages['prototype'].iloc[case]}"

    for where, cases in gathered(np.zeros(len(ages)), place):
        told = first_few(ages["age"].iloc[cases].tolist())
        message = words.format(who=counted(len(cases), "batch", "batches"), ages=told)
        yield Finding(severity, kind, where, message, advice)


def _unknown(ages: pd.DataFrame) -> list[Finding]:
    names = ages.loc[ages["hours"].isna(), "batch"].tolist()
    if not names:
        return []
    message = f"The age at test is unknown for {counted(len(names), 'batch', 'batches')}: {first_few(names)}."
    advice = "Fill in made_on and tested_on, with the time if the batch is younger than two days."
    return [Finding("note", "age_unknown", "batches, made_on and tested_on", message, advice)]


def _spread(ages: pd.DataFrame) -> list[Finding]:
    """Return whether ages differ by more than a day; batches under 24 h are told apart from that."""
    hours = ages.loc[ages["hours"] >= YOUNGEST_HOURS, "hours"]
    if hours.empty or hours.max() - hours.min() <= _LARGEST_SPREAD_HOURS:
        return []
    ends = ages.loc[[hours.idxmin(), hours.idxmax()]]
    first, last = (f"{age} ({batch})" for age, batch in zip(ends["age"], ends["batch"], strict=True))
    message = f"The batches were tested at ages that differ by more than a day: from {first} to {last}."
    advice = "Age changes thickness and rub-out. Test all prototypes within a day of equal age."
    return [Finding("warning", "ages_differ", "batches, made_on and tested_on", message, advice)]


# Can an emollient swap be told from the day on which the prototypes were made?


_ADVICE = "What looks like the swap may be the day. Make one of the pairs again on one day, and test it."


def making_day(confounds: Confounds) -> Iterator[Finding]:
    """Return the swaps that go wholly along with the making day."""
    rows = confounds.swaps
    told = rows.loc[(rows["factor"] == MAKING_DAY) & (rows["kind"] == WHOLLY)].drop_duplicates("swap")
    swaps, because = told["swap"].tolist(), told["because"].tolist()
    on = [f", {attribute}" if attribute else "" for attribute in told["attribute"]]
    for where, cases in gathered(
        np.arange(len(told)), lambda case: f"batches and formulas, swap {swaps[case]}{on[case]}"
    ):
        message = f"{because[cases[0]]}."
        if len(cases) > 1:
            message = f"{len(cases):,} swaps cannot be told apart from the making day. The first: {message}"
        yield Finding("warning", "making_day_and_swap", where, message, _ADVICE)


def swap_findings(found: Confounds) -> Iterator[Finding]:
    """Yield swaps that go with a factor of the test; the making day is told with the batches."""
    rows = found.swaps.loc[(found.swaps["kind"] == WHOLLY) & found.swaps["factor"].isin(OF_TEST)]
    for factor, own in rows.groupby("factor", sort=False):
        swaps = own.drop_duplicates("swap")
        message = f"{swaps['because'].iloc[0]}."
        if len(swaps) > 1:
            message = f"{len(swaps)} swaps cannot be told apart from the {factor}. The first: {message}"
        kind = f"{str(factor).replace(' ', '_')}_and_swap"
        yield Finding("warning", kind, f"scores and formulas, {factor}", message, str(swaps["advice"].iloc[0]))
