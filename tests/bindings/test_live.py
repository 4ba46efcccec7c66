"""Crews and live exchange through the Python package: founding, inviting, joining, being base, calling it, stopping, removing."""

import contextlib
import socket
import threading
import time

import firnbook as f
import pytest
from test_door import DATE, Ear, strike


@pytest.fixture
def base(tmp_path):
    log = f.Logbook.open(str(tmp_path / "base.firnbook"))
    log.found_crew("Base")
    return log


@pytest.fixture
def phone(tmp_path, base):
    log = f.Logbook.open(str(tmp_path / "phone.firnbook"))
    shown = log.join_crew(base.invite(12), "Obs1")
    assert shown.joining
    return log


@contextlib.contextmanager
def listening(log):
    """A base, by whose side another thread asks for what happens; gives its address and the list of events."""
    live, events, over = log.open_base("Base", "127.0.0.1:0"), [], threading.Event()

    def hear():
        while True:
            event = live.next_event(50)
            if event is not None:
                events.append(event)
            elif over.is_set():
                return

    thread = threading.Thread(target=hear)
    thread.start()
    try:
        [address] = live.addresses()
        yield address, events
    finally:
        live.end()
        over.set()
        thread.join(60)
    assert live.ended() and not thread.is_alive()


class Watch(f.ExchangeWatch):
    def __init__(self, log, go_on=lambda progress: True):
        self.log, self.go_on, self.seen, self.days = log, go_on, [], []

    def goes_on(self, progress):
        self.seen.append(progress)
        self.days.append(len(self.log.days()))
        return self.go_on(progress)


def a_day(log, by, strikes):
    day = log.begin_day(DATE, "Upper Bowl", by).day
    for _ in range(strikes):
        strike(log, day)
    return day


def test_devices_of_a_crew_exchange_everything(base, phone):
    day = a_day(base, "Lead", 3)
    a_day(phone, "Obs1", 5)
    at_base, at_phone = Ear(), Ear()
    base.listen(at_base)
    phone.listen(at_phone)
    watch = Watch(phone)
    with listening(base) as (address, events):
        called = phone.sync("Obs1", [address], watch)
    assert (called.address, called.calls) == (address, 1)
    assert (called.report.peer, called.report.peer_label) == (base.device(), "Base")
    assert (called.report.new_entries, called.report.days, called.report.refused) == (3, [day], [])
    assert called.report.clock.uncertainty_ms >= 10.0
    assert watch.seen[-1].peer_label == "Base" and watch.seen[-1].days_done == 1 and set(watch.days) == {1}
    assert [type(event) for event in events if not event.is_progress()] == [f.BaseEvent.ARRIVED, f.BaseEvent.ENDED]
    assert events[-1].report.new_entries == 5 and events[-1].error is None
    assert ("exchanged", 5) in at_base.heard and ("exchanged", 3) in at_phone.heard
    assert len(phone.entries(f.Filter())) == 8
    # Base has written down how far the phone's clock is from its own.
    assert sorted(row.noted.entry.common.kind for row in base.entries(f.Filter())) == ["clock"] + ["strike"] * 8
    labels = [device.label for device in base.crew().devices]
    assert labels == ["Base", "Obs1"] and [d.label for d in phone.crew().devices] == labels and not phone.crew().joining
    with listening(base) as (address, _):
        assert phone.sync("Obs1", [address]).report.new_entries == 1


def test_an_exchange_that_is_stopped_keeps_what_was_confirmed_and_goes_on_later(base, phone):
    a_day(phone, "Obs1", 20)
    with listening(base) as (address, _):
        with pytest.raises(f.FirnbookError.Exchange) as stopped:
            phone.sync("Obs1", [address], Watch(phone, lambda progress: progress.peer is None))
        assert stopped.value.stopped and "kept" in str(stopped.value)
        phone.sync("Obs1", [address])
    assert len([row for row in base.entries(f.Filter(kind="strike"))]) == 20


