"""What is said does not depend on how fine the scale is: scores of 0 to 100 and of 0 to 1.5625 have the same words."""

import re
from collections.abc import Iterator
from dataclasses import replace

from panel.answers import Answers
from panel.study.folder import read_folder
from panel.views.told import Picture, Shown, Table, Told
from tests.fine_scale import finer, without_numbers
from tests.report.evidence_studies import DEMO
from tests.views.every_picture import everything_told

_ASKED = ("prototypes", "batches", "formulas", "attributes", "assessors", "servings", "scores", "readings")


def said(told: Told) -> Iterator[str]:
    """Everything that is said of an answer, with a sign in place of each number; of tables the cells of words."""
    pictures = [told.picture] if told.picture else []
    items = [told.headline, *told.mind, *pictures, *(item for drawer in told.every_drawer() for item in drawer.items)]
    for item in items:
        for line in _lines(told, item):
            yield without_numbers(line)


def _lines(told: Told, item: object) -> list[str]:
    if isinstance(item, Picture):
        return [item.alt]
    if isinstance(item, Table | Shown):
        return [text for text in told.shown(item).texts.astype(str).to_numpy().ravel() if not re.search(r"\d", text)]
    return [str(item)]


def test_no_word_depends_on_how_fine_the_scale_is():
    study = read_folder(DEMO)
    study = replace(study, tables={name: study.tables[name] for name in _ASKED})
    coarse, fine = (everything_told(Answers(each)) for each in (study, finer(study)))
    assert len(coarse) >= 10
    for name, told in coarse.items():
        assert list(said(fine[name])) == list(said(told)), name
