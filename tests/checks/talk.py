"""A second program that syncs, written from `schemas/session.md` alone, on other libraries: noiseprotocol, zlib, cbor2."""

import hashlib
import socket
import struct
import time
import zlib

import cbor2
from noise.connection import Keypair, NoiseConnection
from verdict import Cover

HELLO, ROSTER, RECORDS, DAYS, VECTORS, CHANGES, PIECE, KEPT, REFUSED, CLOCK, DONE, GOODBYE, SIGNATURES = range(1, 14)


def now_ms():
    return time.time_ns() // 1_000_000


class Channel:
    """Frames over Noise over a socket."""

    def __init__(self, stream, keys, calls):
        self.stream, self.keys, self.plain, self.last_stamp = stream, keys, b"", None
        self.noise = NoiseConnection.from_name(b"Noise_XXpsk0_25519_ChaChaPoly_BLAKE2s")
        self.noise.set_psks(bytes.fromhex(keys["crew_keys"][-1]))
        self.noise.set_prologue(b"firnbook-live")
        self.noise.set_keypair_from_private_bytes(Keypair.STATIC, bytes.fromhex(keys["keys"]["exchange_secret"]))
        (self.noise.set_as_initiator if calls else self.noise.set_as_responder)()
        self.noise.start_handshake()
        for writes in [calls, not calls, calls]:
            if writes:
                self._write(self.noise.write_message())
            else:
                assert self.noise.read_message(self._read()) == b"", "the messages of the handshake have no content"

    def _read_exactly(self, n):
        data = b""
        while len(data) < n:
            more = self.stream.recv(n - len(data))
            if not more:
                raise EOFError
            data += more
        return data

    def _read(self):
        return self._read_exactly(struct.unpack(">H", self._read_exactly(2))[0])

    def _write(self, message):
        self.stream.sendall(struct.pack(">H", len(message)) + message)

    def send_bytes(self, plain):
        for at in range(0, len(plain), 65_519):
            self._write(self.noise.encrypt(plain[at:at + 65_519]))

    def send(self, number, content):
        deflate = zlib.compressobj(wbits=-15)
        body = deflate.compress(cbor2.dumps(content)) + deflate.flush()
        self.send_bytes(struct.pack(">IB", len(body) + 1, number) + body)

    def receive(self):
        """The next frame: number and content; None once the other side has hung up."""
        try:
            while len(self.plain) < 4 or len(self.plain) < 4 + struct.unpack(">I", self.plain[:4])[0]:
                self.plain += self.noise.decrypt(self._read())
        except (EOFError, ConnectionResetError):
            return None
        length = struct.unpack(">I", self.plain[:4])[0]
        assert 1 <= length <= 1_048_576
        number, body = self.plain[4], self.plain[5:4 + length]
        self.plain = self.plain[4 + length:]
        inflate = zlib.decompressobj(wbits=-15)
        content = inflate.decompress(body, 8 << 20)
        assert inflate.eof and not inflate.unused_data, "one deflated stream, and nothing behind it"
        content = cbor2.loads(content)
        stamp = content.get("stamp") if number in (HELLO, DAYS) else content if number == CLOCK else None
        if stamp:
            self.last_stamp = [stamp["sent"], now_ms()]
        return number, content

    def stamp(self):
        return {"sent": now_ms()} | ({"echo": self.last_stamp} if self.last_stamp else {})

    def hello(self, **other):
        content = {"v": 2, "device": bytes.fromhex(self.keys["device"]), "label": "Second program", "clock": 1,
                   "crew": bytes.fromhex(self.keys["crew"]), "stamp": self.stamp()}
        self.send(HELLO, content | other)


def call(at, keys):
    host, port = at.rsplit(":", 1)
    stream = socket.create_connection((host, int(port)), timeout=30)
    return Channel(stream, keys, calls=True)


def short(hashes, n):
    """The first bytes of SHA-256 over sorted hashes."""
    return hashlib.sha256(b"".join(sorted(hashes))).digest()[:n]


def named(hash):
    return hash[:16]


def covers_of(content):
    """The signatures of a frame."""
    return [Cover(key, signature, tuple(tips[at:at + 32] for at in range(0, len(tips), 32))) for key, signature, tips in content["signatures"]]


