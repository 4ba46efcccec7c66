"""A sync with a second program, which has it only from `schemas/session.md`: the frames are as described there, Noise is that of another
library, and peers of other versions are told what to do."""

import contextlib
import datetime
import hashlib
import json
import random
import re
import signal
import socket
import subprocess
import threading

import cbor2
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from days import Change, Day, read_change, read_document
from exchange import Exchange, Held
from histories import Case
from packs import Content, write_pack
from reckon import built
from talk import CHANGES, CLOCK, DAYS, DONE, GOODBYE, HELLO, KEPT, PIECE, RECORDS, ROSTER, SIGNATURES, VECTORS, Channel, call, covers_of, short
from verdict import Device, judge

class Crew:
    """A base with a day and a phone that it has let in, as stores of the program."""

    def fill(self):
        """A day of some size: changes of many entries and of one."""
        now = datetime.datetime.now().astimezone().isoformat(timespec="milliseconds")
        notes = [{"kind": "note", "topic": "general", "at": now, "note": f"note {n} of many"} for n in range(900)]
        for begin in range(0, 900, 300):
            lines = "".join(json.dumps(note) + "\n" for note in notes[begin:begin + 300])
            self.run("base", "log", "--from", "-", stdin=lines)
        for n in range(60):
            self.run("base", "log", "note", "--topic", "general", "--note", f"one alone, {n}")
        return self

    def __init__(self, folder):
        self.program, self.folder = built("firnbook"), folder
        self.run("base", "settings", "me", "Base")
        self.run("phone", "settings", "me", "Obs1")
        self.run("base", "day", "new", "--area", "Upper Bowl")
        self.run("base", "crew", "new")
        code = self.run("base", "crew", "invite", "--addr", "127.0.0.1:1")["code"]
        self.run("phone", "crew", "join", code)
        with self.listening() as at:
            self.run("phone", "sync", at)
        self.keys = json.loads((folder / "phone.firnstore.keys").read_text())
        self.device = json.loads((folder / "base.firnstore.device").read_text())["device"]

    def command(self, store, *line):
        return [self.program, "--store", str(self.folder / f"{store}.firnstore"), *line]

    def run(self, store, *line, stdin=None):
        done = subprocess.run([*self.command(store, *line), "--json"], input=stdin, capture_output=True, text=True, timeout=60)
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    @contextlib.contextmanager
    def listening(self):
        process = subprocess.Popen(self.command("base", "listen", "--addr", "127.0.0.1:0"), stderr=subprocess.PIPE,
                                   stdout=subprocess.PIPE, text=True)
        try:
            yield re.search(r"127\.0\.0\.1:\d+", process.stderr.readline())[0]
        except BaseException:
            process.kill()
            raise
        process.send_signal(signal.SIGINT)
        self.told = "".join(process.communicate(timeout=30))
        assert process.returncode == 0, self.told


@pytest.fixture(scope="module")
def crew(tmp_path_factory):
    return Crew(tmp_path_factory.mktemp("crew")).fill()


def greet(peer, **other):
    peer.hello(**other)
    number, hello = peer.receive()
    assert number == HELLO
    assert {"v", "device", "label", "clock", "crew", "roster", "stamp"} <= hello.keys()
    assert (hello["v"], hello["label"], hello["crew"]) == (2, "Base", bytes.fromhex(peer.keys["crew"]))
    assert len(hello["device"]) == 16
    assert hello["stamp"]["echo"][0] <= hello["stamp"]["echo"][1] + 5_000
    return hello


def finish(peer):
    """Answers clocks until base says that all is done."""
    clocks = 0
    while True:
        number, content = peer.receive()
        if number == CLOCK:
            assert content["sent"] > 0
            peer.send(CLOCK, peer.stamp())
            clocks += 1
        else:
            assert (number, content) == (DONE, None)
            peer.send(DONE, None)
            assert peer.receive() is None
            return clocks


