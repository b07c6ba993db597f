"""What does the trained panel say about the level of one prototype: below a bar, above it, really absent?"""

from __future__ import annotations

import math

from panel.claims.claim import Claim
from panel.claims.evidence import NAN, Evidence, NumberShown, Weaker, beyond, nothing_yet
from panel.claims.evidence_answers import agreement
from panel.claims.evidence_differences import PANEL, difference_evidence, of_estimate
from panel.claims.floors import refused_panel_bar
from panel.claims.materials import USUAL_PANEL_BAR, Materials
from panel.claims.needs import assessors_for_limit
from panel.claims.panel_numbers import Estimate
from panel.claims.said import interval, number, p_value
from panel.claims.sayings import absent, saying

BOTH = "trained panel and consumer answers"
_PERCEIVED = "The answers of consumers carry a sentence about what they perceive, not the property itself."


def perceived_attribute(claim: Claim, materials: Materials) -> Evidence:
    """Return the mean with its interval against a bar, or against an anchor or benchmark."""
    others = (claim.versus,) if claim.versus else ()
    missing = materials.panel_missing(claim, *others)
    if math.isnan(claim.bar) and not claim.versus:
        missing.append("There is neither a bar nor anything to compare with. Fill in bar, or versus.")
    if missing:
        return nothing_yet(PANEL, *missing)
    people, replicates = materials.panel.people(claim.attribute, (claim.prototype, *others))
    few = materials.few(claim, people, replicates)
    if few:
        return nothing_yet(PANEL, *few)
    if math.isnan(claim.bar):
        found = materials.panel.difference(claim.attribute, claim.prototype, claim.versus)
        return difference_evidence(claim, materials, found, margin=materials.margin(claim))
    return _beside_bar(claim, materials, claim.bar)


def _beside_bar(claim: Claim, materials: Materials, bar: float) -> Evidence:
    """Return the mean beside a bar: the interval must lie wholly on the claimed side."""
    found = materials.panel.contrast(claim.attribute, {claim.prototype: 1.0})
    low, high = found.interval(materials.level)
    p = _p_beyond(found, bar, claim.sign)
    people, _ = materials.panel.people(claim.attribute, (claim.prototype,))
    words, side = materials.study.attribute_words(claim.attribute), "above" if claim.sign > 0 else "below"
    against = claim.sign * (found.estimate - bar) <= 0
    floor_name = "least_high" if claim.sign > 0 else "most_low"
    level_words = f"high {words}" if claim.sign > 0 else saying(materials.study, claim.attribute, "low")
    return Evidence(
        PANEL,
        (
            NumberShown(
                f"mean of {claim.prototype}", found.estimate, low, high, materials.level, *beyond(bar, claim.sign)
            ),
        ),
        p,
        (found.estimate - bar) / found.std_error,
        found.df,
        found.std_error,
        people,
        against,
        suggestion=f"{level_words} in a trained-panel test" if level_words else "",
        refused=tuple(refused_panel_bar(materials.study, claim.attribute, bar, floor_name)),
        reasons=(
            f"{words}: the mean of {claim.prototype} is {number(found.estimate)} ({100 * materials.level:g} % interval "
            f"{interval(low, high)}); it must lie {side} {number(bar)}; {p_value(p)}, "
            f"{materials.who_scored(claim)}.",
            "A mean level leans on how this panel uses its scale; a difference from a benchmark is firmer ground.",
        ),
        needs=lambda: (
            ("The level itself must change: more assessors will not do.",)
            if against
            else (assessors_for_limit(found, bar, people),)
        ),
        method="mean in the mixed model of the panel against a bar, Satterthwaite's degrees of freedom",
    )


def absolute_negative(claim: Claim, materials: Materials) -> Evidence:
    """Return both halves: the panel's upper limit below its bar at a stated time, and the agreement of consumers."""
    users = agreement(claim, materials)
    missing = _missing(claim, materials, users)
    if missing:
        return nothing_yet(BOTH, *missing)
    people, _ = materials.panel.people(claim.attribute, (claim.prototype,))
    bar, usual = _panel_bar(claim, materials)
    found = materials.panel.contrast(claim.attribute, {claim.prototype: 1.0})
    low, high = found.interval(materials.level)
    p, above = _p_beyond(found, bar, -1.0), found.estimate >= bar
    what = f"panel mean of {claim.prototype}"
    return Evidence(
        BOTH,
        (NumberShown(what, found.estimate, low, high, materials.level, NAN, bar), *users.shown),
        **of_estimate(found, max(p, users.p_value), people, (found.estimate - bar) / found.std_error),
        against=above or users.against,
        weaker=Weaker(users.p_value, users.suggestion, _PERCEIVED, rescues=False),
        suggestion=absent(materials.study, claim.attribute, _time(claim, materials)),
        refused=(*users.refused, *refused_panel_bar(materials.study, claim.attribute, bar, "most_absent")),
        reasons=(
            f"Trained panel, {materials.study.attribute_words(claim.attribute)}: mean {number(found.estimate)}, "
            f"{100 * materials.level:g} % interval {interval(low, high)}; its upper limit must lie below "
            f"{number(bar)}{usual}; {materials.who_scored(claim)}.",
            *users.reasons,
            "Both must hold: the panel alone says nothing of users, and users alone do not make a property absent.",
        ),
        needs=lambda: (
            *(() if p <= materials.alpha else (_panel_need(found, bar, people),)),
            *(() if users.p_value <= materials.alpha else users.needs()),
        ),
        observed_share=users.observed_share,
        method="mean in the mixed model of the panel against a bar, and an exact binomial test of agreement",
    )


def _missing(claim: Claim, materials: Materials, users: Evidence) -> list[str]:
    """Return what an absolute negative lacks."""
    found = [*materials.panel_missing(claim), *users.missing]
    if math.isnan(claim.minutes) and math.isnan(materials.minutes(claim.attribute)):
        found.append("No time is stated at which it must be absent. Fill in minutes.")
    if math.isnan(_panel_bar(claim, materials)[0]):
        found.append(
            f"No bar of the panel is stated, and the study does not say where the scale of {claim.attribute} begins "
            "and ends, so the usual bar is not known. Fill in bar_panel, or scale_min and scale_max."
        )
    return found or materials.few(claim, *materials.panel.people(claim.attribute, (claim.prototype,)))


def _time(claim: Claim, materials: Materials) -> float:
    """Return the minutes at which it was judged, as stated for the claim or for the attribute."""
    return materials.minutes(claim.attribute) if math.isnan(claim.minutes) else claim.minutes


def _panel_need(found: Estimate, bar: float, people: int) -> str:
    if found.estimate >= bar:
        return "The level itself must fall: more assessors will not do."
    return assessors_for_limit(found, bar, people)


def _panel_bar(claim: Claim, materials: Materials) -> tuple[float, str]:
    """Return the bar of the panel, and words where it is the usual one, a fifth of the scale; NaN without a scale."""
    if not math.isnan(claim.bar_panel):
        return claim.bar_panel, ""
    low, high = materials.study.scale(claim.attribute) or (NAN, NAN)
    return low + USUAL_PANEL_BAR * (high - low), " (the usual bar: none was stated)"


def _p_beyond(found: Estimate, bar: float, sign: float) -> float:
    """Return the p-value that goes with the two-sided interval: below 1 - level where all of it lies beyond the bar."""
    above = found.p_above(bar)
    return min(1.0, 2 * (above if sign > 0 else 1 - above))
