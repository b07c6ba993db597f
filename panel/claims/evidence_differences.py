"""What does the trained panel say about two prototypes: does one have more of it, or are they alike?"""

from __future__ import annotations

from typing import Any

from panel.claims.claim import SIDES_WORDS, Claim
from panel.claims.evidence import Evidence, NumberShown, beyond, nothing_yet
from panel.claims.materials import Materials
from panel.claims.needs import assessors_for_difference, assessors_for_margin
from panel.claims.panel_numbers import Estimate
from panel.claims.said import interval, number, p_value
from panel.claims.sayings import alike, compared
from panel.stats.comparing.equivalence import Equivalence, two_one_sided_tests

PANEL = "trained panel"
_OTHER_WAY = "More assessors will not do: the difference goes the other way, or there is none."
_TOO_SMALL = "More assessors will not do: if there is a difference, it is smaller than the smallest that matters."


def superiority(claim: Claim, materials: Materials) -> Evidence:
    """Return the difference in the claimed direction, its test, and how it lies to the smallest that matters."""
    missing = materials.panel_missing(claim, claim.versus)
    if missing:
        return nothing_yet(PANEL, *missing)
    found = materials.panel.difference(claim.attribute, claim.prototype, claim.versus)
    return difference_evidence(claim, materials, found, margin=materials.margin(claim))


def difference_evidence(claim: Claim, materials: Materials, found: Estimate, *, margin: float) -> Evidence:
    """Return the evidence of a difference in the claimed direction."""
    one_sided = found.p_above(0.0) if claim.sign > 0 else 1 - found.p_above(0.0)
    p = one_sided if claim.sides == "one" else min(1.0, 2 * one_sided)
    low, high = found.interval(materials.level)
    people, _ = materials.panel.people(claim.attribute, (claim.prototype, claim.versus))
    words = materials.study.attribute_words(claim.attribute)
    wrong_way = claim.sign * found.estimate <= 0
    small = margin > 0 and max(abs(low), abs(high)) < margin
    against = wrong_way or (small and p > materials.alpha)  # no difference that matters is left to be found
    reasons = [
        f"{words}: {claim.prototype} minus {claim.versus} is {number(found.estimate)} "
        f"({100 * materials.level:g} % interval {interval(low, high)}), {p_value(p)} "
        f"({SIDES_WORDS[claim.sides]}), {materials.who_scored(claim, claim.versus)}.",
        *(["The difference does not go the way the sentence says."] if wrong_way else []),
        *([_size_reason(claim, low, high, margin)] if margin > 0 else []),
    ]
    slightly = "The whole interval lies within the difference that does not matter: say 'slightly'."
    what, limits = f"{claim.prototype} − {claim.versus}", beyond(0.0, claim.sign)
    return Evidence(
        PANEL,
        (NumberShown(what, found.estimate, low, high, materials.level, *limits),),
        **of_estimate(found, p, people),
        against=against,
        qualifier=slightly if small else "",
        suggestion=compared(
            materials.study, materials.names, claim.attribute, claim.direction, [claim.versus], slightly=small
        ),
        reasons=tuple(reasons),
        needs=lambda: (
            _OTHER_WAY
            if wrong_way
            else _TOO_SMALL
            if against
            else assessors_for_difference(materials.panel, claim.attribute, found.estimate),
        ),
        method="difference in the mixed model of the panel, Satterthwaite's degrees of freedom",
    )


def of_estimate(found: Estimate, p_value: float, people: int, statistic: float | None = None) -> dict[str, Any]:
    """Return what is told of every test of the panel's model, as arguments of `Evidence`."""
    return {
        "p_value": p_value,
        "statistic": found.statistic if statistic is None else statistic,
        "df": found.df,
        "std_error": found.std_error,
        "n": people,
    }


def _size_reason(claim: Claim, low: float, high: float, margin: float) -> str:
    least = min(claim.sign * low, claim.sign * high)
    if least > margin:
        return f"The whole interval lies beyond the smallest difference that matters ({number(margin)})."
    if max(abs(low), abs(high)) < margin:
        return f"The whole interval lies within the smallest difference that matters ({number(margin)})."
    return f"The difference may be smaller than the smallest one that matters ({number(margin)})."


def parity(claim: Claim, materials: Materials) -> Evidence:
    """Return two one-sided tests of the difference against the margin that was set beforehand."""
    lacking = [] if claim.versus else ["Nothing is named to be like. Fill in versus."]
    missing = [*lacking, *_too_wide(claim, materials)] or materials.panel_missing(claim, claim.versus)
    if missing:
        return nothing_yet(PANEL, *missing)
    found = materials.panel.difference(claim.attribute, claim.prototype, claim.versus)
    margin, level = claim.margin, 1 - 2 * materials.alpha
    tests = two_one_sided_tests(found.estimate, found.std_error, found.df, -margin, margin, materials.alpha)
    low, high, p = float(tests.ci_low), float(tests.ci_high), float(tests.p_value)
    people, _ = materials.panel.people(claim.attribute, (claim.prototype, claim.versus))
    words = materials.study.attribute_words(claim.attribute)
    deciding = tests.low_statistic if tests.low_p >= tests.high_p else tests.high_statistic
    what = f"{claim.prototype} − {claim.versus}"
    return Evidence(
        PANEL,
        (NumberShown(what, found.estimate, low, high, level, -margin, margin),),
        **of_estimate(found, p, people, float(deciding)),
        against=abs(found.estimate) >= margin,
        suggestion=alike(materials.study, materials.names, claim.attribute, claim.versus),
        reasons=(
            f"{words}: {claim.prototype} minus {claim.versus} is {number(found.estimate)}, {100 * level:g} % interval "
            f"{interval(low, high)}; margin ±{number(margin)}; two one-sided tests, {p_value(p)}, "
            f"{materials.who_scored(claim, claim.versus)}.",
            *_beside_the_difference(found, tests, materials),
        ),
        needs=lambda: (assessors_for_margin(found, margin, people),),
        method="two one-sided tests (Schuirmann 1987) on the difference in the mixed model of the panel",
    )


def _too_wide(claim: Claim, materials: Materials) -> list[str]:
    """Return what is wrong with a margin that lets pass what the study itself calls a difference that matters."""
    matters = materials.margin_of_study
    if not claim.margin > matters:
        return []
    return [
        f"The margin of this claim ({number(claim.margin)}) is wider than the smallest difference that matters in this "
        f"study ({number(matters)}): what matters cannot be called alike. Fix a margin of {number(matters)} or less."
    ]


def _beside_the_difference(found: Estimate, tests: Equivalence, materials: Materials) -> list[str]:
    """Say what a difference that was found, or was not, means beside the test of parity."""
    low, high = found.interval(materials.level)
    if low <= 0 <= high:
        return ["That no difference was found shows nothing here; only the interval within the margin counts."]
    if tests.p_value <= materials.alpha:
        return ["The two differ and are alike within the margin, both at once: the difference is real and small."]
    return []