def whole_day(peer, day_id):
    """What comes of a day that is not held here: signatures, changes beside the document, the document, and the sizes of its pieces."""
    covers, aside, data, sizes = [], [], b"", []
    while True:
        number, content = peer.receive()
        assert content["day"] == day_id
        if number == SIGNATURES:
            assert not aside and not data
            covers += covers_of(content)
        elif number == CHANGES:
            assert not data and content["left"] > 0
            aside += [read_change(day_id, change) for change in content["changes"]]
        else:
            assert number == PIECE and not content.get("change") and content["at"] == len(data)
            data += content["bytes"]
            sizes.append(len(content["bytes"]))
            if len(data) == content["length"]:
                assert hashlib.sha256(data).digest() == content["sha256"]
                return covers, aside, data, sizes


def lacking(peer, day_id):
    """What comes of a day of which vectors were sent: the other's vectors, signatures and changes."""
    theirs, covers, changes, large = None, [], [], b""
    while True:
        number, content = peer.receive()
        assert content["day"] == day_id
        if number == VECTORS:
            assert not content.get("more")
            theirs = content
        elif number == SIGNATURES:
            assert not changes
            covers += covers_of(content)
        elif number == PIECE:
            assert content["change"]
            large = content["bytes"] if content["at"] == 0 else large + content["bytes"]
            if len(large) == content["length"]:
                assert hashlib.sha256(large).digest() == content["sha256"]
                changes.append(read_change(day_id, large))
        else:
            assert number == CHANGES
            changes += [read_change(day_id, change) for change in content["changes"]]
            if content["left"] == 0:
                return theirs, covers, changes


def days_of(peer, held=()):
    """Says which days are held here, and returns those of the other side."""
    greet(peer)
    peer.send(DAYS, {"days": [list(pair) for pair in held], "stamp": peer.stamp()})
    number, days = peer.receive()
    assert number == DAYS and not days.get("more")
    return {bytes(day): bytes(hash) for day, hash in days["days"]}


def test_a_day_that_the_other_lacks_comes_as_a_document_in_pieces(crew):
    with crew.listening() as at:
        peer = call(at, crew.keys)
        [(day_id, day_hash)] = days_of(peer).items()
        covers, aside, data, sizes = whole_day(peer, day_id)
        assert sizes[:3] == [1_024, 2_048, 4_096] and not aside
        day, changes, heads = read_document(day_id, data)
        verdict = judge(day, changes, covers)
        assert len(verdict.visible) == len(changes) and not judge(day, changes, []).visible
        shown = crew.run("base", "day", "show")
        assert (day_id.hex(), [head.hex() for head in heads]) == (shown["day"], shown["heads"])
        assert day_hash == Held(day, changes, covers).hash
        peer.send(KEPT, {"day": day_id, "changes": len(changes), "complete": True})
        assert 1 <= finish(peer) <= 8
    assert "Second program" in crew.told


def test_equal_days_are_two_frames_each(crew):
    with crew.listening() as at:
        shown = crew.run("base", "day", "show")
        held = (bytes.fromhex(shown["day"]), short([bytes.fromhex(head) for head in shown["heads"]], 16))
        peer = call(at, crew.keys)
        assert days_of(peer, [held]) == dict([held])
        assert peer.receive() is None


def test_changes_that_the_other_lacks_come_causes_first_after_their_signatures(crew):
    with crew.listening() as at:
        shown = crew.run("base", "day", "show")
        day = Day(shown["date"], shown["area"])
        peer = call(at, crew.keys)
        days_of(peer, [(day.id, bytes(16))])
        # Nothing is held of it: all changes are to come.
        peer.send(VECTORS, Held(day).vectors())
        theirs, covers, changes = lacking(peer, day.id)
        for n, change in enumerate(changes):
            assert set(change.deps) <= {day.first, *(before.hash for before in changes[:n])}
        verdict = judge(day, changes, covers)
        assert len(verdict.visible) == len(changes) == sum(theirs["seqs"])
        assert theirs == Held(day, changes, covers).vectors() and {bytes.fromhex(head) for head in shown["heads"]} <= verdict.visible.keys()
        peer.send(KEPT, {"day": day.id, "changes": len(changes), "complete": True})
        # Base in its turn waits for what it lacks: nothing.
        peer.send(CHANGES, {"day": day.id, "changes": [], "left": 0})
        assert peer.receive() == (KEPT, {"day": day.id, "changes": 0, "complete": True})
        finish(peer)
    assert crew.run("base", "day", "show")["heads"] == shown["heads"]


