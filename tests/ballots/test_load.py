"""A small part of benchmarks/ballot_load.py: many phones at once, and a server that is killed under load."""

import numpy as np
import pytest

from benchmarks.ballot_load import kill, load
from tests.databases import KINDS, empty_database

PHONES = 15


@pytest.fixture(params=KINDS)
def place(request, tmp_path):
    with empty_database(request.param, tmp_path) as found:
        yield found


def test_many_phones_posting_at_once_lose_nothing_and_double_nothing(place):
    result = load(*place, PHONES, np.random.default_rng(1))
    assert result["acknowledged"] == PHONES * 80
    assert (result["lost"], result["twice"], result["partial"], result["refused"]) == (0, 0, 0, 0)


def test_what_was_acknowledged_survives_the_death_of_the_server(place):
    rng = np.random.default_rng(2)
    killed = kill(*place, PHONES, rng, 0.1)
    assert killed["acknowledged"] > 0
    assert (killed["lost"], killed["twice"], killed["partial"], killed.get("damaged", 0)) == (0, 0, 0, 0)
