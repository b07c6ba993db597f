"""Which way should an attribute go with a property of the blend? Said before the scores are looked at."""

from __future__ import annotations

from functools import cache

import pandas as pd

from panel.study.knowledge import shared_folder

SIGNS = {"more": 1, "less": -1}


@cache
def _read() -> pd.DataFrame:
    frame = pd.read_csv(shared_folder() / "expected_directions.csv", dtype=str, keep_default_na=False, encoding="utf-8")
    return frame.assign(sign=frame["direction"].map(SIGNS).astype("int64"))


def expected_directions() -> pd.DataFrame:
    """Return `attribute descriptor direction sign source remark`: does the attribute rise (+1) with it, or fall (-1)?

    A copy. The source is a tag of `panel.study.knowledge.sources`; common practice has none.
    """
    return _read().copy()
