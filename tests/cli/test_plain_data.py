"""Results as plain data: unrounded, missing as null, nothing that JSON does not know."""

import json

import numpy as np
import pandas as pd

from panel.cli.shared import _json_text, records


def test_numbers_stay_unrounded_and_what_is_missing_is_null():
    frame = pd.DataFrame(
        {"p_value": [1 / 3, np.nan, np.inf], "name": pd.Series(["a", "b", "c"], dtype="str"), "n": [1, 2, 3]}
    )
    assert records(frame) == [
        {"p_value": 1 / 3, "name": "a", "n": 1},
        {"p_value": None, "name": "b", "n": 2},
        {"p_value": None, "name": "c", "n": 3},
    ]


def test_text_is_one_object_with_frames_as_rows():
    frame = pd.DataFrame({"yes": [True, False]})
    content = json.loads(_json_text({"rows": frame, "notes": ("an ü", "b"), "margin": None}))
    assert content == {"rows": [{"yes": True}, {"yes": False}], "notes": ["an ü", "b"], "margin": None}


def test_an_empty_frame_is_an_empty_list():
    assert records(pd.DataFrame({"a": []})) == []
