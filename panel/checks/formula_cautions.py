"""Which usual cautions do the ingredients of the formulas call for?"""

from __future__ import annotations

import pandas as pd

from panel.checks.finding import Finding
from panel.checks.places import listed
from panel.study.knowledge import cautions, ingredients


def check_cautions(lines: pd.DataFrame) -> list[Finding]:
    """Return one note per caution: its words, the ingredients that call for it and the prototypes they are in.

    Allergens and flammable or dusty materials are among them. Ingredients that are not known carry no caution here.
    """
    known = ingredients()
    tags = dict(zip(known["ingredient"], known["cautions"], strict=True))
    words = cautions().set_index("caution")["words"]
    rows = [
        (tag.strip(), ingredient, prototype)
        for ingredient, prototype in zip(lines["ingredient"], lines["prototype"], strict=True)
        for tag in tags.get(ingredient, "").split(";")
        if tag.strip()
    ]
    called = pd.DataFrame(rows, columns=["caution", "ingredient", "prototype"], dtype="str")
    findings = []
    for caution in [name for name in words.index if name in set(called["caution"])]:
        part = called.loc[called["caution"] == caution]
        materials, prototypes = part["ingredient"].unique().tolist(), part["prototype"].unique().tolist()
        where = f"formulas, {listed(prototypes, 12)}"
        message = f"{listed(materials, 6)}: {words[caution]}"
        advice = "Show this to whoever makes or applies it; the safety assessor decides, not this tool."
        findings.append(Finding("note", f"caution_{caution}", where, message, advice))
    return findings
