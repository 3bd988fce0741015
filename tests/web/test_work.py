"""The worker: one thing at a time beside the server, the same question once, and no harm from what breaks."""

import multiprocessing
import pickle
import sys
import types

import pytest

from underlid.web import work
from underlid.web.work import CRASHED, FAULT, MOST_WAITING, TooMuchAsked, Worker, answered

PATIENCE_S = 60
MADE = "underlid.web.views:made"


def beside():
    return [one for one in multiprocessing.active_children() if one.name == "underlid work"]


@pytest.fixture
def worker(settings):
    made = Worker(settings)
    yield made
    made.stop()
    assert beside() == []


@pytest.fixture
def ours(monkeypatch):
    """A module of ours whose functions can be asked."""

    class NotToBe(ValueError):
        """A refusal."""

    NotToBe.__module__ = "underlid.invented"

    def told(settings, progress, what):
        progress(0.5)
        return {"what": what, "now": settings.now().isoformat()}

    def refused(settings, progress):
        raise NotToBe("That cannot be; say it otherwise.")

    def broken(settings, progress):
        raise ZeroDivisionError("division by zero")

    made = types.ModuleType("underlid.invented")
    for function in (told, refused, broken):
        setattr(made, function.__name__, function)
    monkeypatch.setitem(sys.modules, "underlid.invented", made)
    return made


def test_a_question_is_put_to_the_function_that_it_names(ours, settings):
    shares: list[float] = []
    state, result = answered("underlid.invented:told", settings, shares.append, {"what": "worms"})
    assert (state, result["what"], shares) == ("done", "worms", [0.5])


def test_a_named_error_of_ours_is_a_refusal_in_its_own_words(ours, settings):
    told = answered("underlid.invented:refused", settings, print, {})
    assert told == ("refused", "That cannot be; say it otherwise.")


def test_any_other_error_is_a_fault_that_tells_nothing_of_the_inside(ours, settings, capsys):
    assert answered("underlid.invented:broken", settings, print, {}) == ("failed", FAULT)
    assert "ZeroDivisionError" in capsys.readouterr().err


@pytest.mark.parametrize("kind", ["os:getcwd", "json:loads", "underlid.invented:nothing_there", ""])
def test_only_functions_of_ours_can_be_asked(ours, settings, kind, capsys):
    assert answered(kind, settings, print, {}) == ("failed", FAULT)


def test_the_journal_is_worked_on_beside_and_the_same_question_is_the_same_job(worker):
    first, again = (worker.ask(MADE, bin="north") for _ in range(2))
    other = worker.ask(MADE, bin="nowhere")
    assert first == again != other
    done = worker.wait(first, PATIENCE_S)
    assert (done.state, done.progress, done.result["bin"], done.error) == ("done", 1.0, "north", None)
    refused = worker.wait(other, PATIENCE_S)
    assert refused.state == "refused"
    assert "nowhere" in refused.error
    assert worker.last(MADE, bin="north") == done
    assert worker.ask(MADE, bin="north") != first  # over: asked again, it is done again


def test_a_process_that_breaks_is_told_of_and_another_takes_its_place(worker):
    worker.wait(worker.ask(MADE, bin="nowhere"), PATIENCE_S)
    (process,) = beside()
    waiting = worker.ask(MADE, bin="north")
    process.kill()
    ended = worker.wait(waiting, PATIENCE_S)
    assert (ended.state, ended.error) == ("failed", CRASHED)
    after = worker.wait(worker.ask(MADE, bin="nowhere"), PATIENCE_S)
    assert after.state == "refused"
    assert process not in beside()


def test_an_answer_that_cannot_be_read_harms_no_other_question(worker, monkeypatch):
    def unreadable(self, job):
        raise pickle.UnpicklingError("invented")

    with monkeypatch.context() as broken:
        broken.setattr(Worker, "_answered", unreadable)
        id = worker.ask(MADE, bin="north")
        worker.wait(id, PATIENCE_S)
        assert (worker.job(id).state, worker.job(id).error) == ("failed", CRASHED)
    again = worker.ask(MADE, bin="south")
    worker.wait(again, PATIENCE_S)
    assert worker.job(again).over


def test_what_waits_can_be_ended_at_once(settings):
    worker = Worker(settings)
    job = worker.ask(MADE, bin="north")
    worker.stop()
    ended = worker.job(job)
    assert ended is not None
    assert ended.state != "done"
    assert beside() == []


def test_a_worker_that_was_never_asked_can_be_ended(settings):
    Worker(settings).stop()


def test_too_much_is_refused_and_what_a_keeper_waits_for_comes_first(settings, monkeypatch):
    begun: list[str] = []
    worker = Worker(settings)
    monkeypatch.setattr(worker, "_work", lambda: None)  # nothing is taken from the line
    jobs = [worker.ask(MADE, bin=f"bin {i}") for i in range(MOST_WAITING)]
    with pytest.raises(TooMuchAsked, match="again"):
        worker.ask(MADE, bin="one more")
    monkeypatch.undo()
    monkeypatch.setattr(work, "MOST_WAITING", MOST_WAITING + 1)
    urgent = worker.ask(MADE, first=True, bin="urgent")

    def done(job):
        begun.append(job.id)
        return "done", None, None

    monkeypatch.setattr(worker, "_answered", done)
    worker._thread = None
    last = worker.ask(MADE, bin="bin 39")  # waits already: the same job, and the line moves on
    assert last == jobs[-1]
    monkeypatch.setattr(work, "MOST_WAITING", MOST_WAITING + 2)
    worker.wait(worker.ask(MADE, bin="the last"), PATIENCE_S)
    worker.stop()
    assert begun[0] == urgent
    assert begun[1:-1] == jobs


def test_an_unknown_job_is_none(worker):
    assert worker.job("0" * 32) is None