def test_records_of_the_crew(crew):
    with crew.listening() as at:
        peer = call(at, crew.keys)
        hello = greet(peer, roster=bytes(8))
        number, ids = peer.receive()
        assert number == ROSTER and short(ids, 8) == hello["roster"]
        peer.send(ROSTER, [])
        records, more = [], True
        while more:
            number, part = peer.receive()
            assert number == RECORDS
            records, more = records + part["records"], part.get("more", False)
        assert sorted(hashlib.sha256(r).digest()[:16] for r in records) == sorted(ids)
        acts = []
        for record in records:
            act, key, signature = cbor2.loads(record)
            Ed25519PublicKey.from_public_bytes(key).verify(signature, b"firnbook-crew-record-1\n" + act)
            acts.append(cbor2.loads(act)["act"])
        assert sorted(acts) == ["found", "invite", "join"]
        found = next(r for r in records if cbor2.loads(cbor2.loads(r)[0])["act"] == "found")
        assert hashlib.sha256(found).digest()[:16].hex() == crew.keys["crew"]


@pytest.mark.parametrize("v, says", [(3, "install the newer Firnbook here"), (1, "install the newer Firnbook on your device")])
def test_base_tells_a_caller_of_another_version_what_to_do(crew, v, says):
    with crew.listening() as at:
        peer = call(at, crew.keys)
        peer.hello(v=v)
        number, content = peer.receive()
        assert number == GOODBYE and says in content and f"yours {v}" in content
        assert peer.receive() is None


@pytest.mark.parametrize("v, says", [(3, "install the newer Firnbook here"), (1, "install the newer Firnbook there")])
def test_sync_tells_its_owner_what_to_do_about_a_base_of_another_version(crew, v, says):
    listener = socket.create_server(("127.0.0.1", 0))
    heard = []

    def base():
        peer = Channel(listener.accept()[0], crew.keys | {"device": "00112233445566778899aabbccddeeff"}, calls=False)
        heard.append(peer.receive())
        peer.hello(v=v)
        heard.append(peer.receive())

    thread = threading.Thread(target=base)
    thread.start()
    done = subprocess.run(crew.command("phone", "sync", f"127.0.0.1:{listener.getsockname()[1]}"), capture_output=True, text=True,
                          timeout=60)
    thread.join(30)
    assert done.returncode == 1 and done.stderr.count("\n") == 1
    assert done.stderr.startswith("firnbook: error:") and says in done.stderr and f"version {v}" in done.stderr
    # It says goodbye in its turn, so that the other one's owner hears of it too.
    assert heard[0][0] == HELLO and heard[1][0] == GOODBYE


def test_an_unknown_frame_that_may_be_passed_over_is(crew):
    with crew.listening() as at:
        peer = call(at, crew.keys)
        peer.send(0x91, {"weather": "fair"})
        greet(peer)
        assert peer.receive()[0] == DAYS
        peer.send(0x11, {"weather": "fair"})
        number, says = peer.receive()
        assert number == GOODBYE and "type 17" in says


@pytest.mark.parametrize("frame", [b"\xff\xff\xff\xff\x06", b"\x00\x10\x00\x01\x06", b"\x00\x00\x00\x00"])
def test_a_frame_that_says_four_gigabytes_ends_the_session_at_once(crew, frame):
    with crew.listening() as at:
        peer = call(at, crew.keys)
        greet(peer)
        assert peer.receive()[0] == DAYS
        peer.send_bytes(frame)
        number, says = peer.receive()
        assert number == GOODBYE and "announced a frame of" in says
        assert peer.receive() is None
        # Base goes on serving.
        greet(call(at, crew.keys))


