"""What a person's numbers amount to, looked at over all attributes and never at one coefficient.

Each rule first asks whether chance would bring about what is seen, counting every person and attribute that was
looked at (Holm), and only then what it is. What chance often brings about is not told at all; what cannot be told for
sure, or what needs no training, is told as such. The first advice is always training.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from panel.models.assessors.check_tables import FOLLOWS_PROTOTYPES, REVERSED_RULES, SEPARATES_BELOW
from panel.stats.assessors.departures import SCALE_SD
from panel.stats.comparing.multiplicity import holm

REVERSED, NOT_FOLLOWING, NOT_FELT, FEELS_LITTLE = "reversed", "does not follow", "not felt", "feels little"
NARROW, WIDE, SCATTERS, OWN_VIEW, DRIFTS = "narrow scale", "wide scale", "scatters", "own view", "drifts"
HIGH, LOW = "sits high", "sits low"
RETRAIN, LOOK_AGAIN, NONE = "retrain", "look again", "none"
ACTIONS = (NONE, LOOK_AGAIN, RETRAIN)

TOO_LOW = 0.025
"""Adjusted p-value below which a slope is too low for somebody who feels what the others feel."""

UNLIKELY = 0.01
"""Adjusted p-value for the other rules: there are several, and honest people are to be spared by all together."""

POSSIBLE = 0.05
"""Adjusted p-value for a quality not felt at any stage: it needs two attributes to agree, and only says look again."""

NARROWEST, WIDEST = 0.5, 1.5
"""Slope on the others that leaders commonly accept as use of the scale (common practice, no source)."""

NARROW_SPREAD = 0.6
"""Own means spread over the others'; honest people simulated with 4 to 8 prototypes fall below about once in 1,000."""

SEPARATED_SHARE = 0.5
"""Share of judged attributes that somebody separates who uses little of the scale but feels the differences."""

SCATTER_TOLD, SCATTER_TRAINED = 1.7, 2.0
"""Ratio of scatter to the others' that is told (common practice, no source), and that calls for training."""

LEVEL_TOLD = 0.08
"""Share of the scale by which a level is told: the usual smallest difference that matters (common practice)."""

GENERAL_WORDS = frozenset({"amount", "degree", "ease", "force", "intensity", "level", "speed", "strength"})
COLUMNS = ["assessor", "pattern", "attribute", "quality", "estimate", "ci_low", "ci_high", "p_adjusted", "action"]


def find_patterns(
    assessors: pd.DataFrame, people: pd.DataFrame, qualities: Mapping[str, Sequence[str]]
) -> pd.DataFrame:
    """Return the patterns, columns `COLUMNS`; `attribute` is empty where a pattern goes over all attributes.

    Parameters
    ----------
    assessors, people
        As made by `panel.models.assessors.check_tables`.
    qualities
        Attributes that are one quality judged at several stages, by the word they share.
    """
    rows = [*_by_attribute(assessors), *_by_quality(assessors, qualities), *_by_person(people)]
    frame = pd.DataFrame(rows, columns=COLUMNS)
    text = dict.fromkeys(["assessor", "pattern", "attribute", "quality", "action"], "str")
    numbers = dict.fromkeys(["estimate", "ci_low", "ci_high", "p_adjusted"], "float64")
    frame = frame.astype(text | numbers).drop_duplicates(["assessor", "pattern", "attribute"])
    order = {name: place for place, name in enumerate(people["assessor"])}
    return frame.sort_values("assessor", key=lambda names: names.map(order), kind="stable", ignore_index=True)


def _by_attribute(assessors: pd.DataFrame) -> Iterator[tuple[object, ...]]:
    """Yield the patterns that a single attribute shows."""
    smaller = np.fmin(assessors["slope_p_adjusted"], assessors["reversed_p_adjusted"])
    assessors = assessors.assign(backwards_p_adjusted=smaller)
    separates = assessors["p_value"]
    slope = assessors["slope"]
    low = assessors["slope_p_adjusted"] < TOO_LOW
    follows = separates < FOLLOWS_PROTOTYPES
    everybody, separating = REVERSED_RULES
    backwards = (slope < 0) & (
        ((assessors["slope_p_adjusted"] < everybody.alpha) & follows)
        | (assessors["reversed_p_adjusted"] < separating.alpha)
    )
    flat = (assessors["flatness_p_adjusted"] < UNLIKELY) & ~(separates < SEPARATES_BELOW)
    strange = (assessors["interaction_p_adjusted"] < UNLIKELY) & follows & ~low & ~backwards
    scatter = (assessors["repeat_p_adjusted"] < UNLIKELY) & (assessors["repeat_ratio"] > SCATTER_TOLD)
    wander = assessors["drift_p_adjusted"] < UNLIKELY
    for chosen, pattern, estimate, p_adjusted, action in (
        (backwards, REVERSED, "slope", "backwards_p_adjusted", RETRAIN),
        (low & ~backwards, NOT_FOLLOWING, "slope", "slope_p_adjusted", LOOK_AGAIN),
        (flat & ~low, NOT_FELT, "slope", "flatness_p_adjusted", LOOK_AGAIN),
        (strange, OWN_VIEW, "interaction_share", "interaction_p_adjusted", LOOK_AGAIN),
        (scatter, SCATTERS, "repeat_ratio", "repeat_p_adjusted", LOOK_AGAIN),
        (wander, DRIFTS, "drift", "drift_p_adjusted", LOOK_AGAIN),
    ):
        for row in assessors.loc[chosen].to_dict("records"):
            ends = (row["ci_low"], row["ci_high"]) if estimate == "slope" else (np.nan, np.nan)
            yield row["assessor"], pattern, row["attribute"], "", row[estimate], *ends, row[p_adjusted], action


