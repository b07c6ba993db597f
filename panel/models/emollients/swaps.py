"""What each emollient swap did to each attribute, inside this base and for these assessors."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from scipy.special import stdtr, stdtrit

from panel.checks.batches import making_day, swap_findings
from panel.checks.confounds import BATCH, Confounds, find_confounds
from panel.errors import ModelError
from panel.models.emollients.descriptors import find_descriptors
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.panel_design import fit_panel, variance_rows
from panel.models.prototypes.verdict import (
    CANNOT_TELL,
    DF_FACT,
    DIFFERS,
    SD_FACT,
    BatchSpread,
    batch_spread,
    shrunken_effects,
    wanted_ways,
    why_not_apart,
    with_deciding,
)
from panel.stats.arrays import Array, Codes, ratio
from panel.stats.comparing.group_means import mean_of_known, paired_contrasts
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, below, benjamini_hochberg
from panel.stats.formulas.composition import ALIAS_THRESHOLD, alias_groups, sizes_of_moves
from panel.stats.mixed.inference import widened
from panel.study.formulas import blend_rounding, emollient_blend, formula_pairs, joint_changes, matched_pairs
from panel.study.naming import naming
from panel.study.scores_used import scores_used
from panel.study.study import Study, kept
from panel.words import format_list, level_digits

_CHANGE = ["swap", "removed", "added", "percent"]


@dataclass(frozen=True, eq=False, slots=True)
class TracedSwaps:
    """What the swaps of a study did.

    Parameters
    ----------
    n_moves, moves
        How many directions the blends differ in; per singular value of the centred blends (in per cent of the
        emollient part): `move singular_value tolerance counts`.
    aliases
        Emollients and blend descriptors that move together: `group kind descriptor sign`. Weak descriptors take no
        part.
    swaps
        One row per attribute and swap: `attribute swap removed added percent estimate std_error df statistic p_value
        p_adjusted ci_low ci_high told_low told_high told_level n_pairs n_assessors seen not_apart verdict because
        goes_along shrunken wrong_sign`. The estimate is the score with the swap minus without it. `told_low told_high`
        leave out zero exactly where the adjusted p-value is below 5 %; there `not_apart` says why the prototypes are
        not told apart on the attribute at all, else the change is `seen`, and `verdict` is `differs` unless something
        goes wholly along with the swap, else `cannot tell`. `because` says that and what goes along, `goes_along` names
        the factors that it cannot be told from at all; `shrunken` and `wrong_sign`: all changes on an attribute
        together.
    joint
        The same for changes of several emollients that never change apart: the effect belongs to all of them.
    interactions
        One row per attribute and two swaps, `swap` and `with_swap`: how much more one swap does where the other has
        been made; `n_squares` sets of four prototypes; `verdict` may be `perhaps`, too.
    pairs
        The matched pairs behind it: `removed added percent prototype versus swap`.
    members
        `pairs` and the matched pairs behind the joint changes, with the same columns.
    unpaired
        Pairs of prototypes that are no swap: `prototype versus kind removed added percent`.
    confounds
        What the swaps cannot be told from.
    margins
        Attribute to the smallest difference that matters on it, where the study states one.
    directions
        Attribute to what is wanted of it, `more` or `less`, where the study says so.
    """

    n_moves: int
    moves: pd.DataFrame
    aliases: pd.DataFrame
    swaps: pd.DataFrame
    joint: pd.DataFrame
    interactions: pd.DataFrame
    pairs: pd.DataFrame
    members: pd.DataFrame
    unpaired: pd.DataFrame
    confounds: Confounds
    margins: Mapping[str, float]
    directions: Mapping[str, str]
    method: str
    notes: tuple[str, ...]


@kept
def trace_swaps(study: Study) -> TracedSwaps:
    """Trace differences between the prototypes of `study` back to their emollient swaps.

    For each assessor a swap's contrast is the mean over its matched pairs of the mean over sittings of
    score(prototype) - score(versus); then a paired t test over assessors. ModelError if there are fewer than two
    formulas with emollients, or no scores for them.
    """
    blend = _blend(study)
    descriptors = find_descriptors(study)
    scores = _sittings(study, tuple(blend.index))
    differing, pairs, together = formula_pairs(study), matched_pairs(study), joint_changes(study)
    confounds = find_confounds(study)
    spread = _own_batch_spread(study, confounds)
    members = pd.concat([pairs, together], ignore_index=True)
    effects = _effects(scores, members, spread)
    effects = shrunken_effects(swap_verdicts(effects, confounds, _not_apart(study)), "attribute")
    single = effects["swap"].isin(pairs["swap"])
    moves = _moves_frame(*sizes_of_moves(blend.to_numpy(), blend_rounding(study)))
    return TracedSwaps(
        n_moves=int(moves["counts"].sum()),
        moves=moves,
        aliases=_find_aliases(blend, descriptors.wide[list(descriptors.sound)]),
        swaps=effects.loc[single].reset_index(drop=True),
        joint=effects.loc[~single].reset_index(drop=True),
        interactions=_interactions(scores, pairs),
        pairs=pairs,
        members=members,
        unpaired=differing.loc[~differing["kind"].isin(["swap", "joint"])].reset_index(drop=True),
        confounds=confounds,
        margins=study.margins(),
        directions=wanted_ways(study),
        method=_method(len(effects)) + (f" {spread.sentence}" if spread.sd else ""),
        notes=(
            *_swap_notes(study, scores, pairs, together, differing, confounds),
            *_on_told_apart(study, effects, members),
        ),
    )


def _blend(study: Study) -> pd.DataFrame:
    """Return the blends, or say what is missing to have at least two."""
    blend = emollient_blend(study)
    if study.table("formulas").empty:
        raise ModelError(
            "The study has no formulas, so no difference can be traced to an emollient. Add the table formulas, one "
            "row per ingredient and prototype: prototype, ingredient (INCI), percent, kind (emollient ...)."
        )
    if len(blend) < 2:
        raise ModelError(
            "Fewer than two prototypes have a complete formula with an emollient. Add the formulas of the others, fill "
            "in missing amounts, and write 'emollient' as the kind of each emollient."
        )
    return blend


def _moves_frame(singular_values: Array, tolerance: float) -> pd.DataFrame:
    frame = pd.DataFrame({"move": np.arange(1, singular_values.size + 1), "singular_value": singular_values})
    return frame.assign(tolerance=tolerance, counts=singular_values > tolerance)


def _effects(scores: _Sittings, pairs: pd.DataFrame, spread: BatchSpread) -> pd.DataFrame:
    """Return the tested contrast of every change of emollients in `pairs`, one family of tests for all of them."""
    differences = _pair_differences(scores, pairs)
    changes = pairs[_CHANGE].drop_duplicates(ignore_index=True)
    members = [np.flatnonzero(pairs["swap"] == swap) for swap in changes["swap"]]
    frame = _contrast_frame(_mean_by(differences, members), scores.attributes, changes)
    seen = np.any(~np.isnan(differences), axis=0)
    n_pairs = {
        (attribute, swap): int(np.count_nonzero(seen[place, rows]))
        for place, attribute in enumerate(scores.attributes)
        for swap, rows in zip(changes["swap"], members, strict=True)
    }
    keys = zip(frame["attribute"], frame["swap"], strict=True)
    frame["n_pairs"] = pd.Series([n_pairs[key] for key in keys], dtype="int64")
    frame = with_deciding(_with_batches(frame, pairs, spread), benjamini_hochberg)
    return frame[_order_of_columns("swap", "removed", "added", "percent", counted="n_pairs")]


def _with_batches(frame: pd.DataFrame, pairs: pd.DataFrame, spread: BatchSpread) -> pd.DataFrame:
    """Return the effects with what batches add to their standard errors; as they are where nothing is known of that."""
    weights: dict[str, dict[str, float]] = {}
    for swap, rows in pairs.groupby("swap", sort=False):
        own = weights.setdefault(str(swap), {})
        for prototype, versus in zip(rows["prototype"], rows["versus"], strict=True):
            own[prototype] = own.get(prototype, 0.0) + 1 / len(rows)
            own[versus] = own.get(versus, 0.0) - 1 / len(rows)
    keys = zip(frame["attribute"], frame["swap"], strict=True)
    added = np.array([spread.variance(attribute, weights[swap]) for attribute, swap in keys], dtype=float)
    if not added.any():
        return frame
    error, df = widened(frame["std_error"].to_numpy(float), frame["df"].to_numpy(float), added, spread.df)
    statistic = frame["estimate"].to_numpy(float) / error
    half = stdtrit(df, 0.5 + LEVEL / 2) * error
    return frame.assign(
        std_error=error,
        df=df,
        statistic=statistic,
        p_value=2 * stdtr(df, -np.abs(statistic)),
        ci_low=frame["estimate"] - half,
        ci_high=frame["estimate"] + half,
    )


def _not_apart(study: Study) -> dict[str, str]:
    """Return the attributes on which the prototypes are not told apart, and why; none where nothing can be compared."""
    try:
        return why_not_apart(find_differences(study).attributes)
    except ModelError:
        return {}


def swap_verdicts(effects: pd.DataFrame, confounds: Confounds, not_apart: Mapping[str, str]) -> pd.DataFrame:
    """Return effects of swaps (`attribute swap p_adjusted`) with `seen not_apart verdict because goes_along`.

    `goes_along` names what the swap cannot be told from at all, joined by commas: then it is credited with nothing, nor
    is any where the prototypes are not told apart on the attribute, for the reason in `not_apart`.
    """
    because, along = [], []
    clear = below(effects["p_adjusted"])
    why = [not_apart.get(str(name), "") if own else "" for name, own in zip(effects["attribute"], clear, strict=True)]
    for attribute, swap, first in zip(effects["attribute"], effects["swap"], why, strict=True):
        rows = confounds.of_swap(str(attribute), str(swap))
        told = zip(rows["factor"], rows["because"], strict=True)
        because.append("; ".join(filter(None, [first, *(words for factor, words in told if factor != BATCH)])))
        along.append(", ".join(confounds.not_credited(str(attribute), str(swap))["factor"]))
    seen = clear & (np.array(why, dtype=object) == "")
    verdict = np.where(seen & (np.array(along, dtype=object) == ""), DIFFERS, CANNOT_TELL)
    found = pd.DataFrame({"not_apart": why, "because": because, "goes_along": along}, effects.index, dtype="str")
    return effects.assign(seen=seen, verdict=verdict).join(found)


def _order_of_columns(*change: str, counted: str) -> list[str]:
    tests = ["estimate", "std_error", "df", "statistic", "p_value", "p_adjusted", "ci_low", "ci_high"]
    tests += ["told_low", "told_high", "told_level"]
    return ["attribute", *change, *tests, counted, "n_assessors"]


PERHAPS = "perhaps"
_MAY_BE = 0.2  # interactions are known less well than swaps; below this one is worth a look, and told as such


def _interactions(scores: _Sittings, pairs: pd.DataFrame) -> pd.DataFrame:
    """Return how much more each swap does where another has been made, from squares of four prototypes."""
    squares = _squares(pairs)
    changes = squares[["swap", "with_swap"]].drop_duplicates(ignore_index=True)
    members = [
        np.flatnonzero((squares["swap"] == swap) & (squares["with_swap"] == other))
        for swap, other in zip(changes["swap"], changes["with_swap"], strict=True)
    ]
    changes["n_squares"] = pd.Series([len(rows) for rows in members], dtype="int64")
    differences = _pair_differences(scores, pairs)
    extra = differences[..., squares["both"]] - differences[..., squares["alone"]]
    frame = _contrast_frame(_mean_by(extra, members), scores.attributes, changes)
    frame = with_deciding(frame, benjamini_hochberg)
    p_adjusted = frame["p_adjusted"]
    frame["verdict"] = np.select([below(p_adjusted), below(p_adjusted, _MAY_BE)], [DIFFERS, PERHAPS], CANNOT_TELL)
    return frame[[*_order_of_columns("swap", "with_swap", counted="n_squares"), "verdict"]]


def _squares(pairs: pd.DataFrame) -> pd.DataFrame:
    """Return the squares of two swaps: the numbers of the pairs that show `swap` with the other made and alone."""
    rows = list(zip(pairs["swap"], pairs["prototype"], pairs["versus"], strict=True))
    known = set(rows)
    found: list[tuple[str, str, int, int]] = []
    for swap, other in combinations(dict.fromkeys(pairs["swap"]), 2):
        places = [place for place, row in enumerate(rows) if row[0] == swap]
        found += [
            (swap, other, alone, both)
            for alone in places
            for both in places
            if {(other, rows[both][1], rows[alone][1]), (other, rows[both][2], rows[alone][2])} <= known
        ]
    frame = pd.DataFrame(found, columns=["swap", "with_swap", "alone", "both"])
    return frame.astype({"swap": "str", "with_swap": "str", "alone": "int64", "both": "int64"})


def _method(n_tests: int) -> str:
    return (
        "For each assessor and attribute, a swap's contrast is the mean over its matched pairs of the mean over "
        "sittings of the score with the swap minus the score without it, both scored in the same session and "
        "replicate; a paired t test over assessors tests its mean. P-values are adjusted by Benjamini and Hochberg "
        f"over the family of all {n_tests} tests of attributes x swaps; the interactions form a family of their own. "
        f"The intervals shown decide: with R of m told they stand at 1 - max(R, 1) {ALPHA:g} / m and leave out zero "
        f"exactly where the adjusted p-value is below {ALPHA:g} (Benjamini and Yekutieli 2005); a claim on one swap "
        f"rests on its own interval at {level_digits(LEVEL)}."
    )


# Differences between prototypes inside one person's sitting, and their tests over the people.


@dataclass(frozen=True, eq=False, slots=True)
class _Sittings:
    """The scores of the trained assessors: `values` is assessors x sittings x attributes x prototypes, NaN if none.

    A sitting is one session and replicate; several scores of one person, sitting, attribute and prototype are averaged.
    """

    values: Array
    assessors: tuple[str, ...]
    attributes: tuple[str, ...]
    prototypes: tuple[str, ...]


def _sittings(study: Study, prototypes: Sequence[str]) -> _Sittings:
    """Return the scores that trained assessors gave to `prototypes`; ModelError if there are none."""
    if study.scores.empty:
        raise ModelError("The study has no scores. Import a table of scores on the Study page.")
    listed = study.table("assessors")
    consumers = listed.loc[listed["kind"] == "consumer", "assessor"]
    scores = scores_used(study).frame
    scores = scores.loc[scores["prototype"].isin(list(prototypes)) & ~scores["assessor"].isin(consumers)]
    if scores.empty:
        raise ModelError(
            "No trained assessor has scored a prototype that has a formula. Check that scores and formulas use the "
            "same short names of prototypes."
        )
    scored = set(scores["attribute"].unique())
    attributes = tuple(name for name in study.attributes if name in scored)
    assessor, assessors = pd.factorize(scores["assessor"])
    session, replicate = (pd.factorize(scores[column])[0] for column in ("session", "replicate"))
    sitting = pd.factorize(session * (replicate.max() + 1) + replicate)[0]
    attribute = _places(attributes, scores["attribute"])
    prototype = _places(prototypes, scores["prototype"])
    shape = (len(assessors), int(sitting.max()) + 1, len(attributes), len(prototypes))
    place = np.ravel_multi_index((assessor, sitting, attribute, prototype), shape)
    size = int(np.prod(shape))
    count = np.bincount(place, minlength=size)
    total = np.bincount(place, weights=scores["score"].to_numpy(dtype=float), minlength=size)
    return _Sittings(ratio(total, count).reshape(shape), tuple(map(str, assessors)), attributes, tuple(prototypes))


def _places(names: Sequence[str], wanted: pd.Series) -> Codes:
    return pd.Index(list(names), dtype="str").get_indexer(pd.Index(wanted))


def _pair_differences(scores: _Sittings, pairs: pd.DataFrame) -> Array:
    """Return assessors x attributes x pairs: the mean over sittings of score(prototype) - score(versus).

    Only sittings in which the person scored both count, so whatever moves a whole sitting cancels. NaN where a
    person never scored both in one sitting.
    """
    prototype, versus = (_places(scores.prototypes, pairs[end]) for end in ("prototype", "versus"))
    return mean_of_known(scores.values[..., prototype] - scores.values[..., versus], axis=1)


def _mean_by(differences: Array, members: Sequence[Codes]) -> Array:
    """Return assessors x attributes x changes: for each change the mean over its pairs, given by their numbers."""
    means = np.empty((*differences.shape[:2], len(members)))
    for change, pairs in enumerate(members):
        means[..., change] = mean_of_known(differences[..., pairs], axis=2)
    return means


def _contrast_frame(contrasts: Array, attributes: Sequence[str], changes: pd.DataFrame) -> pd.DataFrame:
    """Return one row per attribute and change with the paired t test over assessors.

    `contrasts` is assessors x attributes x changes, `changes` describes the changes, one row each; its columns come
    along. Rows that nobody can give are left out.
    """
    tests = paired_contrasts(contrasts, LEVEL)
    n_attributes, n_changes = len(attributes), len(changes)
    frame = changes.iloc[np.tile(np.arange(n_changes), n_attributes)].reset_index(drop=True)
    frame.insert(0, "attribute", pd.Series(np.repeat(np.asarray(attributes, dtype=object), n_changes), dtype="str"))
    for column in ("estimate", "std_error", "df", "statistic", "p_value", "ci_low", "ci_high"):
        frame[column] = getattr(tests, column).ravel()
    frame["n_assessors"] = tests.n.ravel()
    return frame.loc[frame["n_assessors"] > 0].reset_index(drop=True)


# Which emollients and blend descriptors move together in this study, so that no data on it can tell them apart.


def _find_aliases(blend: pd.DataFrame, descriptors: pd.DataFrame) -> pd.DataFrame:
    """Group the columns of both frames (index prototype) that are tied by correlations above the usual limit in size.

    Returns group (numbered from 1), kind (emollient or descriptor), descriptor (the column's name) and sign (+1 rises
    with the first of its group, -1 falls). Columns that move with no other, are constant or have a value missing are
    left out.
    """
    columns = pd.concat([blend, descriptors.reindex(blend.index)], axis=1)
    kinds = np.repeat(["emollient", "descriptor"], [blend.shape[1], descriptors.shape[1]])
    group, sign = alias_groups(columns.to_numpy(dtype=float), ALIAS_THRESHOLD)
    order = np.argsort(group, kind="stable")
    order = order[group[order] >= 0]
    return pd.DataFrame(
        {
            "group": group[order] + 1,
            "kind": pd.Series(kinds[order], dtype="str"),
            "descriptor": pd.Series(columns.columns[order], dtype="str"),
            "sign": sign[order],
        }
    )


# What to know before trusting the effect of a swap.


_ALWAYS = (
    "The effects hold in this base. An emollient can also act through the structure of the cream (viscosity, "
    "crystals), not only as a film on the skin; compare the viscosity of the batches.",
    "The intervals generalise over assessors, not over other formulas, and over batches only where each prototype was "
    "scored in two or more.",
    "A swap is judged from all its matched pairs at once, so that it may be told where no two prototypes can be.",
    "Assessors who use little of the scale, and scores at its ends, make effects look smaller than they are.",
)


def _swap_notes(
    study: Study,
    scores: _Sittings,
    pairs: pd.DataFrame,
    together: pd.DataFrame,
    differing: pd.DataFrame,
    confounds: Confounds,
) -> tuple[str, ...]:
    """Return the notes on these swaps: pairs, batches, making days, assessors, and what always holds."""
    changes = pd.concat([pairs, together], ignore_index=True)
    return (
        *_on_pairs(pairs, together, changes),
        *_on_unpaired(scores, changes, differing),
        *_on_half_pairs(scores, changes),
        *_on_batches(confounds),
        *(finding.message for finding in (*making_day(confounds), *swap_findings(confounds))),
        *_on_assessors(scores, changes),
        *_ALWAYS,
    )


def _on_told_apart(study: Study, effects: pd.DataFrame, members: pd.DataFrame) -> Iterator[str]:
    """Say which pairs differ where the one swap between them cannot be told."""
    untold = effects.loc[
        (effects["verdict"] == CANNOT_TELL) & (effects["goes_along"] == "") & (effects["n_pairs"] == 1)
    ]
    try:
        told = find_differences(study).pairs
    except ModelError:
        return
    told = told.loc[told["verdict"] == DIFFERS]
    differ = {
        (row[0], frozenset(row[1:])) for row in told[["attribute", "prototype", "versus"]].itertuples(index=False)
    }
    for swap, rows in untold.groupby("swap", sort=False):
        ends = members.loc[members["swap"] == swap, ["prototype", "versus"]].iloc[0].tolist()
        names = [name for name in rows["attribute"] if (name, frozenset(ends)) in differ]
        if names:
            yield (
                f"{format_list(ends)} differ on {format_list([naming(study).attribute(name) for name in names])}, and "
                "their swap cannot be told there: it is judged by each person's own change, all "
                f"{len(effects)} tests adjusted together."
            )


def _on_pairs(pairs: pd.DataFrame, together: pd.DataFrame, changes: pd.DataFrame) -> Iterator[str]:
    if pairs.empty:
        yield (
            "No two prototypes differ by exactly one emollient replaced by another at equal mass, so no single swap "
            "can be judged. Make one prototype that changes one emollient only."
        )
    for swap in dict.fromkeys(together["swap"]):
        yield f"Always changed at once, so these data cannot say which of them a change goes with: {swap}."
    counts = pairs["swap"].value_counts(sort=False)
    single = [str(swap) for swap in counts.index[counts == 1]]
    if single:
        yield f"Rests on one matched pair only, no interaction can be seen: {'; '.join(single)}."
    for _, same in changes.groupby(["removed", "added"], sort=False):
        amounts = [f"{percent:g} %" for percent in same["percent"].unique()]
        if len(amounts) > 1:
            what = f"{same['removed'].iloc[0]} → {same['added'].iloc[0]}, {format_list(amounts)}"
            yield f"Each amount is told from its own pairs, not along a straight line: {what}."


def _on_unpaired(scores: _Sittings, changes: pd.DataFrame, differing: pd.DataFrame) -> Iterator[str]:
    paired = {*changes["prototype"], *changes["versus"]}
    alone = [name for name in scores.prototypes if name not in paired]
    if alone:
        yield f"In no matched pair, so without part in any swap effect: {', '.join(alone)}."
    water = differing.loc[differing["kind"] == "water", ["prototype", "versus"]]
    if len(water):
        named = ", ".join(f"{row.prototype} and {row.versus}" for row in water.itertuples())
        yield (
            f"Not swaps, because water took up the difference and the emollient total changed: {named}. "
            "What they show is richness, not the kind of emollient."
        )
    same = differing.loc[differing["kind"] == "same", ["prototype", "versus"]]
    if len(same):
        named = ", ".join(f"{row.prototype} and {row.versus}" for row in same.itertuples())
        yield f"The same formula, so their difference shows what batches and chance do: {named}."


def _on_half_pairs(scores: _Sittings, changes: pd.DataFrame) -> Iterator[str]:
    """Say that scores without their other half in the sitting take no part, though they do in the differences."""
    one, other = (
        ~np.isnan(scores.values[..., _places(scores.prototypes, changes[e])]) for e in ("prototype", "versus")
    )
    if (one != other).any():
        yield (
            "A score whose other half is missing in the sitting, as beside a blank one, takes no part in a swap; the "
            "differences of prototypes use it, so the two numbers may not be quite alike."
        )


def _on_batches(confounds: Confounds) -> Iterator[str]:
    if confounds.one_batch:
        yield (
            "At least one prototype is known from one batch only: a swap cannot be told from the luck of its batch. A "
            "second batch of the base under a code of its own is the cheapest check; two of each enter the intervals."
        )


def _on_assessors(scores: _Sittings, changes: pd.DataFrame) -> Iterator[str]:
    """Name the assessors who never scored both prototypes of any pair in one sitting, swap by swap."""
    scored = np.any(~np.isnan(scores.values), axis=2)  # assessors x sittings x prototypes
    for swap, part in changes.groupby("swap", sort=False):
        both = np.all([scored[..., _places(scores.prototypes, part[end])] for end in ("prototype", "versus")], axis=0)
        lacking = [name for name, rows in zip(scores.assessors, both, strict=True) if not rows.any()]
        if lacking:
            yield f"Scored no pair of {swap} in one sitting, so without part in its effect: {', '.join(lacking)}."


def _own_batch_spread(study: Study, confounds: Confounds) -> BatchSpread:
    """Return what the scores themselves tell of batches, where prototypes have two or more, else what is stated."""
    stated = batch_spread(study, confounds)
    if all(number < 2 for number in stated.batches.values()):
        return stated
    fits, _ = fit_panel(study, scores_used(study).frame)
    learned = _learned_batch_sd(pd.concat([variance_rows(*each) for each in fits]), confounds) if fits else {}
    return batch_spread(Study({}, learned), confounds) if learned else stated


def _learned_batch_sd(variances: pd.DataFrame, confounds: Confounds) -> dict[str, object]:
    """Return the facts `batch_sd` and `batch_sd_df` that `attribute batch` (variances) teach, df within prototypes."""
    known = variances.loc[variances["batch"].notna()]
    df = sum(len(own) - 1 for own in confounds.batches.values())
    if known.empty or df < 1:
        return {}
    sd = np.sqrt(known["batch"].to_numpy(dtype=float)).tolist()
    return {SD_FACT: dict(zip(known["attribute"].tolist(), sd, strict=True)), DF_FACT: df}