class Held:
    """What a device holds of a day."""

    def __init__(self, day, changes=(), covers=()):
        self.day, self.changes, self.covers = day, {}, set()
        self.take(changes, covers)

    def take(self, changes, covers=()):
        self.changes |= {change.hash: change for change in changes}
        self.covers |= {cover for cover in covers if cover.is_good(self.day.id)}
        self.verdict = judge(self.day, self.changes.values(), self.covers)
        self.changes = {hash: change for hash, change in self.changes.items() if hash not in self.verdict.unsound}

    @property
    def hash(self):
        """The hash by which two devices compare the day."""
        visible = self.verdict.visible
        heads = set(visible) - {dep for change in visible.values() for dep in change.deps} or {self.day.first}
        rest = sorted(self.verdict.waiting) + [actor + struct.pack(">I", n) for actor, n in sorted(self.verdict.forks.items())]
        return short([*heads], 16) if not rest else hashlib.sha256(b"".join(sorted(heads)) + hashlib.sha256(b"".join(rest)).digest()).digest()[:16]

    @property
    def forked(self):
        """The devices with a forked actor."""
        return {actor[:16] for actor in self.verdict.forks}

    def vectors(self):
        """How far the day is held."""
        last, waiting = {}, {}
        for change in sorted(self.verdict.visible.values(), key=lambda change: change.seq):
            last[change.actor] = change
        for change in sorted(self.verdict.waiting.values(), key=lambda change: change.seq):
            before = waiting.get(change.actor, last.get(change.actor))
            if change.seq == before.seq + 1 and before.hash in change.deps if before else change.seq == 1:
                waiting[change.actor] = change
        ends = [last[actor] for actor in sorted(last)]
        covers = [c for c in self.covers if c.device in self.forked or not self.verdict.visible.keys() >= set(c.tips)]
        content = {"day": self.day.id, "actors": b"".join(c.actor for c in ends), "seqs": [c.seq for c in ends],
                   "hashes": b"".join(named(c.hash) for c in ends)}
        if waiting:
            content["waiting"] = [[c.actor, c.seq, named(c.hash)] for c in waiting.values()]
        if covers:
            content["covers"] = b"".join(named(hashlib.sha256(cover.signature).digest()) for cover in covers)
        return content

    def lacking(self, theirs):
        """What a device with these vectors lacks: signatures, changes that are not visible, visible changes."""
        n = len(theirs["seqs"])
        reached = {theirs["actors"][24 * i:24 * i + 24]: (theirs["seqs"][i], theirs["hashes"][16 * i:16 * i + 16]) for i in range(n)}
        waiting = {(actor, seq, hash) for actor, seq, hash in theirs.get("waiting", [])}
        visible, places = self.verdict.visible, {(c.actor, c.seq) for c in self.changes.values()}
        held = {(c.actor, c.seq, named(c.hash)): c for c in self.changes.values()}
        agreed = {actor: seq for actor, (seq, hash) in reached.items() if (actor, seq, hash) in held or (actor, seq) not in places}
        for place in waiting & held.keys():
            if held[place].hash in visible:
                agreed[place[0]] = max(place[1], agreed.get(place[0], 0))

        def has(tip):
            change = visible.get(tip)
            return change and min(reached.get(change.actor, (0,))[0], agreed.get(change.actor, 0)) >= change.seq

        their_covers = theirs.get("covers", b"")
        their_covers = {their_covers[at:at + 16] for at in range(0, len(their_covers), 16)}
        covers = [c for c in self.covers if named(hashlib.sha256(c.signature).digest()) not in their_covers
                  and (c.device in self.forked or not all(map(has, c.tips)))]
        there, open_hashes = set(), [held[place].hash for place in waiting & held.keys()]
        while open_hashes:
            hash = open_hashes.pop()
            if hash in self.changes and hash not in there:
                there.add(hash)
                open_hashes += self.changes[hash].deps
        unaware = {c.device for c in covers} | {actor[:16] for actor, (seq, hash) in reached.items()
                                                if (actor, seq, hash) in held and held[actor, seq, hash].hash in self.verdict.withdrawn}
        aside = [c for c in self.verdict.waiting.values() if c.hash not in there]
        aside += [c for c in self.verdict.withdrawn.values() if c.device in unaware]
        return covers, aside, sorted((c for c in visible.values() if c.seq > agreed.get(c.actor, 0)), key=lambda change: change.start_op)


