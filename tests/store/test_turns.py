import threading
import time

import pytest

from panel.errors import StudyError
from panel.store.database import _Turns


def test_threads_come_in_the_order_in_which_they_asked():
    turns, order = _Turns(10, "busy"), []

    def work(number):
        with turns.mine():
            order.append(number)

    with turns.mine():
        threads = []
        for number in range(20):
            threads.append(threading.Thread(target=work, args=(number,)))
            threads[-1].start()
            while len(turns._waiting) <= number + 1:
                time.sleep(0.001)
    for thread in threads:
        thread.join()
    assert order == list(range(20))


def test_only_one_at_a_time():
    turns, inside, most = _Turns(10, "busy"), [], []

    def work():
        for _ in range(50):
            with turns.mine():
                inside.append(1)
                most.append(len(inside))
                time.sleep(0)
                inside.pop()

    threads = [threading.Thread(target=work) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert max(most) == 1
    assert len(most) == 400


def test_a_wait_in_vain_is_told_and_harms_nobody():
    turns = _Turns(0.05, "still busy")
    told = []

    def work():
        try:
            with turns.mine():
                raise AssertionError
        except StudyError as error:
            told.append(str(error))

    with turns.mine():
        thread = threading.Thread(target=work)
        thread.start()
        thread.join()
    assert told == ["still busy"]
    with turns.mine():
        pass


def test_an_error_hands_the_turn_on():
    turns = _Turns(0.05, "busy")
    with pytest.raises(ValueError, match="x"), turns.mine():
        raise ValueError("x")
    with turns.mine():
        pass
