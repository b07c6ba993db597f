"""Which prototype comes nearest to what is wanted, can it be told from the next one, and who decided what in the end?

The tool proposes; decisions of people are recorded with what they rest on, and never judged.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from dataclasses import replace

import numpy as np
import pandas as pd

from panel.checks.confounds import Confounds
from panel.errors import StudyError
from panel.models.consumers.segments import Segments, divided_pairs, segment_favourites
from panel.models.decision.contenders import (
    Decision,
    LikingDraws,
    clearly_missed,
    contenders,
    draw_liking,
    judge_pairs,
    standings,
    the_one,
)
from panel.models.decision.wanted import (
    BENCHMARK,
    BENCHMARK_LEVELS,
    PANEL,
    Profile,
    judge_gates,
    narrow_windows,
    target_profile,
)
from panel.models.decision.windows import (
    LITTLE,
    STUDIES,
    SURE,
    PanelDraws,
    came_true,
    draw_panels,
    judge_together,
    judge_windows,
    overall_desirability,
)
from panel.models.prototypes.alike import smallest_difference
from panel.models.prototypes.differences import Differences, confound_notes, find_differences
from panel.models.prototypes.panel_design import fit_study
from panel.models.prototypes.verdict import CANNOT_TELL
from panel.plan.codes import first_changed_row, moment, with_sealed_row
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import ALPHA, LEVEL
from panel.stats.maps.draws import DRAWS
from panel.study.study import Study
from panel.words import format_share, level_digits, level_words


def nearest(study: Study, rng: np.random.Generator, *, weights: Mapping[str, float] | None = None) -> Decision:
    """Hold the prototypes of `study` against its target profile and its gates: what the first screen asks.

    `weights` by attribute stand in place of those of the study. `notes` say why liking does not count.

    Raises
    ------
    ModelError
        If there is no target window, or no attribute with one can be modelled.
    StudyError
        If weights, gates or other facts of the study cannot be understood.
    """
    profile = target_profile(study, weights)
    drawn = draw_panels(study, profile.attributes, rng)
    liking, no_liking = draw_liking(study, rng)
    windows = judge_windows(profile, drawn, study.benchmark)
    together, desirabilities = judge_together(profile, drawn, study.benchmark)
    gates = judge_gates(study, drawn.prototypes)
    stands = standings(drawn.prototypes, windows, gates)
    ranking = _ranking(stands, together, desirabilities, liking, first_known=not drawn.untold.any())
    pairs = _untold(_pairs(ranking, drawn, desirabilities, liking), fit_study(study).confounds, drawn.attributes)
    left = contenders(ranking, pairs)
    joined = pairs.loc[pairs["because"] == "", ["prototype", "versus"]]
    ahead_of_all = left if len(left) == 1 and (joined == left[0]).any(axis=1).sum() == len(ranking) - 1 else ()
    base = study.benchmark if study.benchmark in drawn.prototypes else None
    by_benchmark = profile.read_as == BENCHMARK and base is not None
    return Decision(
        ranking=ranking,
        windows=windows.assign(clearly_missed=clearly_missed(windows)),
        unmet=_unmet(windows, by_benchmark=by_benchmark),
        nobody_meets=_nobody_meets(windows),
        gates=gates,
        pairs=pairs,
        contenders=left,
        choice=the_one(ranking, ahead_of_all, chance="chance_all_versus" if by_benchmark else "chance_all"),
        profile=profile,
        benchmark=base,
        n_consumers=0 if liking is None else liking.n_consumers,
        drawn=drawn,
        rng=rng,
        method=_decision_method(DRAWS, liking) + (f" {drawn.batch_words}" if drawn.batch_words else ""),
        notes=(no_liking,) if no_liking else (),
    )


def decide(
    study: Study, nearest: Decision, *, segments: Segments | None = None, differences: Differences | None = None
) -> Decision:
    """Return the decision of the first screen with how often its chances came true, other weights and notes.

    `segments` are groups of consumers, where they were looked for; `differences` the mixed model's answer, where it is
    at hand already.
    """
    rng, profile, drawn = deepcopy(nearest.rng), nearest.profile, nearest.drawn
    often = came_true(profile, drawn, nearest.benchmark, rng)
    single, weights = (
        nearest.windows[name].to_numpy(float).reshape(drawn.estimate.shape) for name in ("desirability", "weight")
    )
    changes = _change_weights(single, weights[:, 0], drawn.attributes, drawn.prototypes)
    little = _little(float(often[LITTLE](np.array(SURE))))
    notes = _decision_notes(profile, drawn, nearest.gates, nearest.benchmark, study.attribute_words)
    confounded = confound_notes(fit_study(study).confounds)
    return replace(
        nearest,
        ranking=_with_came_true(nearest.ranking, often),
        windows=_with_came_true(nearest.windows, often),
        unmet=_with_came_true(nearest.unmet, often),
        weight_changes=changes,
        favourites=segment_favourites(segments, nearest.contenders),
        divided=divided_pairs(segments, nearest.contenders),
        notes=(*notes, *_narrow(study, profile, differences), *little, *nearest.notes, *confounded),
    )


def _with_came_true(frame: pd.DataFrame, often: Mapping[str, Callable[[Array], Array]]) -> pd.DataFrame:
    """Return rows with how often chances like theirs came true."""
    chances = {name: frame[name].to_numpy(float) for name in often if name in frame}
    return frame.assign(**{f"{name}_true": often[name](chance) for name, chance in chances.items()})


def _untold(pairs: pd.DataFrame, confounds: Confounds, attributes: tuple[str, ...]) -> pd.DataFrame:
    """Return the pairs with `because`, nobody ahead where a factor of the test goes wholly along with a pair."""
    because = []
    for prototype, versus in zip(pairs["prototype"], pairs["versus"], strict=True):
        rows = [confounds.untold(attribute, prototype, versus)["because"] for attribute in attributes]
        because.append("; ".join(dict.fromkeys(words for own in rows for words in own)))
    lost = np.array([bool(words) for words in because], dtype=bool)
    told = {name: pairs[name].mask(lost, CANNOT_TELL) for name in ("panel", "overall")}
    return pairs.assign(**told, because=pd.Series(because, index=pairs.index, dtype="str"))


def _narrow(study: Study, profile: Profile, differences: Differences | None) -> tuple[str, ...]:
    if not profile.has_windows_both_sides:
        return ()
    found = find_differences(study) if differences is None else differences
    return narrow_windows(profile, smallest_difference(found), study.attribute_words)


_WORTH_SAYING = 0.05


def _little(true: float) -> tuple[str, ...]:
    """Return what a chance of a difference is worth where prototypes hardly differ, for the notes."""
    if not true < SURE - _WORTH_SAYING:
        return ()
    return (
        f"How much the prototypes truly differ is known roughly. Where they differ as little as in the lowest third of "
        f"what this study leaves possible, a chance of {format_share(SURE)} of one window read as a difference came "
        f"true in {format_share(true)}, or in fewer; no number here can say whether it is so.",
    )


def _nobody_meets(rows: pd.DataFrame) -> tuple[str, ...]:
    """Return the attributes whose window must be met and that the mean of no prototype meets."""
    must = rows.loc[rows["must_have"] & rows["read_met"].notna()]
    met = must.groupby("attribute", sort=False)["read_met"].max()
    return tuple(str(name) for name in met.index[met == 0])


def _unmet(rows: pd.DataFrame, *, by_benchmark: bool) -> pd.DataFrame:
    """Return the windows that are missed, in the reading that decides, with how far."""
    outside = rows.loc[rows["read_met"] == 0].reset_index(drop=True)
    read = ("difference", "versus_low", "versus_high") if by_benchmark else ("estimate", "target_low", "target_high")
    mean, low, high = (outside[name].to_numpy(float) for name in read)
    return outside.assign(distance=_window_distance(mean, low, high))


def _pairs(ranking: pd.DataFrame, drawn: PanelDraws, desirabilities: Array, liking: LikingDraws | None) -> pd.DataFrame:
    order = tuple(str(name) for name in ranking["prototype"])
    place = [drawn.prototypes.index(name) for name in order]
    return judge_pairs(order, ranking["desirability"].to_numpy(float), desirabilities[:, place], liking)


def _ranking(
    stands: pd.DataFrame,
    together: pd.DataFrame,
    drawn: Array,
    liking: LikingDraws | None,
    *,
    first_known: bool,
) -> pd.DataFrame:
    """Return one row per prototype, the highest desirability first; `drawn` (draws, prototypes) are those of it.

    Where some pair cannot be told from a factor of the test, `first_known` is False: nor can who is the first of all.
    """
    prototypes = stands["prototype"].tolist()
    tail = [ALPHA / 2, (1 + LEVEL) / 2]
    low, high = np.quantile(drawn, tail, axis=0)
    frame = stands.assign(
        desirability=together["desirability"],
        ci_low=low,
        ci_high=high,
        chance_all=together["chance_all"],
        chance_all_versus=together["chance_all_versus"],
        chance_all_true=np.nan,
        chance_all_versus_true=np.nan,
        chance_first=_first_shares(drawn) if first_known else np.nan,
    )
    liked = pd.DataFrame(index=prototypes, columns=["estimate", "ci_low", "ci_high", "chance_best"], dtype="float64")
    if liking is not None:
        liked = liking.rows.set_index("prototype").reindex(prototypes)
    names = {"estimate": "liking", "ci_low": "liking_low", "ci_high": "liking_high", "chance_best": "chance_best_liked"}
    frame = frame.assign(**{new: liked[old].to_numpy(float) for old, new in names.items()})
    return frame.sort_values(["desirability", "chance_first"], ascending=False, kind="stable", ignore_index=True)


# What a reader must know before trusting a comparison of prototypes with a target profile.


def _decision_method(draws: int, liking: LikingDraws | None) -> str:
    """Return how it was computed, in sentences."""
    people = (
        ""
        if liking is None
        else (
            f" Mean liking ({liking.question}), its differences and intervals are those of Liking; its chances are "
            f"of draws that take whole consumers anew, {liking.n_consumers} of them."
        )
    )
    return (
        "Means, their standard errors and degrees of freedom are those of the mixed model of each attribute. "
        f"{draws} draws of the true means give the chances, as these people on these days would see them: their level "
        "is the instrument, what they see in a prototype varies as the model says, tied over the attributes as the "
        "assessors' own means are. Means are drawn towards each other as far as their own scatter says that luck "
        "made them differ, averaged over what is not known of the spread between prototypes (about what all attributes "
        "have in common; far out flat in the standard deviation, Gelman, 2006) and of the error variance (Box and "
        "Tiao, 1973), all "
        "attributes together, as errors and true means may be correlated (Everson and Morris, 2000). How often such a "
        f"chance came true is read off a curve through {STUDIES} studies drawn with this study's spread and errors. "
        "In simulations chances came true within five points where the edges of windows lay anywhere near the means; "
        "where all lay in the very middle of prototypes that hardly differ, 80 % for all three windows at once came "
        "true in about 74 %. "
        "Each shrunken mean gets a desirability, 1 inside its window, falling in a straight line outside (Derringer "
        "and Suich, 1980); the overall desirability "
        f"is their weighted geometric mean.{people} Two prototypes count as told apart by the panel if the "
        f"{level_words(LEVEL)} of the difference of their desirabilities, for all pairs at once, leaves out "
        "zero; by consumers, if Liking tells it so; overall, only if every kind of evidence there is says the same. A "
        "choice is named only if one prototype is ahead of all others, passes all gates and meets all "
        f"windows at once with a chance of {level_digits(LEVEL)} or more."
    )


def _decision_notes(
    profile: Profile, drawn: PanelDraws, gates: pd.DataFrame, benchmark: str | None, words: Callable[[str], str]
) -> list[str]:
    """Return the notes on windows, panel and gates."""
    notes = list(profile.notes)
    notes += [
        f"{name} has a target window but does not count: {why}. Whether its window is met is not known."
        for name, why in drawn.not_estimated
    ]
    notes += _gaps(drawn, words)
    notes.append(
        "A chance holds for this panel on these days: windows lie on its scale. Should its level have drifted since "
        "they were set, the chances as differences from the benchmark hold, and those on the scale do not."
        if profile.read_as == PANEL
        else "Windows are read as differences from the benchmark: a drift of the panel's level does not touch them, "
        "the luck of the benchmark touches all of them."
    )
    notes += _benchmark(profile, drawn, benchmark)
    if gates.empty:
        notes.append("The study states no gates, so pH, stability, cost and contents were not looked at.")
    notes.append("The ranking rests on one batch of each prototype unless more were made; another batch may differ.")
    return notes


def _gaps(drawn: PanelDraws, words: Callable[[str], str]) -> Iterator[str]:
    for row, attribute in enumerate(drawn.attributes):
        absent = [name for name, df in zip(drawn.prototypes, drawn.df[row], strict=True) if not df > 0]
        if absent:
            yield f"{words(attribute)} was not scored for {', '.join(absent)}, which therefore cannot be ranked."


def _benchmark(profile: Profile, drawn: PanelDraws, benchmark: str | None) -> list[str]:
    if benchmark is None or benchmark not in drawn.prototypes:
        return ["No benchmark was scored, so nothing is shown as a difference from one."]
    levels = profile.wanted.set_index("attribute")["benchmark_level"].loc[list(drawn.attributes)]
    without = [str(name) for name in levels.index[levels.isna()]]
    if len(without) == len(levels):
        return [
            f"Nobody stated where {benchmark} stood when the windows were set (fact {BENCHMARK_LEVELS!r}), so "
            f"windows are read as differences from where this panel puts {benchmark}."
        ]
    stated = f"Windows are read as differences from the level of {benchmark} stated when they were set."
    return [stated + (f" Not stated, so taken from this panel: {', '.join(without)}." if without else "")]


# Would other weights put another prototype first?


def _change_weights(
    single: Array, weights: Array, attributes: tuple[str, ...], prototypes: tuple[str, ...]
) -> pd.DataFrame:
    """Return who comes first when one weight changes; `single` (attributes, prototypes) are desirabilities."""
    table = single.T
    rows = []
    for place, attribute in enumerate(attributes):
        for factor, change in ((0.5, "halved"), (2.0, "doubled")):
            changed = weights.copy()
            changed[place] *= factor
            found = overall_desirability(table, changed)
            share = _first_shares(found[None])
            first = int(share.argmax()) if share.any() else None
            rows.append((attribute, change, *(("", np.nan) if first is None else (prototypes[first], found[first]))))
    return pd.DataFrame(rows, columns=["attribute", "change", "prototype", "desirability"]).astype(
        {"attribute": "str", "change": "str", "prototype": "str", "desirability": "float64"}
    )


def _first_shares(desirability: Array) -> Array:
    """Return in what share of the rows (n, prototypes) each comes first; those level share it, 0 is never first."""
    known = np.nan_to_num(desirability, nan=0.0)
    most = known.max(axis=1, keepdims=True)
    first = (known == most) & (most > 0)
    return np.asarray((first / np.maximum(first.sum(axis=1, keepdims=True), 1)).mean(axis=0))


_DECISION_COLUMNS = (
    *("decision", "chosen", "runner_up", "reason", "not_established", "who", "role", "date", "data_hash", "seal"),
)
NONE_CHOSEN = "none"
_START = "afterfeel decisions"


def _decided_on(study: Study) -> str:
    """Return the hash of what is decided on: the whole study without its decisions."""
    return replace(
        study, tables={name: table for name, table in study.tables.items() if name != "decisions"}
    ).content_hash


def with_decision(
    study: Study,
    *,
    chosen: str,
    reason: str,
    not_established: str,
    who: str,
    date: str,
    runner_up: str = "",
    role: str = "",
    seen: Study | None = None,
) -> Study:
    """Return the study with one more row in its table of decisions; the rows before stay as they are.

    Parameters
    ----------
    chosen, runner_up
        Prototypes of the study; `none` if none was chosen.
    reason, not_established
        Why, and what the evidence does not establish.
    who, role, date
        The person who decided, in which role, and when (ISO 8601).
    seen
        The study that was looked at, where somebody else may have changed it since.

    Raises
    ------
    StudyError
        If something is missing, a prototype is not known, the decisions so far were changed, or the data are no
        longer those that were looked at.
    """
    words = {"who": who, "reason": reason, "not_established": not_established}
    _ask_words(words)
    moment(date, "The date of the decision")
    if seen is not None and _decided_on(seen) != _decided_on(study):
        raise StudyError("Somebody else changed the study while you decided. Look at it as it is now, then decide.")
    _ask_names(study, chosen.strip(), runner_up.strip())
    decisions = study.table("decisions")
    _ask_unchanged(decisions)
    row = {name: text.strip() for name, text in words.items()} | {
        "decision": str(len(decisions) + 1),
        "chosen": chosen.strip(),
        "runner_up": runner_up.strip(),
        "role": role.strip(),
        "date": date.strip(),
        "data_hash": _decided_on(study),
    }
    longer = with_sealed_row(decisions, row, _DECISION_COLUMNS, _START).fillna("").astype("str")
    return replace(study, tables={**study.tables, "decisions": longer})


_ASKED = {"who": "who decided", "reason": "the reason", "not_established": "what is not established"}


def _ask_words(words: Mapping[str, str]) -> None:
    missing = [_ASKED[name] for name, text in words.items() if not text.strip()]
    if missing:
        raise StudyError(f"A decision cannot be recorded without {', '.join(missing)}. Write it down.")


def _ask_unchanged(decisions: pd.DataFrame) -> None:
    broken = first_changed_decision(decisions)
    if broken is not None:
        raise StudyError(
            f"Decision {broken + 1} was changed after it was written. Restore the table of decisions from a copy "
            "before anything is added."
        )


def first_changed_decision(decisions: pd.DataFrame) -> int | None:
    """Return the first decision that no longer fits its seal; see `panel.plan.codes.first_changed_row`."""
    return first_changed_row(decisions, _DECISION_COLUMNS, _START)


def decisions_so_far(study: Study) -> pd.DataFrame:
    """Return the decisions with `same_data`: whether the study is still the one that was decided on."""
    decisions = study.table("decisions")
    on = _decided_on(study) if len(decisions) else ""
    return decisions.assign(same_data=decisions["data_hash"] == on)


def _ask_names(study: Study, chosen: str, runner_up: str) -> None:
    names = (*study.prototypes, NONE_CHOSEN)
    if chosen not in names:
        raise StudyError(f"{chosen!r} is no prototype of this study. Choose among {', '.join(names)}.")
    if runner_up and runner_up not in study.prototypes:
        raise StudyError(f"The runner-up {runner_up!r} is no prototype of this study. Choose one, or leave it empty.")
    if runner_up and runner_up == chosen:
        raise StudyError(f"{chosen} cannot be chosen and come next as well. Leave the runner-up empty.")


def _window_distance(estimate: Array, low: Array, high: Array) -> Array:
    """Return how far each mean lies outside its window, scale units; 0 inside, NaN where it is not known."""
    below = np.where(np.isnan(low), 0.0, low - estimate)
    above = np.where(np.isnan(high), 0.0, estimate - high)
    return np.asarray(np.maximum(np.maximum(below, above), 0.0) + 0.0 * estimate)
