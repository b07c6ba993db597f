"""Part: which emollient swap made the difference, what the blends are made of, and how far that can be traced."""

from __future__ import annotations

from panel.answers import DECISION, DESCRIPTORS, LADDER, SWAPS, NoAnswer
from panel.app import widgets
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, heading
from panel.models.emollients.causes import find_causes
from panel.models.emollients.swaps import TracedSwaps
from panel.study.formulas import emollient_blend
from panel.study.naming import naming
from panel.views.emollients.blends import tell_blends
from panel.views.emollients.causes import tell_causes
from panel.views.emollients.ladder import tell_ladder
from panel.views.emollients.swaps import swap_drawers


def show(study: StudyInUse) -> None:
    """Show which swap did what, what the blends are made of, and how far the evidence carries."""
    names = naming(study.study)
    traced = attempt(study.answer, SWAPS)
    if traced is not None:
        decision = study.answers.ask(DECISION)
        causes = find_causes(traced, None if isinstance(decision, NoAnswer) else decision)
        widgets.show(tell_causes(causes, names, *swap_drawers(traced, names)))
    _blends(study, traced)
    ladder = None if traced is None else attempt(study.answer, LADDER)
    if ladder is not None:
        heading("How far the evidence carries")
        widgets.show(tell_ladder(ladder, names))


def _blends(study: StudyInUse, traced: TracedSwaps | None) -> None:
    blend = emollient_blend(study.study)
    described = None if blend.empty else attempt(study.answer, DESCRIPTORS)
    if described is not None:
        heading("What the blends are made of")
        widgets.show(tell_blends(described, naming(study.study), blend, traced))
