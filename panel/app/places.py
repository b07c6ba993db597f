"""Which places the app has, what belongs to each, and the links that lead there."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING

import streamlit as st

if TYPE_CHECKING:
    from panel.app.state import StudyInUse


PART = "part"
"""Field of the address that says which part of a place is open."""


@dataclass(frozen=True, slots=True)
class Part:
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
        Module, of `panel.app.pages` where no other is named, and function that show it; by default that of its name
        and `show`.
    needs
        Tables without which it has nothing to say, in the order in which they are asked for; `targets` for the windows
        of attributes, `choices` for answers that choose between samples.
    """

    name: str
    title: str
    purpose: str
    shown_by: str = ""
    needs: tuple[str, ...] = ()

    def show(self, study: StudyInUse) -> None:
        """Show it for the study in use."""
        module, _, function = (self.shown_by or self.name).partition(":")
        getattr(import_module(module if "." in module else f"panel.app.pages.{module}"), function or "show")(study)


@dataclass(frozen=True, slots=True)
class Place:
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
    parts: tuple[Part, ...]
    then: tuple[str, str]


_OWN, _SWAPS, _ANSWERS = ("scores",), ("formulas", "scores"), ("answers",)
PLACES: dict[str, Place] = {
    "result": Place(
        "Result",
        (
            Part("at_a_glance", "At a glance", "What came out.", "result", _OWN),
            Part(
                "differences",
                "Differences",
                "Which prototypes differ, on what, and by how much.",
                "result:show_differences",
                _OWN,
            ),
            Part("map", "Map", "All prototypes and attributes in one picture.", "result:show_map", _OWN),
            Part(
                "over_time",
                "Over time",
                "What happens after use, and while a sample is worked in.",
                "result:show_over_time",
                ("courses",),
            ),
            Part(
                "decide",
                "Targets",
                "How near each prototype comes to what is wanted.",
                "result:show_targets",
                ("targets", "scores"),
            ),
        ),
        ("causes", "Which emollient made the difference?"),
    ),
    "people": Place(
        "People",
        (Part("assessors", "Assessors", "Whom to talk to before the scores are believed.", "people", _OWN),),
        ("result", "Which prototypes differ?"),
    ),
    "causes": Place(
        "Causes",
        (
            Part("emollients", "Swaps", "Which emollient made the difference.", "causes", _SWAPS),
            Part("ladder", "How sure", "How far the evidence for each swap carries.", "causes:show_ladder", _SWAPS),
            Part("blends", "Blends", "What the emollient parts are made of.", "causes:show_blends", ("formulas",)),
            Part(
                "readings",
                "Instruments",
                "What instruments say beside the panel.",
                "causes:show_instruments",
                ("readings", "scores"),
            ),
        ),
        ("consumers", "Do consumers notice, and do they like it?"),
    ),
    "consumers": Place(
        "Consumers",
        (
            Part("liking", "Liking", "What consumers like.", "consumers:show_liking", _ANSWERS),
            Part("groups", "Groups", "Whether consumers want different things.", "consumers:show_groups", _ANSWERS),
            Part(
                "preference_map",
                "What goes with liking",
                "Which sensations go along with liking.",
                "consumers:show_preference_map",
                ("scores", "answers"),
            ),
            Part(
                "just_about_right",
                "Just about right",
                "What is too little or too much.",
                "consumers:show_just_about_right",
                _ANSWERS,
            ),
            Part(
                "check_all",
                "Ticked words",
                "Which words people tick for which prototype.",
                "consumers:show_check_all",
                _ANSWERS,
            ),
            Part("agreement", "Statements", "How many agree with a statement.", "consumers:show_agreement", _ANSWERS),
            Part(
                "forced_choice",
                "Can they tell?",
                "Whether people notice a difference at all.",
                "consumers:show_forced_choice",
                ("choices",),
            ),
            Part(
                "preference",
                "Which is preferred",
                "Which of two samples people would choose.",
                "consumers:show_preference",
                ("choices",),
            ),
        ),
        ("next", "What is worth making next?"),
    ),
    "next": Place(
        "Next",
        (Part("next_prototype", "What to make", "Which blend is worth making next.", "next", _SWAPS),),
        ("test", "How should it be tested?"),
    ),
    "test": Place(
        "Run a test",
        (
            Part(
                "plan",
                "Plan",
                "Which prototypes to make, so that swaps can be told apart.",
                "planning:show_plan",
                ("formulas",),
            ),
            Part(
                "servings",
                "Servings",
                "How many people it takes, and who gets what in which order.",
                "planning:show_servings",
                ("prototypes", "assessors"),
            ),
            Part("safety", "Safety", "Whether anybody may apply a batch, and who says so.", "safety", ("batches",)),
            Part("ballots", "Ballots", "How assessors answer, and how a session ends.", "ballots", ("assessors",)),
        ),
        ("people", "Are the assessors in line?"),
    ),
    "say": Place(
        "Say",
        (
            Part("claims", "Claims", "What may be said, and what not.", needs=("claims",)),
            Part("evidence_file", "Evidence file", "Everything a reviewer asks for, in one file."),
        ),
        ("result", "What came out?"),
    ),
    "study": Place(
        "Study",
        (
            Part("study", "What is in it", "What is in the study, and what to settle."),
            Part("edit", "Edit", "Every table and every fact, to change.", "study:show_edit"),
            Part("start", "New or another", "Begin a study, bring scores, or open another one.", "study:show_other"),
            Part("words", "Words", "Each word of the field, once.", "panel.app.guide:show_words"),
            Part("history", "History", "Who changed what, and when.", "study:show_history"),
            Part("privacy", "Privacy", "What is known of people, and how it leaves the house.", "study:show_people"),
        ),
        ("test", "How should it be tested?"),
    ),
}
PARTS: dict[str, tuple[str, Part]] = {part.name: (place, part) for place, held in PLACES.items() for part in held.parts}
"""Each part by its name, with the name of its place."""
FIRST = next(iter(PLACES))
"""The place that is open at first."""
FIRST_PART = PLACES[FIRST].parts[0].name
"""What is seen at first; where a study that was taken into use answers."""
_CALLED = {part.title: part.name for held in PLACES.values() for part in held.parts}
# what the layers below call the places they send a reader to
_CALLED |= {"Panel": "assessors", "Decide": "decide", "Emollients": "emollients", "Readings": "readings"}
_CALLED |= {held.title: held.parts[0].name for held in PLACES.values()}
_NAMES = "|".join(map(re.escape, sorted(_CALLED, key=len, reverse=True)))
_MENTIONED = re.compile(rf"\bpage ({_NAMES})\b|\b({_NAMES}) page\b")


def addresses() -> dict[str, str]:
    """Return the address of each place below that of the app; the first place has none of its own."""
    return {name: "" if name == FIRST else name for name in PLACES}


def _nothing() -> None:
    """Stand for what a place shows where only its address is needed."""


def page_of(name: str, run: Callable[[], None] = _nothing) -> st.Page:
    """Return the page of a place; two with the same address are the same to Streamlit."""
    return st.Page(run, title=PLACES[name].title, url_path=name, default=name == FIRST)


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
