"""Do consumers fall into groups that like different prototypes, or does one mean liking stand for all of them?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.consumers.answers import AnswersRead, numeric_answers
from panel.models.consumers.liking import FEWEST_ALIKE, LikingModel, liking_model
from panel.models.consumers.liking_checks import without_order
from panel.stats.arrays import Array, Codes
from panel.stats.maps.groups import k_means, more_groups, recovered, without_effects
from panel.study.study import Study

_FEWEST_CONSUMERS = 40  # common practice, no source: below, groups are not believed
_FEWEST_PROTOTYPES = 4  # with fewer there is too little of a profile to group people by
_TRIED = 0.75  # share of the prototypes a consumer has to have tried
_OFTEN = 0.05
_RARE = 0.01  # noise alone must look as grouped as this more rarely
_STABLE = 0.6  # of Jaccard's index when consumers are drawn anew (Hennig 2007: below 0.6 a group is not to be trusted)
_MOST_GROUPS = 4
_SMALLEST_GROUP = 5  # consumers
_SAME_TASTE = 0.7  # correlation of two groups' means from which they order prototypes alike: half the variation shared
_DRAWS, _AGAIN = 199, 100
_Step = tuple[int, float, float, float, int, bool]  # the columns of `Segments.steps`
_MOST_DRAWN = 300  # consumers that enter the draws; with more of them the draws use a random part


@dataclass(frozen=True, eq=False, slots=True)
class Segments:
    """Groups of consumers by what they like, or one group; all frames tidy and unrounded.

    Parameters
    ----------
    n_groups
        How many groups are believed: 1 where no stable groups were found.
    steps
        `groups share p_value stability smallest accepted`: for 2, 3 ... groups, by which share one group more lowers
        the scatter inside the groups, how often noise alone does so, the lowest Jaccard index of a group when consumers
        are drawn anew, and the smallest group. Asking stops at the first step that is not accepted.
    consumers
        `assessor segment`: group of each consumer, from 1, the largest first; 0 for those left out.
    means
        `segment prototype n estimate std_error df ci_low ci_high letters favourite`: mean liking within each group;
        `favourite` where the prototype cannot be separated from the best one of that group.
    divided
        `prototype versus segment estimate ci_low ci_high`: pairs that cannot be separated over all consumers, while one
        group likes the one better (its interval is above zero) and another group, of another taste (`alike`), leans the
        other way.
    alike
        `segment versus correlation same_taste`: correlation of the mean profiles of two groups; near 1 they like the
        same prototypes, one of them more strongly.
    left_out
        `assessor n`: consumers who tried too few prototypes to be put into a group.
    why_one
        Why one group stands for all; empty where groups are believed.
    order
        `effect statistic df df_error p_value prototype_p_value matters`: what the place in the serving did to liking
        before it was taken out; without rows where it is not recorded.
    """

    question: str
    n_groups: int
    steps: pd.DataFrame
    consumers: pd.DataFrame
    means: pd.DataFrame
    divided: pd.DataFrame
    alike: pd.DataFrame
    left_out: pd.DataFrame
    why_one: str
    order: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def find_segments(study: Study, rng: np.random.Generator, *, question: str | None = None) -> Segments:
    """Look for groups of consumers that like different prototypes.

    What the place in the serving adds on average, each consumer's own level and the mean of each prototype are taken
    out first. Groups are believed only with at
    least 40 consumers, where noise alone would hardly look so grouped, and where the same groups come back when
    consumers are drawn anew. Otherwise the answer is one group.

    Parameters
    ----------
    rng
        Source of the draws; the same generator state gives the same groups.
    question
        Which liking question; by default the first.

    Raises
    ------
    ModelError
        If there are no liking answers, fewer than four prototypes were tried, or nothing varies.
    """
    answers, order = without_order(numeric_answers(study, "liking", question))
    frame = answers.frame
    if frame.shape[1] < _FEWEST_PROTOTYPES:
        raise ModelError(
            f"Groups are looked for from {_FEWEST_PROTOTYPES} prototypes on; consumers tried {frame.shape[1]}. With so "
            "few, look at the single answers."
        )
    needed = max(FEWEST_ALIKE, int(np.ceil(_TRIED * frame.shape[1])))
    tried = frame.notna().sum(axis=1)
    used = frame.loc[tried >= needed]
    model = {0: liking_model(frame)}
    labels, steps, why = _labels(used, needed, rng)
    labels = _numbered(labels)
    groups = range(1, int(labels.max(initial=0)) + 2)
    model |= {group: liking_model(used.loc[labels == group - 1]) for group in groups if len(groups) > 1}
    means = _group_means(model, used, labels)
    alike = _alike(means, groups)
    return Segments(
        question=answers.question,
        n_groups=len(groups),
        steps=pd.DataFrame(steps, columns=["groups", "share", "p_value", "stability", "smallest", "accepted"]),
        consumers=_group_of(frame, used, labels),
        means=means,
        divided=_pairs_by_group(model, alike),
        alike=alike,
        left_out=pd.DataFrame(
            {"assessor": pd.Series(frame.index[tried < needed], dtype="str"), "n": tried[tried < needed].to_numpy()}
        ),
        why_one=why,
        order=order,
        method=_method(needed),
        notes=tuple(_notes(answers, used, needed, len(groups))),
    )


def _labels(used: pd.DataFrame, needed: int, rng: np.random.Generator) -> tuple[Codes, list[_Step], str]:
    """Return the group of each consumer from 0, the steps that led there, and why it is one group if it is."""
    one = np.zeros(len(used), dtype=np.intp)
    if len(used) < _FEWEST_CONSUMERS:
        why = f"{len(used)} consumers tried at least {needed} prototypes; groups are not looked for with fewer than "
        return one, [], f"{why}{_FEWEST_CONSUMERS}."
    value = used.to_numpy(dtype=float)
    present = np.isfinite(value)
    if not present.any(axis=0).all():
        return one, [], "A prototype was tried by none of the consumers who tried enough of them."
    left = without_effects(value)
    part = np.arange(len(left)) if len(left) <= _MOST_DRAWN else rng.choice(len(left), _MOST_DRAWN, replace=False)
    found, steps = _grown(left[part], present[part], rng)
    if not found.any():
        return one, steps, _why(steps[0])
    if len(part) < len(left):
        found = k_means(left[None], int(found.max()) + 1, rng)[0][0]
    return found, steps, ""


def _grown(left: Array, present: NDArray[np.bool_], rng: np.random.Generator) -> tuple[Codes, list[_Step]]:
    """Add a group as long as it says more than noise would, no group is tiny, and the same groups come back."""
    labels = np.zeros(len(left), dtype=np.intp)
    steps: list[_Step] = []
    for groups in range(2, _MOST_GROUPS + 1):
        more, share, p_value = more_groups(left, present, labels, _DRAWS, rng)
        smallest = int(np.bincount(more, minlength=groups).min())
        stability = float("nan")
        accepted = p_value <= _RARE and smallest >= _SMALLEST_GROUP
        if accepted:
            stability = float(recovered(left, more, _AGAIN, rng).min())
            accepted = stability >= _STABLE
        steps.append((groups, share, p_value, stability, smallest, accepted))
        if not accepted:
            break
        labels = more
    return labels, steps


def _why(step: _Step) -> str:
    _, _, p_value, _, smallest, _ = step
    if p_value > _RARE:
        often = "often does" if p_value > _OFTEN else f"may do (at most p = {_RARE:g} counts)"
        return f"Two groups would say no more about these answers than noise alone {often}."
    if smallest < _SMALLEST_GROUP:
        return f"The second group would be {smallest} consumers only."
    return "Two groups show, but other ones when consumers are drawn anew."


def _alike(means: pd.DataFrame, groups: range) -> pd.DataFrame:
    """Return the correlation of the mean profiles of each two groups."""
    profile = means.pivot_table(index="prototype", columns="segment", values="estimate")
    rows = [
        (first, second, float(np.corrcoef(profile[first], profile[second])[0, 1]))
        for first, second in combinations(groups, 2)
    ]
    found = pd.DataFrame(rows, columns=["segment", "versus", "correlation"])
    return found.assign(same_taste=found["correlation"] >= _SAME_TASTE)


def _method(needed: int) -> str:
    return (
        "What is left of each liking answer once the consumer's own level, the prototype's mean, and what position, "
        "session and the sample before add on average (where they are recorded) are taken out is "
        f"put into groups by k-means; consumers with fewer than {needed} prototypes are left out, and a gap "
        "pulls nobody towards a group. One group more is accepted if it lowers the scatter inside the groups by more "
        f"than it does in all but 1 of 100 of {_DRAWS} tables of the same groups and noise of the same size for every "
        f"consumer and prototype (signs drawn anew), if no group has fewer than {_SMALLEST_GROUP} consumers, and if "
        f"the same groups come back when consumers are drawn anew ({_AGAIN} times, Jaccard's index at least {_STABLE})."
    )


def _notes(answers: AnswersRead, used: pd.DataFrame, needed: int, n_groups: int) -> Iterator[str]:
    lost = answers.n_consumers - len(used)
    if lost:
        yield f"{lost} of {answers.n_consumers} consumers tried fewer than {needed} prototypes and are left out."
    if len(used) > _MOST_DRAWN:
        yield (
            f"The draws use {_MOST_DRAWN} consumers chosen at random out of {len(used)}, to keep the waiting short; "
            "the groups themselves are made from all."
        )
    if n_groups > 1:
        yield (
            "The groups were found in the same answers as the means within them, so differences between groups look "
            "larger than they are. Recruit by the presumed taste and test again before relying on them."
        )
        yield (
            "Groups that come back may also be two ends of one gradient of taste: these answers do not show a gap "
            "between kinds of people."
        )


# Groups of consumers as tables: who is in which, what each group likes, which pairs divide them.


_MEANS = ["segment", "prototype", "n", "estimate", "std_error", "df", "ci_low", "ci_high", "letters", "favourite"]
_DIVIDED = ["prototype", "versus", "segment", "estimate", "ci_low", "ci_high"]


def _numbered(labels: Codes) -> Codes:
    """Return the labels with 0 for the largest group, 1 for the next, and so on."""
    if not len(labels):
        return labels
    order = np.argsort(-np.bincount(labels), kind="stable")
    return np.asarray(np.argsort(order)[labels])


def _group_of(frame: pd.DataFrame, used: pd.DataFrame, labels: Codes) -> pd.DataFrame:
    """Return `assessor segment`, 0 for consumers left out."""
    found = pd.Series(labels + 1, index=used.index).reindex(frame.index).fillna(0).astype("int64")
    return pd.DataFrame({"assessor": pd.Series(frame.index, dtype="str"), "segment": found.to_numpy()})


def _group_means(model: dict[int, LikingModel], used: pd.DataFrame, labels: Codes) -> pd.DataFrame:
    """Return the means of each group; of all consumers as group 1 where there is one group."""
    parts = []
    for group, own in model.items():
        if group == 0 and len(model) > 1:
            continue
        rows = used if group == 0 else used.loc[labels == group - 1]
        best = own.means.iloc[int(own.means["estimate"].argmax())]
        with_best = [bool(set(letters) & set(best["letters"])) for letters in own.means["letters"]]
        count = rows.notna().sum().reindex(own.means["prototype"]).to_numpy()
        parts.append(own.means.assign(segment=max(group, 1), n=count, favourite=with_best))
    return pd.concat(parts, ignore_index=True)[_MEANS] if parts else pd.DataFrame(columns=_MEANS)


def _pairs_by_group(model: dict[int, LikingModel], alike: pd.DataFrame) -> pd.DataFrame:
    """Return pairs not separated over all consumers that one group separates while another leans the other way.

    Groups of one taste divide nobody: where people use the scale widely or narrowly, one leans by chance.
    """
    groups = [group for group in model if group]
    if len(groups) < 2 or 0 not in model:
        return pd.DataFrame({name: pd.Series(dtype="float64") for name in _DIVIDED})
    overall = model[0].pairs
    together = ((overall["ci_low"] <= 0) & (overall["ci_high"] >= 0)).to_numpy()
    # every model lists the same pairs in the same order, all prototypes having been tried in each group
    chosen = np.zeros(len(overall), dtype=bool)
    for both in alike.loc[~alike["same_taste"], ["segment", "versus"]].to_numpy():
        for one, other in (both, both[::-1]):
            own, leans = model[int(one)].pairs, model[int(other)].pairs["estimate"]
            chosen |= (((own["ci_low"] > 0) & (leans < 0)) | ((own["ci_high"] < 0) & (leans > 0))).to_numpy()
    parts = [model[group].pairs.loc[together & chosen].assign(segment=group) for group in groups]
    return pd.concat(parts).sort_index(kind="stable")[_DIVIDED].reset_index(drop=True)


_DIVIDED_PAIRS = {
    **dict.fromkeys(("prototype", "versus", "segment"), "str"),
    **{"n": "int64", "estimate": "float64", "ci_low": "float64", "ci_high": "float64", "leaning": "str"},
}
_LIKES, _LEANS = "prefers", "leans to"


def segment_favourites(segments: Segments | None, among: tuple[str, ...]) -> pd.DataFrame:
    """Return `segment n prototype estimate alike`: whom each group likes best `among` these.

    `alike` names those that the group's answers do not separate from its favourites. Without rows where one group
    stands for all.
    """
    rows: list[tuple[object, ...]] = []
    if segments is not None and segments.n_groups > 1:
        means = segments.means.loc[segments.means["prototype"].isin(among)].dropna(subset=["estimate"])
        for segment, own in means.groupby("segment", sort=False):
            order = own.sort_values("estimate", ascending=False, kind="stable")
            first = order.iloc[0]
            alike = order.iloc[1:].loc[order.iloc[1:]["favourite"].astype(bool) & bool(first["favourite"]), "prototype"]
            rows.append((str(segment), int(first["n"]), first["prototype"], float(first["estimate"]), ", ".join(alike)))
    frame = pd.DataFrame(rows, columns=["segment", "n", "prototype", "estimate", "alike"])
    return frame.astype({"segment": "str", "n": "int64", "prototype": "str", "estimate": "float64", "alike": "str"})


def divided_pairs(segments: Segments | None, among: tuple[str, ...]) -> pd.DataFrame:
    """Return `prototype versus segment n estimate ci_low ci_high leaning` for pairs `among` these that divide people.

    They cannot be separated over all consumers, while in these answers one group likes the one better and another leans
    the other way.
    """
    rows = pd.DataFrame(columns=_DIVIDED) if segments is None else segments.divided
    rows = rows.loc[rows["prototype"].isin(among) & rows["versus"].isin(among)]
    size = {} if segments is None else segments.means.groupby("segment")["n"].max().to_dict()
    told = (rows["ci_low"] > 0) | (rows["ci_high"] < 0)
    rows = rows.assign(n=rows["segment"].map(size), leaning=np.where(told, _LIKES, _LEANS))
    return rows[list(_DIVIDED_PAIRS)].astype(_DIVIDED_PAIRS).reset_index(drop=True)
