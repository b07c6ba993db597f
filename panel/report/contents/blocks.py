"""What is an evidence file made of? One content model that every form of it (PDF, DOCX, HTML, XLSX) is written from."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import pandas as pd

from panel.report.contents.sources import Source


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A piece of running text."""

    text: str


@dataclass(frozen=True, slots=True)
class Points:
    """Sentences, one under the other."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Subheading:
    """A heading within a section."""

    text: str


@dataclass(frozen=True, slots=True)
class Gap:
    """Something that a reader will look for and that is not there, named as such."""

    text: str


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution that belongs with what stands beside it."""

    text: str


@dataclass(frozen=True, slots=True)
class SignOff:
    """Room for one person's signature; the tool leaves it empty.

    Parameters
    ----------
    role
        Who signs.
    states
        What the person states by signing.
    named
        Who has that role, as the study says; empty if it does not.
    """

    role: str
    states: str
    named: str = ""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture, drawn when a writer asks for it.

    Parameters
    ----------
    name
        Short name, unique in the report.
    title, alt
        What stands under it, and what is heard instead of it.
    draw
        Gives the SVG text.
    png
        Gives the same picture as PNG, for forms that take no SVG.
    """

    name: str
    title: str
    alt: str
    draw: Callable[[], str] = field(repr=False)
    png: Callable[[], bytes] = field(repr=False)


@dataclass(frozen=True, eq=False, slots=True)
class TextTable:
    """A table that holds words, as they stand in the study, and no results."""

    title: str
    shown: pd.DataFrame


@dataclass(frozen=True, eq=False, slots=True)
class Numbers:
    """A table of numbers: as a person reads it, and unrounded.

    Parameters
    ----------
    code
        Letters that begin the id of each of its numbers.
    title
        What the table holds.
    shown
        Texts, one row for each entry of `shown_ids`.
    shown_ids
        Id of each row shown; where a row holds several rows of `full`, what their ids have in common.
    full
        The unrounded numbers.
    key
        Columns of `full` that name a row.
    full_ids
        Id of each row of `full`; a number's id is that, a hyphen and its column.
    method
        How the numbers were computed, in a sentence.
    sources
        Which rows of the study each row rests on.
    printed
        False for a table so long that it stands in the workbook only.
    """

    code: str
    title: str
    shown: pd.DataFrame
    shown_ids: tuple[str, ...]
    full: pd.DataFrame
    key: tuple[str, ...]
    full_ids: tuple[str, ...]
    method: str
    sources: tuple[Source, ...]
    printed: bool = True

    @property
    def number_columns(self) -> tuple[str, ...]:
        """Columns of `full` that hold numbers, other than those that name a row."""
        kinds = pd.api.types
        return tuple(
            str(name)
            for name, cells in self.full.items()
            if name not in self.key and kinds.is_numeric_dtype(cells) and not kinds.is_bool_dtype(cells)
        )


Block = Paragraph | Points | Subheading | Gap | Caution | SignOff | Picture | TextTable | Numbers


@dataclass(frozen=True, eq=False, slots=True)
class Section:
    """One part of the evidence file: its number, its heading, what stands in it."""

    number: str
    heading: str
    blocks: tuple[Block, ...]

    @property
    def gaps(self) -> tuple[str, ...]:
        """What is missing in this part."""
        return tuple(block.text for block in self.blocks if isinstance(block, Gap))


@dataclass(frozen=True, eq=False, slots=True)
class Report:
    """An evidence file before it is written in any form.

    Parameters
    ----------
    title
        Title of the study.
    mark
        Words that stand on every page, such as that the data are invented; empty for a real study.
    date
        The day of the study that stands as the date of the file (ISO 8601), never the day of writing.
    data_hash
        SHA-256 over everything an analysis can see of the study.
    version
        Name and version of the program.
    summary
        Two pages for readers in a hurry.
    sections
        The parts of the checklist, in order.
    """

    title: str
    mark: str
    date: str
    data_hash: str
    version: str
    summary: Section
    sections: tuple[Section, ...]

    @property
    def all_sections(self) -> tuple[Section, ...]:
        """The summary and the parts after it."""
        return (self.summary, *self.sections)

    @property
    def tables(self) -> tuple[Numbers, ...]:
        """Every table of numbers, in order, each once."""
        found = (block for section in self.all_sections for block in section.blocks if isinstance(block, Numbers))
        return tuple({table.code: table for table in found}.values())

    def gaps(self) -> Iterator[tuple[Section, str]]:
        """Yield every part with something that is missing in it."""
        for section in self.all_sections:
            for gap in section.gaps:
                yield section, gap
