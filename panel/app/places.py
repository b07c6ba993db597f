"""Which places the app has, what belongs to each, and the links that lead there."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any

import streamlit as st

if TYPE_CHECKING:
    from panel.app.state import StudyInUse


PART = "part"
"""Field of the address that says which part of a place is open."""


@dataclass(frozen=True, slots=True)
class _Part:
    """One question that a place answers.

    Parameters
    ----------
    name
        Its own name among all parts.
    title
        What it is called, also in the address.
    purpose
        What it is for, in one sentence.
    shown_by
        Module, of `panel.app.pages` where no other is named, and the function in it, by default `show_` and its name.
    needs
        Tables without which it has nothing to say, in the order in which they are asked for; `targets` for the windows
        of attributes, `choices` for answers that choose between samples.
    """

    name: str
    title: str
    purpose: str
    shown_by: str
    needs: tuple[str, ...] = ()

    def show(self, study: StudyInUse) -> None:
        """Show it for the study in use."""
        module, _, function = self.shown_by.partition(":")
        shown_by = import_module(module if "." in module else f"panel.app.pages.{module}")
        getattr(shown_by, function or f"show_{self.name}")(study)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where she goes for one kind of question.

    Parameters
    ----------
    title
        As it stands in the navigation.
    parts
        The first is what she sees.
    then
        The place to go to next, and why.
    """

    title: str
    parts: tuple[_Part, ...]
    then: tuple[str, str]


_SCORES, _ANSWERS, _BOTH = ("scores",), ("answers",), ("scores", "answers")
_SWAPS, _SERVED = ("formulas", "scores"), ("prototypes", "assessors")
_RESULT = (
    _Part("at_a_glance", "At a glance", "What came out.", "result:show", _SCORES),
    _Part("differences", "Differences", "Which prototypes differ, on what, and by how much.", "result", _SCORES),
    _Part("map", "Map", "All prototypes and attributes in one picture.", "result", _SCORES),
    _Part("over_time", "Over time", "What happens after use, and while a sample is worked in.", "result", ("courses",)),
    _Part("decide", "Targets", "How near each prototype comes to what is wanted.", "result", ("targets", "scores")),
)
_PEOPLE = (_Part("assessors", "Assessors", "Whom to talk to before the scores are believed.", "people:show", _SCORES),)
_CAUSES = (
    _Part("emollients", "Swaps", "What each swap of an emollient went with.", "causes:show", _SWAPS),
    _Part("ladder", "How sure", "How far the evidence for each swap carries.", "causes", _SWAPS),
    _Part("blends", "Blends", "What the emollient parts are made of.", "causes", ("formulas",)),
    _Part("readings", "Instruments", "What instruments say beside the panel.", "causes", ("readings", "scores")),
)
_CONSUMERS = (
    _Part("liking", "Liking", "What consumers like.", "consumers", _ANSWERS),
    _Part("groups", "Groups", "Whether consumers want different things.", "consumers", _ANSWERS),
    _Part("preference_map", "What goes with liking", "Which sensations go along with liking.", "consumers", _BOTH),
    _Part("just_about_right", "Just about right", "What is too little or too much.", "consumers", _ANSWERS),
    _Part("check_all", "Ticked words", "Which words people tick for which prototype.", "consumers", _ANSWERS),
    _Part("agreement", "Statements", "How many agree with a statement.", "consumers", _ANSWERS),
    _Part("forced_choice", "Can they tell?", "Whether people notice a difference at all.", "consumers", ("choices",)),
    _Part("preference", "Which is preferred", "Which of two samples people would choose.", "consumers", ("choices",)),
)
_NEXT = (_Part("next_prototype", "What to make", "Which blend is worth making next.", "next:show", _SWAPS),)
_TEST = (
    _Part("plan", "Plan", "Which prototypes to make, so that swaps can be told apart.", "planning", ("formulas",)),
    _Part("servings", "Servings", "How many people it takes, and who gets what in which order.", "planning", _SERVED),
    _Part("safety", "Safety", "Whether anybody may apply a batch, and who says so.", "safety:show", ("batches",)),
    _Part("ballots", "Ballots", "How assessors answer, and how a session ends.", "ballots:show", ("assessors",)),
)
_SAY = (
    _Part("claims", "Claims", "What may be said, and what not.", "claims:show", ("claims",)),
    _Part("evidence_file", "Evidence file", "Everything a reviewer asks for, in one file.", "evidence_file:show"),
)
_STUDY = (
    _Part("study", "What is in it", "What is in the study, and what to settle.", "study:show"),
    _Part("edit", "Edit", "Every table and every fact, to change.", "panel.app.study_editors"),
    _Part("start", "New or another", "Begin a study, bring scores, or open another one.", "panel.app.new_study"),
    _Part("words", "Words", "Each word of the field, once.", "panel.app.guide"),
    _Part("history", "History", "Who changed what, and when.", "study"),
    _Part("privacy", "Privacy", "What is known of people, and how it leaves the house.", "study"),
)
PLACES: dict[str, _Place] = {
    "result": _Place("Result", _RESULT, ("causes", "What did each swap of an emollient go with?")),
    "people": _Place("People", _PEOPLE, ("result", "Which prototypes differ?")),
    "causes": _Place("Causes", _CAUSES, ("consumers", "Do consumers notice, and do they like it?")),
    "consumers": _Place("Consumers", _CONSUMERS, ("next", "What is worth making next?")),
    "next": _Place("Next", _NEXT, ("test", "How should it be tested?")),
    "test": _Place("Run a test", _TEST, ("people", "Are the assessors in line?")),
    "say": _Place("Say", _SAY, ("result", "What came out?")),
    "study": _Place("Study", _STUDY, ("test", "How should it be tested?")),
}
PARTS: dict[str, tuple[str, _Part]] = {
    part.name: (place, part) for place, held in PLACES.items() for part in held.parts
}
"""Each part by its name, with the name of its place."""
_FIRST = next(iter(PLACES))
"""The place that is open at first."""
FIRST_PART = PLACES[_FIRST].parts[0].name
"""What is seen at first; where a study that was taken into use answers."""
_CALLED = {part.title: part.name for held in PLACES.values() for part in held.parts}
# what the layers below call the places they send a reader to
_CALLED |= {"Panel": "assessors", "Decide": "decide", "Emollients": "emollients", "Readings": "readings"}
_CALLED |= {held.title: held.parts[0].name for held in PLACES.values()}
_NAMES = "|".join(map(re.escape, sorted(_CALLED, key=len, reverse=True)))
_MENTIONED = re.compile(rf"\bpage ({_NAMES})\b|\b({_NAMES}) page\b")


