"""Part: which prototypes differ, on what, and by how much?"""

from __future__ import annotations

from itertools import combinations
from typing import Any

import streamlit as st

from panel.answers import ALIKE, ASSUMPTIONS, DIFFERENCES, PLANNED, RANKS, SENSITIVITY
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, margin_field, plain, say, show_items
from panel.app.widgets import show as show_told
from panel.models.prototypes.differences import Differences
from panel.stats.mixed.inference import SMALL_SAMPLE_WORDS
from panel.study.naming import Naming, naming
from panel.study.scores_used import HOW, stated_differences
from panel.study.study import those_in
from panel.views.prototypes.alike import tell_alike, tell_planned
from panel.views.prototypes.assumptions import tell_assumptions
from panel.views.prototypes.differences import tell_differences, tell_sensitivity
from panel.views.prototypes.other_ways import tell_ranks
from panel.views.told import Told

_SERVING_WORDS = {"position": "serving position", "site": "site", "first_on_site": "being the first on a site"}
_WITH_BENCHMARK, _PLANNED_PAIRS, _OTHER_PAIR = "Each with the benchmark", "The planned pairs", "Another pair"


def show(study: StudyInUse) -> None:
    """Lay out the differences, then a drawer for each further question, filled when it is opened."""
    names = naming(study.study)
    answer, further = st.container(), st.container()
    chosen = _settings(study, names)
    with answer:
        result = attempt(study.answer, DIFFERENCES, **chosen)
        if result is None:
            return
        show_told(tell_differences(result, names))
    with further:
        for title, fill in (
            ("Differences planned beforehand", _planned),
            ("Alike within the margin, or not worse", _alike),
            ("What this panel could have seen", _seen),
            ("By ranks alone", _ranks),
            ("What the model assumes", _assumptions),
        ):
            drawer = st.expander(title, key=f"drawer {title}", on_change="rerun")
            if drawer.open:
                with drawer:
                    fill(study, result, chosen, names)


def _settings(study: StudyInUse, names: Naming) -> dict[str, Any]:
    """Return the benchmark, the margin, what is taken out and the method that were chosen."""
    scored = list(those_in(study.study.prototypes, study.study.scores["prototype"]))
    with st.expander("Compared with what, what difference matters, how it is computed"):
        first = scored.index(study.study.benchmark) if study.study.benchmark in scored else None
        versus = st.selectbox(
            "Compare with",
            scored,
            first,
            format_func=names.prototype,
            key=study.choice("versus"),
            placeholder="nothing chosen: all pairs",
            persist_state="session",
        )
        margin = margin_field(study, names)
        taken_out = st.multiselect(
            "Take out the effect of", list(_SERVING_WORDS), format_func=_SERVING_WORDS.__getitem__
        )
        method = st.radio(
            "Degrees of freedom",
            list(SMALL_SAMPLE_WORDS),
            format_func=SMALL_SAMPLE_WORDS.__getitem__,
            horizontal=True,
        )
    return {"versus": versus, "margin": margin, "adjust_for": tuple(taken_out), "small_sample": method}


def _lay_open(told: Told | None) -> None:
    """Write everything that is told of an answer, one under the other."""
    if told is None:
        return
    st.markdown(f"**{plain(told.headline)}**")
    say(told.mind)
    for each in told.every_drawer():
        show_items(each.items, told)


def _planned(study: StudyInUse, result: Differences, chosen: dict[str, Any], names: Naming) -> None:
    """Show the differences the study planned, and pairs chosen here, marked as exploratory."""
    everyone = dict.fromkeys(result.means["prototype"])
    pairs = st.multiselect(
        "Look at further pairs (exploratory)",
        [(second, first) for first, second in combinations(everyone, 2)],
        format_func=" minus ".join,
        key=study.choice("explored_pairs"),
        placeholder="none",
        persist_state="session",
    )
    found = attempt(study.answer, PLANNED, chosen=tuple(pairs), **chosen)
    if found is None:
        return
    if not found.differences["planned"].any():
        st.caption(plain(HOW))
    _lay_open(tell_planned(found, names))


def _alike(study: StudyInUse, result: Differences, chosen: dict[str, Any], names: Naming) -> None:
    """Show the two one-sided tests of the differences from the benchmark, of the planned pairs, or of a chosen one."""
    stated = stated_differences(study.study).differences
    ways = [*([_WITH_BENCHMARK] if result.benchmark else []), *([_PLANNED_PAIRS] if stated else []), _OTHER_PAIR]
    way = st.segmented_control("Which differences", ways, default=ways[0], required=True)
    pairs = None
    if way == _PLANNED_PAIRS:
        pairs = tuple(dict.fromkeys((one.prototype, one.versus) for one in stated))
    elif way == _OTHER_PAIR:
        everyone = list(dict.fromkeys(result.means["prototype"]))
        first = st.selectbox("Is this prototype", everyone, 1, format_func=names.prototype)
        others = [name for name in everyone if name != first]
        pairs = ((first, st.selectbox("alike with this one", others, format_func=names.prototype)),)
    found = attempt(study.answer, ALIKE, pairs=pairs, **chosen)
    _lay_open(None if found is None else tell_alike(found, names))


def _seen(study: StudyInUse, _: Differences, chosen: dict[str, Any], names: Naming) -> None:
    found = attempt(study.answer, SENSITIVITY, **chosen)
    _lay_open(None if found is None else tell_sensitivity(found, names))


def _ranks(study: StudyInUse, _: Differences, chosen: dict[str, Any], names: Naming) -> None:
    found = attempt(study.answer, RANKS, **chosen)
    _lay_open(None if found is None else tell_ranks(found, names))


def _assumptions(study: StudyInUse, result: Differences, _: dict[str, Any], names: Naming) -> None:
    found = attempt(study.answer, ASSUMPTIONS)
    if found is None:
        return
    attributes = list(dict.fromkeys(found.residuals["attribute"]))
    attribute = st.selectbox("Attribute", attributes, format_func=names.attribute)
    _lay_open(tell_assumptions(found, names, attribute))
