"""What consumers say, question by question: liking and who likes what, just about right, ticked words, agreement."""

from __future__ import annotations

import streamlit as st

from panel.answers import AGREEMENT, CHECK_ALL, JUST_ABOUT_RIGHT, LIKING, PREFERENCE_MAP, SEED, SEGMENTS
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, heading, how_computed, picture, plain, say, show, table
from panel.models.consumers.answers import questions_of
from panel.models.consumers.liking import Liking
from panel.models.consumers.segments import Segments
from panel.study.naming import Naming
from panel.views.consumers.agreement import tell_agreement
from panel.views.consumers.check_all import tell_check_all
from panel.views.consumers.just_about_right import tell_just_about_right
from panel.views.consumers.liking import (
    distribution_alt_text,
    distribution_figure,
    distribution_svg,
    liking_figure,
    liking_headline,
    liking_pairs_table,
    liking_svg,
    liking_table,
    liking_tests_table,
    what_liking_cannot_show,
    what_liking_shows,
)
from panel.views.consumers.preference_map import (
    directions_table,
    preference_map_figure,
    preference_map_svg,
    preferences_alt_text,
    preferences_headline,
    sensations_caption,
    sensations_table,
    what_the_preferences_cannot_show,
    what_the_preferences_show,
)
from panel.views.consumers.segments import (
    divided_table,
    segments_alt_text,
    segments_figure,
    segments_headline,
    segments_svg,
    segments_table,
    steps_table,
    what_the_segments_cannot_show,
    what_the_segments_show,
)

# What consumers answered beside liking: just about right, ticked terms, agreement with statements.


_HOW = "How it was computed, and what it cannot show"


def just_about_right_section(study: StudyInUse, names: Naming) -> None:
    """Show what people find too little or too much, what it costs, and which tested change could be tried."""
    found = attempt(study.answer, JUST_ABOUT_RIGHT)
    if found is None:
        return
    questions = list(dict.fromkeys(found.shares["question"]))
    question = st.selectbox("Question", questions, key=study.choice("just about right question"))
    show(tell_just_about_right(found, names, question))


def check_all_section(study: StudyInUse, names: Naming) -> None:
    """Show which terms are ticked for which prototype, their map, and which go with liking."""
    found = attempt(study.answer, CHECK_ALL)
    if found is not None:
        show(tell_check_all(found, names))


def agreement_section(study: StudyInUse, names: Naming) -> None:
    """Show how many agree with each statement, against its bar, and how readily these people say yes."""
    found = attempt(study.answer, AGREEMENT)
    if found is not None:
        show(tell_agreement(found, names))


# Consumers' liking on the page: which is liked better, groups that want different things, and the preference map.


def liking_section(study: StudyInUse, names: Naming) -> None:
    """Show liking, the groups of consumers and the preference map of one liking question."""
    questions = questions_of(study.study, "liking")
    question = questions[0]
    if len(questions) > 1:
        question = st.selectbox("Question", questions, key=study.choice("liking question"), persist_state="session")
    result = attempt(study.answer, LIKING, question=question)
    if result is None:
        return
    segments = attempt(study.answer, SEGMENTS, question=question)
    st.markdown(f"**{plain(liking_headline(result, names))}**")
    if segments is not None:
        st.markdown(f"**{plain(segments_headline(segments, names))}**")
    say(what_liking_shows(result, names))
    _liking_pictures(result, names)
    if segments is not None:
        _segments(segments, names)
        _preferences(study, question, segments, names)
    how_computed(result.method, result.notes, what_liking_cannot_show(result))


def _liking_pictures(result: Liking, names: Naming) -> None:
    picture(
        liking_svg(result, names),
        lambda: liking_figure(result, names),
        name="liking",
        alt="Mean liking of each prototype with its interval; the table has the numbers.",
    )
    table(liking_table(result, names), name="liking_means", alt="Mean liking and top of the scale", full=result.means)
    picture(
        distribution_svg(result, names),
        lambda: distribution_figure(result, names),
        name="liking_distribution",
        alt=distribution_alt_text(result),
    )
    with st.expander("Differences, pair by pair"):
        if len(result.versus):
            st.markdown(plain(f"From {result.benchmark}, adjusted for comparing all others with it"))
            shown = liking_pairs_table(result.versus, result)
            table(shown, name="liking_versus", alt="Differences from the benchmark", full=result.versus)
        st.markdown("All pairs, adjusted for all of them")
        table(liking_pairs_table(result.pairs, result), name="liking_pairs", alt="All pairs", full=result.pairs)
    with st.expander("Tests, and what each of them uses"):
        table(liking_tests_table(result), name="liking_tests", alt="Tests side by side", full=result.tests)


def _segments(result: Segments, names: Naming) -> None:
    heading("Do they want different things?")
    st.markdown(f"**{plain(segments_headline(result, names))}**")
    say(what_the_segments_show(result, names))
    if result.n_groups > 1:
        picture(
            segments_svg(result, names),
            lambda: segments_figure(result, names),
            name="segments",
            alt=segments_alt_text(result),
        )
        with st.expander("What each group likes, as a table"):
            table(segments_table(result, names), name="segment_means", alt="Means by group", full=result.means)
        if len(result.divided):
            with st.expander("Pairs that please different people"):
                shown = divided_table(result)
                table(shown, name="divided", alt="Pairs that divide the groups", full=result.divided)
    with st.expander("How groups were looked for"):
        if len(result.steps):
            table(steps_table(result), name="segment_steps", alt="Numbers of groups that were asked for")
        seed = f"The draws start from seed {SEED}, so that the same study gives the same groups."
        say([result.method, *result.notes, seed, *what_the_segments_cannot_show(result)])


def _preferences(study: StudyInUse, question: str, segments: Segments, names: Naming) -> None:
    heading("Which sensations go with liking?")
    result = attempt(study.answer, PREFERENCE_MAP, question=question)
    if result is None:
        return
    st.markdown(f"**{plain(preferences_headline(result, segments, names))}**")
    say(what_the_preferences_show(result, segments, names))
    picture(
        preference_map_svg(result, segments, names),
        lambda: preference_map_figure(result, segments, names),
        name="preference_map",
        alt=preferences_alt_text(result, segments, names),
    )
    with st.expander("Each sensation and liking"):
        shown = sensations_table(result, segments, names)
        table(shown, name="sensations", alt="Correlations with liking", full=result.sensations)
        st.caption(plain(sensations_caption(result)))
    with st.expander("Directions and best places"):
        shown = directions_table(result, segments)
        table(shown, name="directions", alt="Directions of liking", full=result.directions)
    with st.expander("How the preference map was made, and what it cannot show"):
        say([result.method, *result.notes, *what_the_preferences_cannot_show(result)])
