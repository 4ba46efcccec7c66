"""A sync with a second program, which has it only from `schemas/session.md`: the frames are as described there, Noise is that of another
library, and peers of other versions are told what to do."""

import contextlib
import datetime
import hashlib
import json
import re
import signal
import socket
import subprocess
import threading

import cbor2
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from days import Change, Day, document, read_change, read_document
from reckon import built
from talk import (CHANGES, CLOCK, DAYS, DONE, GOODBYE, HELLO, KEPT, PIECE, RECORDS, ROSTER, SIGNATURES, VECTORS, Channel, call, covers_of,
                  hash_of_day, short, signatures, vectors)
from verdict import Device, judge

class Crew:
    """A base with a day and a phone that it has let in, as stores of the program."""

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
        now = datetime.datetime.now().astimezone().isoformat(timespec="milliseconds")
        notes = [{"kind": "note", "topic": "general", "at": now, "note": f"note {n} of many"} for n in range(900)]
        for begin in range(0, 900, 300):
            lines = "".join(json.dumps(note) + "\n" for note in notes[begin:begin + 300])
            self.run("base", "log", "--from", "-", stdin=lines)
        for n in range(60):
            self.run("base", "log", "note", "--topic", "general", "--note", f"one alone, {n}")
        self.keys = json.loads((folder / "phone.firnstore.keys").read_text())

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
        yield re.search(r"127\.0\.0\.1:\d+", process.stderr.readline())[0]
        process.send_signal(signal.SIGINT)
        self.told = "".join(process.communicate(timeout=30))
        assert process.returncode == 0, self.told


@pytest.fixture(scope="module")
def crew(tmp_path_factory):
    return Crew(tmp_path_factory.mktemp("crew"))


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
        assert day_hash == hash_of_day(verdict, day.first)
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
        peer.send(VECTORS, vectors(day.id, judge(day, [], [])))
        theirs, covers, changes = lacking(peer, day.id)
        for n, change in enumerate(changes):
            assert set(change.deps) <= {day.first, *(before.hash for before in changes[:n])}
        verdict = judge(day, changes, covers)
        assert len(verdict.visible) == len(changes) == sum(theirs["seqs"])
        assert theirs == vectors(day.id, verdict) and {bytes.fromhex(head) for head in shown["heads"]} <= verdict.visible.keys()
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
