"""Finding one's way: what the field's words mean, a tour of the demo, and where the study is mended or filled."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import cache
from types import MappingProxyType

import streamlit as st

from panel.app.places import PARTS, go, leave_for
from panel.app.state import StudyInUse, demo_folder, use_demo
from panel.checks.confounds import BETWEEN
from panel.checks.finding import Finding
from panel.study.knowledge import shared_table
from panel.study.study import Study
from panel.study.survey import KINDS

_TOUR = (
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
    for row in shared_table("glossary").to_dict("records"):
        spellings = [row["term"], *filter(None, map(str.strip, row["also"].split(";")))]
        either = "|".join(re.escape(word) for word in sorted(spellings, key=len, reverse=True))
        found.append((re.compile(rf"(?<!\w)(?:{either})(?!\w)", re.IGNORECASE), row["term"], row["meaning"]))
    return tuple(found)


def _words_in(texts: Iterable[str]) -> list[tuple[str, str]]:
    """Return the terms that stand in sentences, in the order in which they are met, each with its meaning."""
    text = " ".join(texts)
    met = [(at.start(), term, meaning) for pattern, term, meaning in _patterns() if (at := pattern.search(text))]
    return [(term, meaning) for _, term, meaning in sorted(met)]


def explain(texts: Iterable[str]) -> None:
    """Show a small mark that tells what the terms in sentences mean, and leads to all of them."""
    if met := _words_in(texts)[:_MOST]:
        with st.popover("Words", icon=":material/help:", type="tertiary"):
            st.markdown("\n".join(f"- **{term}**: {meaning}" for term, meaning in met))
            go("words", "All words")


def show_words(_study: StudyInUse) -> None:
    """Show every term once, on one screen."""
    st.header("What the words mean", anchor=False)
    known = shared_table("glossary").sort_values("term", key=lambda terms: terms.str.casefold())[["term", "meaning"]]
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
    leave_for(_TOUR[0][0])


def show_stop(part: str, study: StudyInUse) -> None:
    """Show where the tour is, while there is one: what to see here, the way on, and the way out."""
    number = st.session_state.get(_STOP)
    if number is None or study.handle.path != str(demo_folder()):
        st.session_state.pop(_STOP, None)
        return
    stop, words = _TOUR[number]
    with st.container(border=True, horizontal=True, vertical_alignment="center", key="tour"):
        st.markdown(f"**Stop {number + 1} of {len(_TOUR)}.** {words}", width="stretch")
        following = _TOUR[number + 1][0] if number + 1 < len(_TOUR) else "start"
        if part != stop and st.button("Back to the tour"):
            leave_for(stop)
        if st.button(f"On to: {PARTS[following][1].title}", type="primary"):
            st.session_state[_STOP] = number + 1 if following != "start" else None
            leave_for(following)
        if st.button("Leave the tour"):
            del st.session_state[_STOP]
            st.rerun()


# Which table has which editor, and which row of it is asked for.


FORMULAS, FACTS, STATEMENTS = "formulas", "facts", "claims"
EDITORS = MappingProxyType(
    {
        "prototypes": "Prototypes",
        FORMULAS: "Formulas",
        "batches": "Batches",
        "attributes": "Attributes",
        "assessors": "People",
        "servings": "Servings",
        "readings": "Readings",
        "curves": "Curves",
        "courses": "Courses",
        "dominances": "Dominances",
        "questions": "Questions",
        "planned_differences": "Planned differences",
        "answers": "Answers of consumers",
        "ingredient_values": "Own values of ingredients",
        STATEMENTS: "Statements before the test",
        FACTS: "About the study",
    }
)
"""What can be edited, and what it is called."""
CHOICE, ROW = "editor", "row to edit"
"""Fields of the session: which editor is open, which the address says too, and at which row."""

# From a finding to the editor that mends it.


_TO_JOIN = frozenset(f"prototypes_and_{factor.replace(' ', '_')}" for factor in BETWEEN)
ASKED_TO_JOIN = "a missing session is asked for"
"""Field of the session: the servings begin with the form for one more session."""
_ROW_OF_PLACE = re.compile(r"\brows? (\d+)")


def _place_of(finding: Finding) -> tuple[str, int] | None:
    """Return what to edit to mend a finding, and the row of it (from 1; 0 for none); None where no editor does."""
    first = re.split(r"[,;: ]", finding.where, maxsplit=1)[0]
    what = {"facts": FACTS}.get(first, first)
    if finding.kind.startswith(("formula", "ingredient")) or first == "formulas":
        return FORMULAS, 0
    if what not in EDITORS:
        return None
    row = _ROW_OF_PLACE.search(finding.where.partition(";")[0])
    return what, max(int(row[1]) - 1, 0) if row else 0


def _open_editor(what: str, row: int = 0) -> None:
    """Choose what to edit, and the row of it; the page that calls it shows the editors on its next run."""
    st.session_state[CHOICE] = what
    if row:
        st.session_state[ROW] = (what, row)
    else:
        st.session_state.pop(ROW, None)


def way_to_mend(finding: Finding) -> str:
    """Return what the button beside a finding says; empty where nothing in the app mends it."""
    if finding.kind in _TO_JOIN:
        return "Plan the missing session"
    place = _place_of(finding)
    return "" if place is None else f"Open {EDITORS[place[0]]}" + (", this row" if place[1] else "")


def mend(finding: Finding) -> None:
    """Go where a finding is mended: to the form for a missing session, to the editor, else to what the study holds."""
    place = _place_of(finding)
    if finding.kind in _TO_JOIN:
        st.session_state[ASKED_TO_JOIN] = True
        leave_for("servings")
    elif place is not None:
        _open_editor(*place)
        leave_for("edit")
    leave_for("study")


WAY_TO_OPEN = "way to open"
"""Field of the session: how another study is begun or opened, as if it had been chosen there."""
MINE, SURVEY = "My table of scores", "A survey of consumers"
_BROUGHT = MappingProxyType({"scores": MINE, "answers": SURVEY})
_TYPED = MappingProxyType({"targets": "attributes", "choices": "answers"})  # what is only a part of a table


def _is_there(study: Study, needed: str) -> bool:
    """Return whether a study holds rows of a table, or `targets` of its attributes."""
    rows = study.table(_TYPED.get(needed, needed))
    return bool(rows[["target_low", "target_high"]].notna().any(axis=None)) if needed == "targets" else len(rows) > 0


def _way_to_fill(needed: str) -> str:
    """Return what the button says that leads to where a table is filled."""
    if needed in _BROUGHT:
        return f"Bring {_BROUGHT[needed][0].lower()}{_BROUGHT[needed][1:]}"
    return "Write the targets down" if needed == "targets" else f"Open {EDITORS[_TYPED.get(needed, needed)]}"


def fill(needed: str) -> None:
    """Go where a table is brought or typed."""
    if needed in _BROUGHT:
        st.session_state[WAY_TO_OPEN] = _BROUGHT[needed]
        leave_for("start")
    _open_editor(_TYPED.get(needed, needed))
    leave_for("edit")


def offer_to_fill(study: Study, part: str, needs: Sequence[str], *, first: bool = True) -> None:
    """Offer the way to the first table that a part needs and the study lacks, or to answers of the part's own kind."""
    unasked = part in KINDS and part not in set(study.table("answers")["kind"])
    otherwise = "" if needs[-1] in _BROUGHT and not unasked else needs[-1]
    needed = next((name for name in needs if not _is_there(study, name)), otherwise)
    if needed == "targets" and study.attributes:
        return  # they have a form of their own
    if needed and st.button(_way_to_fill(needed), type="primary" if first else "secondary", icon=":material/edit:"):
        fill(needed)