@pytest.fixture
def empty_crew(tmp_path):
    return Crew(tmp_path)


DAY, ALICE = Day("2027-02-06", "Upper Bowl"), Device(bytes(range(32)))


def line(first, last, before=None, text="a"):
    """Entries of one opening of Alice's store, each a change on the one before."""
    changes = []
    for seq in range(first, last + 1):
        id = f"01KH5QX2M8Z4T6V9B3C1{ord(text) - 96:02}{seq:04}"
        entry = {"id": id, "kind": "note", "topic": "general", "at": "2027-02-06T10:00:00.000+01:00", "by": "Alice", "note": f"{text} {seq}"}
        deps = (before.hash,) if before else (DAY.first,)
        before = Change(DAY.id, ALICE.id + b"opening\0", seq, before.last_op + 1 if before else 6, deps, ((id, json.dumps(entry)),))
        changes.append(before)
    return changes


def signed(*tips):
    return ALICE.cover(DAY.id, [change.hash for change in tips])


def merge(crew, contents):
    """Base takes in what somebody brings as a file."""
    file = crew.folder / f"{len(list(crew.folder.iterdir()))}.firn"
    file.write_bytes(write_pack(ALICE.id, contents))
    crew.run("base", "merge", file)


def held_by(crew, changes, covers):
    merge(crew, [Content(DAY, [], covers, changes)])


def sync(crew, held):
    """One session of a second program that holds these days with base."""
    with crew.listening() as at:
        peer = call(at, crew.keys)
        greet(peer)
        return Exchange(peer, held)


def sync_until_equal(crew, held):
    """Base notes after a session how the clocks compare: an entry of its own. So the second session is the first that can find all equal."""
    equal = [sync(crew, held).equal for _ in range(4)]
    assert equal[-1], "the days never become equal"
    return equal.index(True)


def counts(crew, day):
    """Entries by Alice, changes that wait, changes withdrawn."""
    [shown] = [d for d in crew.run("base", "day", "list")["days"] if d["day"] == day.id.hex()]
    return len(crew.run("base", "entries", "--day", day.id.hex(), "--by", "Alice")["entries"]), shown["waiting"], shown["withdrawn"]


def test_a_day_with_what_waits_is_brought_whole_and_is_equal_then(empty_crew):
    changes = line(1, 5)
    held = {DAY.id: Held(DAY, changes, [signed(changes[2])])}
    sync(empty_crew, held)
    assert counts(empty_crew, DAY) == (3, 2, 0)
    assert sync_until_equal(empty_crew, held) <= 1


@pytest.mark.parametrize("forged", [1, 2, 9])
def test_what_somebody_forged_never_stands_for_what_was_signed(empty_crew, forged):
    """The second program was given changes in the name of a device, which nobody signed, before those that the device wrote."""
    changes = line(1, 4)
    held_by(empty_crew, changes, [signed(changes[-1])])
    held = {DAY.id: Held(DAY, line(1, forged, text="f"))}
    sync(empty_crew, held)
    assert held[DAY.id].verdict.visible.keys() == {change.hash for change in changes}
    sync_until_equal(empty_crew, held)
    assert counts(empty_crew, DAY) == (4, forged, 0)


@pytest.mark.parametrize("forged", [1, 2, 9])
def test_what_was_forged_before_at_base_keeps_nothing_out(empty_crew, forged):
    changes = line(1, 4)
    held_by(empty_crew, line(1, forged, text="f"), [])
    held = {DAY.id: Held(DAY, changes, [signed(changes[-1])])}
    sync(empty_crew, held)
    assert counts(empty_crew, DAY) == (4, forged, 0)
    sync_until_equal(empty_crew, held)
    assert len(held[DAY.id].verdict.waiting) == forged


