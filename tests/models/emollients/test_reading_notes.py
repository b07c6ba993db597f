"""What to know of joined readings: each note appears when it is true and not otherwise."""

import numpy as np
import pandas as pd

from panel.models.emollients.readings import _joined_method, _joined_notes, _reading_means, _reading_swaps
from panel.study.study import Study
from tests.formula_studies import hand_cream_formulas, study_of, table
from tests.reading_studies import PROTOTYPES, measured, readings_table

NOBODY = pd.DataFrame(columns=["attribute", "measure"], dtype="str")


def notes(study, absent=NOBODY, swaps=None):
    means = _reading_means(study)
    return _joined_notes(study, means.means, absent, _reading_swaps(study, means) if swaps is None else swaps)


def creams(readings=None, formulas=None, **tables):
    return study_of(
        formulas or hand_cream_formulas(),
        readings=measured(np.random.default_rng(1), measures=["gloss"]) if readings is None else readings,
        **tables,
    )


def says(found, words):
    return any(words in note for note in found)


def test_partners_nobody_measured_are_named():
    absent = pd.DataFrame({"attribute": ["AF_STICK"], "measure": ["film tack"]}, dtype="str")
    assert says(notes(creams(), absent), "Declared as partner but not measured: film tack (for AF_STICK).")
    assert not says(notes(creams()), "Declared as partner")


def test_directions_are_counted_only_with_formulas():
    assert says(notes(creams()), "The 8 blends differ in 3 independent directions only")
    names = pd.DataFrame({"prototype": PROTOTYPES}, dtype="str")
    study = Study({"prototypes": names, "readings": measured(np.random.default_rng(1), measures=["gloss"])})
    assert not says(notes(study), "independent directions")


def test_one_batch_or_several():
    assert says(notes(creams()), "One batch per prototype")
    rows = [{"prototype": "P1", "measure": "gloss", "unit": "GU", "value": 20.0 + k, "batch": f"{k}"} for k in range(2)]
    assert not says(notes(creams(readings_table(rows))), "One batch per prototype")


def test_another_batch_than_the_panel_judged():
    def scored(batch):
        rows = [
            {"assessor": "A01", "prototype": name, "attribute": "T1", "score": 50.0, "batch": batch.format(name)}
            for name in ("P1", "P2")
        ]
        return table("scores", rows)

    assert says(notes(creams(scores=scored("{}-2"))), "measured another batch than the panel judged: P1, P2.")
    assert not says(notes(creams(scores=scored("{}-1"))), "another batch")
    assert not says(notes(creams(scores=scored(""))), "another batch")


def test_ages_of_the_batches_that_were_measured():
    def batches(tested):
        rows = [
            {"batch": f"{name}-1", "prototype": name, "made_on": "2025-03-11T10:00", "tested_on": tested}
            for name in PROTOTYPES
        ]
        return table("batches", rows)

    assert says(notes(creams(batches=batches("2025-03-11T20:00"))), "under 24 h")
    assert not says(notes(creams(batches=batches("2025-03-14T10:00"))), "under 24 h")


def test_what_swaps_rest_on():
    found = notes(creams())
    assert says(found, "no test over assessors")
    assert says(found, "These are 3 intervals")
    assert not says(found, "Without interval")
    two = {name: lines for name, lines in hand_cream_formulas().items() if name in ("P1", "P2")}
    assert says(notes(creams(formulas=two)), "Without interval, because there are fewer than three pairs")
    assert not says(notes(creams(formulas={"P1": two["P1"]})), "no test over assessors")


def test_a_swap_that_goes_with_the_making_day():
    rows = [
        {
            "batch": f"{name}-1",
            "prototype": name,
            "made_on": f"2025-03-1{1 if place < 4 else 2}",
            "tested_on": "2025-03-16",
        }
        for place, name in enumerate(PROTOTYPES)
    ]
    found = notes(creams(batches=table("batches", rows)))
    assert says(found, "Making day and the swap Prunus Amygdalus Dulcis (Sweet Almond) Oil")


def test_the_method_says_whether_there_is_a_map():
    assert "Joint map" in _joined_method(3, 20, mapped=True)
    plain = _joined_method(3, 20, mapped=False)
    assert "Joint map" not in plain
    assert "95 % interval" in plain
