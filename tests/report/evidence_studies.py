"""Studies for the tests of the evidence file: the demo, a small one, one with hostile texts; each report made once."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pandas as pd

from panel.answers import Answers
from panel.report.contents.blocks import Report
from panel.report.contents.evidence import report_of
from panel.study.open_study import open_study
from panel.study.study import Study
from tests.studies import small_study

DEMO = Path(__file__).resolve().parents[2] / "data_demo" / "reading_room"

MADE_ON = "2026-02-03"

FORMULA = "=cmd|' /C calc'!A0"
SCRIPT = "<script>alert(1)</script><img src=http://evil.test/x onerror=alert(2)>"
MARKUP = '#eval("1 + 1") $x^2$ \\ @label *bold* `code` ]#panic() //'
SIGNS = "Ελληνικά Кириллица 漢字 עברית 😀 é"
TURNING, CONTROL, PRIVATE = "\u202eabc", "bell\x07 nul\x00 escape\x1b", "\ue000\ud800\uffff"
HOSTILE = {"=": FORMULA, "<": SCRIPT, "#": MARKUP, "letters": SIGNS}


@cache
def demo_results() -> Answers:
    return Answers(open_study(DEMO))


@cache
def demo_report() -> Report:
    return report_of(demo_results(), made_on=MADE_ON)


@cache
def small_report() -> Report:
    return report_of(Answers(small_study({"title": "small"})), made_on=MADE_ON)


def hostile_study(*, more: str = "") -> Study:
    """A study in which everything that people type tries to be something else; `more` is put at the end of notes."""
    plain = small_study()
    tabled = more.replace("\ud800", "")  # no table can hold half a sign; a fact, read from JSON, can
    prototypes = plain.table("prototypes").assign(name=[FORMULA, SCRIPT, MARKUP, SIGNS], note=f"{FORMULA}{tabled}")
    attributes = plain.table("attributes").assign(name=[SCRIPT, MARKUP, FORMULA], definition=SIGNS, procedure=MARKUP)
    claims = pd.DataFrame(
        {
            "claim": [FORMULA, SCRIPT, MARKUP],
            "kind": ["superiority", "parity", "unknown"],
            "prototype": "P2",
            "versus": "P1",
            "attribute": plain.attributes[0],
            "minutes": 2.0,
            "margin": 8.0,
            "owner": SIGNS,
        }
    )
    facts = {
        "title": f"{MARKUP} {SCRIPT} {FORMULA}{more}",
        "purpose": f"{SCRIPT} {SIGNS}{more}",
        "panel": FORMULA,
        "notes": [FORMULA, SCRIPT, MARKUP, f"{SIGNS}{more}"],
        "decision": MARKUP,
    }
    return small_study(facts, prototypes=prototypes, attributes=attributes, claims=claims)


@cache
def hostile_report() -> Report:
    """The report on the hostile study, with control signs, turned writing and code points that are no letters."""
    return report_of(Answers(hostile_study(more=f" {TURNING} {CONTROL} {PRIVATE}")), made_on=MADE_ON)


@cache
def bytes_of(ending: str, name: str) -> bytes:
    from panel.report.archive import writer_of

    report = {"demo": demo_report, "small": small_report, "hostile": hostile_report}[name]()
    return writer_of(f"evidence{ending}")(report)
