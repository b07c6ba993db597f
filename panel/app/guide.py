"""Finding one's way: what the field's words mean, beside the place where they stand, and a tour of the demo."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache

import streamlit as st

from panel.app.places import PARTS, go, leave_for
from panel.app.state import StudyInUse, demo_folder, use_demo
from panel.study.knowledge import glossary

TOUR = (
    ("at_a_glance", "The whole job on one screen: what came out, what to settle first, what may be said."),
    ("emollients", "What changed with each swap: a row for each swap, a column for each sensation."),
    ("assessors", "Whom to talk to, and about what, before the scores are believed."),
    ("decide", "How near each prototype comes to what is wanted, and how sure that is."),
    ("claims", "Sentences written down before the test, each with what the data allow and what may be said instead."),
    ("servings", "The next test: how many people it takes, and who gets what in which order."),
)
"""Parts of the app in the order of the tour, with what to see there."""
_STOP, _MOST, _BLOCKS = "stop of the tour", 6, 3


@cache
def _patterns() -> tuple[tuple[re.Pattern[str], str, str], ...]:
    """Return how each term is found in a sentence, the term, and what it means."""
    found = []
    for row in glossary().to_dict("records"):
        spellings = [row["term"], *filter(None, map(str.strip, row["also"].split(";")))]
        either = "|".join(re.escape(word) for word in sorted(spellings, key=len, reverse=True))
        found.append((re.compile(rf"(?<!\w)(?:{either})(?!\w)", re.IGNORECASE), row["term"], row["meaning"]))
    return tuple(found)


def words_in(texts: Iterable[str]) -> list[tuple[str, str]]:
    """Return the terms that stand in sentences, in the order in which they are met, each with its meaning."""
    text = " ".join(texts)
    met = [(at.start(), term, meaning) for pattern, term, meaning in _patterns() if (at := pattern.search(text))]
    return [(term, meaning) for _, term, meaning in sorted(met)]


def explain(texts: Iterable[str]) -> None:
    """Show a small mark that tells what the terms in sentences mean, and leads to all of them."""
    if met := words_in(texts)[:_MOST]:
        with st.popover("Words", icon=":material/help:", type="tertiary"):
            st.markdown("\n".join(f"- **{term}**: {meaning}" for term, meaning in met))
            go("words", "All words")


def show_words(_study: StudyInUse) -> None:
    """Show every term once, on one screen."""
    st.header("What the words mean", anchor=False)
    known = glossary().sort_values("term", key=lambda terms: terms.str.casefold())[["term", "meaning"]]
    known = known.set_axis(["Word", "What it means"], axis=1)
    for number, place in enumerate(st.columns(_BLOCKS)):
        rows = -(-len(known) // _BLOCKS)
        part = known.iloc[number * rows : (number + 1) * rows]
        place.table(part, hide_index=True, border="horizontal", alt=f"Words, part {number + 1} of {_BLOCKS}")


# A tour of the demo, which can be left at each stop.


def begin_tour() -> None:
    """Open the demo at the first stop."""
    use_demo()
    st.session_state[_STOP] = 0
    leave_for(TOUR[0][0])


def show_stop(part: str, study: StudyInUse) -> None:
    """Show where the tour is, while there is one: what to see here, the way on, and the way out."""
    number = st.session_state.get(_STOP)
    if number is None or study.handle.path != str(demo_folder()):
        st.session_state.pop(_STOP, None)
        return
    stop, words = TOUR[number]
    with st.container(border=True, horizontal=True, vertical_alignment="center", key="tour"):
        st.markdown(f"**Stop {number + 1} of {len(TOUR)}.** {words}", width="stretch")
        following = TOUR[number + 1][0] if number + 1 < len(TOUR) else "start"
        if part != stop and st.button("Back to the tour"):
            leave_for(stop)
        if st.button(f"On to: {PARTS[following][1].title}", type="primary"):
            st.session_state[_STOP] = number + 1 if following != "start" else None
            leave_for(following)
        if st.button("Leave the tour"):
            del st.session_state[_STOP]
            st.rerun()
