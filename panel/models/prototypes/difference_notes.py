"""How differences were computed, and what a reader must know before trusting them."""

from __future__ import annotations

from collections.abc import Iterator

from panel.models.prototypes.difference_tables import VARIANCE_COLUMNS
from panel.models.prototypes.inference import SMALL_SAMPLE_WORDS, SmallSample
from panel.models.prototypes.panel_design import PanelDesign
from panel.stats.mixed.reml import MixedFit
from panel.stats.mixed.strata import ASSESSOR, INTERACTION


def difference_method(designs: list[PanelDesign], benchmark: str | None, small_sample: SmallSample) -> str:
    """Return how the differences were computed, as one paragraph for the report."""
    models = "; ".join(dict.fromkeys(design.sentence for design in designs))
    against = f", differences from {benchmark} by Dunnett" if benchmark else ""
    return (
        f"Mixed model per attribute: {models}. REML, {SMALL_SAMPLE_WORDS[small_sample]} degrees of freedom. "
        f"All pairs within an attribute by Tukey{against}, with the model's own standard errors; F tests over "
        "attributes by Holm. The unit of inference is the assessor: results speak for people like these, and for these "
        "batches."
    )


def difference_notes(fits: list[tuple[PanelDesign, MixedFit]], left_out: list[tuple[str, str]]) -> Iterator[str]:
    """Yield what a reader must know before trusting the differences, one sentence each."""
    for name, why in left_out:
        yield f"{name} is not compared: {why}."
    for design, fit in fits:
        listed = ", ".join(design.attributes)
        if INTERACTION not in design.terms:
            yield (
                f"No assessor scored a prototype twice ({listed}): disagreement between assessors cannot be told "
                "from their own scatter."
            )
        for factor in design.dropped:
            yield (
                f"The effect of {factor.replace('_', ' ')} cannot be told in full from that of the prototypes; "
                f"what can be told is taken out ({listed})."
            )
        for name, converged in zip(design.attributes, fit.converged, strict=True):
            if not converged:
                yield f"The fit of {name} did not settle; do not rely on its numbers."
        for place, term in enumerate(design.terms):
            zero = [name for name, at in zip(design.attributes, fit.at_zero[:, place], strict=True) if at]
            if zero and term != ASSESSOR:
                careful = " The tests are then careful rather than rash." if term == INTERACTION else ""
                yield (
                    f"The variance {VARIANCE_COLUMNS[term].replace('_', ' x ')} is estimated at zero and pooled "
                    f"with the residual for {', '.join(zero)}.{careful}"
                )