def test_a_call_that_nobody_answers_is_stopped_from_another_thread(phone):
    with socket.create_server(("127.0.0.1", 0)) as silent:
        stopper = f.Stopper()
        threading.Timer(0.3, stopper.stop).start()
        begun = time.monotonic()
        with pytest.raises(f.FirnbookError.Exchange) as stopped:
            phone.sync("Obs1", ["{}:{}".format(*silent.getsockname())], stopper=stopper)
    assert stopped.value.stopped and time.monotonic() - begun < 5


def test_a_watch_that_throws_does_not_stop_an_exchange(base, phone):
    def throw(progress):
        raise RuntimeError("no")

    a_day(phone, "Obs1", 1)
    with listening(base) as (address, _):
        assert phone.sync("Obs1", [address], Watch(phone, throw)).report.sent > 0


def test_a_removed_device_finds_doors_closed(base, phone):
    day = a_day(phone, "Obs1", 1)
    with listening(base) as (address, _):
        phone.sync("Obs1", [address])
    shown = base.remove_from_crew("Obs1")
    assert [(d.label, d.removed) for d in shown.devices] == [("Base", False), ("Obs1", True)]
    key = shown.key
    assert base.rotate_crew_key().key != key
    with listening(base) as (address, events):
        with pytest.raises((f.FirnbookError.Crew, f.FirnbookError.Exchange)) as refused:
            phone.sync("Obs1", [address])
        assert not refused.value.stopped if isinstance(refused.value, f.FirnbookError.Exchange) else True
    with pytest.raises(f.FirnbookError.Crew) as removed:
        base.merge(phone.pack([day]).bytes)
    assert "removed" in str(removed.value)
    phone.leave_crew()
    assert phone.crew() is None and len(phone.days()) == 1


def test_what_the_crew_does_not_allow_is_said_without_commands(base, phone, tmp_path):
    alone = f.Logbook.open(str(tmp_path / "alone.firnbook"))
    code = base.invite(1)
    calls = [
        lambda: alone.invite(1), lambda: base.found_crew("Again"), lambda: base.invite(0), lambda: base.invite(337),
        lambda: base.join_crew(code, "Base"), lambda: alone.join_crew(code, " "), lambda: alone.join_crew(code, "x" * 61),
        lambda: alone.join_crew("FIRN-", "A"), lambda: alone.join_crew(code[:-1], "A"), lambda: alone.join_crew("hello", "A"),
        lambda: alone.join_crew("x" * 1_000_000, "A"), lambda: base.remove_from_crew("Base"), lambda: base.remove_from_crew("Nobody"),
        alone.leave_crew, alone.rotate_crew_key, phone.rotate_crew_key, lambda: alone.sync("A"), lambda: alone.open_base("A"),
    ]
    for call in calls:
        with pytest.raises(f.FirnbookError.Crew) as refused:
            call()
        assert_plain(refused.value)
    for call in [lambda: phone.sync("A"), lambda: phone.sync("A", ["127.0.0.1:1"]), lambda: phone.sync("A", ["no such place:1"])]:
        with pytest.raises(f.FirnbookError.Exchange) as refused:
            call()
        assert_plain(refused.value)
        assert not refused.value.stopped
    for call in [lambda: base.open_base("B", "somewhere"), lambda: base.invite(1, ["192.168.1.7"])]:
        with pytest.raises(f.FirnbookError.Refused) as refused:
            call()
        assert refused.value.faults[0].fault.field == "address"
    with listening(base) as (address, _), pytest.raises(f.FirnbookError.Exchange) as taken:
        base.open_base("B", address)
    assert_plain(taken.value)


def assert_plain(error):
    sentence = str(error)
    assert len(sentence) > 20 and not any(word in sentence for word in ("`", "firnbook ", "--")), sentence


def test_an_invitation_names_base_and_the_day(base, tmp_path):
    day = a_day(base, "Lead", 0)
    new = f.Logbook.open(str(tmp_path / "new.firnbook"))
    new.join_crew(base.invite(12, ["127.0.0.1:9"], day).lower(), "Obs2")
    assert [d.id for d in new.days()] == [day]
    with pytest.raises(f.FirnbookError.Exchange) as refused:
        new.sync("Obs2")
    assert "127.0.0.1:9" in str(refused.value)
