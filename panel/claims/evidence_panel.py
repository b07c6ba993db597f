"""What does the trained panel say about two prototypes: does one have more of it, or are they alike?"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from panel.checks.moments_recorded import minutes_between
from panel.claims.claim import BOTH, PANEL, Claim, Evidence, NumberShown, Weaker, beyond, floor, nothing_yet
from panel.claims.materials import Estimate, Materials, assessors_for_difference, assessors_for_estimate
from panel.claims.names import public_name, rest_tested
from panel.claims.study_names import saying
from panel.stats.comparing.group_means import paired_contrasts
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, below
from panel.stats.comparing.power import OneSided, non_inferiority, two_one_sided_tests
from panel.study.knowledge import shared_table
from panel.study.naming import judged_minutes, when_judged
from panel.study.study import Study
from panel.words import counted, format_list, format_number, format_typed, level_digits, level_words, p_words

_OTHER_WAY = "Another prototype: the difference goes the other way, or there is none, however many assessors."
_TOO_SMALL = "Another prototype: what difference there may be is too small to matter, however many assessors."


def _superiority(claim: Claim, materials: Materials) -> Evidence:
    """Return the difference in the claimed direction, its test, and how it lies to the smallest that matters."""
    missing = materials.panel_missing(claim, claim.versus)
    if missing:
        return nothing_yet(PANEL, *missing)
    found = materials.panel.difference(claim.attribute, claim.prototype, claim.versus)
    return _difference_evidence(claim, materials, found, margin=materials.margin(claim))


def _difference_evidence(claim: Claim, materials: Materials, found: Estimate, *, margin: float) -> Evidence:
    """Return the evidence of a difference in the claimed direction."""
    one_sided = found.p_above(0.0) if claim.sign > 0 else 1 - found.p_above(0.0)
    p = one_sided if claim.sides == "one" else min(1.0, 2 * one_sided)
    low, high = found.interval(LEVEL)
    people, _ = materials.panel.people(claim.attribute, (claim.prototype, claim.versus))
    words = materials.called(claim)
    wrong_way = claim.sign * found.estimate <= 0
    small = margin > 0 and max(abs(low), abs(high)) < margin
    against = wrong_way or (small and not below(p))  # no difference that matters is left to be found
    reasons = [
        f"{words}: {claim.prototype} minus {claim.versus} is "
        f"{materials.with_interval(claim.attribute, found.estimate, low, high)}, "
        f"{p_words(p if claim.sides == 'one' else 2 * min(one_sided, 1 - one_sided))} "
        f"({claim.sides}-sided), {materials.who_scored(claim, claim.versus)}.",
        *(["The difference does not go the way the sentence says."] if wrong_way else []),
        *([_size_reason(claim, low, high, margin)] if margin > 0 else []),
    ]
    slightly = "The whole interval lies within the smallest difference that matters: say 'slightly'."
    what, limits = f"{claim.prototype} − {claim.versus}", beyond(0.0, claim.sign)
    return Evidence(
        PANEL,
        (NumberShown(what, found.estimate, low, high, LEVEL, *limits),),
        **_of_estimate(found, p, people),
        against=against,
        qualifier=slightly if small and not against else "",
        suggestion=_compared(claim, materials, claim.direction, [claim.versus], slightly=small),
        reasons=tuple(reasons),
        needs=lambda: (
            _OTHER_WAY
            if wrong_way
            else _TOO_SMALL
            if against
            else assessors_for_difference(materials, claim.attribute, found.estimate),
        ),
        method="difference in the mixed model of the panel, Satterthwaite's degrees of freedom",
    )


def _compared(claim: Claim, materials: Materials, way: str, rivals: Sequence[str], *, slightly: bool = False) -> str:
    """Return `less greasy than our previous hand cream`."""
    others = [public_name(materials.study, materials.names, rival) for rival in rivals]
    products = {name for name in materials.study.prototypes if materials.role(name) != _UNTREATED}
    if len(rivals) > 1 and {*rivals} == products - {claim.prototype}:
        others = [rest_tested(materials.names, len(rivals))]
    how = "slightly " if slightly else ""
    return f"{how}{saying(materials.study, claim.attribute, way)} than {format_list(others)}"


def _of_estimate(found: Estimate, p_value: float, people: int, statistic: float | None = None) -> dict[str, Any]:
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
        return f"The whole interval lies beyond the smallest difference that matters ({format_typed(margin)})."
    if max(abs(low), abs(high)) < margin:
        return f"The whole interval lies within the smallest difference that matters ({format_typed(margin)})."
    return f"The difference may be smaller than the smallest one that matters ({format_typed(margin)})."


def _parity(claim: Claim, materials: Materials) -> Evidence:
    """Return two one-sided tests of the difference against the margin that was set beforehand."""
    lacking = [] if claim.versus else ["Nothing is named to be like. Fill in versus."]
    missing = [*lacking, *_too_wide(claim, materials)] or materials.panel_missing(claim, claim.versus)
    if missing:
        return nothing_yet(PANEL, *missing)
    found = materials.panel.difference(claim.attribute, claim.prototype, claim.versus)
    margin, level = claim.margin, 1 - 2 * ALPHA
    above, under = two_one_sided_tests(found.estimate, found.std_error, found.df, -margin, margin, ALPHA)
    low, high, p = float(above.bound), float(under.bound), float(np.maximum(above.p_value, under.p_value))
    deciding = float(above.statistic if above.p_value >= under.p_value else -under.statistic)
    people, _ = materials.panel.people(claim.attribute, (claim.prototype, claim.versus))
    words = materials.called(claim)
    what = f"{claim.prototype} − {claim.versus}"
    return Evidence(
        PANEL,
        (NumberShown(what, found.estimate, low, high, level, -margin, margin),),
        **_of_estimate(found, p, people, deciding),
        against=abs(found.estimate) >= margin,
        suggestion=_alike(claim, materials),
        reasons=(
            f"{words}: {claim.prototype} minus {claim.versus} is {materials.value(claim.attribute, found.estimate)}, "
            f"{100 * level:g} % interval {materials.between(claim.attribute, low, high)}; margin "
            f"±{format_typed(margin)}; two one-sided tests, {p_words(p)}, {materials.who_scored(claim, claim.versus)}.",
            *_beside_the_difference(found, p),
        ),
        needs=lambda: (assessors_for_estimate(materials, found, people, margin, "equality"),),
        method="two one-sided tests (Schuirmann 1987) on the difference in the mixed model of the panel",
    )


def _alike(claim: Claim, materials: Materials) -> str:
    """Return `as soft as our previous hand cream`; empty where the property has no such way of saying it."""
    words = saying(materials.study, claim.attribute, "as_much")
    return f"{words} {public_name(materials.study, materials.names, claim.versus)}" if words else ""


def _too_wide(claim: Claim, materials: Materials) -> list[str]:
    """Return what is wrong with a margin that lets pass what the study itself calls a difference that matters."""
    margin = materials.margin_of_study(claim)
    if not claim.margin > margin:
        return []
    matters = format_typed(margin)
    return [
        f"The margin of this claim ({format_typed(claim.margin)}) is wider than the smallest difference that matters "
        f"in this study ({matters}): what matters cannot be called alike. Fix a margin of {matters} or less."
    ]


def _beside_the_difference(found: Estimate, p: float) -> list[str]:
    """Say what a difference that was found, or was not, means beside the test of parity."""
    low, high = found.interval(LEVEL)
    if low <= 0 <= high:
        return ["That no difference was found shows nothing here; only the interval within the margin counts."]
    if below(p):
        return ["The two differ and are alike within the margin, both at once: the difference is real and small."]
    return []


# What does the trained panel say about the level of one prototype: below a bar, above it, really absent?


_PERCEIVED = "The answers of consumers carry a sentence about what they perceive, not the property itself."


def _perceived_attribute(claim: Claim, materials: Materials) -> Evidence:
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
        return _difference_evidence(claim, materials, found, margin=materials.margin(claim))
    return _beside_bar(claim, materials, claim.bar)


def _beside_bar(claim: Claim, materials: Materials, bar: float) -> Evidence:
    """Return the mean beside a bar: the interval must lie wholly on the claimed side."""
    found = materials.panel.contrast(claim.attribute, {claim.prototype: 1.0})
    low, high = found.interval(LEVEL)
    p = _p_beyond(found, bar, claim.sign)
    people, _ = materials.panel.people(claim.attribute, (claim.prototype,))
    words, side = materials.called(claim), "above" if claim.sign > 0 else "below"
    against = claim.sign * (found.estimate - bar) <= 0
    floor_name = "least_high" if claim.sign > 0 else "most_low"
    level_words = f"high {words}" if claim.sign > 0 else saying(materials.study, claim.attribute, "low")
    return Evidence(
        PANEL,
        (NumberShown(f"mean of {claim.prototype}", found.estimate, low, high, LEVEL, *beyond(bar, claim.sign)),),
        **_of_estimate(found, p, people, (found.estimate - bar) / found.std_error),
        against=against,
        suggestion=f"{level_words} in a trained-panel test" if level_words else "",
        refused=tuple(_refused_panel_bar(materials.study, claim.attribute, bar, floor_name)),
        reasons=(
            f"{words}: the mean of {claim.prototype} is "
            f"{materials.with_interval(claim.attribute, found.estimate, low, high)}; it must lie {side} "
            f"{format_typed(bar)}; "
            f"{p_words(p)}, {materials.who_scored(claim)}.",
            "A mean level leans on how this panel uses its scale; a difference from a benchmark is firmer ground.",
        ),
        needs=lambda: (
            ("Another level of it: more assessors will not do.",)
            if against
            else (assessors_for_estimate(materials, found, people, bar),)
        ),
        method="mean in the mixed model of the panel against a bar, Satterthwaite's degrees of freedom",
    )


def absolute_negative(claim: Claim, materials: Materials, users: Evidence) -> Evidence:
    """Return both halves: the panel's upper limit below its bar at a stated time, and the agreement of `users`."""
    missing = _missing(claim, materials, users)
    if missing:
        return nothing_yet(BOTH, *missing)
    people, _ = materials.panel.people(claim.attribute, (claim.prototype,))
    bar, usual = _panel_bar(claim, materials)
    found = materials.panel.contrast(claim.attribute, {claim.prototype: 1.0})
    low, high = found.interval(LEVEL)
    p, above = _p_beyond(found, bar, -1.0), found.estimate >= bar
    what = f"panel mean of {claim.prototype}"
    return Evidence(
        BOTH,
        (NumberShown(what, found.estimate, low, high, LEVEL, math.nan, bar), *users.shown),
        **_of_estimate(found, max(p, users.p_value), people, (found.estimate - bar) / found.std_error),
        against=above or users.against,
        weaker=Weaker(users.p_value, users.suggestion, _PERCEIVED, rescues=False),
        suggestion=_absent(claim, materials),
        refused=(*users.refused, *_refused_panel_bar(materials.study, claim.attribute, bar, "most_absent")),
        reasons=(
            f"Trained panel, {materials.called(claim)}: mean "
            f"{materials.value(claim.attribute, found.estimate)}, {level_words(LEVEL)} "
            f"{materials.between(claim.attribute, low, high)}; "
            f"its upper limit must lie below {format_typed(bar)}{usual}; {materials.who_scored(claim)}.",
            *users.reasons,
            "Both must hold: the panel alone says nothing of users, and users alone do not make a property absent.",
        ),
        needs=lambda: (
            *(() if below(p) else (_panel_need(materials, found, bar, people),)),
            *(() if below(users.p_value) else users.needs()),
        ),
        observed_share=users.observed_share,
        method="mean in the mixed model of the panel against a bar, and an exact binomial test of agreement",
    )


