"""Part: where do the prototypes lie to each other when all attributes are seen together?"""

from __future__ import annotations

from typing import get_args

import streamlit as st

from panel.answers import MAP, SEED
from panel.app.state import StudyInUse
from panel.app.widgets import attempt
from panel.app.widgets import show as show_told
from panel.stats.maps.components import Matrix
from panel.study.naming import naming
from panel.views.prototypes.map import tell_map

_WEIGHTS = {
    "covariance": "by how far the prototypes lie apart on it",
    "correlation": "the same, however little they differ on it",
}


def show(study: StudyInUse) -> None:
    """Lay the map out, the choice of how attributes count below it."""
    answer = st.container()
    matrix: Matrix = st.radio(
        "Each attribute counts",
        get_args(Matrix),
        format_func=_WEIGHTS.__getitem__,
        horizontal=True,
        key=study.choice("matrix"),
        help="The first uses the covariance matrix, for attributes on one scale; the second the correlation matrix.",
        persist_state="session",
    )
    with answer:
        result = attempt(study.answer, MAP, matrix=matrix)
        if result is not None:
            show_told(tell_map(result, naming(study.study)))
            st.caption(f"The draws start from seed {SEED}, so that the same study gives the same map.")
