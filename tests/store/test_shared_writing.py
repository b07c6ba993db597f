import threading
import time

import pytest
from sqlalchemy import text

from panel.errors import StudyError
from panel.store.database import _SharedWriting, open_store


@pytest.fixture
def file(tmp_path):
    store = open_store(tmp_path / "b.sqlite")
    with store.writing() as connection:
        connection.execute(text("CREATE TABLE mark (a INTEGER PRIMARY KEY)"))
    yield store
    store.close()


def insert(value, refuse=""):
    def work(connection):
        connection.execute(text(f"INSERT INTO mark VALUES ({value})"))
        if refuse:
            raise StudyError(refuse)
        return value

    return work


def kept(store):
    with store.reading() as connection:
        return set(connection.execute(text("SELECT a FROM mark")).scalars())


def together(store, works):
    """Run works in threads that all wait before the first is written; return results or errors, and transactions."""
    counted = []

    def begin():
        counted.append(1)
        return store.writing()

    shared, results = _SharedWriting(begin), {}

    def run(number, work):
        try:
            results[number] = shared.run(work)
        except Exception as error:
            results[number] = error

    threads = [threading.Thread(target=run, args=item) for item in enumerate(works)]
    shared._busy = True  # as if somebody were writing
    for number, thread in enumerate(threads, start=1):
        thread.start()
        while len(shared._waiting) < number:  # they stand in line in their order
            time.sleep(0.001)
    shared._hand_on()
    for thread in threads:
        thread.join()
    return [results[number] for number in range(len(works))], len(counted)


def test_what_arrives_together_is_written_together(file):
    results, transactions = together(file, [insert(value) for value in range(20)])
    assert results == list(range(20))
    assert transactions == 1
    assert kept(file) == set(range(20))


def test_one_that_is_refused_takes_only_itself_back(file):
    results, _ = together(file, [insert(1), insert(2, "no"), insert(3)])
    assert (results[0], str(results[1]), results[2]) == (1, "no", 3)
    assert kept(file) == {1, 3}


def test_what_the_database_refuses_takes_only_itself_back(file):
    results, _ = together(file, [insert(1), insert(1), insert(3), insert(3), insert(4)])  # the same key twice
    assert [result for result in results if isinstance(result, int)] == [1, 3, 4]
    assert [isinstance(results[place], Exception) for place in (1, 3)] == [True, True]
    assert kept(file) == {1, 3, 4}


def test_if_nothing_can_be_kept_all_are_told(file):
    def failing():
        raise StudyError("the disk is gone")

    shared = _SharedWriting(failing)
    with pytest.raises(StudyError, match="the disk is gone"):
        shared.run(insert(1))
    assert kept(file) == set()


def test_it_goes_on_after_a_failure(file):
    together(file, [insert(1), insert(1)])
    assert file.add(insert(5)) == 5
    assert kept(file) == {1, 5}


def test_who_comes_while_others_are_written_is_written_next_and_nobody_waits_for_ever(file):
    shared, order = _SharedWriting(file.writing), []

    def run(number):
        for value in range(25):
            assert shared.run(insert(100 * number + value)) == 100 * number + value
        order.append(number)

    threads = [threading.Thread(target=run, args=(number,)) for number in range(1, 9)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert sorted(order) == list(range(1, 9))
    assert len(kept(file)) == 200
    assert not shared._busy
