"""Small studies for tests of ballots: prototypes whose names would be noticed anywhere, and a serving plan."""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.plan.safety import _record_sign_off
from panel.study.knowledge import shared_table
from panel.study.study import Study, empty_table

PROTOTYPES = ("Zugspitze", "Matterhorn", "Kilimandscharo")
CODES = {"1": ("417", "582", "936"), "2": ("263", "748", "195")}
ASSESSORS = ("A01", "A02", "A03")
SECRETS = (
    *PROTOTYPES,
    "first of the hills",
    "steep hill",
    "far hill",
    "Isopropyl Palmitate",
    "Dicaprylyl Ether",
    "hill",
)
"""What no phone may ever show."""


def ballot_study(**tables: pd.DataFrame) -> Study:
    """Return a study of three prototypes, three assessors and two sessions: a plan, and no scores yet."""
    made = {
        "prototypes": pd.DataFrame(
            {
                "prototype": PROTOTYPES,
                "name": ("first of the hills", "steep hill", "far hill"),
                "role": ("benchmark", "prototype", "prototype"),
            }
        ),
        "batches": pd.DataFrame({"batch": [f"{name}-1" for name in PROTOTYPES], "prototype": PROTOTYPES}),
        "formulas": pd.DataFrame(
            {
                "prototype": PROTOTYPES[:2],
                "ingredient": ("Isopropyl Palmitate", "Dicaprylyl Ether"),
                "percent": (100.0, 100.0),
            }
        ),
        "attributes": _attributes(),
        "assessors": pd.DataFrame(
            {"assessor": (*ASSESSORS, "C01"), "kind": ("trained",) * 3 + ("consumer",), "group": "", "avoid": ""}
        ),
        "servings": _servings(),
    }
    return Study(made | tables, {"title": "Which hill?", "scale_min": 0, "scale_max": 100})


def cleared(study: Study) -> Study:
    """Return the study with every item of its safety gate signed for every batch."""
    signed, items = empty_table("safety"), shared_table("safety_gate")
    for batch in study.table("batches")["batch"]:
        for item in items["item"]:
            signed = _record_sign_off(
                signed, item, who="Dr S. Assessor", role="assessor", date="2025-03-01", document="SA 7", batch=batch
            )
    return Study({**study.tables, "safety": signed}, study.facts)


def _attributes() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "attribute": ("GLOSS", "SPREAD", "GREASE", "STICK", "RESIDUE"),
            "name": ("gloss", "ease of spreading", "greasy film", "stickiness", "residue, later"),
            "stage": ("appearance", "rub-out", "after-feel", "after-feel", "later after-feel"),
            "minutes": (np.nan, np.nan, 2.0, 2.0, 20.0),
            "definition": "",
            "procedure": ("look", "strokes 3 to 8", "stroke once", "tap five times", "stroke and look"),
            "low_end": ("matt", "drags", "none", "none", "none"),
            "high_end": ("mirror-like", "glides", "very greasy", "strong", "very much"),
        }
    )


def _servings() -> pd.DataFrame:
    rows = [
        (session, assessor, float(place + 1), PROTOTYPES[sample], CODES[session][sample], f"left forearm {place + 1}")
        for session in CODES
        for person, assessor in enumerate(ASSESSORS)
        for place, sample in enumerate(np.roll(np.arange(3), person + int(session)).tolist())
    ]
    rows.append(("hall", "C01", 1.0, PROTOTYPES[0], "318", ""))
    return pd.DataFrame(rows, columns=["session", "assessor", "position", "prototype", "code", "site"])
