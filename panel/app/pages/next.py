"""Part: which prototype to make next, and what would another blend feel like?"""

from __future__ import annotations

import streamlit as st

from panel.answers import NEXT, PREDICTION, NoAnswer
from panel.app import widgets
from panel.app.state import StudyInUse, moment
from panel.app.widgets import attempt, heading, plain
from panel.models.emollients import predictions
from panel.models.emollients.next_prototype import NextPrototypes
from panel.models.emollients.prediction_model import PredictionModel
from panel.study.naming import Naming, naming
from panel.study.numbers_read import typed_number
from panel.views.emollients.next_prototype import tell_next, tell_record, tell_what_if

_STEP = 0.1  # per cent of the formula


def show(study: StudyInUse) -> None:
    """Show what to make next, a blend to try out, and how earlier predictions turned out."""
    names = naming(study.study)
    proposed = attempt(study.told, tell_next, NEXT)
    model = study.answers.ask(PREDICTION)
    if isinstance(model, NoAnswer):
        return
    widgets.show(proposed)
    heading("Try a blend")
    blend = _blend(study, model, None if proposed is None else proposed.result, names)
    told = None if blend is None else attempt(predictions.what_if, model, blend, predictions.study_targets(study.study))
    if told is not None:
        widgets.show(tell_what_if(told, names, model.level.base))
        if told.inside and not told.made_as:
            _keep_form(study, model, told)
    found = attempt(predictions.judge_predictions, study.study) if predictions.kept_predictions(study.study) else None
    if found is not None:
        heading("Predictions and outcomes")
        widgets.show(tell_record(found, names))


def _blend(
    study: StudyInUse, model: PredictionModel, proposed: NextPrototypes | None, names: Naming
) -> dict[str, float] | None:
    """Return the blend chosen: a start, of which one amount is moved against another; None if it cannot be read."""
    starts = _starts(model, proposed, names)
    start = st.selectbox("Start from", list(starts), key=study.choice("blend from"))
    with st.expander("Type all amounts"):
        typed = {name: _typed(study, f"{start} {name}", name, held) for name, held in starts[start].items()}
    if None in typed.values():
        return None
    blend = {name: amount or 0.0 for name, amount in typed.items()}
    ends = model.swaps["removed"], model.swaps["added"]
    partners = dict(zip(*ends[::-1], strict=True)) | dict(zip(*ends, strict=True))
    return _moved(study, start, blend, partners)


def _starts(model: PredictionModel, proposed: NextPrototypes | None, names: Naming) -> dict[str, dict[str, float]]:
    """Return blends to start from, the first candidate first: per cent of the formula by emollient."""
    found: dict[str, dict[str, float]] = {}
    if proposed is not None:
        for number, rows in proposed.blends.groupby("proposal", sort=True):
            held = dict(zip(rows["ingredient"], rows["percent"], strict=True))
            found[f"candidate {number}"] = {name: float(held.get(name, 0.0)) for name in model.level.emollients}
    for name, row in model.level.amounts.iterrows():
        found[names.prototype(str(name))] = {emollient: float(row[emollient]) for emollient in model.level.emollients}
    return found


def _typed(study: StudyInUse, key: str, label: str, held: float) -> float | None:
    text = st.text_input(f"{plain(label)}, %", f"{held:g}", key=study.choice(f"blend {key}"))
    return attempt(typed_number, text or "0", label)


def _moved(study: StudyInUse, start: str, blend: dict[str, float], partners: dict[str, str]) -> dict[str, float] | None:
    """Return the blend with one amount moved by a slider, or typed, at the cost of another."""
    held = [name for name, amount in blend.items() if amount > 0]
    if len(blend) < 2 or not held:
        return blend
    left, right, typing = st.columns([3, 3, 2])
    one = left.selectbox("Move", list(blend), list(blend).index(held[0]), key=study.choice(f"move {start}"))
    others = [name for name in blend if name != one]
    partner = partners.get(one)
    first = others.index(partner) if partner in others else 0
    other = right.selectbox("at the cost of", others, first, key=study.choice(f"cost {start} {one}"))
    both = round(blend[one] + blend[other], 2)
    if both <= 0:
        return blend
    key = study.choice(f"amount {start} {one} {other} {blend[one]:g} {both:g}")
    with typing:
        text = st.text_input("or type, %", "", key=f"{key} typed")
    amount = st.slider(f"{plain(one)}, %", 0.0, both, round(blend[one], 2), _STEP, key=key)
    if text:
        typed = attempt(typed_number, text, one)
        if typed is None:
            return None
        amount = typed
    return {**blend, one: amount, other: round(both - amount, 4)}


def _keep_form(study: StudyInUse, model: PredictionModel, told: predictions.WhatIf) -> None:
    with st.expander("Write this prediction down before making it"), st.form("keep prediction", clear_on_submit=True):
        name = st.text_input("Short name the new prototype will have", placeholder="such as P9")
        to_disk = study.folder is not None and st.checkbox(f"Also write it into {plain(study.folder)}", value=True)
        if not st.form_submit_button("Write it down"):
            return
    typed, day, done = (name or "").strip(), moment()[:10], "The prediction is written down."
    widgets.keep_and_tell(
        study, lambda now: predictions.keep_prediction(now, model, told, typed, day), done, to_disk=to_disk
    )
