"""What is known before a test is planned: the items of the safety gate, the usual protocol, the times of the stages."""

from __future__ import annotations

from functools import cache

import pandas as pd

from panel.study.knowledge import shared_folder

_NUMBERS = ("minutes", "early_slack", "late_slack")


@cache
def _read(name: str) -> pd.DataFrame:
    frame = pd.read_csv(shared_folder() / name, dtype=str, keep_default_na=False, encoding="utf-8")
    present = [column for column in _NUMBERS if column in frame.columns]
    return frame.assign(**{column: frame[column].replace("", "nan").astype(float) for column in present})


def safety_items() -> pd.DataFrame:
    """Return the items of the safety gate: `item words detail scope needed signed_by basis source`.

    `scope` is `study` (signed once for all batches, or batch by batch) or `batch`; `needed` is `always`, or `unless
    stated` where a named person may state with a reason that it is not needed.
    """
    return _read("safety_gate.csv").copy()


def protocol_items() -> pd.DataFrame:
    """Return the items of the application protocol with their usual values: `item words usual basis source`."""
    return _read("protocol.csv").copy()


def stage_times() -> pd.DataFrame:
    """Return when each stage is scored: `stage minutes early_slack late_slack words basis source`.

    Minutes count from the end of rubbing; NaN where a stage is not tied to it.
    """
    return _read("stage_times.csv").copy()


def allergen_words() -> pd.DataFrame:
    """Return what people call an allergen beside its name in the table of ingredients: `word allergen source`.

    Several allergens are separated by `; `.
    """
    return _read("allergen_words.csv").copy()
