"""What the measured curves reduce to, in plain sentences made from the numbers."""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.models.emollients.curves import PICK_UP_RATE, RUB_OUT_RATE_CREAM, RUB_OUT_RATE_LOTION, ReducedCurves
from panel.models.emollients.flow_curves import MODEL_WORDS, VISCOSITY_UNIT
from panel.stats.curves.flow import CLEARLY_WORSE
from panel.stats.curves.flow_models import FLOW_MODELS
from panel.views.drawing.formats import format_change, format_list
from panel.views.emollients.reading_words import format_reading, with_unit

RATE_WORDS = {
    PICK_UP_RATE: "picking up",
    RUB_OUT_RATE_CREAM: "end of rubbing in, cream",
    RUB_OUT_RATE_LOTION: "end of rubbing in, lotion",
}
PARAMETER_WORDS = {
    "yield_stress": "yield stress",
    "plastic_viscosity": "plastic viscosity",
    "consistency": "consistency index K",
    "flow_index": "flow index n",
}


def flow_sentences(result: ReducedCurves) -> tuple[str, ...]:
    """Return which model describes the flow curves, and how thick the prototypes are at each shear rate of use."""
    if result.flow.model is None:
        return ()
    return (_model_sentence(result), *_viscosity_sentences(result.flow.viscosities), *_yield_sentence(result))


def force_sentences(result: ReducedCurves) -> tuple[str, ...]:
    """Return how far the quantities of the force curves reach over the curves."""
    used = result.force.quantities
    if used.empty:
        return ()
    used = used.loc[used["used"].astype(bool)]
    return tuple(
        f"{str(measure)[0].upper()}{str(measure)[1:]} runs {_from_to(rows, 'estimate', str(rows['unit'].iloc[0]))}: "
        f"{rows['limits'].iloc[0]}."
        for measure, rows in used.groupby("measure", sort=False)
    )


def what_curves_cannot_show() -> tuple[str, ...]:
    """Return the sentences that keep a reader from reading too much."""
    return (
        "A model that fits says how the sample flowed in the instrument, at that temperature and after that rest.",
        "A yield stress is what the model makes of the lowest rates; measured another way it comes out differently.",
        "Curves measured with another geometry, speed or temperature are not comparable with these.",
    )


def flow_alt_text(result: ReducedCurves) -> str:
    """Return what a person who cannot see the flow curves should hear."""
    return f"Flow curves, shear stress by shear rate on logarithmic scales. {' '.join(flow_sentences(result))}"


def force_alt_text(result: ReducedCurves) -> str:
    """Return what a person who cannot see the force curves should hear."""
    return f"Force curves with the areas that were taken. {' '.join(force_sentences(result))}"


def curve_name(prototype: object, repeat: object, n_repeats: int = 2) -> str:
    """Return what a curve is called: the prototype, and which repetition if there are several."""
    return f"{prototype}, repeat {repeat}" if str(repeat) and n_repeats > 1 else str(prototype)


def _model_sentence(result: ReducedCurves) -> str:
    flow = result.flow
    words = {model: MODEL_WORDS[model] for model in FLOW_MODELS}
    chosen = next(model for model in FLOW_MODELS if model == flow.model)
    totals = flow.totals.set_index("model")["aicc"]
    count = len(flow.yield_stresses)
    on = f"summed over {count} curves" if count > 1 else "one curve"
    above = {words[model]: float(totals[model] - totals.iloc[0]) for model in FLOW_MODELS if np.isfinite(totals[model])}
    ranked = sorted(above, key=lambda model: above[model])
    told = ", ".join(f"{model} {format_change(above[model], 1)}" for model in ranked)
    close = [model for model in ranked if model != words[chosen] and abs(above[model]) <= CLEARLY_WORSE]
    doubt = f" {format_list(close)} would do about as well." if close else ""
    return f"All flow curves are told by {words[chosen]}. AICc ({on}; lower is better): {told}.{doubt}"


def _viscosity_sentences(viscosities: pd.DataFrame) -> tuple[str, ...]:
    sentences = []
    for rate, rows in viscosities.groupby("rate", sort=False):
        when = RATE_WORDS.get(float(str(rate)), "")
        beyond = rows["extrapolated"].astype(bool)
        doubt = " This lies beyond what was measured: the model speaks alone." if beyond.all() else ""
        if beyond.any() and not doubt:
            doubt = " For some curves this lies beyond what was measured."
        at = f"{float(str(rate)):g} 1/s" + (f" ({when})" if when else "")
        sentences.append(f"At {at} viscosity runs {_from_to(rows, 'estimate', VISCOSITY_UNIT)}.{doubt}")
    return tuple(sentences)


def _yield_sentence(result: ReducedCurves) -> tuple[str, ...]:
    flow = result.flow
    if flow.model == "power_law":
        return ()
    seen = flow.yield_stresses.loc[flow.yield_stresses["yield_stress_seen"].astype(bool), ["prototype", "repeat"]]
    if seen.empty:
        return ("No yield stress can be told from these curves.",)
    stresses = flow.parameters.loc[flow.parameters["parameter"] == "yield_stress"].merge(seen)
    return (f"The yield stress runs {_from_to(stresses, 'estimate', 'Pa')}.",)


def _from_to(rows: pd.DataFrame, column: str, unit: str) -> str:
    """Return `from 57.7 g (P1, repeat 2) to 128 g (P8, repeat 1)`."""
    repeats = rows["repeat"].nunique()
    ordered = rows.sort_values(column, kind="stable").to_dict("records")
    ends = []
    for row in (ordered[0], ordered[-1]):
        name = curve_name(row["prototype"], row["repeat"], repeats)
        ends.append(f"{with_unit(format_reading(float(row[column])), unit)} ({name})")
    return f"from {ends[0]} to {ends[1]}" if len(rows) > 1 else f"to {ends[0]}"
