"""Results as plain data for other programs: numbers unrounded, what is missing as null."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a frame as dictionaries of plain Python values, NaN and infinity as None."""
    columns = {str(name): [_plain(value) for value in frame[name]] for name in frame.columns}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def json_text(content: Mapping[str, Any]) -> str:
    """Return one JSON object as text; frames within it become lists of rows."""
    plain = {name: records(value) if isinstance(value, pd.DataFrame) else value for name, value in content.items()}
    return json.dumps(plain, ensure_ascii=False, allow_nan=False, indent=1, default=str)


def _plain(value: object) -> object:
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not np.isfinite(value):
        return None
    return None if value is pd.NA else value