def addresses() -> dict[str, str]:
    """Return the address of each place below that of the app; the first place has none of its own."""
    return {name: "" if name == _FIRST else name for name in PLACES}


def _nothing() -> None:
    """Stand for what a place shows where only its address is needed."""


def page_of(name: str, run: Callable[[], None] = _nothing) -> st.Page:
    """Return the page of a place; two with the same address are the same to Streamlit."""
    return st.Page(run, title=PLACES[name].title, url_path=name, default=name == _FIRST)


def choice_in_address(
    label: str, options: Sequence[str], key: str, *, of: str = "", first: str = "", **look: Any
) -> str:
    """Let the user choose among what lies side by side; the address says which, and one that names one is followed.

    Streamlit would keep the address and the choice alike by itself, but then lets nobody leave the page.
    """
    asked, followed = st.query_params.get(key, first), f"{key} of the address"
    if asked in options and st.session_state.get(followed) != (of, asked):
        st.session_state[key] = asked
    chosen = st.segmented_control(label, options, required=bool(first), key=key, **look) or first
    if chosen == first:
        st.query_params.pop(key, None)
    else:  # written anew even where it is the same: a link inside the place leaves the browser's address as it was
        st.query_params[key] = chosen
    st.session_state[followed] = (of, chosen)
    return chosen


def leave_for(part: str) -> None:
    """Leave this part for another one at once."""
    place, asked = _way(part)
    st.switch_page(page_of(place), query_params=asked)


def go(part: str, label: str) -> None:
    """Show a link to a part of a place."""
    place, asked = _way(part)
    st.page_link(page_of(place), label=label, icon=":material/arrow_forward:", query_params=asked)


def _way(part: str) -> tuple[str, dict[str, str]]:
    """Return the place of a part, and what the address names besides; the first part of a place needs nothing."""
    place, held = PARTS[part]
    return place, {} if held is PLACES[place].parts[0] else {PART: held.title}


def links(sentences: Iterable[str]) -> None:
    """Show a link to each part that sentences mention as a page."""
    found = [pair for sentence in sentences for pair in _MENTIONED.findall(sentence)]
    mentioned = dict.fromkeys(first or second for first, second in found)
    if mentioned:
        with st.container(horizontal=True):
            for title in mentioned:
                go(_CALLED[title], title)
