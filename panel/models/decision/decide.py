"""Which prototype comes nearest to what is wanted, and can it be told from the next one at all?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.models.consumers.segments import Segments
from panel.models.decision.contenders import contenders, standings, the_one
from panel.models.decision.decision_notes import decision_method, decision_notes
from panel.models.decision.front_rows import front_rows
from panel.models.decision.gate_limits import gate_limits
from panel.models.decision.gates import judge_gates
from panel.models.decision.liking import LikingDraws, draw_liking
from panel.models.decision.pairs import judge_pairs
from panel.models.decision.panel_draws import DRAWS, PanelDraws, draw_panels
from panel.models.decision.profile import Profile, narrow_windows, target_profile
from panel.models.decision.segment_liking import divided_pairs, segment_favourites
from panel.models.decision.weight_changes import WeightChanges, change_weights, first_shares
from panel.models.decision.windows import Windows, judge_windows, window_distance
from panel.models.prototypes.differences import Differences
from panel.models.prototypes.sensitivity import smallest_difference
from panel.study.study import Study

LEVEL = 0.95


@dataclass(frozen=True, eq=False, slots=True)
class Decision:
    """What the evidence says about the choice of a prototype; it proposes, people decide. Frames tidy and unrounded.

    Parameters
    ----------
    ranking
        Best first: `prototype standing desirability ci_low ci_high chance_all chance_all_versus chance_first unmet
        must_unmet gates_failed gates_open gain gain_low gain_high liking liking_low liking_high chance_best_liked
        on_front`. `standing` is `in`, `open` (something is not known) or `out`; `chance_all` that of meeting all
        windows at once, `chance_all_versus` the same with the windows read as differences from the benchmark;
        `chance_first` that of the highest desirability; `gain` is the desirability above the benchmark's.
    windows
        See `panel.models.decision.windows.Windows`.
    unmet
        The rows of `windows` whose estimate lies outside, with `distance`, how far, in scale units.
    gates
        `prototype gate low high value_low value_high result reason`.
    pairs
        See `panel.models.decision.pairs.judge_pairs`.
    front
        `prototype on_front share beaten_by`: on all attributes with a window, and liking; `share` of the draws.
    weights
        Who comes first under other weights.
    favourites, divided
        Whom each group of consumers likes best among the contenders, and pairs of contenders that divide the consumers;
        see `panel.models.decision.segment_liking`.
    contenders
        Not out, and nobody is ahead of them overall; best desirability first.
    choice
        The one prototype that meets everything and is ahead of all others; None where there is none.
    """

    ranking: pd.DataFrame
    windows: pd.DataFrame
    unmet: pd.DataFrame
    gates: pd.DataFrame
    pairs: pd.DataFrame
    front: pd.DataFrame
    weights: WeightChanges
    favourites: pd.DataFrame
    divided: pd.DataFrame
    contenders: tuple[str, ...]
    choice: str | None
    profile: Profile
    benchmark: str | None
    n_consumers: int
    level: float
    method: str
    notes: tuple[str, ...]

    @property
    def has_liking(self) -> bool:
        """Whether consumers' liking counts."""
        return self.n_consumers > 0