def test_a_signature_whose_changes_are_missing_is_kept_and_named(empty_crew):
    changes = line(1, 3)
    held_by(empty_crew, changes[:1], [signed(changes[0]), signed(changes[2])])
    held = {DAY.id: Held(DAY, changes[1:])}
    sync(empty_crew, held)
    assert counts(empty_crew, DAY) == (3, 0, 0) and len(held[DAY.id].verdict.visible) == 3
    sync_until_equal(empty_crew, held)


def test_both_branches_of_a_fork_reach_both(empty_crew):
    trunk = line(1, 2)
    left, right = line(3, 5, trunk[-1], text="l"), line(3, 4, trunk[-1], text="r")
    held_by(empty_crew, trunk + left, [signed(left[-1])])
    held = {DAY.id: Held(DAY, trunk + right, [signed(right[-1])])}
    sync(empty_crew, held)
    sync(empty_crew, held)
    assert counts(empty_crew, DAY) == (2, 0, 5)
    assert held[DAY.id].verdict.visible.keys() == {change.hash for change in trunk} and len(held[DAY.id].verdict.withdrawn) == 5
    sync_until_equal(empty_crew, held)
    # Who still takes one branch for good is sent the proof.
    unaware = {DAY.id: Held(DAY, trunk + right, [signed(right[-1])])}
    unaware |= {id: day for id, day in held.items() if id != DAY.id}
    sync(empty_crew, unaware)
    assert unaware[DAY.id].verdict.forks == held[DAY.id].verdict.forks


def split(rng, things):
    """Two parts; some of it is in both, some in none."""
    return [[thing for thing in things if rng.random() < 0.6] for _ in range(2)]


def test_a_fork_is_found_by_who_holds_the_signatures_already(empty_crew):
    """As after a connection that broke behind the signatures."""
    trunk = line(1, 2)
    left, right = line(3, 4, trunk[-1], text="l"), line(3, 3, trunk[-1], text="r")
    covers = [signed(left[-1]), signed(right[-1])]
    held_by(empty_crew, trunk + left + right, covers)
    held = {DAY.id: Held(DAY, trunk, [signed(trunk[-1]), *covers])}
    sync_until_equal(empty_crew, held)
    assert len(held[DAY.id].verdict.withdrawn) == 3


def test_of_two_waiting_changes_at_one_position_both_go_over(empty_crew):
    one, other = line(1, 2), line(1, 2, text="f")
    held_by(empty_crew, one + other, [])
    held = {DAY.id: Held(DAY, one)}
    sync_until_equal(empty_crew, held)
    assert len(held[DAY.id].verdict.waiting) == 4
    held[DAY.id].take([], [signed(other[-1])])
    sync_until_equal(empty_crew, held)
    assert counts(empty_crew, DAY) == (2, 2, 0)


@pytest.mark.parametrize("seed", range(4))
def test_random_histories_come_to_the_same_on_both_sides(empty_crew, seed):
    """Each side holds a part of some days. A few sessions bring everything over, and then all is equal."""
    rng = random.Random(seed)
    base, held, union = [], {}, {}
    for number in range(30):
        case = Case(rng, number)
        (theirs, ours), (their_covers, our_covers) = split(rng, case.changes), split(rng, case.covers)
        if rng.random() < 0.2:
            theirs, their_covers = [], []
        else:
            base.append(Content(case.day, [], their_covers, theirs))
        held[case.day.id] = Held(case.day, ours, our_covers)
        union[case.day.id] = judge(case.day, theirs + ours, their_covers + our_covers)
    merge(empty_crew, base)
    sync_until_equal(empty_crew, held)
    shown = {d["day"]: (d["waiting"], d["withdrawn"]) for d in empty_crew.run("base", "day", "list")["days"]}
    for id, verdict in union.items():
        ours = held[id].verdict
        # Base notes in the latest day how the clocks compare.
        visible = {hash for hash, change in ours.visible.items() if change.device.hex() != empty_crew.device}
        assert (visible, ours.withdrawn, ours.forks) == (set(verdict.visible), verdict.withdrawn, verdict.forks)
        assert shown[id.hex()] == (len(ours.waiting), len(ours.withdrawn))
