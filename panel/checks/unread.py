"""Which cells hold something that could not be read?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.study.study import Study


def unread_rows(study: Study) -> dict[tuple[str, str], np.ndarray]:
    """Return, by table and column, the rows (counted from 0) whose cell could not be read."""
    if study.unread.empty:
        return {}
    row = pd.to_numeric(study.unread["row"], errors="coerce").rename("row")
    cells = study.unread[["table", "column"]].assign(row=row).dropna()
    found = cells.groupby(["table", "column"], sort=False)["row"]
    return {(str(table), str(column)): rows.to_numpy(dtype=int) - 2 for (table, column), rows in found}
