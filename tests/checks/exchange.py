"""The days of a sync, from `schemas/session.md` alone: what a device holds of a day, what another one lacks of it, and sending it."""

import hashlib
import struct
from collections import defaultdict

from days import document, read_change, read_document
from talk import CHANGES, CLOCK, DAYS, DONE, KEPT, PIECE, SIGNATURES, VECTORS, covers_of, short
from verdict import judge


def named(hash):
    """The bytes of a hash by which it is named."""
    return hash[:16]


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

    def line(self, change):
        """The change and those of its actor before it that are held, up to the first visible one."""
        line = [change]
        while change and change.hash not in self.verdict.visible:
            before = [self.changes[dep] for dep in change.deps if dep in self.changes]
            change = next((dep for dep in before if (dep.actor, dep.seq) == (change.actor, change.seq - 1)), None)
            line += [change] if change else []
        return line

    def vectors(self):
        """How far the day is held."""
        last, aside = {}, {**self.verdict.waiting, **self.verdict.withdrawn}
        for change in sorted(self.verdict.visible.values(), key=lambda change: change.seq):
            last[change.actor] = change
        whole = {hash: change for hash, change in aside.items() if self.line(change)[-1].seq == 1 or self.line(change)[-1].hash in self.verdict.visible}
        followed = {change.hash for end in whole.values() for change in self.line(end)[1:]}
        ends = [last[actor] for actor in sorted(last)]
        covers = [c for c in self.covers if c.device in self.forked or not self.verdict.visible.keys() >= set(c.tips)]
        content = {"day": self.day.id, "actors": b"".join(c.actor for c in ends), "seqs": [c.seq for c in ends],
                   "hashes": b"".join(named(c.hash) for c in ends)}
        if whole:
            content["aside"] = [[c.actor, c.seq, named(c.hash)] for c in whole.values() if c.hash not in followed]
        if covers:
            content["covers"] = b"".join(named(hashlib.sha256(cover.signature).digest()) for cover in covers)
        return content

    def lacking(self, theirs):
        """What a device with these frames of vectors lacks: signatures, changes that are not visible, visible changes."""
        reached = {frame["actors"][24 * i:24 * i + 24]: (seq, frame["hashes"][16 * i:16 * i + 16])
                   for frame in theirs for i, seq in enumerate(frame["seqs"])}
        named_there = {tuple(end) for frame in theirs for end in frame.get("aside", [])} | {(a, *at) for a, at in reached.items()}
        visible, places = self.verdict.visible, {(c.actor, c.seq) for c in self.changes.values()}
        held = {(c.actor, c.seq, named(c.hash)): c for c in self.changes.values()}
        agreed = {actor: seq for actor, (seq, hash) in reached.items() if (actor, seq) not in places}
        there = {c.hash: c for place in named_there & held.keys() for c in self.line(held[place])}
        for change in (c for hash, c in there.items() if hash in visible):
            agreed[change.actor] = max(change.seq, agreed.get(change.actor, 0))

        def has(tip):
            change = visible.get(tip)
            return change and min(reached.get(change.actor, (0,))[0], agreed.get(change.actor, 0)) >= change.seq

        their_covers = b"".join(frame.get("covers", b"") for frame in theirs)
        their_covers = {their_covers[at:at + 16] for at in range(0, len(their_covers), 16)}
        covers = [c for c in self.covers if named(hashlib.sha256(c.signature).digest()) not in their_covers
                  and (c.device in self.forked or not all(map(has, c.tips)))]
        aside = [c for c in self.verdict.waiting.values() if c.hash not in there and not self.is_brought(c, reached)]
        aside += [c for c in self.verdict.withdrawn.values() if c.hash not in there]
        return covers, aside, sorted((c for c in visible.values() if c.seq > agreed.get(c.actor, 0)), key=lambda change: change.start_op)

    def is_brought(self, change, reached):
        """Whether the other has more of the actor's visible changes, up to this number at least."""
        theirs = reached.get(change.actor, (0,))[0]
        ours = max((c.seq for c in self.verdict.visible.values() if c.actor == change.actor), default=0)
        return theirs > ours and theirs >= change.seq


class Exchange:
    """The days of a session, after hello: what both sides lack goes over."""

    def __init__(self, peer, held):
        self.peer, self.held, self.pieces = peer, held, b""
        self.covers, self.came, self.vectors = defaultdict(list), defaultdict(list), defaultdict(list)
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
            self.send_first(id, day.covers, aside)
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
            self.vectors[id].append(content)
            if not content.get("more"):
                self.answer(id, self.vectors.pop(id))
        elif number == SIGNATURES:
            assert id not in self.came, "signatures come first"
            self.covers[id] += covers_of(content)
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

    def keep(self, id, changes, complete, day=None):
        self.came[id] += changes
        if id in self.held:
            self.held[id].take(changes, self.covers[id])
        elif day:
            self.held[id] = Held(day, self.came[id], self.covers[id])
        self.peer.send(KEPT, {"day": id, "changes": len(self.came[id]), "complete": complete})
        if complete:
            self.to_receive.remove(id)

    def answer(self, id, theirs):
        covers, aside, changes = self.held[id].lacking(theirs)
        self.send_first(id, covers, aside)
        for change in changes:
            if len(change.bytes) > 16 << 10:
                self.send_pieces(id, change.bytes, True)
            else:
                self.peer.send(CHANGES, {"day": id, "changes": [change.bytes], "left": 1})
        self.peer.send(CHANGES, {"day": id, "changes": [], "left": 0})

    def send_first(self, id, covers, aside):
        """Signatures, then what waits or is withdrawn."""
        for n, cover in enumerate(covers, 1):
            signature = [cover.key, cover.signature, b"".join(cover.tips)]
            self.peer.send(SIGNATURES, {"day": id, "signatures": [signature], "more": n < len(covers)})
        for change in aside:
            self.peer.send(CHANGES, {"day": id, "changes": [change.bytes], "left": 1})

    def send_pieces(self, id, whole, change):
        for at in range(0, len(whole), 64 << 10):
            self.peer.send(PIECE, {"day": id, "change": change, "sha256": hashlib.sha256(whole).digest(), "length": len(whole), "at": at,
                                   "bytes": whole[at:at + (64 << 10)]})
