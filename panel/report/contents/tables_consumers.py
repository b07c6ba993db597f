"""Tables of what consumers said, with the id of every number; they are kept apart from the trained panel's."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from panel.models.consumers.agreement import Agreement
from panel.models.consumers.check_all import CheckAll
from panel.models.consumers.forced_choice import ForcedChoices
from panel.models.consumers.just_about_right import JustAboutRight
from panel.models.consumers.liking import Liking
from panel.models.consumers.preference import Preferences
from panel.models.consumers.preference_map import PreferenceMap
from panel.models.consumers.segments import Segments
from panel.report.contents.blocks import Numbers, Source, numbers
from panel.report.contents.results import NotThere, Results
from panel.views.consumers.agreement import bars_table, statements_table
from panel.views.consumers.check_all import lift_table, term_counts_table, term_pairs_table, term_tests_table
from panel.views.consumers.choices import choices_table, preferences_table
from panel.views.consumers.just_about_right import drops_table
from panel.views.consumers.liking import liking_pairs_table, liking_table, liking_tests_table
from panel.views.consumers.preference_map import sensations_table
from panel.views.consumers.segments import segments_table

_FORCED = ("paired", "triangle", "duo_trio", "three_afc", "tetrad")
R = TypeVar("R")


def _made(found: R | NotThere, make: Callable[[R], Numbers | NotThere]) -> Numbers | NotThere:
    return found if isinstance(found, NotThere) else make(found)


def _of_liking(results: Results, *direct: str) -> Source:
    return Source("answers", only={"kind": ("liking",), "question": (results.liking_question,)}, direct=direct)


def liking(results: Results) -> Numbers | NotThere:
    """Return the mean liking of each prototype."""

    def make(found: Liking) -> Numbers:
        ordered = found.means.sort_values("estimate", ascending=False, kind="stable")
        shown = liking_table(found, results.names)
        title = f"Liking: {found.question}, best liked first"
        return numbers("H", title, shown, ordered, ["prototype"], found.method, _of_liking(results, "prototype"))

    return _made(results.liking, make)


def liking_tests(results: Results) -> Numbers | NotThere:
    """Return the tests that no prototype is liked better."""

    def make(found: Liking) -> Numbers:
        title = "Tests that no prototype is liked better"
        return numbers("HT", title, liking_tests_table(found), found.tests, ["test"], found.method, _of_liking(results))

    return _made(results.liking, make)


def liking_pairs(results: Results) -> Numbers | NotThere:
    """Return all differences in liking."""

    def make(found: Liking) -> Numbers:
        shown, key = liking_pairs_table(found.pairs, found), ["prototype", "versus"]
        source = _of_liking(results, "prototype", "versus")
        title = "Differences in liking, all pairs, Tukey"
        return numbers("HA", title, shown, found.pairs, key, found.method, source)

    return _made(results.liking, make)


def liking_boxes(results: Results) -> Numbers | NotThere:
    """Return the shares at the top of the liking scale."""

    def make(found: Liking) -> Numbers:
        shown = found.boxes[["prototype", "box"]].rename(columns={"prototype": "Prototype", "box": "Answers"})
        source = _of_liking(results, "prototype")
        title, key = "Shares at the top of the liking scale", ["prototype", "box"]
        return numbers("HB", title, shown, found.boxes, key, found.method, source, printed=False)

    return _made(results.liking, make)


def groups(results: Results) -> Numbers | NotThere:
    """Return the mean liking within each group of consumers."""

    def make(found: Segments) -> Numbers:
        rows = [(name,) for name in dict.fromkeys(found.means["prototype"])]
        shown = segments_table(found, results.names)
        source, key = _of_liking(results, "prototype"), ["prototype", "segment"]
        title = "Mean liking within each group of consumers"
        return numbers("G", title, shown, found.means, key, found.method, source, rows=rows)

    return _made(results.segments, make)


def sensations(results: Results) -> Numbers | NotThere:
    """Return how liking goes with what the panel feels."""

    def make(found: PreferenceMap) -> Numbers | NotThere:
        if isinstance(results.segments, NotThere):
            return results.segments
        rows = [(name,) for name in dict.fromkeys(found.sensations["attribute"])]
        shown = sensations_table(found, results.segments, results.names)
        sources = (_of_liking(results), Source("scores", same={"attribute": "attribute"}))
        key, title = ["attribute", "segment"], "Liking and what the panel feels, over the prototypes"
        return numbers("HS", title, shown, found.sensations, key, found.method, *sources, rows=rows)

    return _made(results.preference_map, make)


def drops(results: Results) -> Numbers | NotThere:
    """Return how much less is liked what is too little or too much."""

    def make(found: JustAboutRight) -> Numbers:
        key = ["prototype", "question", "side"]
        asked = Source("answers", same={"question": "question", "prototype": "prototype"})
        liked = Source("answers", same={"prototype": "prototype"}, only={"question": (found.liking,)})
        title = "Too little, too much, and what it costs in liking"
        return numbers("J", title, drops_table(found), found.drops, key, found.method, asked, liked, printed=False)

    return _made(results.just_about_right, make)


def terms(results: Results) -> Numbers | NotThere:
    """Return how often each term was ticked for each prototype."""

    def make(found: CheckAll) -> Numbers:
        rows = [(name,) for name in dict.fromkeys(found.shares["term"])]
        source = Source("answers", same={"term": "question", "prototype": "prototype"}, only={"kind": ("check_all",)})
        shown, key = term_counts_table(found), ["term", "prototype"]
        return numbers("X", "Ticks of each term", shown, found.shares, key, found.method, source, rows=rows)

    return _made(results.check_all, make)


def term_tests(results: Results) -> Numbers | NotThere:
    """Return the test of each term."""

    def make(found: CheckAll) -> Numbers:
        source = Source("answers", same={"term": "question"}, only={"kind": ("check_all",)})
        title = "Do the prototypes differ in how often a term is ticked?"
        return numbers("XT", title, term_tests_table(found), found.terms, ["term"], found.method, source)

    return _made(results.check_all, make)


def term_pairs(results: Results) -> Numbers | NotThere:
    """Return the comparison of two prototypes on each term."""

    def make(found: CheckAll) -> Numbers:
        source = Source(
            "answers", same={"term": "question"}, only={"kind": ("check_all",)}, direct=("prototype", "versus")
        )
        shown, key = term_pairs_table(found), ["term", "prototype", "versus"]
        title = "Each term, all pairs of prototypes"
        return numbers("XA", title, shown, found.pairs, key, found.method, source, printed=False)

    return _made(results.check_all, make)


def lift(results: Results) -> Numbers | NotThere:
    """Return how liking goes with each term."""

    def make(found: CheckAll) -> Numbers | NotThere:
        if found.lift.empty:
            return NotThere("There is no liking question that the terms could be held against.")
        source = Source("answers", same={"term": "question"}, only={"kind": ("check_all",)})
        liked = Source("answers", only={"question": (found.liking,)})
        return numbers("XL", "Terms and liking", lift_table(found), found.lift, ["term"], found.method, source, liked)

    return _made(results.check_all, make)


def statements(results: Results) -> Numbers | NotThere:
    """Return how many agreed with each statement."""

    def make(found: Agreement) -> Numbers:
        source = Source(
            "answers", same={"question": "question", "prototype": "prototype"}, only={"kind": ("agreement",)}
        )
        shown, key = statements_table(found), ["prototype", "question"]
        return numbers("Y", "Agreement with each statement", shown, found.statements, key, found.method, source)

    return _made(results.agreement, make)


def bars(results: Results) -> Numbers | NotThere:
    """Return the test of each statement against its bar."""

    def make(found: Agreement) -> Numbers:
        source = Source(
            "answers", same={"question": "question", "prototype": "prototype"}, only={"kind": ("agreement",)}
        )
        shown, key = bars_table(found), ["prototype", "question", "claim", "source"]
        title = "Statements against the bar set beforehand"
        return numbers("YB", title, shown, found.bars, key, found.method, source)

    return _made(results.agreement, make)


def preferences(results: Results) -> Numbers | NotThere:
    """Return the paired preferences, in every way of counting votes for no preference."""

    def make(found: Preferences) -> Numbers:
        source = Source("answers", same={"question": "question"}, only={"kind": ("preference",)})
        shown, key = preferences_table(found), ["question", "prototype", "versus", "way"]
        return numbers("E", "Paired preferences", shown, found.ways, key, found.method, source)

    return _made(results.preferences, make)


def forced_choices(results: Results) -> Numbers | NotThere:
    """Return the tests with a forced choice."""

    def make(found: ForcedChoices) -> Numbers:
        source = Source("answers", same={"question": "question"}, only={"kind": _FORCED})
        shown, key = choices_table(found), ["question", "kind", "prototype", "versus"]
        return numbers("FC", "Tests with a forced choice", shown, found.tests, key, found.method, source)

    return _made(results.forced_choices, make)
