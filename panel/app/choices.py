"""Which prototypes to show first, and what was typed into a field."""

from __future__ import annotations

import numpy as np
import streamlit as st

from panel.app.state import StudyInUse
from panel.app.widgets import plain
from panel.errors import PanelError
from panel.models.prototypes.differences import Differences
from panel.models.prototypes.map import PrototypeMap
from panel.study.typed_number import typed_number
from panel.views.drawing.naming import Naming


def margin_field(study: StudyInUse, names: Naming, *, per_cent: bool = False) -> float | None:
    """Return the smallest difference that matters, typed with a decimal point or comma; None if empty or unreadable.

    Streamlit's own number field would turn 7,5 into 75. `per_cent`: it is asked for in per cent of each scale, which
    the study's own margin, in scale units, is not.
    """
    stated = None if per_cent else study.study.facts.get("margin")
    text = st.text_input(
        f"Smallest difference that matters ({names.scale or 'scale units'})",
        f"{stated:g}" if isinstance(stated, int | float) else "",
        key=study.choice("margin in per cent" if per_cent else "margin"),
        help="Decided by people before the test. 7.5 and 7,5 are both read. Empty: the study's own, if it has one.",
        persist_state="session",
    )
    try:
        return typed_number(text or "", "The margin")
    except PanelError as error:
        st.warning(plain(error), icon=":material/info:")
        return None


def telling_prototypes(result: Differences, count: int) -> list[str]:
    """Return the benchmark and those that lie furthest from it over all attributes; without one the widest pairs."""
    rows = result.versus if result.benchmark else result.pairs
    far = rows.assign(square=rows["statistic"] ** 2)
    if result.benchmark:
        order = far.groupby("prototype", sort=False)["square"].sum().sort_values(ascending=False, kind="stable")
        return [result.benchmark, *(str(name) for name in order.index)][:count]
    widest = far.groupby(["prototype", "versus"], sort=False)["square"].sum().sort_values(ascending=False)
    names = [str(name) for pair in widest.index for name in pair]
    return list(dict.fromkeys(names))[:count]


def outermost(result: PrototypeMap, benchmark: str | None) -> list[str]:
    """Return the benchmark and the prototypes at the ends of the map's axes."""
    places = result.prototypes
    names = [str(name) for name in places["prototype"]]
    first = [benchmark] if benchmark in names else []
    ends = [names[pick(places[axis])] for axis in ("component_1", "component_2") for pick in (np.argmin, np.argmax)]
    return [name for name in dict.fromkeys([*first, *ends]) if name]
