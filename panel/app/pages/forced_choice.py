"""Page: can people tell two samples apart, and which one do they prefer?"""

from __future__ import annotations

import streamlit as st

from panel.app import cached
from panel.app.widgets import attempt, close, heading, page, picture, plain, say, table
from panel.errors import ModelError
from panel.models.consumers.choices import METHOD_OF
from panel.models.consumers.forced_choice import judge_count
from panel.study.naming import naming
from panel.study.numbers_read import typed_number
from panel.views.consumers.choices import (
    METHOD_WORDS,
    choice_alt_text,
    choice_figure,
    choice_headline,
    choice_heads,
    choice_sessions_table,
    choice_svg,
    choices_table,
    how_much_it_could_see,
    preference_headline,
    preference_heads,
    preferences_table,
    repeated_words,
    similarity_table,
    what_choices_cannot_show,
    what_preferences_cannot_show,
    what_the_choices_show,
    what_the_preferences_show,
)

study = page("Forced choice")
names = naming(study.study)
kinds = set(study.study.table("answers")["kind"])


def told_apart() -> None:
    """Show whether people can tell samples apart."""
    result = attempt(cached.forced_choices, study.key, None, study.study)
    if result is None:
        return
    heading("Can people tell the samples apart?")
    st.markdown(f"**{plain(choice_headline(result))}**")
    say(what_the_choices_show(result, names), choice_heads(result))
    picture(choice_svg(result), lambda: choice_figure(result), name="choices", alt=choice_alt_text(result))
    table(choices_table(result), name="choices", alt="Forced-choice tests", full=result.tests)
    if result.tests["limit"].notna().any():
        table(similarity_table(result), name="similarity", alt="Tests of similarity", full=result.tests)
    with st.expander("Sessions, repeated answers, and what so many answers could see"):
        table(choice_sessions_table(result), name="choice_sessions", alt="Sessions", full=result.sessions)
        say([*repeated_words(result), *how_much_it_could_see(result)])
    with st.expander("How the choices were judged, and what they cannot show"):
        say([result.method, *result.notes, *what_choices_cannot_show(result)])


def preferred() -> None:
    """Show which sample is preferred."""
    result = attempt(cached.preferences, study.key, study.study)
    if result is None:
        return
    heading("Which one do they prefer?")
    st.markdown(f"**{plain(preference_headline(result))}**")
    say(what_the_preferences_show(result, names), preference_heads(result))
    with st.expander("Three ways of counting votes for no preference"):
        table(preferences_table(result), name="preferences", alt="Paired preferences", full=result.ways)
    with st.expander("How the preferences were counted, and what they cannot show"):
        say([result.method, *result.notes, *what_preferences_cannot_show(result)])


def whole_number(label: str, usual: int) -> int:
    """Return a whole number typed into a field."""
    text = st.text_input(label, str(usual), key=study.choice(f"count {label}"))
    value = typed_number(text or str(usual), label)
    if value is None or value != int(value):
        raise ModelError(f"{label} must be a whole number.")
    return int(value)


def share_field() -> float | None:
    """Return the share of people who may tell, typed in per cent; None if empty."""
    label = "People who may tell, % (empty: no test of similarity)"
    value = typed_number(st.text_input(label, "", key=study.choice("count share")) or "", label)
    return None if value is None else value / 100


def a_count() -> None:
    """Judge a count that is typed in."""
    heading("Judge a count")
    st.caption("For a count from anywhere: type it in. The numbers that stand here at first are an example.")
    kind = st.selectbox(
        "Test", list(METHOD_OF), format_func=lambda kind: METHOD_WORDS[METHOD_OF[kind]], key=study.choice("count test")
    )
    left, middle, last = st.columns(3)
    with left:
        right = attempt(whole_number, "Right answers", 18)
    with middle:
        n = attempt(whole_number, "Answers", 36)
    with last:
        share = attempt(share_field)
    if right is None or n is None:
        return
    result = attempt(judge_count, kind, right, n, similar_below=share)
    if result is not None:
        # the count is the only question here, so its name is left out
        lines = [line.partition(": ")[2] for line in what_the_choices_show(result, names)]
        lines += [line.partition(": ")[2] for line in how_much_it_could_see(result)]
        say([f"{line[0].upper()}{line[1:]}" for line in lines])


if not kinds & {*METHOD_OF, "preference"}:
    st.markdown(
        "This study has no forced-choice answers yet. Add rows to the table answers of its folder, then open it again "
        "on the page Study."
    )
    say(
        [
            "Samples: prototype and versus name the two; position is 1 if prototype was tried first, 2 if versus was.",
            "Can people tell: kind is triangle, duo_trio, three_afc or tetrad; the answer is 1 (right) or 0 (wrong).",
            "Which one: kind is paired or preference, and the answer is the short name of the sample chosen; for "
            "preference also: no preference.",
        ],
        first=("Samples", "Can people tell", "Which one"),
    )
if kinds & set(METHOD_OF):
    told_apart()
if "preference" in kinds:
    preferred()
a_count()
close()
