"""The script Streamlit runs: places in a row, one of them open, its parts, and where to go from there.

It stands apart from the folder `pages`, which Streamlit would take for pages of its own.
"""

from __future__ import annotations

from contextlib import suppress
from functools import partial
from pathlib import Path

import streamlit as st

from panel import __version__
from panel.app.guide import offer_to_fill, show_stop
from panel.app.launch import warm_up
from panel.app.new_study import begun, show_start, steps_left
from panel.app.places import FIRST_PART, PART, PLACES, choice_in_address, go, leave_for, page_of
from panel.app.state import StudyInUse, demo_in_use
from panel.app.widgets import PartEnds, close, drawer, page, plain, show_items, style

_FILES = Path(__file__).parent


def show() -> None:
    """Set up the app and run the place that was chosen."""
    st.set_page_config(
        page_title="Afterfeel", page_icon=str(_FILES / "mark.svg"), layout="wide", menu_items={"About": None}
    )
    warm_up()
    style()
    st.logo(str(_FILES / "afterfeel.svg"), size="large")
    _chosen_place().run()


def _chosen_place() -> st.Page:
    return st.navigation([page_of(name, partial(_show_place, name)) for name in PLACES], position="top")


def _show_place(name: str) -> None:
    """Show a place: the part that is asked for, then where to go next."""
    held = PLACES[name]
    study = page(held.title, otherwise=show_start)
    titles = [part.title for part in held.parts]
    chosen = titles[0]
    if len(titles) > 1:
        label = f"Parts of {held.title}"
        chosen = choice_in_address(label, titles, PART, of=name, first=titles[0], label_visibility="collapsed")
    part = next((part for part in held.parts if part.title == chosen), held.parts[0])
    show_stop(part.name, study)
    st.caption(part.purpose)
    with suppress(PartEnds):
        part.show(study)
    if study.lacking and part.needs:
        answered = set(study.study.table("answers")["kind"])
        for each in held.parts:
            if each.name in answered:  # each kind of answers is told in the part that is called like it
                go(each.name, f"{each.title}: {each.purpose}")
        unfinished = begun(study) and bool(steps_left(study.study))
        if unfinished and part.name != FIRST_PART and st.button("Go on setting up", type="primary"):
            leave_for("start")
        offer_to_fill(study.study, part.name, part.needs, first=not unfinished)
        drawer("What this would look like: the demo study", partial(_of_the_demo, study))
    close()
    other, why = held.then
    go(PLACES[other].parts[0].name, f"{why} Go to {PLACES[other].title}.")
    st.caption(f"Afterfeel {__version__}")


def _of_the_demo(study: StudyInUse) -> None:
    """Show what a part that lacks something would tell, told of the demo."""
    told = study.lacking[0](demo_in_use())
    st.caption("From the demo study, which is invented.")
    st.markdown(f"**{plain(told.headline)}**")
    shown = told.picture or told.table
    show_items([shown] if shown is not None else told.mind, told)


if __name__ == "__main__":
    show()
