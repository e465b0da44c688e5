"""Slow work: progress before answers, the newest request wins, nothing is delivered late."""

import threading
from concurrent.futures import Executor, Future

import pytest
from PySide6.QtWidgets import QApplication

from depthwright_app.background import Background


class AtOnce(Executor):
    """Runs work in the calling thread, as soon as it is submitted."""

    def submit(self, work, /, *arguments, **named):
        future = Future()
        try:
            future.set_result(work(*arguments, **named))
        except BaseException as fault:
            future.set_exception(fault)
        return future


@pytest.fixture
def background(qapp):
    made = Background()
    yield made
    made.close()


@pytest.fixture
def heard():
    return []


def refuse(fault):
    raise AssertionError(f"unexpected failure: {fault!r}")


def idle(qtbot, background):
    qtbot.waitUntil(lambda: not background.busy(), timeout=30_000)


@pytest.mark.parametrize("executor", [None, AtOnce()], ids=["threads", "at once"])
def test_progress_comes_in_order_and_before_the_answer(qtbot, heard, executor):
    background = Background(executor=executor)

    def work(report):
        for step in range(5):
            report(step / 4)
        return "done"

    background.progressed.connect(lambda topic, fraction: heard.append((topic, fraction)))
    background.run("topic", work, heard.append, refuse, tells=True)
    idle(qtbot, background)
    background.close()
    told = [("topic", step / 4) for step in range(5)]
    assert heard == [("topic", 0.0), *told, ("topic", None), "done"]


def test_work_that_is_cancelled_is_no_longer_told_of(qtbot, background, heard):
    go = threading.Event()
    background.progressed.connect(lambda topic, fraction: heard.append((topic, fraction)))
    background.run("topic", lambda _: go.wait(5), refuse, refuse, tells=True)
    background.leave_job()
    go.set()
    idle(qtbot, background)
    assert heard == [("topic", 0.0), ("topic", None)]


def test_answers_arrive_on_the_thread_that_asked(qtbot, background, heard):
    def work(_):
        return threading.current_thread()

    background.run(
        "topic", work, lambda where: heard.extend([where, threading.current_thread()]), refuse
    )
    assert heard == [], "the answer may not come before run has returned"
    idle(qtbot, background)
    assert heard[1] is threading.current_thread()
    assert heard[0] is not heard[1]


def test_the_newest_request_of_a_topic_wins(qtbot, background, heard):
    begun, go = threading.Event(), threading.Event()

    def old(report):
        begun.set()
        assert go.wait(5)
        return "old"

    background.run("topic", old, heard.append, refuse)
    assert begun.wait(5)
    background.run("topic", lambda _: "new", heard.append, refuse)
    idle(qtbot, background)
    go.set()
    background.close()
    QApplication.processEvents()
    assert heard == ["new"]


def test_an_old_answer_that_comes_before_the_new_one_is_dropped(qtbot, background, heard):
    begun, old_go, new_go = threading.Event(), threading.Event(), threading.Event()

    def old(_):
        begun.set()
        assert old_go.wait(5)
        return "old"

    def new(_):
        assert new_go.wait(5)
        return "new"

    background.run("topic", old, heard.append, refuse)
    assert begun.wait(5)
    background.run("topic", new, heard.append, refuse)
    old_go.set()
    qtbot.wait(15)
    assert heard == []
    assert background.busy("topic")
    new_go.set()
    idle(qtbot, background)
    assert heard == ["new"]


def test_what_stands_apart_goes_on_when_another_job_is_opened(qtbot, background, heard):
    go = threading.Event()
    background.run("own", lambda _: go.wait(5), refuse, refuse)
    background.run("apart", lambda _: go.wait(5), heard.append, refuse, apart=True)
    background.leave_job()
    assert not background.busy("own")
    go.set()
    idle(qtbot, background)
    assert heard == [True]


def test_leaving_the_job_leaves_nothing_of_it_awaited(qtbot, background, heard):
    go = threading.Event()
    for topic in ("one", "two"):
        background.run(topic, lambda _: go.wait(5), heard.append, heard.append)
    background.leave_job()
    assert not background.busy()
    go.set()
    background.close()
    QApplication.processEvents()
    assert heard == []


