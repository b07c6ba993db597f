"""Tables of what consumers said, with the id of every number; they are kept apart from the trained panel's."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from panel.answers import Answers, NoAnswer
from panel.models.consumers.answers import questions_of
from panel.models.consumers.liking import Liking
from panel.models.consumers.preference_map import PreferenceMap
from panel.models.consumers.segments import Segments
from panel.report.contents.blocks import Numbers, numbers
from panel.study.shown import Source
from panel.views.consumers.liking import liking_pairs_table, liking_table, liking_tests_table
from panel.views.consumers.preference_map import sensations_table
from panel.views.consumers.segments import segments_table

R = TypeVar("R")


def _made(found: R | NoAnswer, make: Callable[[R], Numbers | NoAnswer]) -> Numbers | NoAnswer:
    return found if isinstance(found, NoAnswer) else make(found)


def _of_liking(answers: Answers, *direct: str) -> Source:
    first = next(iter(questions_of(answers.study, "liking")), "")
    return Source(
        "answers",
        only={"kind": ("liking",), "question": (first,)},
        direct=direct,
    )


def liking(answers: Answers) -> Numbers | NoAnswer:
    """Return the mean liking of each prototype."""

    def make(found: Liking) -> Numbers:
        ordered = found.means.sort_values("estimate", ascending=False, kind="stable")
        shown = liking_table(found, answers.names)
        title = f"Liking: {found.question}, best liked first"
        return numbers("H", title, shown, ordered, ["prototype"], found.method, _of_liking(answers, "prototype"))

    return _made(answers.liking, make)


def liking_tests(answers: Answers) -> Numbers | NoAnswer:
    """Return the tests that no prototype is liked better."""

    def make(found: Liking) -> Numbers:
        title = "Tests that no prototype is liked better"
        return numbers("HT", title, liking_tests_table(found), found.tests, ["test"], found.method, _of_liking(answers))

    return _made(answers.liking, make)


def liking_pairs(answers: Answers) -> Numbers | NoAnswer:
    """Return all differences in liking."""

    def make(found: Liking) -> Numbers:
        shown, key = liking_pairs_table(found.pairs, found), ["prototype", "versus"]
        source = _of_liking(answers, "prototype", "versus")
        title = "Differences in liking, all pairs, Tukey"
        return numbers("HA", title, shown, found.pairs, key, found.method, source)

    return _made(answers.liking, make)


def liking_boxes(answers: Answers) -> Numbers | NoAnswer:
    """Return the shares at the top of the liking scale."""

    def make(found: Liking) -> Numbers:
        shown = found.boxes[["prototype", "box"]].rename(columns={"prototype": "Prototype", "box": "Answers"})
        source = _of_liking(answers, "prototype")
        title, key = "Shares at the top of the liking scale", ["prototype", "box"]
        return numbers("HB", title, shown, found.boxes, key, found.method, source, printed=False)

    return _made(answers.liking, make)


def groups(answers: Answers) -> Numbers | NoAnswer:
    """Return the mean liking within each group of consumers."""

    def make(found: Segments) -> Numbers:
        rows = [(name,) for name in dict.fromkeys(found.means["prototype"])]
        shown = segments_table(found, answers.names)
        source, key = _of_liking(answers, "prototype"), ["prototype", "segment"]
        title = "Mean liking within each group of consumers"
        return numbers("G", title, shown, found.means, key, found.method, source, rows=rows)

    return _made(answers.segments, make)


def sensations(answers: Answers) -> Numbers | NoAnswer:
    """Return how liking goes with what the panel feels."""

    def make(found: PreferenceMap) -> Numbers | NoAnswer:
        if isinstance(answers.segments, NoAnswer):
            return answers.segments
        rows = [(name,) for name in dict.fromkeys(found.sensations["attribute"])]
        shown = sensations_table(found, answers.segments, answers.names)
        sources = (_of_liking(answers), Source("scores", same={"attribute": "attribute"}))
        key, title = ["attribute", "segment"], "Liking and what the panel feels, over the prototypes"
        return numbers("HS", title, shown, found.sensations, key, found.method, *sources, rows=rows)

    return _made(answers.preference_map, make)
