"""Which prototypes are still in the running, and is there one that may be called the choice?"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.consumers.answers import numeric_answers, questions_of
from panel.models.consumers.liking import judged_liking
from panel.models.decision.wanted import BENCHMARK, FAILS, Profile
from panel.models.prototypes.verdict import CANNOT_TELL, DIFFERS
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, simultaneous_bands
from panel.stats.maps.draws import DRAWS, FEWEST_PEOPLE, people_draws
from panel.study.study import Study

if TYPE_CHECKING:
    from panel.models.decision.windows import PanelDraws

IN, OPEN, OUT = "in", "open", "out"


@dataclass(frozen=True, eq=False, slots=True)
class Decision:
    """What the evidence says about the choice of a prototype; it proposes, people decide. Frames tidy and unrounded.

    Parameters
    ----------
    ranking
        Best first: `prototype standing desirability ci_low ci_high chance_all chance_all_versus chance_all_true
        chance_all_versus_true chance_first unmet gates_open liking liking_low liking_high chance_best_liked`.
        `standing` is `in`, `open` (something is not known) or `out`; `chance_all` that of meeting all
        windows at once, `chance_all_versus` the same with the windows read as differences from the benchmark;
        `..._true` how often such a chance came true;
        `chance_first` that of the highest desirability; NaN where some pair cannot be told from a factor of the test.
    windows
        See `panel.models.decision.windows.judge_windows`; `clearly_missed` where a window that must be met is.
    unmet
        The rows of `windows` whose estimate lies outside, with `distance`, how far, in scale units.
    gates
        `prototype gate low high value_low value_high result reason`.
    nobody_meets
        Attributes whose window must be met, while the mean of no prototype lies in it.
    pairs
        See `judge_pairs`; `because` is what a pair cannot be told from.
    weight_changes
        `attribute change prototype desirability`: the prototype that comes first when the weight of one attribute is
        halved or doubled, with its desirability; empty text if no prototype is acceptable on everything.
    favourites, divided
        Whom each group of consumers likes best among the contenders, and pairs of contenders that divide the consumers;
        see `panel.models.decision.contenders`.
    contenders
        Not out, and nobody is ahead of them overall; best desirability first.
    choice
        The one prototype that meets everything and is ahead of all others; None where there is none.
    drawn, rng
        What the panel's true means may be, and what draws on from there.

    What only the whole decision says is empty in that of the first screen: weights, groups of consumers, and how often
    a chance came true.
    """

    ranking: pd.DataFrame
    windows: pd.DataFrame
    unmet: pd.DataFrame
    gates: pd.DataFrame
    nobody_meets: tuple[str, ...]
    pairs: pd.DataFrame
    contenders: tuple[str, ...]
    choice: str | None
    profile: Profile
    benchmark: str | None
    n_consumers: int
    drawn: PanelDraws
    rng: np.random.Generator
    method: str
    notes: tuple[str, ...]
    weight_changes: pd.DataFrame = field(default_factory=pd.DataFrame)
    favourites: pd.DataFrame = field(default_factory=pd.DataFrame)
    divided: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def by_benchmark(self) -> bool:
        """Whether windows are read as differences from the benchmark."""
        return self.profile.read_as == BENCHMARK and self.benchmark is not None

    @property
    def has_liking(self) -> bool:
        """Whether consumers' liking counts."""
        return self.n_consumers > 0


def standings(prototypes: tuple[str, ...], rows: pd.DataFrame, gates: pd.DataFrame) -> pd.DataFrame:
    """Return `prototype standing unmet gates_open`.

    Parameters
    ----------
    rows
        The windows, one row per attribute and prototype.
    gates
        The results of the gates.

    `out`: a gate fails, or a must-have window is clearly missed: with a chance below 1 - level as it stands, and, where
    there is a benchmark, also read as a difference from it. `open`: something is not known, a gate or a window. Else
    `in`.
    """
    found = []
    for name in prototypes:
        own = rows.loc[rows["prototype"] == name]
        results = gates.loc[gates["prototype"] == name, "result"]
        failed, unknown = bool((results == FAILS).any()), int((results == CANNOT_TELL).sum())
        missed = bool(clearly_missed(own).any())
        standing = OUT if failed or missed else OPEN if unknown or own["read_met"].isna().any() else IN
        found.append((name, standing, int((own["read_met"] == 0).sum()), unknown))
    columns = ["prototype", "standing", "unmet", "gates_open"]
    return pd.DataFrame(found, columns=columns).astype({"prototype": "str", "standing": "str"})


