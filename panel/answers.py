"""What can a study be asked? Every question once: who answers it, what is handed on to it, which answers it wants.

Pages, commands, the evidence file and the claims hold one `Answers` for a study and ask that. An answer is worked out
when it is first asked for and kept; where there is none, `NoAnswer` says why. Everything that is drawn starts from one
seed, anew for each question, so that no answer depends on which others were asked for.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from importlib import import_module
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import numpy as np

from panel.errors import ModelError, PanelError
from panel.study.naming import Naming, naming
from panel.study.study import Study

if TYPE_CHECKING:
    from panel.checks.finding import Finding
    from panel.models.assessors.performance import LeftOut, PanelCheck
    from panel.models.consumers.agreement import Agreement
    from panel.models.consumers.check_all import CheckAll
    from panel.models.consumers.choices import Preferences
    from panel.models.consumers.forced_choice import ForcedChoices
    from panel.models.consumers.just_about_right import JustAboutRight
    from panel.models.consumers.liking import Liking
    from panel.models.consumers.preference_map import PreferenceMap
    from panel.models.consumers.segments import Segments
    from panel.models.decision.contenders import Decision
    from panel.models.decision.wanted import Profile
    from panel.models.emollients.causes import Causes
    from panel.models.emollients.curves import ReducedCurves
    from panel.models.emollients.descriptors import BlendDescriptors
    from panel.models.emollients.ladder import Ladder
    from panel.models.emollients.next_prototype import NextPrototypes
    from panel.models.emollients.prediction_model import PredictionModel
    from panel.models.emollients.readings import JoinedReadings
    from panel.models.emollients.swaps import TracedSwaps
    from panel.models.over_time.after_feel import AfterFeel, Courses
    from panel.models.over_time.dominance import Dominances
    from panel.models.prototypes.alike import Alike, PlannedDifferences, Sensitivity
    from panel.models.prototypes.assumptions import Assumptions
    from panel.models.prototypes.differences import Differences
    from panel.models.prototypes.map import PrototypeMap
    from panel.models.prototypes.ranks import RankComparison, ScaleUse

_T = TypeVar("_T")

SEED = 1
_MOST_KEPT = 64
"""So many answers are kept; of more, those asked for first are given up."""


@dataclass(frozen=True, slots=True)
class NoAnswer:
    """Why a study does not answer a question, and what to do about it.

    Parameters
    ----------
    why
        What is missing, and what to do.
    not_part
        True where the study was not about it, which is no gap.
    """

    why: str
    not_part: bool = False


@dataclass(frozen=True, slots=True)
class Use:
    """Another question whose answer is handed on.

    Parameters
    ----------
    question
        The other question; it is asked with those of the settings that it knows.
    part
        Field of the answer; the whole of it by default.
    needed
        Without that answer there is none to this question either; else None is handed on.
    """

    question: Question[Any]
    part: str = ""
    needed: bool = True


@dataclass(frozen=True, eq=False)
class Question(Generic[_T]):
    """A question that a study can be asked.

    Parameters
    ----------
    name
        Its name among the others.
    ask
        Function that answers it, from the study: itself, or `module:function` so that it is loaded when it is needed.
    waiting
        What a page says meanwhile.
    uses
        Argument of the function to the question whose answer is handed on.
    settings
        Arguments of the function that may be chosen; those of the questions it uses may be chosen too, and go there.
    kinds
        Kinds of consumers' answers of which there must be some.
    drawn
        True where the function takes `rng`.
    of_study
        False where the function rests on other answers alone.
    """

    name: str
    ask: str | Callable[..., _T]
    waiting: str
    uses: Mapping[str, Use] = field(default_factory=dict)
    settings: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    drawn: bool = False
    of_study: bool = True

    def answered_by(self) -> Callable[..., _T]:
        """Return the function that answers it."""
        if callable(self.ask):
            return self.ask
        module, _, function = self.ask.partition(":")
        answer: Callable[..., _T] = getattr(import_module(f"panel.{module}"), function)
        return answer


_CHOICES = ("paired", "triangle", "duo_trio", "three_afc", "tetrad")

FINDINGS: Question[tuple[Finding, ...]] = Question(
    "findings", "checks.all_checks:check_study", "Checking the study ..."
)
FILES: Question[dict[str, bytes]] = Question("files", "study.folder:files_of_study", "Writing the files ...")
DIFFERENCES: Question[Differences] = Question(
    "differences",
    "models.prototypes.differences:find_differences",
    "Comparing the prototypes ...",
    settings=("versus", "margin", "adjust_for", "small_sample"),
)
_FOUND = Use(DIFFERENCES)
_MEANS = Use(DIFFERENCES, "means")
PLANNED: Question[PlannedDifferences] = Question(
    "planned",
    "models.prototypes.alike:planned_differences",
    "Looking at the planned differences ...",
    uses={"result": _FOUND},
)
ALIKE: Question[Alike] = Question(
    "alike",
    "models.prototypes.alike:find_alike",
    "Looking for what is alike ...",
    uses={"result": _FOUND},
    settings=("pairs",),
)
RANKS: Question[RankComparison] = Question(
    "ranks",
    "models.prototypes.ranks:compare_ranks",
    "Ranking within each assessor ...",
    uses={"differences": _FOUND},
)
SENSITIVITY: Question[Sensitivity] = Question(
    "sensitivity",
    "models.prototypes.alike:smallest_difference",
    "Looking for the smallest difference ...",
    uses={"found": _FOUND},
    of_study=False,
)
ASSUMPTIONS: Question[Assumptions] = Question(
    "assumptions",
    "models.prototypes.assumptions:look_at_assumptions",
    "Looking at what the model assumes (a few seconds) ...",
    drawn=True,
)
MAP: Question[PrototypeMap] = Question(
    "map",
    "models.prototypes.map:find_map",
    "Drawing panels for the map ...",
    uses={"means": replace(_MEANS, needed=False), "compared": Use(DIFFERENCES, "attributes", needed=False)},
    settings=("matrix", "draws"),
    drawn=True,
)
PANEL: Question[PanelCheck] = Question(
    "panel", "models.assessors.performance:check_panel", "Checking the assessors ..."
)
LEFT_OUT: Question[LeftOut] = Question(
    "left_out",
    "models.assessors.performance:leave_one_out",
    "Comparing again without each assessor ...",
)
SCALE_USE: Question[ScaleUse] = Question(
    "scale_use",
    "models.prototypes.ranks:find_scale_use",
    "Taking use of the scale into account ...",
)
SWAPS: Question[TracedSwaps] = Question(
    "swaps",
    "models.emollients.swaps:trace_swaps",
    "Tracing differences back to the emollients ...",
)
_PROFILE: Question[Profile] = Question("profile", "models.decision.wanted:target_profile", "Reading what is wanted ...")
CAUSES: Question[Causes] = Question(
    "causes",
    "models.emollients.causes:find_causes",
    "Tracing differences back to the emollients ...",
    uses={"traced": Use(SWAPS), "profile": Use(_PROFILE, needed=False), "means": replace(_MEANS, needed=False)},
    of_study=False,
)
DESCRIPTORS: Question[BlendDescriptors] = Question(
    "descriptors", "models.emollients.descriptors:find_descriptors", "Describing the blends ..."
)
LADDER: Question[Ladder] = Question(
    "ladder",
    "models.emollients.ladder:find_ladder",
    "Going from the swaps to the properties of the blends ...",
    uses={"differences": _FOUND, "traced": Use(SWAPS)},
    drawn=True,
)
CURVES: Question[ReducedCurves] = Question(
    "curves", "models.emollients.curves:reduce_curves", "Fitting the measured curves ..."
)
READINGS: Question[JoinedReadings] = Question(
    "readings",
    "models.emollients.readings:join_readings",
    "Joining the readings with the panel ...",
    uses={"means": _MEANS},
)
PREDICTION: Question[PredictionModel] = Question(
    "prediction",
    "models.emollients.prediction_model:prediction_model",
    "Learning from the prototypes there are ...",
    uses={"differences": _FOUND},
)
NEXT: Question[NextPrototypes] = Question(
    "next",
    "models.emollients.next_prototype:propose_next",
    "Weighing what to make next ...",
    uses={"model": Use(PREDICTION)},
)
LIKING: Question[Liking] = Question(
    "liking",
    "models.consumers.liking:weigh_liking",
    "Weighing liking ...",
    settings=("question", "versus"),
    kinds=("liking",),
)
SEGMENTS: Question[Segments] = Question(
    "segments",
    "models.consumers.segments:find_segments",
    "Looking for groups of consumers ...",
    settings=("question",),
    kinds=("liking",),
    drawn=True,
)
PREFERENCE_MAP: Question[PreferenceMap] = Question(
    "preference_map",
    "models.consumers.preference_map:map_preferences",
    "Mapping preferences ...",
    uses={"means": _MEANS, "placed": Use(MAP), "segments": Use(SEGMENTS)},
    settings=("question",),
    kinds=("liking",),
    drawn=True,
)
JUST_ABOUT_RIGHT: Question[JustAboutRight] = Question(
    "just_about_right",
    "models.consumers.just_about_right:weigh_just_about_right",
    "Weighing what is too little or too much ...",
    uses={"swaps": Use(SWAPS, needed=False)},
    kinds=("just_about_right",),
)
CHECK_ALL: Question[CheckAll] = Question(
    "check_all",
    "models.consumers.check_all:count_check_all",
    "Counting the ticked terms ...",
    kinds=("check_all",),
)
AGREEMENT: Question[Agreement] = Question(
    "agreement",
    "models.consumers.agreement:count_agreement",
    "Counting who agrees ...",
    kinds=("agreement",),
)
PREFERENCES: Question[Preferences] = Question(
    "preferences",
    "models.consumers.choices:count_preferences",
    "Counting preferences ...",
    kinds=("preference",),
)
FORCED_CHOICES: Question[ForcedChoices] = Question(
    "forced_choices",
    "models.consumers.forced_choice:judge_forced_choices",
    "Counting right answers ...",
    settings=("similar_below",),
    kinds=_CHOICES,
)
AFTER_FEEL: Question[AfterFeel] = Question(
    "after_feel", "models.over_time.after_feel:follow_after_feel", "Following the after-feel ..."
)
COURSES: Question[Courses] = Question(
    "courses", "models.over_time.after_feel:reduce_courses", "Reducing the courses of intensity ..."
)
DOMINANCES: Question[Dominances] = Question(
    "dominances",
    "models.over_time.dominance:follow_dominance",
    "Following what is dominant ...",
    drawn=True,
)
NEAREST: Question[Decision] = Question(
    "nearest",
    "models.decision.decide:nearest",
    "Holding the prototypes against what is wanted ...",
    settings=("weights",),
    drawn=True,
)
DECISION: Question[Decision] = Question(
    "decision",
    "models.decision.decide:decide",
    "Holding the prototypes against what is wanted ...",
    uses={
        "nearest": Use(NEAREST),
        "differences": Use(DIFFERENCES, needed=False),
        "segments": Use(SEGMENTS, needed=False),
    },
)
QUESTIONS: Mapping[str, Question[Any]] = {
    question.name: question for question in list(globals().values()) if isinstance(question, Question)
}


class Answers:
    """The answers of a study, each worked out when it is first asked for, and kept.

    Parameters
    ----------
    study
        The study.
    seed
        Where everything that is drawn starts from.
    """

    def __init__(self, study: Study, seed: int = SEED) -> None:
        self.study = study
        self.seed = seed
        self._kept: dict[tuple[str, Any], Any] = {}
        self._told: dict[Callable[..., Any], tuple[Any, Any]] = {}
        self._asking = threading.RLock()  # two pages of one study ask one after the other

    @cached_property
    def names(self) -> Naming:
        """Words of the study."""
        return naming(self.study)

    def __getattr__(self, name: str) -> Any:
        """Return the answer to the question of that name, without settings."""
        if name.startswith("_") or name not in QUESTIONS:
            raise AttributeError(name)
        return self.ask(QUESTIONS[name])

    def ask(self, question: Question[_T], /, **settings: Any) -> _T | NoAnswer:
        """Return the answer; `NoAnswer` where the study has none."""
        key = (question.name, _key(settings))
        with self._asking:
            if key not in self._kept:
                try:
                    self._kept[key] = self._answer(question, settings)
                except PanelError as error:
                    self._kept[key] = NoAnswer(str(error), not_part=self._not_part(question))
            kept: _T | NoAnswer = self._kept[key]
            while len(self._kept) > _MOST_KEPT:
                del self._kept[next(iter(self._kept))]
        return kept

    def need(self, question: Question[_T], /, **settings: Any) -> _T:
        """Return the answer; ModelError with the sentence that says why where there is none."""
        answer = self.ask(question, **settings)
        if isinstance(answer, NoAnswer):
            raise ModelError(answer.why)
        return answer

    def tell(self, tell: Callable[[Any, Naming], _T], found: Any) -> _T:
        """Return what a view tells of an answer, in the words of the study; the same answer is told once."""
        last = self._told.get(tell)
        if last is None or last[0] is not found:
            last = self._told[tell] = (found, tell(found, self.names))
        told: _T = last[1]
        return told

    def known(self, question: Question[Any], /, **settings: Any) -> bool:
        """Return whether the question was asked already."""
        return (question.name, _key(settings)) in self._kept

    def _not_part(self, question: Question[Any]) -> bool:
        """Return whether the study holds none of the answers that a question is about."""
        return bool(question.kinds) and not self.study.table("answers")["kind"].isin(question.kinds).any()

    def _answer(self, question: Question[_T], settings: Mapping[str, Any]) -> _T | NoAnswer:
        passed = {name: value for name, value in settings.items() if name in question.settings}
        for argument, use in question.uses.items():
            theirs = {name: value for name, value in settings.items() if name in use.question.settings}
            answer = self.ask(use.question, **theirs)
            if isinstance(answer, NoAnswer):
                if use.needed:
                    return NoAnswer(answer.why, not_part=self._not_part(question))
                passed[argument] = None
            else:
                passed[argument] = getattr(answer, use.part) if use.part else answer
        if question.drawn:
            passed["rng"] = np.random.default_rng(self.seed)
        function = question.answered_by()
        return function(self.study, **passed) if question.of_study else function(**passed)


def _key(settings: Mapping[str, Any]) -> tuple[tuple[str, Any], ...]:
    """Return settings so that they can be a key; a setting of None is as good as none."""
    return tuple(sorted((name, _hashable(value)) for name, value in settings.items() if value is not None))


def _hashable(value: Any) -> Any:
    if isinstance(value, Mapping):
        return tuple(sorted(value.items()))
    return tuple(value) if isinstance(value, list) else value