def decide(
    study: Study,
    rng: np.random.Generator,
    *,
    weights: Mapping[str, float] | None = None,
    segments: Segments | None = None,
    level: float = LEVEL,
    differences: Differences | None = None,
) -> Decision:
    """Hold the prototypes of `study` against its target profile and its gates.

    Parameters
    ----------
    weights
        Weights by attribute, in place of those of the study.
    segments
        Groups of consumers, where they were looked for.
    level
        Level of the intervals, and of the chances that count as told apart.
    differences
        The mixed model's answer where it is at hand already.

    Raises
    ------
    ModelError
        If there is no target window, or no attribute with one can be modelled.
    StudyError
        If weights, gates or other facts of the study cannot be understood.
    """
    profile, limits = target_profile(study, weights), gate_limits(study)
    drawn = draw_panels(study, profile.attributes, rng)
    liking, no_liking = draw_liking(study, rng, level=level)
    windows = judge_windows(profile, drawn, study.benchmark, level)
    gates = judge_gates(study, limits, drawn.prototypes)
    front = front_rows(profile, drawn, liking)
    ranking = _ranking(standings(drawn.prototypes, windows.rows, gates, level), windows, liking, front, study, level)
    pairs = _pairs(ranking, drawn, windows, liking, level)
    left = contenders(ranking, pairs)
    return Decision(
        ranking=ranking,
        windows=windows.rows,
        unmet=_unmet(windows.rows),
        gates=gates,
        pairs=pairs,
        front=front,
        weights=change_weights(windows.single, windows.weights, drawn.attributes, drawn.prototypes, rng),
        favourites=segment_favourites(segments, left),
        divided=divided_pairs(segments, left),
        contenders=left,
        choice=the_one(ranking, left, level),
        profile=profile,
        benchmark=study.benchmark if study.benchmark in drawn.prototypes else None,
        n_consumers=0 if liking is None else liking.n_consumers,
        level=level,
        method=decision_method(DRAWS, level, liking),
        notes=decision_notes(
            profile, drawn, limits, study.benchmark, (*_narrow(study, profile, differences), no_liking)
        ),
    )


def _narrow(study: Study, profile: Profile, differences: Differences | None) -> tuple[str, ...]:
    if not profile.has_windows_both_sides:
        return ()
    return narrow_windows(profile, smallest_difference(study if differences is None else differences))


def _unmet(rows: pd.DataFrame) -> pd.DataFrame:
    outside = rows.loc[rows["met"] == 0].reset_index(drop=True)
    mean, low, high = (outside[name].to_numpy(float) for name in ("estimate", "target_low", "target_high"))
    return outside.assign(distance=window_distance(mean, low, high))


def _pairs(
    ranking: pd.DataFrame, drawn: PanelDraws, windows: Windows, liking: LikingDraws | None, level: float
) -> pd.DataFrame:
    order = tuple(str(name) for name in ranking["prototype"])
    place = [drawn.prototypes.index(name) for name in order]
    return judge_pairs(order, windows.desirability[place], windows.drawn_desirability[:, place], liking, level)


def _ranking(
    stands: pd.DataFrame,
    windows: Windows,
    liking: LikingDraws | None,
    front: pd.DataFrame,
    study: Study,
    level: float,
) -> pd.DataFrame:
    """Return one row per prototype, the highest desirability first."""
    prototypes = stands["prototype"].tolist()
    tail = [(1 - level) / 2, (1 + level) / 2]
    drawn = windows.drawn_desirability
    base = prototypes.index(study.benchmark) if study.benchmark in prototypes else None
    own = np.full(drawn.shape[0], np.nan) if base is None else drawn[:, base]
    low, high = np.quantile(drawn, tail, axis=0)
    gain_low, gain_high = np.quantile(drawn - own[:, None], tail, axis=0)
    frame = stands.assign(
        desirability=windows.desirability,
        ci_low=low,
        ci_high=high,
        chance_all=windows.chance_all,
        chance_all_versus=windows.chance_all_versus,
        chance_first=first_shares(drawn),
        gain=windows.desirability - (np.nan if base is None else windows.desirability[base]),
        gain_low=gain_low,
        gain_high=gain_high,
        on_front=front.set_index("prototype")["on_front"].reindex(prototypes).to_numpy(),
    )
    liked = pd.DataFrame(index=prototypes, columns=["estimate", "ci_low", "ci_high", "chance_best"], dtype="float64")
    if liking is not None:
        liked = liking.rows.set_index("prototype").reindex(prototypes)
    names = {"estimate": "liking", "ci_low": "liking_low", "ci_high": "liking_high", "chance_best": "chance_best_liked"}
    frame = frame.assign(**{new: liked[old].to_numpy(float) for old, new in names.items()})
    return frame.sort_values("desirability", ascending=False, kind="stable", ignore_index=True)
