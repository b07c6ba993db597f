"""Part: what do the instruments say beside the panel?"""

from __future__ import annotations

import streamlit as st

from panel.answers import CURVES, READINGS
from panel.app import widgets
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, heading
from panel.study.naming import naming
from panel.views.emollients.curves import tell_curves
from panel.views.emollients.readings import tell_readings


def show(study: StudyInUse) -> None:
    """Show which readings go with what people feel, and what the measured curves come down to."""
    has_readings, has_curves = (len(study.study.table(name)) > 0 for name in ("readings", "curves"))
    if not (has_readings or has_curves):
        st.markdown(
            "Here stands which instrument readings go with what people feel, and what the swaps did to them. Add the "
            "table readings (prototype, measure, unit, value) or curves (prototype, kind, x, x_unit, y, y_unit)."
        )
        return
    names = naming(study.study)
    joined = attempt(study.answer, READINGS)
    if joined is not None:
        widgets.show(tell_readings(joined, names))
    curves = attempt(study.answer, CURVES) if has_curves else None
    if curves is not None:
        heading("Measured curves")
        widgets.show(tell_curves(curves, names))