def _absent(claim: Claim, materials: Materials) -> str:
    """Return `non-greasy 2 minutes after rubbing in`; empty where the property has no such way of saying it."""
    words, minutes = saying(materials.study, claim.attribute, "absent"), _time(claim, materials)
    return f"{words} {when_judged(materials.study, claim.attribute, minutes, _time_words(minutes))}" if words else ""


def _missing(claim: Claim, materials: Materials, users: Evidence) -> list[str]:
    """Return what an absolute negative lacks."""
    found = [*materials.panel_missing(claim), *users.missing]
    if not when_judged(materials.study, claim.attribute, _time(claim, materials), ""):
        found.append("No time is stated at which it must be absent. Fill in minutes.")
    if math.isnan(_panel_bar(claim, materials)[0]):
        found.append(
            f"No bar of the panel is stated, and the study does not say where the scale of {materials.called(claim)} "
            "begins and ends, so the usual bar is not known. Fill in bar_panel, or scale_min and scale_max."
        )
    return found or materials.few(claim, *materials.panel.people(claim.attribute, (claim.prototype,)))


def _time_words(minutes: float) -> str:
    """Return a time in the largest unit that makes it whole: `20 minutes`, `8 hours`, `7 days`."""
    for unit, size in (("day", 1440), ("hour", 60)):
        if minutes >= size and minutes % size == 0:
            return counted(int(minutes // size), unit)
    return f"{format_typed(minutes)} minute{'' if minutes == 1 else 's'}"


def _time(claim: Claim, materials: Materials) -> float:
    """Return the minutes at which it was judged, as stated for the claim or for the attribute."""
    return judged_minutes(materials.study, claim.attribute) if math.isnan(claim.minutes) else claim.minutes


def _panel_need(materials: Materials, found: Estimate, bar: float, people: int) -> str:
    if found.estimate >= bar:
        return "The level itself must fall: more assessors will not do."
    return assessors_for_estimate(materials, found, people, bar)


def _panel_bar(claim: Claim, materials: Materials) -> tuple[float, str]:
    """Return the bar of the panel, and words where it is the usual one (`most_absent`); NaN without a scale."""
    if not math.isnan(claim.bar_panel):
        return claim.bar_panel, ""
    low, high = materials.study.scale(claim.attribute) or (math.nan, math.nan)
    return low + floor(materials.study, "most_absent") / 100 * (high - low), " (the usual bar: none was stated)"


def _p_beyond(found: Estimate, bar: float, sign: float) -> float:
    """Return the p-value that goes with the two-sided interval: below 1 - level where all of it lies beyond the bar."""
    above = found.p_above(bar)
    return min(1.0, 2 * (above if sign > 0 else 1 - above))


# Does it last, or change over time, against an untreated control? Without one neither can be said.


_UNTREATED = "untreated"
_FEWEST = 2


def _duration(claim: Claim, materials: Materials) -> Evidence:
    """Return the difference from the untreated control at the time the sentence speaks of."""
    missing = [*_no_control(claim, materials), *materials.panel_missing(claim, claim.versus)]
    if np.isnan(judged_minutes(materials.study, claim.attribute)):
        called = materials.called(claim)
        missing.append(f"Nothing says when {called} was judged. Write its minutes in the table attributes.")
    if missing:
        return nothing_yet(PANEL, *missing)
    found = materials.panel.difference(claim.attribute, claim.prototype, claim.versus)
    shown = _difference_evidence(claim, materials, found, margin=math.nan)
    return replace(shown, suggestion=f"{shown.suggestion} after {_time_words(claim.minutes)}")


def _change_over_time(claim: Claim, materials: Materials) -> Evidence:
    """Return the change from before to after minus that of the untreated control, over assessors."""
    missing = _no_control(claim, materials)
    if not claim.session_before or not claim.session_after:
        missing.append("Nothing says which sittings are before and after. Fill in session_before and session_after.")
    if missing:
        return nothing_yet(PANEL, *missing)
    changes = _changes_of_people(claim, materials)
    if len(changes) < _FEWEST:
        return nothing_yet(
            PANEL,
            f"{counted(len(changes), 'person', 'people')} judged {claim.prototype} and {claim.versus} both before and "
            "after; two are the fewest.",
        )
    test = paired_contrasts(changes.to_numpy(float)[:, None, None], LEVEL)
    found = Estimate(*(float(values.item()) for values in (test.estimate, test.std_error, test.df)))
    if not found.std_error > 0:
        return nothing_yet(PANEL, "All people changed by exactly the same, so nothing is left to judge the change by.")
    return _evidence(claim, materials, found, len(changes))


def _changes_of_people(claim: Claim, materials: Materials) -> pd.Series:
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
    return "" if np.isnan(minutes) else f"{words} after {_time_words(minutes)}"


def _no_control(claim: Claim, materials: Materials) -> list[str]:
    if not claim.versus:
        return ["There is no untreated control. Judge untreated skin beside it, at the same times."]
    if materials.role(claim.versus) != _UNTREATED:
        return [
            f"{claim.versus} is not an untreated control. Judge untreated skin beside it, and give it the role "
            f"{_UNTREATED} in the table prototypes."
        ]
    return []


def _evidence(claim: Claim, materials: Materials, found: Estimate, people: int) -> Evidence:
    low, high = found.interval(LEVEL)
    p = _p_beyond(found, 0.0, claim.sign)
    against = claim.sign * found.estimate <= 0
    words = materials.called(claim)
    what = f"change of {claim.prototype} − change of {claim.versus}"
    return Evidence(
        PANEL,
        (NumberShown(what, found.estimate, low, high, LEVEL, *beyond(0.0, claim.sign)),),
        **_of_estimate(found, p, people),
        against=against,
        suggestion=_changed(claim, materials),
        reasons=(
            f"{words}: from {claim.session_before} to {claim.session_after} {claim.prototype} changed by "
            f"{materials.value(claim.attribute, found.estimate)} more than {claim.versus} ({level_words(LEVEL)} "
            f"{materials.between(claim.attribute, low, high)}), {p_words(p)}, {counted(people, 'person', 'people')}.",
        ),
        needs=lambda: (
            ("Another sentence: the change does not go the way this one says.",)
            if against
            else (assessors_for_estimate(materials, found, people, 0.0),)
        ),
        method="paired t test over people: change of the prototype minus change of the untreated control",
    )


# What does the trained panel say about one prototype beside many: is none better, is it the first of all?


def _unsurpassed(claim: Claim, materials: Materials) -> Evidence:
    """Return the one-sided limits against every competitor: each must lie beyond the margin."""
    missing = materials.panel_missing(claim, *claim.competitors)
    if missing:
        return nothing_yet(PANEL, *missing)
    found = [materials.panel.difference(claim.attribute, claim.prototype, rival) for rival in claim.competitors]
    tests = [_not_worse(claim, each) for each in found]
    worst = int(np.argmax([float(test.p_value) for test in tests]))
    people = min(materials.panel.people(claim.attribute, (claim.prototype, rival))[0] for rival in claim.competitors)
    nearest, p = found[worst], float(tests[worst].p_value)
    turned = replace(nearest, estimate=claim.sign * nearest.estimate)
    other_way = "less" if claim.sign > 0 else "more"
    return Evidence(
        PANEL,
        tuple(_limit_shown(claim, materials, *each) for each in zip(claim.competitors, found, tests, strict=True)),
        **_of_estimate(nearest, p, people, float(tests[worst].statistic)),
        against=claim.sign * nearest.estimate <= -claim.margin,
        suggestion="not " + _compared(claim, materials, other_way, claim.competitors),
        reasons=(
            *(_limit_words(claim, materials, *each) for each in zip(claim.competitors, found, tests, strict=True)),
            "Every competitor must pass, so the largest p-value counts; competitors not named are not covered.",
        ),
        needs=lambda: (assessors_for_estimate(materials, turned, people, claim.margin, "not worse"),),
        method="one-sided tests of 'not worse by the margin' against each competitor",
    )


def _not_worse(claim: Claim, found: Estimate) -> OneSided:
    better = claim.sign > 0
    return non_inferiority(found.estimate, found.std_error, found.df, claim.margin, more_is_better=better, alpha=ALPHA)


def _limit_shown(claim: Claim, materials: Materials, rival: str, found: Estimate, test: OneSided) -> NumberShown:
    bound = float(test.bound)
    ends = (bound, math.inf) if claim.sign > 0 else (-math.inf, bound)
    limits = beyond(-claim.sign * claim.margin, claim.sign)
    return NumberShown(f"{claim.prototype} − {rival}", found.estimate, *ends, LEVEL, *limits)


def _limit_words(claim: Claim, materials: Materials, rival: str, found: Estimate, test: OneSided) -> str:
    side = "at least" if claim.sign > 0 else "at most"
    return (
        f"Against {rival}: {materials.value(claim.attribute, found.estimate)}, {side} "
        f"{materials.value(claim.attribute, float(test.bound))} (one-sided {level_digits(LEVEL)} limit), margin "
        f"{format_number(-claim.sign * claim.margin)}, {p_words(float(test.p_value))}."
    )


def _ranking(claim: Claim, materials: Materials) -> Evidence:
    """Return the differences from all others of the range, adjusted together."""
    study = materials.study
    rivals = claim.competitors or materials.rest_of_range(claim.prototype)
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
        **_of_estimate(Estimate(size, float(nearest["std_error"]), float(nearest["df"])), p, people),
        against=behind,
        suggestion=_first(claim, materials, rivals),
        reasons=(
            f"{words}: hardest to tell apart is {nearest['versus']}, difference "
            f"{materials.with_interval(claim.attribute, size, nearest['ci_low'], nearest['ci_high'])}, "
            f"{p_words(p)}; {materials.who_scored(claim, *rivals)}.",
            f"Compared with {format_list(list(rivals))}, intervals and p-values adjusted together (Dunnett). "
            "A range with other members was not tested.",
        ),
        needs=lambda: (
            "Another prototype is level with it or ahead: the sentence is not true of this range."
            if behind
            else assessors_for_difference(materials, claim.attribute, size, all_others=True),
        ),
        method="differences from all others in the mixed model of the panel, adjusted together (Dunnett)",
    )


def _first(claim: Claim, materials: Materials, rivals: tuple[str, ...]) -> str:
    """Return `the least greasy of our range`; where only some of it was compared, the comparison with each."""
    if claim.competitors:
        return _compared(claim, materials, claim.direction, rivals)
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
    return NumberShown(what, estimate, low, high, LEVEL, *limits)


def _refused_panel_bar(study: Study, attribute: str, bar: float, name: str) -> Iterator[str]:
    """Say where a bar of the panel lies on the wrong side of the level that its words stand for.

    `name` is the floor: `most_absent`, `most_low` or `least_high`, in per cent of the scale from its low end.
    """
    low, high = study.scale(attribute) or (0.0, 100.0)
    limit = low + floor(study, name) / 100 * (high - low)
    wrong = bar < limit if name.startswith("least") else bar > limit
    if wrong:
        side, end = "below" if name.startswith("least") else "above", format_typed(round(limit, 9))
        yield (
            f"The bar {format_typed(bar)} lies {side} {end}, and the scale runs from {format_typed(low)} to "
            f"{format_typed(high)}{_anchors(attribute)}. Fix a bar on the other side of {end}."
        )


def _anchors(attribute: str) -> str:
    """Return the anchors of an attribute of the lexicon in words; empty for one of the study's own."""
    known = shared_table("lexicon").set_index("attribute")
    if attribute not in known.index:
        return ""
    row = known.loc[attribute]
    return f" (anchors: {row['low_anchor']} near the low end, {row['high_anchor']} near the high one)"


RULES: Mapping[str, Callable[[Claim, Materials], Evidence]] = MappingProxyType(
    {
        "perceived_attribute": _perceived_attribute,
        "duration": _duration,
        "change_over_time": _change_over_time,
        "superiority": _superiority,
        "parity": _parity,
        "unsurpassed": _unsurpassed,
        "ranking": _ranking,
    }
)
"""What the data say about each kind of claim that rests on the panel."""
