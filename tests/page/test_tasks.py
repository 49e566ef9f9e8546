"""Long work: one thing after another, how far it is, and an end when it is told to stop."""

import threading

import pytest

from liltwright.errors import PipelineError
from liltwright.page.tasks import MOST_WAITING, Tasks

LONG_S = 10.0


@pytest.fixture
def tasks():
    these = Tasks()
    yield these
    these.close()


def ended(tasks: Tasks) -> None:
    """Wait until all that was begun before is done."""
    done = threading.Event()
    tasks.start("last", lambda _: (done.set(), "")[1])
    assert done.wait(LONG_S)


def test_what_came_out_is_known_by_its_task(tasks):
    task = tasks.start("hear it", lambda _: "tune-7")
    ended(tasks)
    told = tasks.get(task.id).plain()
    assert (told["words"], told["tune"], told["done"], told["error"]) == (
        "hear it", "tune-7", True, "",
    )  # fmt: skip
    assert (told["stage"], told["fraction"]) == ("done", 1.0)


def test_one_thing_is_done_at_a_time(tasks):
    here, most = [], []

    def work(_) -> str:
        here.append(1)
        most.append(len(here))
        here.pop()
        return ""

    for _ in range(5):
        tasks.start("one of many", work)
    ended(tasks)
    assert most == [1] * 5


def test_a_task_that_is_told_to_stop_ends_at_its_next_word(tasks):
    begun, go_on, after = threading.Event(), threading.Event(), []

    def work(task) -> str:
        begun.set()
        assert go_on.wait(LONG_S)
        task.progress("half way", 0.5)
        after.append("it went on")
        return "tune"

    task = tasks.start("long", work)
    assert begun.wait(LONG_S)
    tasks.stop(task.id)
    go_on.set()
    ended(tasks)
    assert not after
    assert (task.error, task.tune, task.done) == ("Stopped; nothing was kept.", "", True)


def test_a_fault_of_the_input_is_its_sentence_and_a_bug_is_not(tasks, capsys):
    def refused(_) -> str:
        raise PipelineError("this is no tune.")

    def broken(_) -> str:
        raise ZeroDivisionError("a bug")

    one, two = tasks.start("a", refused), tasks.start("b", broken)
    ended(tasks)
    assert one.error == "this is no tune."
    assert two.error == "Something went wrong in the program; the terminal says what."
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_more_than_can_wait_is_refused(tasks):
    go_on = threading.Event()
    for _ in range(MOST_WAITING):
        tasks.start("waiting", lambda _: (go_on.wait(LONG_S), "")[1])
    with pytest.raises(PipelineError, match=f"{MOST_WAITING} things are waiting"):
        tasks.start("one more", lambda _: "")
    go_on.set()


def test_what_is_not_known_any_more_is_said_so(tasks):
    with pytest.raises(PipelineError, match="not known any more"):
        tasks.get("nothing")
