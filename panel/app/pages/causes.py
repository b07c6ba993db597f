"""Place Causes: what each emollient swap went with, how sure that is, what blends and instruments say."""

from __future__ import annotations

import streamlit as st

from panel.answers import CAUSES, CURVES, DESCRIPTORS, LADDER, READINGS, SWAPS, Answers, NoAnswer
from panel.app import widgets
from panel.app.state import StudyInUse
from panel.app.widgets import attempt
from panel.models.emollients.causes import Causes
from panel.models.emollients.descriptors import BlendDescriptors
from panel.study.formulas import emollient_blend
from panel.study.naming import Naming
from panel.views.emollients.blends import tell_blends
from panel.views.emollients.causes import tell_causes
from panel.views.emollients.curves import tell_curves
from panel.views.emollients.ladder import tell_ladder
from panel.views.emollients.readings import tell_readings
from panel.views.emollients.swaps import swap_drawers
from panel.views.told import Told


def show(study: StudyInUse) -> None:
    """Show which swap did what to which sensation."""
    widgets.show(attempt(study.told, _causes, CAUSES, study.answers))


def _causes(causes: Causes, names: Naming, answers: Answers) -> Told:
    return tell_causes(causes, names, *swap_drawers(answers.swaps, names))


def show_ladder(study: StudyInUse) -> None:
    """Show how far the evidence carries."""
    widgets.show(attempt(study.told, tell_ladder, LADDER))


def show_blends(study: StudyInUse) -> None:
    """Show what the blends are made of."""
    widgets.show(attempt(study.told, _blends, DESCRIPTORS, study.answers))


def _blends(described: BlendDescriptors, names: Naming, answers: Answers) -> Told:
    traced = answers.ask(SWAPS)
    known = None if isinstance(traced, NoAnswer) else traced
    return tell_blends(described, names, emollient_blend(answers.study), known)


def show_readings(study: StudyInUse) -> None:
    """Show which readings go with what people feel, and what the measured curves come down to."""
    has_readings, has_curves = (len(study.study.table(name)) > 0 for name in ("readings", "curves"))
    if not (has_readings or has_curves):
        study.lacking.append(lambda demo: demo.told(tell_readings, READINGS))
        st.markdown(
            "Here stands which instrument readings go with what people feel, and what the swaps did to them. Add the "
            "table readings (prototype, measure, unit, value) or curves (prototype, kind, x, y and their units)."
        )
        return
    readings = attempt(study.told, tell_readings, READINGS)
    widgets.show(readings)
    curves = attempt(study.told, tell_curves, CURVES) if has_curves else None
    if readings is None:
        widgets.show(curves)
    elif curves is not None:
        widgets.show_closed("Measured curves", curves)
