"""In which forms can the evidence file be had? The ending of the file decides."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from panel.errors import StudyError
from panel.report.contents.blocks import Report


@dataclass(frozen=True, slots=True)
class Form:
    """One form of the evidence file: what it is called, its media type, and what makes it."""

    words: str
    kind: str
    make: Callable[[Report], bytes]


def _pdf(report: Report) -> bytes:
    from panel.report.draw_ahead import drawn_ahead
    from panel.report.pdf import pdf_bytes

    return pdf_bytes(drawn_ahead(report))


def _docx(report: Report) -> bytes:
    from panel.report.docx import docx_bytes

    return docx_bytes(report)


def _html(report: Report) -> bytes:
    from panel.report.draw_ahead import drawn_ahead
    from panel.report.html import html_bytes

    return html_bytes(drawn_ahead(report))


def _xlsx(report: Report) -> bytes:
    from panel.report.xlsx import xlsx_bytes

    return xlsx_bytes(report)


# Each writer loads its own libraries when it is asked to write: to have one form takes no longer for the others.
_OFFICE = "application/vnd.openxmlformats-officedocument."
FORMS: Mapping[str, Form] = MappingProxyType(
    {
        ".pdf": Form("to read and keep (PDF/A-2a, PDF/UA-1)", "application/pdf", _pdf),
        ".docx": Form("to edit", f"{_OFFICE}wordprocessingml.document", _docx),
        ".html": Form("to read in a browser, without a network", "text/html", _html),
        ".xlsx": Form("every number unrounded, with its id", f"{_OFFICE}spreadsheetml.sheet", _xlsx),
    }
)


def form_of(path: Path) -> Form:
    """Return the form that the ending of a file asks for; StudyError if there is none."""
    form = FORMS.get(path.suffix.lower())
    if form is None:
        raise StudyError(f"{path.name} has no ending that says in which form; use one of {', '.join(FORMS)}.")
    return form
