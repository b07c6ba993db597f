"""The results on consumers: liking, groups, just about right, terms, agreement, preference, forced choice."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from panel.models.consumers.answers_read import questions_of
from panel.report.contents.blocks import Block, Gap, Numbers, Paragraph, Picture, Subheading
from panel.report.contents.parts import not_there, or_gap, picture, points
from panel.report.contents.results import NotThere, Results
from panel.report.contents.tables_consumers import (
    bars,
    drops,
    forced_choices,
    groups,
    lift,
    liking,
    liking_boxes,
    liking_pairs,
    liking_tests,
    preferences,
    sensations,
    statements,
    term_pairs,
    term_tests,
    terms,
)
from panel.views.consumers.agreement_pictures import agreement_figure, agreement_svg
from panel.views.consumers.agreement_words import (
    agreement_headline,
    how_readily_yes_is_said,
    what_agreement_cannot_show,
    what_the_statements_show,
)
from panel.views.consumers.check_all_words import (
    check_all_headline,
    what_check_all_cannot_show,
    what_goes_with_liking,
    what_the_terms_show,
)
from panel.views.consumers.choice_words import choice_headline, what_choices_cannot_show, what_the_choices_show
from panel.views.consumers.liking_pictures import liking_figure, liking_svg
from panel.views.consumers.liking_words import liking_headline, what_liking_cannot_show, what_liking_shows
from panel.views.consumers.preference_map_words import preferences_headline
from panel.views.consumers.preference_words import preference_headline, what_preferences_cannot_show
from panel.views.consumers.preference_words import what_the_preferences_show as what_preferences_show
from panel.views.consumers.right_words import changes_to_test, right_headline, what_costs_liking, what_right_cannot_show
from panel.views.consumers.segment_pictures import segments_alt_text, segments_figure, segments_svg
from panel.views.consumers.segment_words import segments_headline, what_the_segments_cannot_show, what_the_segments_show

Maker = Callable[[Results], Numbers | NotThere]


def consumers(results: Results) -> list[Block]:
    """Return what consumers said, kind by kind."""
    if results.study.table("answers").empty:
        return [Subheading("Consumers"), Paragraph("Consumer answers: not part of this study.")]
    parts = (_liking, _groups, _just_about_right, _terms, _agreement, _preferences, _forced_choices)
    return [block for part in parts for block in part(results)]


def _told(title: str, found: object, make: Callable[[], Iterable[Block]]) -> list[Block]:
    """Return a part under its title, or why it is not there."""
    told: Iterable[Block] = (not_there(found),) if isinstance(found, NotThere) else make()
    return [Subheading(title), *told]


def _tables(results: Results, *makers: Maker) -> list[Block]:
    return [or_gap(make(results)) for make in makers]


def _liking(results: Results) -> list[Block]:
    found, names = results.liking, results.names

    def make() -> Iterable[Block]:
        if isinstance(found, NotThere):
            return
        yield Paragraph(liking_headline(found, names))
        yield from points(what_liking_shows(found, names))
        alt = "Mean liking of each prototype with its interval; the table of liking has the numbers."
        figure, title = liking_figure, "Mean liking of each prototype"
        yield picture("liking", title, alt, lambda: liking_svg(found, names), lambda: figure(found, names))
        yield from _tables(results, liking, liking_tests, liking_pairs, liking_boxes)
        others = [name for name in questions_of(results.study, "liking") if name != found.question]
        if others:
            yield Gap(f"Other liking questions were asked and are not in this file: {', '.join(others)}.")
        yield from points([found.method, *found.notes, *what_liking_cannot_show(found)])

    return _told("Liking (consumers)", found, make)


def _groups(results: Results) -> list[Block]:
    found, names = results.segments, results.names

    def make() -> Iterable[Block]:
        if isinstance(found, NotThere):
            return
        yield Paragraph(segments_headline(found, names))
        yield from points(what_the_segments_show(found, names))
        yield _group_picture(results)
        yield from _tables(results, groups)
        yield from points([found.method, *found.notes, *what_the_segments_cannot_show(found)])
        mapped = results.preference_map
        if not isinstance(mapped, NotThere):
            yield Paragraph(preferences_headline(mapped, found, names))
        yield from _tables(results, sensations)

    return _told("Groups of consumers", found, make)


def _group_picture(results: Results) -> Picture | Gap:
    found, names = results.segments, results.names
    if isinstance(found, NotThere):
        return Gap(found.why)
    return picture(
        "groups",
        "Mean liking within each group of consumers",
        segments_alt_text(found),
        lambda: segments_svg(found, names),
        lambda: segments_figure(found, names),
    )


def _just_about_right(results: Results) -> list[Block]:
    found, names = results.just_about_right, results.names

    def make() -> Iterable[Block]:
        if isinstance(found, NotThere):
            return
        yield Paragraph(right_headline(found))
        yield from points([*what_costs_liking(found), *changes_to_test(found, names)])
        yield from _tables(results, drops)
        yield from points([found.method, *found.notes, *what_right_cannot_show(found)])

    return _told("Just about right (consumers)", found, make)


def _terms(results: Results) -> list[Block]:
    found = results.check_all

    def make() -> Iterable[Block]:
        if isinstance(found, NotThere):
            return
        yield Paragraph(check_all_headline(found))
        yield from points([*what_the_terms_show(found), *what_goes_with_liking(found)])
        yield from _tables(results, terms, term_tests, lift, term_pairs)
        yield from points([found.method, *found.notes, *what_check_all_cannot_show(found)])

    return _told("Check all that apply (consumers)", found, make)


def _agreement(results: Results) -> list[Block]:
    found = results.agreement

    def make() -> Iterable[Block]:
        if isinstance(found, NotThere):
            return
        yield Paragraph(agreement_headline(found))
        yield from points([*what_the_statements_show(found), *how_readily_yes_is_said(found)])
        alt = "Share of consumers who agreed with each statement, with its interval; the table has the numbers."
        title = "Agreement with each statement"
        yield picture("agreement", title, alt, lambda: agreement_svg(found), lambda: agreement_figure(found))
        yield from _tables(results, statements, bars)
        yield from points([found.method, *found.notes, *what_agreement_cannot_show(found)])

    return _told("Agreement with statements (consumers)", found, make)


def _preferences(results: Results) -> list[Block]:
    found, names = results.preferences, results.names

    def make() -> Iterable[Block]:
        if isinstance(found, NotThere):
            return
        yield Paragraph(preference_headline(found))
        yield from points(what_preferences_show(found, names))
        yield from _tables(results, preferences)
        yield from points([found.method, *found.notes, *what_preferences_cannot_show(found)])

    return _told("Paired preference (consumers)", found, make)


def _forced_choices(results: Results) -> list[Block]:
    found, names = results.forced_choices, results.names

    def make() -> Iterable[Block]:
        if isinstance(found, NotThere):
            return
        yield Paragraph(choice_headline(found))
        yield from points(what_the_choices_show(found, names))
        yield from _tables(results, forced_choices)
        yield from points([found.method, *found.notes, *what_choices_cannot_show(found)])

    return _told("Forced choice", found, make)
