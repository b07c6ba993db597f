"""Page: where do the prototypes lie to each other when all attributes are seen together?"""

from __future__ import annotations

from typing import get_args

import streamlit as st

from panel.app import cached
from panel.app.widgets import ask, close, heading, how_computed, outermost, page, picture_downloads, say, table, wide
from panel.stats.maps.components import Matrix
from panel.study.naming import naming
from panel.views.drawing.pictures import MOST_COLOURED, ZOOM_WORDS, zoomable
from panel.views.prototypes.differences import components_table, map_attributes_table, map_places_table
from panel.views.prototypes.map import map_chart, what_the_map_cannot_show, what_the_map_shows
from panel.views.prototypes.maps import map_figure, map_svg

WEIGHTS = {
    "covariance": "by how far the prototypes lie apart on it",
    "correlation": "the same, however little they differ on it",
}

study = page("Map")
names = naming(study.study)
answer = st.container()
matrix: Matrix = st.radio(
    "Each attribute counts",
    get_args(Matrix),
    format_func=WEIGHTS.__getitem__,
    horizontal=True,
    key=study.choice("matrix"),
    help="The first uses the covariance matrix: for attributes on one scale. The second uses the correlation matrix.",
    persist_state="session",
)
result = ask(cached.prototype_map, study.key, matrix, study.study)
with answer:
    say(what_the_map_shows(result, names))

chosen: list[str] = []
placed = [str(name) for name in result.prototypes["prototype"]]
if len(placed) > MOST_COLOURED:
    chosen = st.multiselect(
        "Prototypes in colour",
        placed,
        outermost(result, study.study.benchmark),
        max_selections=MOST_COLOURED,
        format_func=names.prototype,
        key=study.choice("coloured"),
        persist_state="session",
    )
chart = zoomable(map_chart(result, names, chosen))
wide("map").altair_chart(chart, width="content", theme=None)  # it carries its own description for those who hear it
st.caption(f"Point at a mark to read it. Click a prototype to bring it forward. {ZOOM_WORDS}")
picture_downloads(map_svg(result, names, chosen), lambda: map_figure(result, names, chosen), name="map")

heading("Tables")
table(components_table(result), name="components", alt="Share of each component", full=result.components)
with st.expander("Places of the prototypes"):
    table(map_places_table(result, names), name="places", alt="Places and rings", full=result.regions)
with st.expander("Attributes and components"):
    shown = map_attributes_table(result, names)
    table(shown, name="map_attributes", alt="Correlation with each component", full=result.attributes)
seed = f"The draws start from seed {cached.MAP_SEED}, so that the same study gives the same map."
how_computed(result.method, (*result.notes, seed), what_the_map_cannot_show(result))
close()
