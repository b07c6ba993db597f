"""The lines of `benchmarks.promises`, some of which no other test reads: each still runs, and finds what is there.

Their shares are measured with hundreds of studies and stand in benchmarks/README.md.
"""

import numpy as np
import pytest

from benchmarks.confounds import parity, simulated, superiority
from benchmarks.promises import LINES, wrong_in_block

TEN_AT_ONCE = ("a place", "orders")  # of lines on orders: studies with an order of their own come ten at once


@pytest.mark.parametrize("line", LINES)
def test_every_line_can_be_run(line):
    studies = 10 if any(words in line for words in TEN_AT_ONCE) else 1
    assert 0 <= wrong_in_block((line, 0, studies)) <= studies


def test_what_is_true_is_found_by_the_rules_that_the_lines_count():
    rng = np.random.default_rng(5)
    assert superiority(simulated(rng, 20, assessors=10, shift=30.0)).all()
    assert not parity(simulated(rng, 20, assessors=10, shift=30.0)).any()
    assert parity(simulated(rng, 20, assessors=40, replicates=4)).any()
