"""What does the trained panel say about one prototype beside many: is none better, is it the first of all?"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from panel.claims.claim import Claim
from panel.claims.evidence import Evidence, NumberShown, beyond, nothing_yet
from panel.claims.evidence_differences import PANEL, of_estimate
from panel.claims.materials import Materials
from panel.claims.needs import assessors_for_difference, assessors_for_margin
from panel.claims.panel_numbers import Estimate
from panel.claims.said import interval, listed, number, p_value
from panel.claims.sayings import compared, saying
from panel.stats.comparing.equivalence import NotWorse, non_inferiority

REFERENCE_ROLES = ("reference", "untreated")


def unsurpassed(claim: Claim, materials: Materials) -> Evidence:
    """Return the one-sided limits against every competitor: each must lie beyond the margin."""
    missing = materials.panel_missing(claim, *claim.competitors)
    if missing:
        return nothing_yet(PANEL, *missing)
    found = [materials.panel.difference(claim.attribute, claim.prototype, rival) for rival in claim.competitors]
    tests = [_not_worse(claim, each, materials.alpha) for each in found]
    worst = int(np.argmax([float(test.p_value) for test in tests]))
    people = min(materials.panel.people(claim.attribute, (claim.prototype, rival))[0] for rival in claim.competitors)
    nearest, p = found[worst], float(tests[worst].p_value)
    other_way = "less" if claim.sign > 0 else "more"
    return Evidence(
        PANEL,
        tuple(_limit_shown(claim, materials, *each) for each in zip(claim.competitors, found, tests, strict=True)),
        **of_estimate(nearest, p, people, float(tests[worst].statistic)),
        against=claim.sign * nearest.estimate <= -claim.margin,
        suggestion="not " + compared(materials.study, materials.names, claim.attribute, other_way, claim.competitors),
        reasons=(
            *(_limit_words(claim, materials, *each) for each in zip(claim.competitors, found, tests, strict=True)),
            "Every competitor must pass, so the largest p-value counts; competitors not named are not covered.",
        ),
        needs=lambda: (assessors_for_margin(nearest, claim.margin, people, one_sided=True),),
        method="one-sided tests of 'not worse by the margin' against each competitor",
    )


def _not_worse(claim: Claim, found: Estimate, alpha: float) -> NotWorse:
    better = claim.sign > 0
    return non_inferiority(found.estimate, found.std_error, found.df, claim.margin, more_is_better=better, alpha=alpha)


def _limit_shown(claim: Claim, materials: Materials, rival: str, found: Estimate, test: NotWorse) -> NumberShown:
    bound = float(test.bound)
    ends = (bound, math.inf) if claim.sign > 0 else (-math.inf, bound)
    limits = beyond(-claim.sign * claim.margin, claim.sign)
    return NumberShown(f"{claim.prototype} − {rival}", found.estimate, *ends, materials.level, *limits)


def _limit_words(claim: Claim, materials: Materials, rival: str, found: Estimate, test: NotWorse) -> str:
    side = "at least" if claim.sign > 0 else "at most"
    return (
        f"Against {rival}: {number(found.estimate)}, {side} {number(float(test.bound))} (one-sided "
        f"{100 * materials.level:g} % limit), margin {number(-claim.sign * claim.margin)}, "
        f"{p_value(float(test.p_value))}."
    )


def ranking(claim: Claim, materials: Materials) -> Evidence:
    """Return the differences from all others of the range, adjusted together."""
    study = materials.study
    own_range = [name for name in study.prototypes if materials.role(name) not in REFERENCE_ROLES]
    rivals = claim.competitors or tuple(name for name in own_range if name != claim.prototype)
    if not rivals:
        return nothing_yet(PANEL, "There is no other prototype in the range. Score all of them in one test.")
    missing = materials.panel_missing(claim, *rivals)
    if missing:
        return nothing_yet(PANEL, *missing)
    rows = _ahead(claim, materials, rivals)
    nearest = rows.iloc[0]
    people, _ = materials.panel.people(claim.attribute, (claim.prototype, *rivals))
    words, p, size = study.attribute_words(claim.attribute), float(nearest["p_adjusted"]), float(nearest["estimate"])
    behind = bool((claim.sign * rows["estimate"] <= 0).any())
    return Evidence(
        PANEL,
        tuple(_difference_shown(claim, materials, row) for row in rows.to_dict("records")),
        **of_estimate(Estimate(size, float(nearest["std_error"]), float(nearest["df"])), p, people),
        against=behind,
        suggestion=_first(claim, materials, rivals),
        reasons=(
            f"{words}: hardest to tell apart is {nearest['versus']}, difference {number(size)} "
            f"({100 * materials.level:g} % interval {interval(nearest['ci_low'], nearest['ci_high'])}), "
            f"{p_value(p)}; {materials.who_scored(claim, *rivals)}.",
            f"Compared with {listed(list(rivals))}, intervals and p-values adjusted together (Dunnett). "
            "A range with other members was not tested.",
        ),
        needs=lambda: (
            "Another prototype is level with it or ahead: the sentence is not true of this range."
            if behind
            else assessors_for_difference(materials.panel, claim.attribute, size, all_others=True),
        ),
        method="differences from all others in the mixed model of the panel, adjusted together (Dunnett)",
    )


def _first(claim: Claim, materials: Materials, rivals: tuple[str, ...]) -> str:
    """Return `the least greasy of our range`; where only some of it was compared, the comparison with each."""
    if claim.competitors:
        return compared(materials.study, materials.names, claim.attribute, claim.direction, rivals)
    way = "most" if claim.sign > 0 else "least"
    words = saying(materials.study, claim.attribute, way)
    return f"{words} of our range" if words else ""


def _ahead(claim: Claim, materials: Materials, rivals: tuple[str, ...]) -> pd.DataFrame:
    """Return the claimed first minus each rival, the least convincing first; p is 1 where it is not ahead."""
    found = materials.from_one(claim.attribute, claim.prototype)
    found = found.loc[found["prototype"].isin(rivals)]
    estimate = -found["estimate"].to_numpy(float)
    rows = pd.DataFrame(
        {
            "versus": found["prototype"].to_numpy(),
            "estimate": estimate,
            "ci_low": -found["ci_high"].to_numpy(float),
            "ci_high": -found["ci_low"].to_numpy(float),
            "std_error": found["std_error"].to_numpy(float),
            "df": found["df"].to_numpy(float),
            "p_adjusted": np.where(claim.sign * estimate > 0, found["p_adjusted"].to_numpy(float), 1.0),
            "ahead": claim.sign * estimate,
        }
    )
    return rows.sort_values(["p_adjusted", "ahead"], ascending=[False, True], kind="stable", ignore_index=True)


def _difference_shown(claim: Claim, materials: Materials, row: dict[Any, Any]) -> NumberShown:
    estimate, low, high = (float(row[name]) for name in ("estimate", "ci_low", "ci_high"))
    what, limits = f"{claim.prototype} − {row['versus']}", beyond(0.0, claim.sign)
    return NumberShown(what, estimate, low, high, materials.level, *limits)