def clearly_missed(rows: pd.DataFrame) -> pd.Series:
    """Return which windows that must be met are clearly missed, in both readings where there are two.

    What cannot be told from the benchmark, as nothing joins their sessions, is not clear.
    """
    open_ = (rows["chance_versus"] >= ALPHA) | rows["untold_versus"]
    return rows["must_have"] & (rows["chance"] < ALPHA) & ~open_


def contenders(ranking: pd.DataFrame, pairs: pd.DataFrame) -> tuple[str, ...]:
    """Return the prototypes that are not out and that nobody who is not out is ahead of, best desirability first."""
    able = [
        str(name) for name in ranking.loc[(ranking["standing"] != OUT) & ranking["desirability"].notna(), "prototype"]
    ]
    beaten = {second for first, second in _ahead_of(pairs) if first in able}
    return tuple(name for name in able if name not in beaten)


def the_one(ranking: pd.DataFrame, left: tuple[str, ...], *, chance: str = "chance_all") -> str | None:
    """Return the prototype that is alone in the running, passes every gate and meets all windows; None without one.

    All windows must be met on the estimates, and all at once with a chance of at least `level`; `chance` is the column
    of the reading that decides.
    """
    if len(left) != 1:
        return None
    row = ranking.loc[ranking["prototype"] == left[0]].iloc[0]
    sure = row["standing"] == IN and row["unmet"] == 0 and bool(np.float64(row[chance]) >= LEVEL)
    return left[0] if sure else None


# Which prototypes can be told apart in a decision, by the panel's windows and by liking?


AHEAD, BEHIND, OPPOSED = "ahead", "behind", "opposed"
NOT_TRIED = "not tried"
_COLUMNS = ("estimate", "ci_low", "ci_high", "chance_above")


def judge_pairs(prototypes: tuple[str, ...], estimate: Array, drawn: Array, liking: LikingDraws | None) -> pd.DataFrame:
    """Return one row per pair: what separates the two, and whether anything does.

    `prototype versus estimate ci_low ci_high chance_above panel`: difference of overall desirability with an interval
    that holds for all pairs at once; `liking liking_low liking_high liking_chance consumers`: the same of mean liking;
    `overall`. Verdicts are `ahead`, `behind`, `cannot tell`; by consumers also `not tried`, where they did not try
    both; overall also `opposed`, where panel and consumers each tell the two apart, the other way round. Overall a
    prototype is ahead only if every kind of evidence there is says so.
    """
    pairs = list(combinations(range(len(prototypes)), 2))
    first, second = (np.array([pair[side] for pair in pairs], dtype=int) for side in (0, 1))
    panel = _differences(estimate, drawn, first, second)
    names = {"prototype": [prototypes[i] for i in first], "versus": [prototypes[j] for j in second]}
    frame = pd.DataFrame(names, dtype="str").assign(**panel, panel=_verdicts(panel))
    liked = _liking_rows(prototypes, first, second, liking)
    frame = frame.assign(**liked)
    both = [_overall(one, other) for one, other in zip(frame["panel"], frame["consumers"], strict=True)]
    return frame.assign(overall=pd.Series(both, dtype="str"))


def _ahead_of(pairs: pd.DataFrame) -> set[tuple[str, str]]:
    """Return who is ahead of whom."""
    found = set()
    for first, second, verdict in zip(pairs["prototype"], pairs["versus"], pairs["overall"], strict=True):
        if verdict == AHEAD:
            found.add((str(first), str(second)))
        elif verdict == BEHIND:
            found.add((str(second), str(first)))
    return found


def _differences(estimate: Array, drawn: Array, first: NDArray[np.int_], second: NDArray[np.int_]) -> dict[str, Array]:
    """Return differences with intervals that hold for all pairs at once."""
    apart = drawn[:, first] - drawn[:, second]
    low, high = simultaneous_bands(apart, LEVEL)
    above = (apart > 0).mean(axis=0) + 0.5 * (apart == 0).mean(axis=0)
    told = (estimate[first] - estimate[second], low, high, np.where(np.isfinite(low), above, np.nan))
    return dict(zip(_COLUMNS, told, strict=True))


