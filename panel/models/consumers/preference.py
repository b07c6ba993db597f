"""Which of two samples do consumers prefer, and is one of them superior, unsurpassed, or as much preferred?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.consumers.choices import TEST, by_person, question_facts, read_choices, share_fact, unread_notes
from panel.stats.answers.binomial import (
    exact_interval,
    lower_tail,
    minimum_count,
    parity_region,
    upper_tail,
    wilson_interval,
)
from panel.stats.answers.discrimination import fit_beta_binomial
from panel.stats.arrays import Array
from panel.stats.comparing.estimability import below
from panel.stats.comparing.power import same_share_p
from panel.stats.maps.ideal_points import direction_interval, fit_plane, inside_hull
from panel.stats.maps.links import correlations
from panel.study.study import Study

HALF = 0.5
USUAL_MARGIN = 0.05
"""Half the width of the parity region: preference between 45 and 55 %, as in ASTM E1958."""

LEFT_OUT, SPLIT, NOT_PREFERRING = "left out", "split equally", "counted as not preferring"
WAYS = (LEFT_OUT, SPLIT, NOT_PREFERRING)


@dataclass(frozen=True, eq=False, slots=True)
class Preferences:
    """What paired preferences say, question by question; frames tidy and unrounded.

    Parameters
    ----------
    counts
        `question kind prototype versus n_people n chosen other no_preference margin margin_recorded needed
        needed_two_sided p_order order_first order_n p_above p_two_sided rho p_no_spread repeated`. `chosen` prefer
        `prototype`, `other` prefer `versus`. `needed`: fewest of those who chose, for a preference at the level.
        `order_first` of `order_n` chose what they tried first; `p_order`: exact test that the order does not matter.
        `p_above p_two_sided rho p_no_spread`: where people answered more than once, allowing for each person's leaning.
    ways
        One row for each question, direction and way to treat votes for no preference: `question prototype versus way
        count base share ci_low ci_high wilson_low wilson_high p_value p_two_sided needed unsurpassed_needed parity_low
        parity_high p_unsurpassed p_parity superior unsurpassed parity`. `p_value` is one-sided, that no more than half
        prefer `prototype`.
    """

    counts: pd.DataFrame
    ways: pd.DataFrame
    unread: pd.DataFrame
    level: float
    method: str
    notes: tuple[str, ...]


def count_preferences(study: Study, *, level: float = 0.95) -> Preferences:
    """Count the paired preferences of a study.

    Raises
    ------
    ModelError
        If the study has no preferences, or none that can be read.
    """
    read = read_choices(study, ("preference",))
    if read.frame.empty:
        raise ModelError(
            "The study has no preferences that can be read. Add them to the table answers: kind preference, prototype "
            "and versus name the two samples, answer is the one preferred or 'no preference'."
        )
    counts, ways = [], []
    for key, rows in read.frame.groupby(TEST, sort=False):
        names = dict(zip(TEST, map(str, key), strict=True))
        recorded = share_fact(question_facts(study, names["question"], "preference"), "margin", HALF)
        row = names | _counts(rows, level) | {"margin": recorded or USUAL_MARGIN, "margin_recorded": bool(recorded)}
        counts.append(row)
        ways += _all_ways(row, level)
    table = pd.DataFrame(counts)
    return Preferences(
        counts=table,
        ways=pd.DataFrame(ways),
        unread=read.unread,
        level=level,
        method=_method(level),
        notes=(*_notes(table), *unread_notes(read.unread)),
    )


def _counts(rows: pd.DataFrame, level: float) -> dict[str, Any]:
    chosen, other = int((rows["chosen"] == 1).sum()), int((rows["chosen"] == 0).sum())
    decided = chosen + other
    people = by_person(rows)
    alpha = 1 - level
    return (
        {
            "n_people": int(rows["assessor"].nunique()),
            "n": len(rows),
            "chosen": chosen,
            "other": other,
            "no_preference": len(rows) - decided,
            "needed": int(minimum_count(decided, HALF, alpha)) if decided else np.nan,
            "needed_two_sided": int(minimum_count(decided, HALF, alpha / 2)) if decided else np.nan,
            "repeated": bool(rows["assessor"].duplicated().any()),
        }
        | _order(rows)
        | _with_leaning(rows, people, level)
    )


def _order(rows: pd.DataFrame) -> dict[str, Any]:
    """Return whether people lean to what they tried first: exact test of order against choice."""
    known = rows.loc[rows["first"].notna() & rows["chosen"].notna()]
    if known["first"].nunique() < 2 or rows["assessor"].duplicated().any():
        return {"order_first": np.nan, "order_n": len(known), "p_order": np.nan}
    table = pd.crosstab(known["first"], known["chosen"]).reindex(columns=[0.0, 1.0], fill_value=0)
    return {
        "order_first": int((known["first"] == known["chosen"]).sum()),
        "order_n": len(known),
        "p_order": same_share_p(table[1.0], table.sum(axis=1))[0],
    }


def _with_leaning(rows: pd.DataFrame, people: pd.DataFrame, level: float) -> dict[str, Any]:
    """Return the tests that allow for several answers of one person, NaN where everybody answered once."""
    nothing = dict.fromkeys(["p_above", "p_two_sided", "rho", "p_no_spread"], np.nan)
    if not rows["assessor"].duplicated().any():
        return nothing
    try:
        fit = fit_beta_binomial(people["right"], people["n"], level)
    except ModelError:  # nobody chose twice, or all chose alike: each person counts once
        return nothing
    above, below = fit.p_above(HALF), fit.p_below(HALF)
    return {
        "p_above": above,
        "p_two_sided": min(2 * min(above, below), 1.0),
        "rho": fit.rho,
        "p_no_spread": fit.p_no_spread,
    }


def _all_ways(row: Mapping[str, Any], level: float) -> list[dict[str, Any]]:
    """Return both directions, votes for no preference treated in three ways."""
    found = []
    for prototype, versus, mine in (
        (row["prototype"], row["versus"], row["chosen"]),
        (row["versus"], row["prototype"], row["other"]),
    ):
        undecided, n = row["no_preference"], row["n"]
        votes = {LEFT_OUT: (mine, n - undecided), SPLIT: (mine + undecided / 2, n), NOT_PREFERRING: (mine, n)}
        names = {"question": row["question"], "prototype": prototype, "versus": versus}
        found += [
            names | {"way": way} | _one_way(count, base, row, level, way)
            for way, (count, base) in votes.items()
            if base
        ]
    return found


def _one_way(count: float, base: int, row: Mapping[str, Any], level: float, way: str) -> dict[str, Any]:
    """Return share, intervals, tests and verdicts of one direction; an odd half vote never helps to show anything."""
    alpha, margin = 1 - level, row["margin"]
    sure, possible = int(np.floor(count)), int(np.ceil(count))
    low, high = HALF - margin, HALF + margin
    fewest, most = (int(value) for value in parity_region(base, low, high, alpha))
    p_value = float(upper_tail(sure, base, HALF))
    p_other = float(lower_tail(possible, base, HALF))
    p_unsurpassed = float(upper_tail(sure, base, low))
    p_parity = max(p_unsurpassed, float(lower_tail(possible, base, high)))
    needed = int(minimum_count(base, HALF, alpha))
    decides = not row["repeated"]
    exact, wilson = exact_interval([sure, possible], base, level), wilson_interval(count, base, level)
    return {
        "count": count,
        "base": base,
        "share": count / base,
        "ci_low": float(exact[0][0]),
        "ci_high": float(exact[1][1]),
        "wilson_low": float(wilson[0]),
        "wilson_high": float(wilson[1]),
        "p_value": p_value,
        "p_two_sided": np.nan if way == NOT_PREFERRING else min(2 * min(p_value, p_other), 1.0),
        "needed": needed,
        "unsurpassed_needed": fewest,
        "parity_low": fewest,
        "parity_high": most,
        "p_unsurpassed": p_unsurpassed,
        "p_parity": p_parity,
        "superior": decides and sure >= needed,
        "unsurpassed": decides and sure >= fewest,
        "parity": decides and fewest <= sure and possible <= most,
    }


def _method(level: float) -> str:
    percent = f"{100 * (1 - level):g} %"
    return (
        f"Exact binomial tests of the counts, each one-sided at {percent} and the two-sided one beside them. Superior: "
        "more than half prefer it. Unsurpassed: more than half less the margin do. Parity: between half less and half "
        "plus the margin (two one-sided tests). Votes for no preference are treated in three ways: left out; split "
        "equally between the two, an odd half vote counted against what is to be shown; counted among those who do not "
        f"prefer the sample, so that shares are of everybody asked. {100 * level:g} % intervals by Clopper and Pearson "
        "(exact) and by Wilson."
    )


def _notes(counts: pd.DataFrame) -> list[str]:
    notes = []
    usual = counts.loc[~counts["margin_recorded"], "question"]
    if len(usual):
        notes.append(
            f"No margin was set beforehand for {', '.join(dict.fromkeys(usual))}: the usual 5 points are used (45 to "
            "55 %, ASTM E1958). Record a margin with the question before the test."
        )
    if counts["repeated"].any():
        notes.append(
            "Some people gave a preference more than once. Their answers go together, so the exact counts do not hold "
            "and no verdict is given on them; the test that allows for each person's leaning stands beside."
        )
    if (counts["no_preference"] > 0).any():
        notes.append(
            "Votes for no preference are answers. Look at all three ways; a claim that holds in one of them only "
            "depends on how they were counted."
        )
    return notes


# Liking over the panel's map as tables: directions, ideal points, shares of consumers, sensations.


GRID = 41  # places along each side of the map
FEWEST_OWN = 6  # prototypes a consumer has to have tried for a model of his own
REACH = 0.02  # of the map beyond the outermost prototypes


@dataclass(frozen=True, eq=False, slots=True)
class Liked:
    """Liking of one group of consumers (rows) for the prototypes (columns), own levels taken out, NaN for gaps."""

    segment: int
    own: pd.DataFrame

    def means(self) -> Array:
        """Mean liking of each prototype."""
        return np.asarray(self.own.mean().to_numpy(dtype=float))

    def table(self) -> pd.DataFrame:
        """Return `segment prototype estimate n`."""
        return pd.DataFrame(
            {
                "segment": self.segment,
                "prototype": pd.Series(self.own.columns, dtype="str"),
                "estimate": self.means(),
                "n": self.own.notna().sum().to_numpy(),
            }
        )

    def drawn(self, draws: int, rng: np.random.Generator) -> Array:
        """Return mean likings (prototypes, draws) of consumers drawn anew; without draws that miss a prototype."""
        value = self.own.to_numpy(dtype=float)
        n = len(value)
        times = rng.multinomial(n, np.full(n, 1 / n), size=draws).astype(float)
        present = np.isfinite(value)
        count = times @ present
        total = times @ np.where(present, value, 0.0)
        whole = (count > 0).all(axis=1)
        return np.asarray((total[whole] / count[whole]).T)


def direction_rows(liked: Liked, points: Array, drawn: Array, level: float) -> dict[str, Any]:
    """Return one row of `panel.models.consumers.preference_map.PreferenceMap.directions`."""
    fit = fit_plane(points, liked.means()[:, None])
    slope = fit.slope[0]
    low, high = direction_interval(fit_plane(points, drawn).slope, slope, level)
    angle = float(np.degrees(np.arctan2(slope[1], slope[0])))
    return {
        "segment": liked.segment,
        "n_consumers": len(liked.own),
        "slope_1": float(slope[0]),
        "slope_2": float(slope[1]),
        "angle": angle,
        "angle_low": angle + low,
        "angle_high": angle + high,
        "share": float(fit.r2[0]),
        "p_value": float(fit.p_value[0]),
    }


def ideal_rows(liked: Liked, points: Array, drawn: Array, level: float) -> dict[str, Any]:
    """Return one row of `panel.models.consumers.preference_map.PreferenceMap.ideals`."""
    fit = fit_plane(points, liked.means()[:, None])
    again = fit_plane(points, drawn)
    peaked = again.curvature < 0
    ends = [(1 - level) / 2, (1 + level) / 2]
    limits = np.quantile(again.peak[peaked], ends, axis=0) if peaked.any() else np.full((2, 2), np.nan)
    return {
        "segment": liked.segment,
        "peak": bool(fit.curvature[0] < 0),
        "component_1": float(fit.peak[0, 0]),
        "component_2": float(fit.peak[0, 1]),
        "inside": bool(inside_hull(points, fit.peak)[0]),
        "share": float(fit.circular_r2[0]),
        "curvature_p_value": float(fit.curvature_p_value[0]),
        "drawn_peak": float(peaked.mean()),
        "ci_low_1": float(limits[0, 0]),
        "ci_high_1": float(limits[1, 0]),
        "ci_low_2": float(limits[0, 1]),
        "ci_high_2": float(limits[1, 1]),
    }


def share_rows(own: pd.DataFrame, points: Array) -> pd.DataFrame:
    """Return `component_1 component_2 share` over a grid among the prototypes.

    Consumers with the same gaps share their points and are fitted together.
    """
    value = own.to_numpy(dtype=float)
    present = np.isfinite(value)
    above = []
    low, high = points.min(axis=0), points.max(axis=0)
    room = REACH * (high - low)
    across, up = np.meshgrid(*(np.linspace(a, b, GRID) for a, b in zip(low - room, high + room, strict=True)))
    places = np.column_stack([across.ravel(), up.ravel()])
    places = places[inside_hull(points, places)]
    for pattern in np.unique(present, axis=0):
        if pattern.sum() < FEWEST_OWN:
            continue
        rows = value[(present == pattern).all(axis=1)][:, pattern]
        fit = fit_plane(points[pattern], rows.T)
        predicted = fit.intercept + places @ fit.slope.T
        above.append(predicted > rows.mean(axis=1))
    if not above or not len(places):
        return pd.DataFrame({name: pd.Series(dtype="float64") for name in ("component_1", "component_2", "share")})
    share = np.hstack(above).mean(axis=1)
    return pd.DataFrame({"component_1": places[:, 0], "component_2": places[:, 1], "share": share})


def sensation_rows(liked: Liked, profile: pd.DataFrame, level: float) -> pd.DataFrame:
    """Return `segment attribute estimate n p_value ci_low ci_high beyond`, prototypes by attributes in `profile`."""
    found = correlations(liked.means()[:, None], profile.to_numpy(dtype=float), level)
    return pd.DataFrame(
        {
            "segment": liked.segment,
            "attribute": pd.Series(profile.columns, dtype="str"),
            "estimate": found.estimate[0],
            "n": found.n[0],
            "p_value": found.p_value[0],
            "ci_low": found.ci_low[0],
            "ci_high": found.ci_high[0],
            "beyond": below(found.p_value[0], 1 - level),
        }
    )
