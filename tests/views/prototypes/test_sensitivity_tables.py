"""The smallest differences in a table and in a sentence."""

import pandas as pd

from panel.models.prototypes.sensitivity import Sensitivity
from panel.study.naming import Naming
from panel.views.prototypes.differences import smallest_difference_table, what_could_have_been_seen


def example():
    rows = [
        ("film", "all pairs (Tukey)", 11.26),
        ("glide", "all pairs (Tukey)", 8.04),
        ("film", "one planned difference", 7.0),
        ("glide", "one planned difference", 5.0),
    ]
    medians = pd.DataFrame(rows, columns=["attribute", "family", "smallest_difference"])
    return Sensitivity(pd.DataFrame(), medians, 0.8, 0.95, "", ())


def test_one_row_per_attribute_and_one_column_per_family():
    shown = smallest_difference_table(example(), Naming({"film": "greasy film"}, scale="0 to 100"))
    assert list(shown.columns) == ["Attribute (0 to 100)", "All pairs (Tukey)", "One planned difference"]
    assert shown.to_numpy().tolist() == [["greasy film", "11.3", "7.0"], ["glide", "8.0", "5.0"]]


def test_the_sentence_names_the_best_and_the_worst_attribute():
    sentence = what_could_have_been_seen(example(), Naming())
    assert "With 80 % probability" in sentence
    assert "of 8.0 or more on the attribute it sees best" in sentence
    assert "of 11.3 or more on the one it sees worst" in sentence
