"""How often are groups of consumers seen where there are none, and missed where there are some?

Run from the checkout: python -m benchmarks.segments [panels, 500]. 60 consumers, 8 prototypes, nine points.
Promised: one group is said of at least 90 % of panels of people who want the same, whatever the spread of the noise;
the two main hidden groups of the demo's generator are found in at least 80 % of new panels. Found: two groups or more
are believed, and among the consumers of the two main kinds the adjusted Rand index of groups and kinds is at least 0.4.
"""

from __future__ import annotations

import os
import sys
import time

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np

from panel.models.consumers.segments import find_segments
from tests.consumer_studies import answers_study, demo_panel, one_group_panel
from tests.models.consumers.test_segments import SEPARATED, separation

SPREADS = ("even", "by consumer", "by prototype", "both", "ceiling")
PROFILE = np.array([-0.9, -0.5, -0.2, 0.0, 0.1, 0.3, 0.4, 0.8])


def gradient_panel(rng: np.random.Generator) -> np.ndarray:
    """People along one line of taste, without a gap between kinds."""
    taste = rng.normal(0.0, 1.0, (60, 1)) * np.array([1.0, 0.8, 0.3, 0.0, 0.0, -0.3, -0.8, -1.0])
    value = 6 + taste + rng.normal(0.0, 1.0, (60, 1)) + rng.normal(0.0, 1.3, (60, 8))
    return np.clip(np.rint(value), 1, 9)


def strength_panel(rng: np.random.Generator) -> np.ndarray:
    """People who want the same, some of whom say it more strongly."""
    value = 6 + np.exp(rng.normal(0.0, 0.4, (60, 1))) * PROFILE + rng.normal(0.0, 1.0, (60, 1))
    return np.clip(np.rint(value + rng.normal(0.0, 1.3, (60, 8))), 1, 9)


def main(panels: int) -> None:
    """Print how many groups are believed in panels of each kind."""
    print("| panel | 1 group | 2 | 3 | 4 | found | seconds each |\n|---|---|---|---|---|---|---|")
    makers = {
        f"one group, noise {spread}": lambda rng, spread=spread: one_group_panel(rng, spread) for spread in SPREADS
    }
    makers |= {"one taste, told more or less strongly": strength_panel, "a gradient of taste": gradient_panel}
    for name, make in makers.items():
        counts, begin = np.zeros(5, dtype=int), time.perf_counter()
        for seed in range(panels):
            table = make(np.random.default_rng([1, seed]))
            counts[find_segments(answers_study(table), np.random.default_rng(seed)).n_groups] += 1
        _print(name, counts, "", (time.perf_counter() - begin) / panels)
    counts, good, begin = np.zeros(5, dtype=int), 0, time.perf_counter()
    for seed in range(panels):
        table, kinds = demo_panel(seed)
        found = find_segments(answers_study(table), np.random.default_rng(seed))
        counts[found.n_groups] += 1
        good += found.n_groups >= 2 and separation(found, kinds) >= SEPARATED
    _print("demo's generator", counts, f"{100 * good / panels:.1f} %", (time.perf_counter() - begin) / panels)


def _print(name: str, counts: np.ndarray, found: str, seconds: float) -> None:
    shares = " | ".join(f"{100 * share:.1f} %" for share in counts[1:] / counts.sum())
    print(f"| {name} | {shares} | {found} | {seconds:.2f} |", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
