"""Page: what happens over time, after use and while a sample is worked in?"""

from __future__ import annotations

import streamlit as st

from panel.app import cached
from panel.app.widgets import attempt, close, heading, page, picture, plain, say, table
from panel.models.over_time.after_feel import timed_attributes
from panel.study.naming import naming
from panel.views.over_time.over_time import (
    after_feel_alt_text,
    after_feel_figure,
    after_feel_headline,
    after_feel_heads,
    after_feel_means_table,
    after_feel_sentences,
    after_feel_svg,
    after_feel_tests_table,
    after_feel_versus_table,
    course_heads,
    course_names,
    course_sentences,
    courses_alt_text,
    courses_figure,
    courses_headline,
    courses_svg,
    courses_table,
    dominance_alt_text,
    dominance_difference_sentences,
    dominance_figure,
    dominance_heads,
    dominance_sentences,
    dominance_svg,
    dominance_table,
    what_after_feel_cannot_show,
    what_courses_cannot_show,
    what_dominance_cannot_show,
)
from panel.views.prototypes.differences import attributes_table, pairs_table, what_the_differences_show

study = page("Over time")
names = naming(study.study)


def after_feel() -> None:
    """Show attributes over the minutes after use."""
    result = attempt(cached.after_feel, study.key, study.study)
    if result is None:
        return
    heading("After-feel over the minutes")
    st.markdown(f"**{plain(after_feel_headline(result))}**")
    say(after_feel_sentences(result, names), after_feel_heads(result))
    picture(
        after_feel_svg(result), lambda: after_feel_figure(result), name="after_feel", alt=after_feel_alt_text(result)
    )
    if len(result.versus):
        table(
            after_feel_versus_table(result, names),
            name="after_feel_versus",
            alt="Differences from the benchmark at each time",
            full=result.versus,
        )
    with st.expander("Tests and means"):
        table(after_feel_tests_table(result), name="after_feel_tests", alt="Tests over time", full=result.tests)
        table(after_feel_means_table(result, names), name="after_feel", alt="Means over time", full=result.curves)
    with st.expander("How it was computed, and what it cannot show"):
        say([result.method, *result.notes, *what_after_feel_cannot_show()])


def courses() -> None:
    """Show courses of intensity."""
    result = attempt(cached.courses, study.key, study.study)
    if result is None:
        return
    heading("Courses of intensity")
    words = course_names(result, names)
    if result.differences is not None:
        st.markdown(f"**{plain(courses_headline(result, names))}**")
    say(course_sentences(result, names), course_heads(result, names))
    picture(
        courses_svg(result, names), lambda: courses_figure(result, names), name="courses", alt=courses_alt_text(result)
    )
    table(courses_table(result, names), name="courses", alt="Mean quantities of the courses", full=result.courses)
    if result.differences is not None:
        found = result.differences
        with st.expander("How the prototypes differ in each quantity"):
            say(what_the_differences_show(found, words))
            table(attributes_table(found.attributes, words, found.level), name="course_tests", alt="Tests")
            table(pairs_table(found.pairs, words, found.level), name="course_pairs", alt="All pairs", full=found.pairs)
    with st.expander("How the courses were reduced, and what they cannot show"):
        say([result.method, *result.notes, *what_courses_cannot_show()])


def dominance() -> None:
    """Show what is dominant when."""
    result = attempt(cached.dominances, study.key, study.study)
    if result is None:
        return
    heading("Dominant sensations")
    say(dominance_sentences(result, names), dominance_heads(result, names))
    picture(
        dominance_svg(result, names),
        lambda: dominance_figure(result, names),
        name="dominance",
        alt=dominance_alt_text(result, names),
    )
    table(dominance_table(result, names), name="dominance", alt="Dominant beyond chance", full=result.rates)
    if len(result.differences):
        with st.expander("Differences between prototypes, moment by moment"):
            say(dominance_difference_sentences(result, names))
    with st.expander("How dominance was computed, and what it cannot show"):
        say([result.method, *result.notes, *what_dominance_cannot_show()])


timed = bool(timed_attributes(study.study)) and not study.study.scores.empty
has_courses, has_dominance = (not study.study.table(name).empty for name in ("courses", "dominances"))
if not (timed or has_courses or has_dominance):
    st.markdown(
        "Nothing in this study runs over time yet. Three things can be shown here. Add one of them to the study's "
        "folder, then open it again on the page Study."
    )
    say(
        [
            "After-feel over the minutes: score an attribute at several times. In the table attributes, each time has "
            "a row of its own, with the same name and other minutes.",
            "Courses of intensity: the table courses, with the columns assessor, prototype, attribute, seconds and "
            "score.",
            "Dominant sensations: the table dominances, with the columns assessor, prototype, seconds and attribute; "
            "each evaluation ends with the attribute stop.",
        ],
        first=("After-feel over the minutes", "Courses of intensity", "Dominant sensations"),
    )
if timed:
    after_feel()
if has_courses:
    courses()
if has_dominance:
    dominance()
close()
