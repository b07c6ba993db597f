"""Parts: which emollient swap made the difference, what the blends are made of, and how far that can be traced."""

from __future__ import annotations

from panel.answers import DECISION, DESCRIPTORS, LADDER, SWAPS, NoAnswer
from panel.app import widgets
from panel.app.state import StudyInUse
from panel.app.widgets import attempt
from panel.models.emollients.causes import find_causes
from panel.study.formulas import emollient_blend
from panel.views.emollients.blends import tell_blends
from panel.views.emollients.causes import tell_causes
from panel.views.emollients.ladder import tell_ladder
from panel.views.emollients.swaps import swap_drawers


def show(study: StudyInUse) -> None:
    """Show which swap did what to which sensation."""
    traced = attempt(study.answer, SWAPS)
    if traced is not None:
        names, decision = study.answers.names, study.answers.ask(DECISION)
        causes = find_causes(traced, None if isinstance(decision, NoAnswer) else decision)
        widgets.show(tell_causes(causes, names, *swap_drawers(traced, names)))


def show_ladder(study: StudyInUse) -> None:
    """Show how far the evidence carries."""
    ladder = attempt(study.answer, LADDER)
    if ladder is not None:
        widgets.show(tell_ladder(ladder, study.answers.names))


def show_blends(study: StudyInUse) -> None:
    """Show what the blends are made of."""
    described, traced = attempt(study.answer, DESCRIPTORS), study.answers.ask(SWAPS)
    if described is not None:
        known = None if isinstance(traced, NoAnswer) else traced
        widgets.show(tell_blends(described, study.answers.names, emollient_blend(study.study), known))
