"""Which pages the app has, and in which order."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from panel.app.warm_up import warm_up
from panel.app.widgets import style

_FOLDER = Path(__file__).parent / "pages"
PAGES = (
    ("study", "Study"),
    ("assessors", "Panel"),
    ("differences", "Differences"),
    ("map", "Map"),
    ("emollients", "Emollients"),
    ("readings", "Readings"),
    ("next_prototype", "Next prototype"),
    ("plan", "Plan"),
    ("servings", "Servings"),
)


def show() -> None:
    """Set up the page and run the one that was chosen."""
    st.set_page_config(page_title="Afterfeel", layout="wide", menu_items={"About": None})
    warm_up()
    style()
    pages = [
        st.Page(_FOLDER / f"{name}.py", title=title, url_path=name, default=number == 0)
        for number, (name, title) in enumerate(PAGES)
    ]
    st.navigation(pages, position="top").run()
