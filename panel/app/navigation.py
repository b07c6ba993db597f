"""How the app is laid out: places in a row, one of them open, its parts, and where to go from there."""

from __future__ import annotations

from contextlib import suppress
from functools import partial
from pathlib import Path

import streamlit as st

from panel import __version__
from panel.app.launch import warm_up
from panel.app.new_study import show_start
from panel.app.places import PART, PLACES, go, page_of
from panel.app.widgets import PartEnds, close, page, style

_FILES = Path(__file__).parent / "start"


def show() -> None:
    """Set up the app and run the place that was chosen."""
    st.set_page_config(
        page_title="Afterfeel", page_icon=str(_FILES / "mark.svg"), layout="wide", menu_items={"About": None}
    )
    warm_up()
    style()
    st.logo(str(_FILES / "afterfeel.svg"), size="large")
    chosen_place().run()


def chosen_place() -> st.Page:
    """Draw the row of places; return the one that was chosen."""
    return st.navigation([page_of(name, partial(show_place, name)) for name in PLACES], position="top")


def show_place(name: str) -> None:
    """Show a place: the part that is asked for, then where to go next."""
    held = PLACES[name]
    study = page(held.title, otherwise=show_start)
    titles = [part.title for part in held.parts]
    chosen: str | None = titles[0]
    if len(titles) > 1:
        chosen = st.segmented_control(
            f"Parts of {held.title}",
            titles,
            default=chosen,
            required=True,
            key=PART,
            bind="query-params",
            label_visibility="collapsed",
        )
    with suppress(PartEnds):
        next((part for part in held.parts if part.title == chosen), held.parts[0]).show(study)
    close()
    other, why = held.then
    go(PLACES[other].parts[0].name, f"{why} Go to {PLACES[other].title}.")
    st.caption(f"Afterfeel {__version__}")