def test_topics_do_not_disturb_each_other(qtbot, background, heard):
    for topic in ("one", "two", "three"):
        background.run(topic, lambda _, topic=topic: topic, heard.append, refuse)
    idle(qtbot, background)
    assert sorted(heard) == ["one", "three", "two"]


def test_what_is_done_behind_takes_turns_and_holds_up_nothing_else(qtbot, background, heard):
    go = threading.Event()
    for topic in ("one", "two", "three"):
        background.run(topic, lambda _, topic=topic: go.wait(5) and topic, heard.append, refuse,
                       behind=True)  # fmt: skip
    background.run("picture", lambda _: "picture", heard.append, refuse)
    qtbot.waitUntil(lambda: not background.busy("picture"), timeout=30_000)
    assert heard == ["picture"]
    assert background.busy("one")
    go.set()
    idle(qtbot, background)
    assert heard == ["picture", "one", "two", "three"]


def test_what_is_done_behind_waits_at_its_reports_until_the_rest_is_done(qtbot, background, heard):
    go, begun = threading.Event(), threading.Event()

    def check(report):
        begun.set()
        report(0.5)
        return "check"

    background.run("picture", lambda _: go.wait(5) and "picture", heard.append, refuse)
    background.run("check", check, heard.append, refuse, behind=True)
    assert begun.wait(5)
    qtbot.wait(30)
    assert heard == []
    go.set()
    idle(qtbot, background)
    assert heard == ["picture", "check"]


def test_what_is_done_behind_does_not_wait_for_ever(qtbot, background, heard, monkeypatch):
    monkeypatch.setattr("depthwright_app.background.GIVES_WAY_S", 0.02)
    go = threading.Event()
    background.run("export", lambda _: go.wait(5) and "export", heard.append, refuse)
    background.run("check", lambda report: report(0.5) or "check", heard.append, refuse,
                   behind=True)  # fmt: skip
    qtbot.waitUntil(lambda: heard == ["check"], timeout=30_000)
    go.set()
    idle(qtbot, background)


def test_what_waits_behind_does_not_begin_once_nobody_wants_it(qtbot, background, heard):
    go, begun = threading.Event(), []

    def second(report):
        report(0.0)
        begun.append(True)

    background.run("one", lambda _: go.wait(5), heard.append, refuse, behind=True)
    background.run("two", second, heard.append, refuse, behind=True)
    background.cancel("two")
    go.set()
    idle(qtbot, background)
    background.close()
    assert (heard, begun) == ([True], [])


def test_a_failure_is_delivered_as_it_was_raised(qtbot, background, heard):
    fault = ValueError("no such thing")

    def work(_):
        raise fault

    background.run("topic", work, lambda _: heard.append("done"), heard.append)
    idle(qtbot, background)
    assert heard == [fault]


def test_cancelled_work_stops_at_its_next_report_and_says_nothing(qtbot, background, heard):
    begun, go, after = threading.Event(), threading.Event(), []

    def work(report):
        begun.set()
        assert go.wait(5)
        report(0.5)
        after.append("went on")

    background.run("topic", work, heard.append, heard.append)
    assert begun.wait(5)
    assert background.busy("topic")
    background.cancel("topic")
    assert not background.busy("topic")
    go.set()
    background.close()
    QApplication.processEvents()
    assert heard == []
    assert after == []


def test_cancelling_what_was_never_asked_for_is_no_fault(background):
    background.cancel("topic")
    assert not background.busy()


def test_close_waits_for_the_threads_and_delivers_nothing_more(qtbot, heard):
    background = Background()
    begun, ended = threading.Event(), []

    def work(report):
        begun.set()
        try:
            while True:
                report(0.5)
        finally:
            ended.append(True)

    background.run("topic", work, heard.append, heard.append)
    assert begun.wait(5)
    background.close()
    assert ended == [True]
    QApplication.processEvents()
    assert heard == []
    assert not [thread for thread in threading.enumerate() if "depthwright" in thread.name]


def test_work_asked_for_in_an_answer_is_done_too(qtbot, background, heard):
    def again(value):
        heard.append(value)
        if value < 3:
            background.run("topic", lambda _: value + 1, again, refuse)

    background.run("topic", lambda _: 1, again, refuse)
    qtbot.waitUntil(lambda: len(heard) == 3, timeout=30_000)
    assert heard == [1, 2, 3]
