"""How often the panel check advises training to honest people, and how often it finds those it should.

Run from the checkout: python -m benchmarks.panel_check [panels, 400; a third for each quirk] [seed, 1] [kinds, all]
Kinds are counted from 1, such as 1,4 for the first and the fourth.
Promised: no honest person advised to train in more than 2 % of panels of 6 to 12 assessors with 2 or 3 replicates;
somebody who reverses a strong attribute while separating the prototypes clearly is found in at least 95 %.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

import numpy as np

from panel.models.assessors.performance import Action, Pattern, check_panel
from tests.simulated_panels import STRENGTHS, STRONG, simulated_panel

# assessors, prototypes, replicates, replicates are sessions, halo
PANELS = (
    (6, 4, 2, False, 0.3),
    (6, 4, 3, False, 0.3),
    (6, 5, 2, False, 0.3),
    (9, 4, 2, False, 0.3),
    (6, 8, 2, False, 0.3),
    (6, 8, 3, True, 0.5),
    (9, 6, 2, True, 0.3),
    (10, 8, 3, True, 0.3),
    (12, 8, 2, False, 0.5),
    (12, 5, 2, False, 0.7),
)
EVERYWHERE = range(len(STRENGTHS))
QUIRKS = {  # name: (quirks of A01, pattern, attribute)
    "reverses strong": ({"scale": {(STRONG, 0): -1.0}}, (Pattern.REVERSED,), f"T{STRONG:02d}"),
    "scores at random": (
        {"scale": {(k, 0): 0.0 for k in EVERYWHERE}},
        (Pattern.FEELS_LITTLE, Pattern.NOT_FOLLOWING),
        "",
    ),
    "uses 0.4 of the scale": ({"narrow": {0: 0.4}}, (Pattern.NARROW,), ""),
    "scatter 2.2": ({"scatter": {0: 2.2}}, (Pattern.SCATTERS,), ""),
}


def main(panels: int, seed: int, kinds: list[int]) -> None:
    """Print some lines per kind of panel; each kind has its own stream of the seed."""
    for kind in kinds:
        rng = np.random.default_rng([seed, kind])
        assessors, prototypes, replicates, sessions, halo = PANELS[kind - 1]
        size = {
            "assessors": assessors,
            "prototypes": prototypes,
            "replicates": replicates,
            "sessions": sessions,
            "halo": halo,
        }
        began, told = time.perf_counter(), Counter()
        for _ in range(panels):
            found = check_panel(simulated_panel(rng, **size)).patterns
            told["train"] += bool((found["action"] == Action.RETRAIN).any())
            told["any advice"] += bool((found["action"] != "none").any())
            for pattern in found.loc[found["action"] != "none", "pattern"].unique():
                told[pattern] += 1
        seconds = (time.perf_counter() - began) / panels
        print(kind, size, f"{1000 * seconds:.0f} ms", flush=True)
        print("   honest panels with:", {name: round(count / panels, 4) for name, count in sorted(told.items())})
        for name, (quirk, patterns, attribute) in QUIRKS.items():
            print("   found:", name, *_found(rng, size, panels // 3, quirk, patterns, attribute))


def _found(rng, size, panels, quirk, patterns, attribute):
    """Return the share of panels in which A01 is found, and the share among those where A01 separates clearly."""
    found = clear = both = others = 0
    for _ in range(panels):
        result = check_panel(simulated_panel(rng, **size, **quirk))
        own = result.assessors[(result.assessors["assessor"] == "A01") & (result.assessors["attribute"] == attribute)]
        separates = bool((own["p_value"] < 0.05).any()) if attribute else True
        rows = result.patterns[
            (result.patterns["pattern"].isin(patterns)) & (result.patterns["attribute"] == attribute)
        ]
        hit = bool((rows["assessor"] == "A01").any())
        wrong = result.patterns[(result.patterns["assessor"] != "A01") & (result.patterns["action"] == Action.RETRAIN)]
        found, clear, both, others = found + hit, clear + separates, both + (hit and separates), others + len(wrong)
    return (
        round(found / panels, 3),
        "if separating",
        round(both / clear, 3),
        "others trained",
        round(others / panels, 3),
    )


if __name__ == "__main__":
    panels, seed, kinds = (*sys.argv[1:], *("400", "1", "1,2,3,4,5,6,7,8,9,10")[len(sys.argv) - 1 :])
    main(int(panels), int(seed), [int(kind) for kind in kinds.split(",")])
