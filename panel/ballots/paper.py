"""Ballots on paper: one page for each serving with lines of true length, and a page of labels for the cups.

Only codes stand on them. The same plan gives the same file, byte for byte.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pandas as pd
import typst

from panel.errors import StudyError
from panel.plan.protocol import read_protocol
from panel.study.naming import RUBBED_IN, judged_after
from panel.study.study import Study

PAPERS = {"A4": "a4", "Letter": "us-letter"}
LINE_LENGTHS_MM = (100, 150)

_COMMON = """
#let data = json(bytes(sys.inputs.data))
#set document(title: data.title, author: "Afterfeel", date: none)
#set text(font: "DejaVu Sans", size: 9.5pt, lang: "en")
#set par(leading: 0.5em)
"""
_BALLOTS = (
    _COMMON
    + """
#let mark = line(angle: 90deg, length: 4mm, stroke: 0.8pt)
#let bar = box(width: data.length * 1mm, height: 4mm, {
  place(left + horizon, line(length: 100%, stroke: 0.8pt))
  place(left + horizon, mark)
  place(right + horizon, mark)
})
#let beside(low, high) = grid(columns: (1fr, data.length * 1mm, 1fr), column-gutter: 2mm, align: horizon,
  align(right, low), bar, high)
#let above(low, high) = align(center, block(width: data.length * 1mm, {
  grid(columns: (1fr, 1fr), align(left, low), align(right, high))
  v(-3.2mm)
  bar
}))
#let tight = if data.length > 100 { 2.2mm } else { 3.2mm }
#let question(q) = block(breakable: false, width: 100%, above: tight, below: 0mm, {
  grid(columns: (1fr, auto), column-gutter: 3mm, align: top,
    { text(weight: "bold", q.name); if q.how != "" { text(size: 8pt, [ #q.how]) } },
    text(size: 8pt, [#box(width: 2.6mm, height: 2.6mm, stroke: 0.6pt) cannot judge]))
  v(if data.length > 100 { -2mm } else { -1.2mm })
  if data.length > 100 { above(q.low, q.high) } else { beside(q.low, q.high) }
})
#for ballot in data.ballots {
  set page(
    paper: data.paper,
    margin: (x: 20mm, top: 20mm, bottom: 14mm), header-ascent: 4mm, footer-descent: 5mm,
    header: text(size: 10pt, grid(columns: (auto, 1fr, auto), column-gutter: 6mm, align: horizon,
      text(size: 20pt, weight: "bold", ballot.code), ballot.where, ballot.who)),
    background: if data.stamp != "" { place(bottom + center, dy: -3mm, text(size: 9pt, weight: "bold", data.stamp)) },
    footer: text(size: 8pt, [#data.advice #h(1fr) #ballot.code, #ballot.who]),
  )
  for group in ballot.groups {
    block(breakable: false, above: 4.5mm, below: 0mm, width: 100%, {
      grid(columns: (1fr, auto), text(size: 11pt, weight: "bold", group.title), group.clock)
      if group.questions.len() > 0 { question(group.questions.first()) }
    })
    for q in group.questions.slice(1) { question(q) }
  }
  block(breakable: false, above: 5mm, width: 100%, grid(columns: (auto, 1fr), column-gutter: 3mm, align: bottom,
    [Comment], box(width: 100%, height: 8mm, place(bottom, line(length: 100%, stroke: 0.4pt)))))
  pagebreak(weak: true)
}
"""
)
_LABELS = (
    _COMMON
    + """
#set page(paper: data.paper, margin: 12mm)
#grid(columns: (1fr,) * 4, rows: 26mm, stroke: 0.4pt + gray, inset: 2mm, align: center + horizon,
  ..data.labels.map(label => [#text(size: 20pt, weight: "bold", label.code) \\ #text(size: 8pt, label.words)]))
"""
)


def paper_ballots(
    study: Study, session: str, *, paper: str = "A4", line_mm: int = 100, assessors: Sequence[str] = (), stamp: str = ""
) -> bytes:
    """Return a PDF with one ballot for each serving of a session, in the order of assessors and positions.

    `paper` is `A4` or `Letter`, `line_mm` the length of every line, 100 or 150, where it is printed at 100 %; it is for
    these assessors, all trained ones of the session if empty, and `stamp` stands on every page. StudyError if there are
    no servings, no attributes, or the paper or length is not one of these.
    """
    if paper not in PAPERS or line_mm not in LINE_LENGTHS_MM:
        raise StudyError(f"Paper ballots come on {' or '.join(PAPERS)}, with lines of 100 or 150 mm.")
    groups = _groups(study)
    ballots = [
        {
            "code": row["code"],
            "where": f"session {session}, sample {row['position']:g}" + (f", {row['site']}" if row["site"] else ""),
            "who": row["assessor"],
            "groups": groups,
        }
        for row in _servings(study, session, assessors).to_dict("records")
    ]
    data = {
        "title": f"Ballots of session {session}",
        "paper": PAPERS[paper],
        "length": line_mm,
        "stamp": stamp,
        "advice": f"Cross each line once. Every line is {line_mm} mm long: check it with a ruler after printing.",
        "ballots": ballots,
    }
    return _pdf(_BALLOTS, data)


def serving_labels(study: Study, session: str, *, paper: str = "A4") -> bytes:
    """Return a PDF with a label for each cup of a session: its code, and for whom it is; four in a row.

    StudyError if there are no servings, or the paper is not `A4` or `Letter`.
    """
    if paper not in PAPERS:
        raise StudyError(f"Labels come on {' or '.join(PAPERS)}.")
    labels = [
        {"code": row["code"], "words": f"session {session}, {row['assessor']}, sample {row['position']:g}"}
        for row in _servings(study, session, ()).to_dict("records")
    ]
    data = {"title": f"Labels of session {session}", "paper": PAPERS[paper], "labels": labels}
    return _pdf(_LABELS, data)


def _servings(study: Study, session: str, assessors: Sequence[str]) -> pd.DataFrame:
    """Return the servings of trained assessors in a session; consumers are never asked for intensities."""
    people = study.table("assessors")
    consumers = set(people.loc[people["kind"] == "consumer", "assessor"])
    plan = study.table("servings")
    plan = plan.loc[(plan["session"] == session) & ~plan["assessor"].isin(consumers) & (plan["code"] != "")]
    if assessors:
        plan = plan.loc[plan["assessor"].isin(assessors)]
    if plan.empty:
        raise StudyError(
            f"Session {session} has no servings with codes for these assessors; make a serving plan first."
        )
    return plan.sort_values(["assessor", "position"])


def _groups(study: Study) -> list[dict[str, Any]]:
    """Return the attributes by stage and time, as they are printed."""
    table = study.table("attributes")
    if table.empty:
        raise StudyError("The study has no attributes to ask for. Fill its table of attributes first.")
    table = table.assign(minutes=read_protocol(study).times["minutes"].to_numpy())
    groups: dict[tuple[float, str, str], list[dict[str, str]]] = {}
    for row in table.to_dict("records"):
        how = row["procedure"] or row["definition"]  # the panel knows the definitions by heart
        question = {"name": row["name"] or row["attribute"], "how": how}
        question |= {"low": row["low_end"] or "low", "high": row["high_end"] or "high"}
        timed = float(row["minutes"]) if row["minutes"] == row["minutes"] else 0.0
        after = judged_after(study, str(row["attribute"]), timed=True) if timed else ""
        groups.setdefault((timed, str(row["stage"]), after), []).append(question)
    ordered = sorted(groups.items(), key=lambda item: item[0][0])  # stays in the table's order within a time
    return [_group(stage, timed, after, questions) for (timed, stage, after), questions in ordered]


def _group(stage: str, minutes: float, after: str, questions: list[dict[str, str]]) -> dict[str, Any]:
    title = stage[:1].upper() + stage[1:] if stage and stage != "any" else "Judge"
    clock = "time: __________" if minutes else ""
    if minutes:
        title += f", {minutes:g} min {'after the end of rubbing' if after == RUBBED_IN else after}"
    return {"title": title, "clock": clock, "questions": questions}


def _pdf(source: str, data: dict[str, Any]) -> bytes:
    """Set the page; what the study says stays text, whatever signs it holds."""
    try:
        made = typst.compile(source.encode(), font_paths=_fonts(), sys_inputs={"data": json.dumps(data)})
    except RuntimeError as error:
        raise StudyError(f"The page could not be set: {error}.") from error
    if not isinstance(made, bytes):
        raise StudyError("The page could not be set: no file came out.")
    return made


@cache
def _fonts() -> typst.Fonts:
    """Return the fonts that come with matplotlib, the same everywhere; matplotlib itself is not loaded."""
    found = find_spec("matplotlib")
    if found is None or found.origin is None:
        raise StudyError("The fonts were not found: matplotlib is not installed. Install the package again.")
    folder = Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(folder)])