def _by_quality(assessors: pd.DataFrame, qualities: Mapping[str, Sequence[str]]) -> Iterator[tuple[object, ...]]:
    """Yield qualities that a person does not feel at any stage, the stages taken together (Stouffer's z)."""
    found: list[tuple[pd.DataFrame, str, float]] = []
    for quality, attributes in qualities.items():
        for _, rows in assessors.loc[assessors["attribute"].isin(attributes)].groupby("assessor", sort=False):
            p_value = rows["flatness_p_value"].to_numpy(float)
            if len(rows) == len(attributes) and np.isfinite(p_value).all():
                z = ndtri(np.clip(p_value, np.finfo(float).tiny, 1 - np.finfo(float).eps))
                found.append((rows, quality, float(ndtr(z.sum() / np.sqrt(len(z))))))
    adjusted = holm([p_value for _, _, p_value in found])
    for (rows, quality, _), p_adjusted in zip(found, adjusted, strict=True):
        if p_adjusted < POSSIBLE and not (rows["p_value"] < SEPARATES_BELOW).any():
            for row in rows.to_dict("records"):
                ends = row["ci_low"], row["ci_high"]
                yield row["assessor"], NOT_FELT, row["attribute"], quality, row["slope"], *ends, p_adjusted, LOOK_AGAIN


def _by_person(people: pd.DataFrame) -> Iterator[tuple[object, ...]]:
    """Yield the patterns that a person shows over all attributes."""
    beyond = -ndtri(POSSIBLE / len(people))
    for row, p_little in zip(people.to_dict("records"), holm(_lowness(people)), strict=True):
        who, scale, ends = row["assessor"], row["scale"], (row["scale_low"], row["scale_high"])
        feels = row["n_separated"] >= SEPARATED_SHARE * row["n_tested"]  # never where nothing was repeated
        if row["spread_ratio"] < NARROW_SPREAD and row["spread_p_adjusted"] < UNLIKELY and feels:
            yield who, NARROW, "", "", row["spread_ratio"], np.nan, np.nan, row["spread_p_adjusted"], RETRAIN
        elif scale < NARROWEST and p_little < UNLIKELY:
            yield who, NOT_FOLLOWING if feels else FEELS_LITTLE, "", "", scale, *ends, p_little, RETRAIN
        elif scale > WIDEST and scale - beyond * row["scale_error"] > 1:
            yield who, WIDE, "", "", scale, *ends, np.nan, NONE
        ratio, p_adjusted = row["repeat_ratio"], row["repeat_p_adjusted"]
        if ratio > SCATTER_TOLD and p_adjusted < UNLIKELY:
            action = RETRAIN if ratio > SCATTER_TRAINED else LOOK_AGAIN
            yield who, SCATTERS, "", "", ratio, np.nan, np.nan, p_adjusted, action
        if abs(row["level_share"]) > LEVEL_TOLD:
            side = HIGH if row["level_share"] > 0 else LOW
            yield who, side, "", "", row["level_share"], np.nan, np.nan, np.nan, NONE


def _lowness(people: pd.DataFrame) -> np.ndarray:
    """Return the chance of so low a slope over all attributes in somebody who feels what the others feel."""
    scale, error = people["scale"].to_numpy(float), people["scale_error"].to_numpy(float)
    return np.asarray(ndtr((scale - 1) / np.hypot(error, SCALE_SD)))


def judgements(people: pd.DataFrame, patterns: pd.DataFrame) -> pd.Series:
    """Return for each person the gravest action that a pattern calls for, `none` if no pattern does."""
    grave = {action: place for place, action in enumerate(ACTIONS)}
    worst = patterns["action"].map(grave).groupby(patterns["assessor"]).max()
    found = people["assessor"].map(worst).fillna(0).astype(int)
    return pd.Series([ACTIONS[place] for place in found], index=people.index, dtype="str")


def qualities_of(words: Mapping[str, str]) -> dict[str, list[str]]:
    """Return attributes that are one quality judged at several stages, by the word their names start with.

    `stickiness of the bulk` and `stickiness, later` are both stickiness; `ease of spreading` goes by `spreading`.
    """
    found: dict[str, list[str]] = {}
    for attribute, name in words.items():
        parts = [part.strip(",;:.()").lower() for part in name.split()]
        if len(parts) > 2 and parts[0] in GENERAL_WORDS and parts[1] == "of":
            parts = parts[2:]
        if parts and parts[0]:
            found.setdefault(parts[0], []).append(attribute)
    return {word: attributes for word, attributes in found.items() if len(attributes) > 1}
