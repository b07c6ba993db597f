"""Which pages the app has, and in which order."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from panel.app.launch import warm_up
from panel.app.widgets import style

_FOLDER = Path(__file__).parent / "pages"
SECTIONS = {
    "": (("study", "Study"),),
    "Prepare": (("plan", "Plan"), ("servings", "Servings"), ("safety", "Safety"), ("ballots", "Ballots")),
    "Trained panel": (
        ("assessors", "Panel"),
        ("differences", "Differences"),
        ("map", "Map"),
        ("over_time", "Over time"),
    ),
    "Emollients": (("emollients", "Emollients"), ("readings", "Readings"), ("next_prototype", "Next prototype")),
    "Consumers": (("consumers", "Consumers"), ("forced_choice", "Forced choice")),
    "Decide": (("decide", "Decide"), ("claims", "Claims"), ("evidence_file", "Evidence file")),
}
PAGES = tuple(page for section in SECTIONS.values() for page in section)


def show() -> None:
    """Set up the page and run the one that was chosen."""
    st.set_page_config(page_title="Afterfeel", layout="wide", menu_items={"About": None})
    warm_up()
    style()
    pages = {
        section: [
            st.Page(_FOLDER / f"{name}.py", title=title, url_path=name, default=(name, title) == PAGES[0])
            for name, title in inside
        ]
        for section, inside in SECTIONS.items()
    }
    st.navigation(pages, position="top").run()