class Exchange:
    """The days of a session, after hello: what both sides lack goes over."""

    def __init__(self, peer, held):
        self.peer, self.held, self.pieces, self.came, self.vectors = peer, held, b"", {}, set()
        peer.send(DAYS, {"days": [[id, day.hash] for id, day in held.items()], "stamp": peer.stamp()})
        theirs = self.expect(DAYS)
        theirs = {bytes(id): bytes(hash) for id, hash in theirs["days"]}
        self.equal = theirs == {id: day.hash for id, day in held.items()}
        both = {id for id in theirs.keys() & held.keys() if theirs[id] != held[id].hash}
        self.to_receive, self.to_be_kept = both | theirs.keys() - held.keys(), both | held.keys() - theirs.keys()
        for id in both:
            peer.send(VECTORS, held[id].vectors())
        for id in held.keys() - theirs.keys():
            day = held[id]
            aside = [*day.verdict.waiting.values(), *day.verdict.withdrawn.values()]
            self.send_aside(id, day.covers, aside)
            self.send_pieces(id, document(day.day, sorted(day.verdict.visible.values(), key=lambda change: change.start_op)), False)
        while not self.equal:
            number, content = peer.receive()
            if number == DONE:
                peer.send(DONE, None)
                assert peer.receive() is None and not self.to_receive and not self.to_be_kept
                return
            self.take(number, content)

    def expect(self, number):
        found, content = self.peer.receive()
        assert found == number, (found, content)
        return content

    def take(self, number, content):
        if number == CLOCK:
            return self.peer.send(CLOCK, self.peer.stamp())
        assert number in (VECTORS, SIGNATURES, CHANGES, PIECE, KEPT), (number, content)
        id = content["day"]
        if number == VECTORS:
            self.answer(id, content)
        elif number == SIGNATURES:
            assert id not in self.came, "signatures come first"
            self.covers(id).extend(covers_of(content))
        elif number == KEPT and content["complete"]:
            self.to_be_kept.remove(id)
        elif number == CHANGES:
            self.keep(id, [read_change(id, change) for change in content["changes"]], content["left"] == 0)
        elif number == PIECE:
            assert content["at"] == len(self.pieces)
            self.pieces += content["bytes"]
            if len(self.pieces) == content["length"]:
                whole, self.pieces = self.pieces, b""
                assert hashlib.sha256(whole).digest() == content["sha256"]
                if content.get("change"):
                    self.keep(id, [read_change(id, whole)], False)
                else:
                    day, changes, _ = read_document(id, whole)
                    self.keep(id, changes, True, day)

    def covers(self, id):
        return self.waiting_covers.setdefault(id, [])

    waiting_covers = {}

    def keep(self, id, changes, complete, day=None):
        self.came.setdefault(id, []).extend(changes)
        if id in self.held:
            self.held[id].take(changes, self.covers(id))
        elif day:
            self.held[id] = Held(day, self.came[id], self.covers(id))
        self.peer.send(KEPT, {"day": id, "changes": len(self.came[id]), "complete": complete})
        if complete:
            self.to_receive.remove(id)

    def answer(self, id, theirs):
        covers, aside, changes = self.held[id].lacking(theirs)
        self.send_aside(id, covers, aside)
        for change in changes:
            if len(change.bytes) > 16 << 10:
                self.send_pieces(id, change.bytes, True)
            else:
                self.peer.send(CHANGES, {"day": id, "changes": [change.bytes], "left": 1})
        self.peer.send(CHANGES, {"day": id, "changes": [], "left": 0})

    def send_aside(self, id, covers, aside):
        covers = list(covers)
        for n, cover in enumerate(covers):
            self.peer.send(SIGNATURES, {"day": id, "signatures": [[cover.key, cover.signature, b"".join(cover.tips)]], "more": n + 1 < len(covers)})
        for change in aside:
            self.peer.send(CHANGES, {"day": id, "changes": [change.bytes], "left": 1})

    def send_pieces(self, id, whole, change):
        for at in range(0, len(whole), 64 << 10):
            self.peer.send(PIECE, {"day": id, "change": change, "sha256": hashlib.sha256(whole).digest(), "length": len(whole), "at": at,
                                   "bytes": whole[at:at + (64 << 10)]})
