"""What does the study say? Every result that the evidence file shows, each computed once and only when asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

import numpy as np

from panel.checks.all_checks import check_study
from panel.checks.finding import Finding
from panel.claims.judge import Claims, judge_claims
from panel.errors import PanelError
from panel.models.assessors.performance import PanelCheck, check_panel
from panel.models.consumers.agreement import Agreement, count_agreement
from panel.models.consumers.answers import questions_of
from panel.models.consumers.check_all import CheckAll, count_check_all
from panel.models.consumers.forced_choice import ForcedChoices, judge_forced_choices
from panel.models.consumers.just_about_right import JustAboutRight, weigh_just_about_right
from panel.models.consumers.liking import Liking, weigh_liking
from panel.models.consumers.preference import Preferences, count_preferences
from panel.models.consumers.preference_map import PreferenceMap, map_preferences
from panel.models.consumers.segments import Segments, find_segments
from panel.models.decision.decide import Decision, decide
from panel.models.emollients.ladder import Ladder, find_ladder
from panel.models.emollients.readings import JoinedReadings, join_readings
from panel.models.emollients.swaps import TracedSwaps, trace_swaps
from panel.models.prototypes.differences import Differences, find_differences
from panel.models.prototypes.map import PrototypeMap, find_map
from panel.models.prototypes.ranks import RankComparison, compare_ranks
from panel.models.prototypes.scale_use import ScaleUse, find_scale_use
from panel.models.prototypes.sensitivity import Sensitivity, smallest_difference
from panel.report.elsewhere import elsewhere
from panel.study.folder import files_of_study
from panel.study.naming import Naming, naming
from panel.study.study import Study

T = TypeVar("T")

NOT_PART = "Not part of this study."

# Two halves that take about as long; the preference map rests on both and comes last.
_FIRST = ("differences", "swaps")
_HERE = ("data_hash", "files", "findings", "panel", "map", "ladder", "claims", "ranks", "readings")
_THERE = (
    *("liking", "segments", "just_about_right", "check_all", "agreement", "preferences", "forced_choices"),
    *("decision", "scale_use", "sensitivity"),
)


@dataclass(frozen=True, slots=True)
class NotThere:
    """A result that this study does not have, and the sentence that says why."""

    why: str

    @property
    def not_part(self) -> bool:
        """True where the study was not about it, which is no gap."""
        return self.why == NOT_PART


class Results:
    """The results of a study, each computed at its first use."""

    def __init__(self, study: Study, rng_seed: int = 1) -> None:
        self.study = study
        self.rng_seed = rng_seed

    def work_out(self) -> None:
        """Work everything out, half of it in a second process; what each half rests on is worked out before."""
        self._get(_FIRST)
        theirs = elsewhere(lambda: self._get(_THERE))
        self._get(_HERE)
        vars(self).update(theirs())

    def _get(self, names: Iterable[str]) -> dict[str, Any]:
        return {name: getattr(self, name) for name in names}

    def _rng(self) -> np.random.Generator:
        """Return a new generator for each result, so that none depends on which others were asked for."""
        return np.random.default_rng(self.rng_seed)

    @cached_property
    def names(self) -> Naming:
        """Words of the study."""
        return naming(self.study)

    @cached_property
    def data_hash(self) -> str:
        """SHA-256 over everything an analysis can see."""
        return self.study.content_hash

    @cached_property
    def files(self) -> dict[str, bytes] | NotThere:
        """The files of the study, as they are saved and archived."""
        return asked(lambda: files_of_study(self.study))

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """What is worth knowing before believing the study."""
        return check_study(self.study)

    @cached_property
    def differences(self) -> Differences | NotThere:
        """Differences between the prototypes."""
        return asked(lambda: find_differences(self.study))

    @cached_property
    def panel(self) -> PanelCheck | NotThere:
        """How each assessor works."""
        return asked(lambda: check_panel(self.study))

    @cached_property
    def map(self) -> PrototypeMap | NotThere:
        """The map of the prototypes."""
        found = self.differences
        if isinstance(found, NotThere):
            return found
        return asked(lambda: find_map(self.study, rng=self._rng(), means=found.means))

    @cached_property
    def swaps(self) -> TracedSwaps | NotThere:
        """What the emollient swaps did."""
        return asked(lambda: trace_swaps(self.study))

    @cached_property
    def ladder(self) -> Ladder | NotThere:
        """How far the differences can be traced beyond the swaps."""
        found, traced = self.differences, self.swaps
        if isinstance(found, NotThere):
            return found
        if isinstance(traced, NotThere):
            return traced
        return asked(lambda: find_ladder(self.study, rng=self._rng(), differences=found, traced=traced))

    @cached_property
    def readings(self) -> JoinedReadings | NotThere:
        """How the instrument readings go with the panel."""
        found = self.differences
        if isinstance(found, NotThere):
            return found
        return asked(lambda: join_readings(self.study, means=found.means))

    @cached_property
    def ranks(self) -> RankComparison | NotThere:
        """What the ranks alone say."""
        found = self.differences
        if isinstance(found, NotThere):
            return found
        return asked(lambda: compare_ranks(self.study, found))

    @cached_property
    def scale_use(self) -> ScaleUse | NotThere:
        """The scaling model beside the additive one."""
        return asked(lambda: find_scale_use(self.study))

    @cached_property
    def sensitivity(self) -> Sensitivity | NotThere:
        """How small a difference could have been seen."""
        found = self.differences
        return found if isinstance(found, NotThere) else asked(lambda: smallest_difference(found))

    @cached_property
    def claims(self) -> Claims | NotThere:
        """The verdict on each claim."""
        found, traced = self.differences, self.swaps
        return asked(
            lambda: judge_claims(
                self.study,
                differences=None if isinstance(found, NotThere) else found,
                traced=None if isinstance(traced, NotThere) else traced,
            )
        )

    @cached_property
    def liking_question(self) -> str:
        """The liking question that counts: the first; empty if consumers were not asked."""
        return next(iter(questions_of(self.study, "liking")), "")

    @cached_property
    def liking(self) -> Liking | NotThere:
        """How well consumers like the prototypes."""
        return self._of_kinds(lambda: weigh_liking(self.study), "liking")

    @cached_property
    def segments(self) -> Segments | NotThere:
        """Groups of consumers who like different prototypes."""
        return self._of_kinds(lambda: find_segments(self.study, self._rng()), "liking")

    @cached_property
    def just_about_right(self) -> JustAboutRight | NotThere:
        """What is too little or too much, and what it costs."""
        traced = None if isinstance(self.swaps, NotThere) else self.swaps
        return self._of_kinds(lambda: weigh_just_about_right(self.study, swaps=traced), "just_about_right")

    @cached_property
    def check_all(self) -> CheckAll | NotThere:
        """Which words were ticked."""
        return self._of_kinds(lambda: count_check_all(self.study), "check_all")

    @cached_property
    def agreement(self) -> Agreement | NotThere:
        """Who agreed with which statement."""
        return self._of_kinds(lambda: count_agreement(self.study), "agreement")

    @cached_property
    def preferences(self) -> Preferences | NotThere:
        """Which of two prototypes is preferred."""
        return self._of_kinds(lambda: count_preferences(self.study), "preference")

    @cached_property
    def forced_choices(self) -> ForcedChoices | NotThere:
        """Tests in which one sample had to be picked."""
        kinds = ("paired", "triangle", "duo_trio", "three_afc", "tetrad")
        return self._of_kinds(lambda: judge_forced_choices(self.study), *kinds)

    @cached_property
    def preference_map(self) -> PreferenceMap | NotThere:
        """How liking changes over the panel's map."""
        found, placed, groups = self.differences, self.map, self.segments
        for missing in (found, placed, groups):
            if isinstance(missing, NotThere):
                return missing
        return asked(
            lambda: map_preferences(
                self.study,
                self._rng(),
                segments=groups if isinstance(groups, Segments) else None,
                placed=placed if isinstance(placed, PrototypeMap) else None,
                means=found.means if isinstance(found, Differences) else None,
            )
        )

    @cached_property
    def decision(self) -> Decision | NotThere:
        """The prototypes against the target profile."""
        groups, found = self.segments, self.differences
        return asked(
            lambda: decide(
                self.study,
                self._rng(),
                segments=groups if isinstance(groups, Segments) else None,
                differences=found if isinstance(found, Differences) else None,
            )
        )

    def _of_kinds(self, question: Callable[[], T], *kinds: str) -> T | NotThere:
        """Ask a question about consumers' answers only if there are answers of those kinds."""
        if not self.study.table("answers")["kind"].isin(kinds).any():
            return NotThere(NOT_PART)
        return asked(question)


def asked(question: Callable[[], T]) -> T | NotThere:
    """Return the answer, or the sentence that says why there is none."""
    try:
        return question()
    except PanelError as error:
        return NotThere(str(error))
