"""May the batches be compared: recorded, of like age, in range, measured alike, and not confounded with a swap?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.checks.batch_age import batch_age
from panel.checks.codes import Names, grouped
from panel.checks.finding import Finding
from panel.checks.making_day import making_day
from panel.checks.moments_recorded import batches_tested
from panel.checks.places import counted, gathered, listed, told
from panel.checks.sound_study import sound_study
from panel.study.study import Study

PH_RANGE = (4.5, 6.5)
"""pH of leave-on skin care; common practice, no source."""

PH_SPREAD = 0.3
"""Difference in pH between prototypes worth knowing about; common practice, no source."""


def check_batches(study: Study) -> list[Finding]:
    """Return what may make the batches of the scored prototypes differ for another reason than their formula."""
    sound = sound_study(study)
    scored = _scored(sound)
    if scored.empty:
        return []
    batches = batches_tested(sound)
    batches = batches[batches["prototype"] != ""]
    if batches.empty:
        message = "No batches are recorded: age, pH and making day of the samples cannot be checked."
        advice = "Fill in the table batches: batch, prototype, made_on, tested_on, ph, viscosity."
        return [Finding("note", "batches_not_recorded", "batches", message, advice)]
    used = _used(batches, scored)
    return [
        *_without_batch(scored, batches),
        *_batch_of_other_prototype(scored, batches),
        *_pooled_or_single(scored, used),
        *batch_age(used),
        *_ph(used),
        *_viscosity(used),
        *making_day(sound, batches),
    ]


def _scored(study: Study) -> pd.DataFrame:
    """Return the different pairs of prototype and batch among the scores, indexed by their first row."""
    pairs = study.scores[["prototype", "batch"]]
    _, first = grouped(*(Names.read(pairs[name]).code for name in pairs))
    pairs = pairs.iloc[first]
    return pairs[pairs["prototype"] != ""]


def _used(batches: pd.DataFrame, scored: pd.DataFrame) -> pd.DataFrame:
    """Return the batches that were put before the panel: those the scores name, else all of a scored prototype."""
    named = batches["batch"].isin(scored.loc[scored["batch"] != "", "batch"])
    unnamed = batches["prototype"].isin(scored.loc[scored["batch"] == "", "prototype"])
    return batches[named | unnamed].drop_duplicates("batch")


def _without_batch(scored: pd.DataFrame, batches: pd.DataFrame) -> list[Finding]:
    names = pd.Index(scored["prototype"].unique())
    without = names[~names.isin(batches["prototype"])]
    findings = []
    for where, cases in gathered(np.arange(len(without)), lambda case: f"batches: {without[case]}"):
        message = f"{listed(list(without[cases]))} was scored but has no batch."
        if len(cases) > 1:
            message = f"{len(cases):,} prototypes were scored but have no batch: {listed(list(without[cases]))}."
        advice = "Add the batch with made_on and tested_on, so that age and making day can be checked."
        findings.append(Finding("warning", "prototype_without_batch", where, message, advice))
    return findings


def _batch_of_other_prototype(scored: pd.DataFrame, batches: pd.DataFrame) -> list[Finding]:
    owner = dict(zip(reversed(batches["batch"].tolist()), reversed(batches["prototype"].tolist()), strict=True))
    pairs = zip(scored.index.tolist(), scored["batch"].tolist(), scored["prototype"].tolist(), strict=True)
    wrong = [pair for pair in pairs if owner.get(pair[1], pair[2]) != pair[2]]

    def place(case: int) -> str:
        return f"scores, row {wrong[case][0] + 2}: batch {wrong[case][1]}"

    findings = []
    for where, cases in gathered(np.arange(len(wrong)), place):
        _, batch, prototype = wrong[cases[0]]
        message = f"Scores of {prototype} name batch {batch}, which is a batch of {owner[batch]}."
        if len(cases) > 1:
            message = f"{len(cases):,} prototypes have scores from batches of others. The first: {message}"
        advice = "Correct the batch or the prototype: one of the two is wrong."
        findings.append(Finding("warning", "batch_of_other_prototype", where, message, advice))
    return findings


def _pooled_or_single(scored: pd.DataFrame, used: pd.DataFrame) -> list[Finding]:
    """Return prototypes whose batches are pooled, or that every prototype is known from one batch only."""
    number = used.groupby("prototype", sort=False)["batch"].nunique()
    several = number.index[number > 1]
    if not len(several):
        message = "There is one batch of each prototype: the results describe these batches."
        advice = "Whether another batch would feel the same takes a second batch, best of the benchmark."
        return [Finding("note", "one_batch_each", "batches", message, advice)] if len(number) else []
    findings = []
    unnamed = set(scored.loc[scored["batch"] == "", "prototype"])
    for where, cases in gathered(np.arange(len(several)), lambda case: f"batches: {several[case]}"):
        names = list(several[cases])
        untold = any(name in unnamed for name in names)
        batches = listed(used.loc[used["prototype"].isin(names), "batch"].tolist())
        message = f"Several batches are pooled as {listed(names)}: {batches}."
        if untold:
            message += " The scores do not all say from which."
        advice = "The analysis takes them for the same thing. Compare the batches, and name the batch of every score."
        findings.append(Finding("warning" if untold else "note", "batches_pooled", where, message, advice))
    return findings


def _ph(used: pd.DataFrame) -> list[Finding]:
    low, high = PH_RANGE
    known = used[used["ph"].notna()]
    outside = known[(known["ph"] < low) | (known["ph"] > high)]
    names, values = outside["batch"].tolist(), outside["ph"].tolist()
    findings = []
    for where, cases in gathered(np.arange(len(outside)), lambda case: f"batches, batch {names[case]}"):
        shown = listed([told(values[case]) for case in cases])
        message = f"pH {shown} is outside {low} to {high}, the usual range of leave-on skin care."
        advice = (
            "Measure again at 24 h with a calibrated electrode. If it is right, ask the qualified person before "
            "anybody applies the batch."
        )
        findings.append(Finding("note", "ph_outside_range", where, message, advice))
    inside = known.drop(outside.index)
    lowest, highest = inside["ph"].min(), inside["ph"].max()
    # the measured values carry two decimals; the slack keeps a difference of exactly 0.3 on the inside
    if len(inside) and highest - lowest > PH_SPREAD + 1e-9:
        at = [str(inside.loc[inside["ph"] == value, "batch"].iloc[0]) for value in (lowest, highest)]
        message = f"The pH of the batches differs by {told(round(highest - lowest, 4))}: {told(lowest)} in {at[0]}, "
        message += f"{told(highest)} in {at[1]}."
        advice = "Adjust to the same pH: a difference in pH may be felt, and it changes thickeners."
        findings.append(Finding("note", "ph_differs", "batches, ph", message, advice))
    return findings


def _viscosity(used: pd.DataFrame) -> list[Finding]:
    measured = used[used["viscosity_mpa_s"].notna()]
    methods = [method for method in measured["viscosity_method"].unique() if method]
    without = measured.loc[measured["viscosity_method"] == "", "batch"].tolist()
    findings = []
    if len(methods) > 1:
        message = f"Viscosity was measured in {len(methods)} ways: {listed([repr(method) for method in methods])}."
        advice = "Values from different spindles, speeds or temperatures cannot be compared. Measure all the same way."
        findings.append(Finding("warning", "viscosity_methods_differ", "batches, viscosity_method", message, advice))
    if without:
        message = f"Viscosity without a method for {counted(len(without), 'batch', 'batches')}: {listed(without)}."
        advice = "Write down spindle, speed and temperature; without them the value means nothing."
        findings.append(Finding("note", "viscosity_without_method", "batches, viscosity_method", message, advice))
    return findings
