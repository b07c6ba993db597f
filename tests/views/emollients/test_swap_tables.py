"""Descriptors as a table: what is known, what is from memory, and nothing that is nowhere."""

from pathlib import Path

import pytest

from panel.models.emollients.descriptors import find_descriptors
from panel.study.open_study import open_study
from panel.views.emollients.swaps import descriptors_table

DEMO = Path(__file__).resolve().parents[3] / "data_demo" / "reading_room"


@pytest.fixture(scope="module")
def result():
    return find_descriptors(open_study(DEMO))


def test_every_descriptor_that_occurs_has_a_row(result):
    table = descriptors_table(result)
    occurring = [name for name in result.wide if (result.wide[name].fillna(0) != 0).any()]
    assert len(table) == len(occurring)
    assert list(table.columns)[1:-2] == list(result.wide.index)


def test_weak_and_remembered_values_are_marked(result):
    table = descriptors_table(result).set_index("Descriptor of the blend")
    values = result.values.groupby("descriptor")
    weak, remembered = values["weak"].any(), values["from_memory"].max() > 0
    marked = {"surface_tension": "Surface tension, mN/m", "emollient_total": "Emollient total, %"}
    for name, heading in marked.items():
        assert ("little of it known" in table.loc[heading, "Mind"]) == weak[name]
        assert ("partly from memory" in table.loc[heading, "Mind"]) == remembered[name]


def test_coverage_is_told_from_least_to_most(result):
    table = descriptors_table(result).set_index("Descriptor of the blend")
    coverage = result.values.query("descriptor == 'interfacial_tension'")["coverage"]
    told = table.loc["Interfacial tension with water, mN/m", "Mass known"]
    assert told == f"{coverage.min():.0f} to {coverage.max():.0f} %"
