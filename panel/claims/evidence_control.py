"""Does it last, or change over time, against an untreated control? Without one neither can be said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from panel.claims.claim import Claim
from panel.claims.evidence import NAN, Evidence, NumberShown, beyond, nothing_yet
from panel.claims.evidence_differences import PANEL, difference_evidence
from panel.claims.materials import Materials
from panel.claims.needs import assessors_for_limit
from panel.claims.panel_numbers import Estimate
from panel.claims.record import minutes_between
from panel.claims.said import counted, interval, number, p_value
from panel.claims.sayings import saying, time_words
from panel.stats.formulas.composition import paired_contrasts

UNTREATED = "untreated"
FEWEST = 2


def duration(claim: Claim, materials: Materials) -> Evidence:
    """Return the difference from the untreated control at the time the sentence speaks of."""
    missing = [*_no_control(claim, materials), *materials.panel_missing(claim, claim.versus)]
    if np.isnan(materials.minutes(claim.attribute)):
        missing.append(f"Nothing says when {claim.attribute} was judged. Write its minutes in the table attributes.")
    if missing:
        return nothing_yet(PANEL, *missing)
    found = materials.panel.difference(claim.attribute, claim.prototype, claim.versus)
    shown = difference_evidence(claim, materials, found, margin=NAN)
    return replace(shown, suggestion=f"{shown.suggestion} after {time_words(claim.minutes)}")


def change_over_time(claim: Claim, materials: Materials) -> Evidence:
    """Return the change from before to after minus that of the untreated control, over assessors."""
    missing = _no_control(claim, materials)
    if not claim.session_before or not claim.session_after:
        missing.append("Nothing says which sittings are before and after. Fill in session_before and session_after.")
    if missing:
        return nothing_yet(PANEL, *missing)
    changes = changes_of_people(claim, materials)
    if len(changes) < FEWEST:
        return nothing_yet(
            PANEL,
            f"{counted(len(changes), 'person', 'people')} judged {claim.prototype} and {claim.versus} both before and "
            "after; two are the fewest.",
        )
    test = paired_contrasts(changes.to_numpy(float)[:, None, None], materials.level)
    found = Estimate(*(float(values.item()) for values in (test.estimate, test.std_error, test.df)))
    if not found.std_error > 0:
        return nothing_yet(PANEL, "All people changed by exactly the same, so nothing is left to judge the change by.")
    return _evidence(claim, materials, found, len(changes))


def changes_of_people(claim: Claim, materials: Materials) -> pd.Series:
    """Return for each person the change of the prototype minus that of the control, where all four are known."""
    scores = materials.scores
    sittings = [claim.session_before, claim.session_after]
    own = scores.loc[
        (scores["attribute"] == claim.attribute)
        & scores["prototype"].isin([claim.prototype, claim.versus])
        & scores["session"].isin(sittings)
    ]
    if own.empty:
        return pd.Series(dtype="float64")
    means = own.pivot_table(index="assessor", columns=["prototype", "session"], values="score", aggfunc="mean")
    wanted = pd.MultiIndex.from_product([[claim.prototype, claim.versus], sittings])
    means = means.reindex(columns=wanted)
    before, after = sittings
    change = {name: means[name, after] - means[name, before] for name in (claim.prototype, claim.versus)}
    return (change[claim.prototype] - change[claim.versus]).dropna()


def _changed(claim: Claim, materials: Materials) -> str:
    """Return `softer after 7 days`; empty where nothing says how long that was."""
    minutes = minutes_between(materials.study, claim.session_before, claim.session_after)
    words = saying(materials.study, claim.attribute, claim.direction)
    return "" if np.isnan(minutes) else f"{words} after {time_words(minutes)}"


def _no_control(claim: Claim, materials: Materials) -> list[str]:
    if not claim.versus:
        return ["There is no untreated control. Judge untreated skin beside it, at the same times."]
    if materials.role(claim.versus) != UNTREATED:
        return [
            f"{claim.versus} is not an untreated control. Judge untreated skin beside it, and give it the role "
            f"{UNTREATED} in the table prototypes."
        ]
    return []


def _evidence(claim: Claim, materials: Materials, found: Estimate, people: int) -> Evidence:
    low, high = found.interval(materials.level)
    above = found.p_above(0.0)
    p = min(1.0, 2 * (above if claim.sign > 0 else 1 - above))
    against = claim.sign * found.estimate <= 0
    words = materials.study.attribute_words(claim.attribute)
    what = f"change of {claim.prototype} − change of {claim.versus}"
    return Evidence(
        PANEL,
        (NumberShown(what, found.estimate, low, high, materials.level, *beyond(0.0, claim.sign)),),
        p,
        found.statistic,
        found.df,
        found.std_error,
        people,
        against,
        suggestion=_changed(claim, materials),
        reasons=(
            f"{words}: from {claim.session_before} to {claim.session_after} {claim.prototype} changed by "
            f"{number(found.estimate)} more than {claim.versus} ({100 * materials.level:g} % interval "
            f"{interval(low, high)}), {p_value(p)}, {counted(people, 'person', 'people')}.",
        ),
        needs=lambda: (
            ("The change does not go the way the sentence says.",)
            if against
            else (assessors_for_limit(found, 0.0, people),)
        ),
        method="paired t test over people: change of the prototype minus change of the untreated control",
    )
