"""Loading what the pages need once, before the first one is asked for."""

from __future__ import annotations

import gc
from functools import cache
from importlib import import_module

# No module with cached functions: Streamlit wants its server running before it sees them.
_NEEDED = (
    "matplotlib.backends.backend_agg",
    "scipy.stats",
    "streamlit",
    "panel.checks.all_checks",
    "panel.models.decision.decide",
    "panel.models.emollients.swaps",
    "panel.models.prototypes.map",
    "panel.study.scores_import",
    "panel.study.workbook",
    "panel.study.zip_file",
    "panel.views.assessors.both_ways",
    "panel.views.decision.decision_pictures",
    "panel.views.decision.decision_tables",
    "panel.views.decision.decision_words",
    "panel.views.prototypes.difference_pictures",
    "panel.views.prototypes.difference_words",
    "panel.views.prototypes.map_charts",
    "panel.views.prototypes.maps",
    "panel.views.drawing.png",
    "panel.views.prototypes.profiles",
    "panel.views.planning.study_tables",
    "panel.views.planning.study_words",
    "panel.views.emollients.swap_pictures",
    "panel.views.emollients.swap_summary",
    "panel.views.emollients.swap_tables",
    "panel.views.prototypes.tables",
)


@cache
def warm_up() -> None:
    """Import what the pages use and set it aside from garbage collection.

    Streamlit collects garbage after every run of a page; without this it would look through all libraries each time.
    """
    for name in _NEEDED:
        import_module(name)
    gc.collect()
    gc.freeze()
