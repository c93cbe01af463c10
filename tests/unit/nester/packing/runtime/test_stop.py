"""A search ends when someone asks for it, or when it is too late."""

from threading import Thread

from nester.packing.runtime.stop import StopSignal, after_seconds, never


def test_a_signal_goes_on_until_asked():
    stop = StopSignal()
    assert not stop()
    assert not stop.is_asked
    stop.ask()
    stop.ask()
    assert stop()
    assert stop.is_asked


def test_another_thread_can_ask():
    stop = StopSignal()
    searcher_saw_it = []

    def search():
        while not stop():
            pass
        searcher_saw_it.append(True)

    searcher = Thread(target=search, daemon=True)
    searcher.start()
    stop.ask()
    searcher.join(timeout=10)
    assert searcher_saw_it == [True]


def test_a_signal_also_ends_when_it_is_too_late():
    now = [0.0]
    stop = StopSignal(after_seconds(5, clock=lambda: now[0]))
    assert not stop()
    now[0] = 5.0
    assert stop()
    assert not stop.is_asked


def test_asking_ends_it_before_it_is_too_late():
    stop = StopSignal(after_seconds(5, clock=lambda: 0.0))
    stop.ask()
    assert stop()


def test_never_goes_on():
    assert not never()