def _verdicts(rows: dict[str, Array]) -> list[str]:
    _, low, high, chance = (rows[name] for name in _COLUMNS)
    ahead, behind = (low > 0) & (chance >= LEVEL), (high < 0) & (chance <= ALPHA)
    return np.where(ahead, AHEAD, np.where(behind, BEHIND, CANNOT_TELL)).astype(object).tolist()


def _liking_rows(
    prototypes: tuple[str, ...], first: NDArray[np.int_], second: NDArray[np.int_], liking: LikingDraws | None
) -> dict[str, Any]:
    """Return what the liking says of each pair, as its own page says it, and the chance to be liked better."""
    found = {name: np.full(len(first), np.nan) for name in ("liking", "liking_low", "liking_high", "liking_chance")}
    if liking is None:
        return found | {"consumers": [""] * len(first)}
    verdicts = np.full(len(first), NOT_TRIED, dtype=object)
    place = {
        frozenset((prototypes[i], prototypes[j])): row for row, (i, j) in enumerate(zip(first, second, strict=True))
    }
    for own in liking.differences.to_dict("records"):
        row = place.get(frozenset((own["prototype"], own["versus"])))
        if row is None:
            continue
        ends = (own["estimate"], own["ci_low"], own["ci_high"])
        same = prototypes[first[row]] == own["prototype"]
        ends = ends if same else (-ends[0], -ends[2], -ends[1])
        one, other = (liking.drawn[:, liking.prototypes.index(prototypes[side[row]])] for side in (first, second))
        chance = (one > other).mean() + 0.5 * (one == other).mean()
        for name, value in zip(found, (*ends, chance), strict=True):
            found[name][row] = value
        verdicts[row] = CANNOT_TELL if own["verdict"] != DIFFERS else AHEAD if ends[0] > 0 else BEHIND
    return found | {"consumers": verdicts.tolist()}


def _overall(panel: str, consumers: str) -> str:
    if not consumers or panel == consumers:
        return panel
    return CANNOT_TELL if {panel, consumers} & {CANNOT_TELL, NOT_TRIED} else OPPOSED


# How well do consumers like the prototypes, who is liked best, and how sure is that?


@dataclass(frozen=True, eq=False, slots=True)
class LikingDraws:
    """Mean liking of the prototypes and draws of it.

    Parameters
    ----------
    prototypes
        Columns of `drawn`, those that consumers rated.
    rows
        `prototype estimate ci_low ci_high chance_best n`: as `Liking.means` has it; `chance_best` is the chance to be
        the best liked of all.
    differences
        The pairs of `Liking` and, in place of those with the benchmark, its differences from that.
    drawn
        (draws, prototypes).
    question
        What was asked.
    """

    prototypes: tuple[str, ...]
    rows: pd.DataFrame
    differences: pd.DataFrame
    drawn: Array
    question: str
    n_consumers: int


def draw_liking(study: Study, rng: np.random.Generator) -> tuple[LikingDraws | None, str]:
    """Return the liking, drawn by taking whole consumers anew, or None and why there is none."""
    if not questions_of(study, "liking"):
        return None, "No consumer was asked for liking, so the decision rests on the trained panel alone."
    try:
        answers = numeric_answers(study, "liking")
    except ModelError:
        return None, "The answers about liking could not be read, so they do not count. Look at the page Study."
    ratings = answers.frame.to_numpy(float)
    try:
        centre, drawn = people_draws(ratings, DRAWS, rng)
        model, _, pairs, against = judged_liking(study, answers)
    except ModelError as error:
        return None, f"Liking does not count here. {error}"
    except ValueError:
        return None, (
            f"Fewer than {FEWEST_PEOPLE} consumers rated two prototypes or more, or a prototype was never rated beside "
            "another, so liking does not count here."
        )
    drawn = drawn + model.means["estimate"].to_numpy(float) - centre
    best = np.bincount(drawn.argmax(axis=1), minlength=len(centre)) / len(drawn)
    rows = model.means[["prototype", "estimate", "ci_low", "ci_high"]]
    rows = rows.assign(chance_best=best, n=np.isfinite(ratings).sum(axis=0))
    differences = pd.concat([pairs.loc[~pairs["with_benchmark"]], against], ignore_index=True)
    prototypes = tuple(str(name) for name in answers.frame.columns)
    return LikingDraws(prototypes, rows, differences, drawn, answers.question, answers.n_consumers), ""


# Do the prototypes in the running please different people?
