"""The two kinds of array that all computations take and give."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Whole = NDArray[np.int64]
