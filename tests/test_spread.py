"""Work spread over processes and over a cluster: the same answers, also when a worker is ended half-way."""

import os
import signal
import sys
from importlib.util import find_spec

import numpy as np
import pytest

from panel.errors import PanelError
from panel.spread import spread

TASKS = 24
cluster = pytest.mark.skipif(find_spec("distributed") is None, reason="the extra 'cluster' is not installed")


def drawn(task):
    """Work that would show another order of sums, other numbers drawn, or a task done from a stale state."""
    number, seed, killer = task
    if killer and number == 7 and not os.path.exists(killer):
        with open(killer, "w") as file:
            file.write(str(os.getpid()))
        os.kill(os.getpid(), signal.SIGKILL)
    rng = np.random.default_rng(seed)
    square = rng.normal(size=(120, 120))
    return number, np.linalg.svd(square @ square.T, compute_uv=False).tobytes(), float(rng.normal())


def ends_itself(_task):
    os.kill(os.getpid(), signal.SIGKILL)


def tasks(killer=""):
    return [(number, seed, str(killer)) for number, seed in enumerate(np.random.SeedSequence(5).spawn(TASKS))]


@pytest.fixture(scope="module")
def alone():
    return list(spread(drawn, tasks(), workers=1))


def test_each_task_has_its_own_numbers_and_comes_in_order(alone):
    assert [number for number, *_ in alone] == list(range(TASKS))
    assert len({value for *_, value in alone}) == TASKS
    assert list(spread(drawn, [], workers=2)) == []


def test_two_processes_give_the_same_to_the_last_bit_also_when_one_is_killed(alone, tmp_path):
    assert list(spread(drawn, tasks(tmp_path / "killed"), workers=2)) == alone
    assert (tmp_path / "killed").exists()


def test_workers_that_are_lost_again_and_again_are_told():
    with pytest.raises(PanelError, match="ended 3 times in a row"):
        list(spread(ends_itself, [1, 2], workers=2))


@cluster
def test_a_cluster_gives_the_same_to_the_last_bit_also_when_one_of_its_workers_is_killed(alone, tmp_path):
    from distributed import LocalCluster

    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as two:
        assert list(spread(drawn, tasks(tmp_path / "killed"), scheduler=two.scheduler_address)) == alone
    assert (tmp_path / "killed").exists()


@cluster
def test_a_scheduler_that_is_not_there_is_told(monkeypatch):
    monkeypatch.setattr("panel.spread._ANSWERS_WITHIN", 0.3)
    with pytest.raises(PanelError, match="cannot be reached"):
        list(spread(drawn, tasks(), scheduler="tcp://127.0.0.1:9"))


def test_a_cluster_without_its_library_is_told(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(PanelError, match="'distributed'"):
        list(spread(drawn, tasks(), scheduler="tcp://127.0.0.1:9"))
