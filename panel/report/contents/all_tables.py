"""Which table has which letters, and how is it made?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from panel.report.contents import (
    tables_assessors,
    tables_claims,
    tables_consumers,
    tables_differences,
    tables_emollients,
)
from panel.report.contents.blocks import Numbers
from panel.report.contents.part_conduct import balance
from panel.report.contents.results import NotThere, Results

Maker = Callable[[Results], Numbers | NotThere]

TABLE_MAKERS: Mapping[str, Maker] = MappingProxyType(
    {
        "CL": tables_claims.verdicts,
        "CN": tables_claims.all_numbers,
        "F": tables_emollients.formulas,
        "BT": tables_emollients.batches,
        "P": tables_assessors.people,
        "Q": tables_assessors.panel,
        "W": tables_assessors.without,
        "PA": tables_assessors.each_assessor,
        "N": lambda results: balance(results, "trained"),
        "NC": lambda results: balance(results, "consumer"),
        "B": tables_differences.both_ways,
        "M": tables_differences.means,
        "T": tables_differences.tests,
        "D": tables_differences.versus,
        "A": tables_differences.pairs,
        "V": tables_differences.variances,
        "C": tables_differences.components,
        "CP": tables_differences.places,
        "CA": tables_differences.loadings,
        "S": tables_emollients.swaps,
        "SI": tables_emollients.interactions,
        "L": tables_emollients.prediction,
        "R": tables_emollients.readings,
        "RP": tables_emollients.partners,
        "RS": tables_emollients.reading_swaps,
        "H": tables_consumers.liking,
        "HT": tables_consumers.liking_tests,
        "HA": tables_consumers.liking_pairs,
        "HB": tables_consumers.liking_boxes,
        "G": tables_consumers.groups,
        "HS": tables_consumers.sensations,
        "J": tables_consumers.drops,
        "X": tables_consumers.terms,
        "XT": tables_consumers.term_tests,
        "XL": tables_consumers.lift,
        "XA": tables_consumers.term_pairs,
        "Y": tables_consumers.statements,
        "YB": tables_consumers.bars,
        "E": tables_consumers.preferences,
        "FC": tables_consumers.forced_choices,
        "DE": tables_claims.ranking,
        "DW": tables_claims.windows,
        "DG": tables_claims.gates,
        "DP": tables_claims.decision_pairs,
        "Z": tables_differences.smallest,
        "K": tables_assessors.ranks,
        "U": tables_assessors.scale_use,
    }
)
"""Letters to the function that makes the table; `tests/report` holds that the report uses these and no others."""
