"""Random histories of a day: honest devices, restored backups, forks, forged and broken changes, gaps, and signatures of all sorts."""

import json
from dataclasses import replace
from datetime import date, timedelta

from days import FIRST_LAST_COUNTER, Change, Day, keeps_rules
from packs import Content
from verdict import Cover, Device

ULID = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
# The neutral element: as a key, with itself as R and with 0 as scalar, it fits every message unless small orders are refused.
NEUTRAL = bytes([1]) + bytes(31)


class Case:
    """One day with all changes and signatures that somebody made."""

    def __init__(self, rng, number):
        self.rng, self.day = rng, Day(str(date(2026, 11, 1) + timedelta(number)), "Lower Ridge")
        self.devices = [Device(rng.randbytes(32)) for _ in range(rng.choice([1, 1, 2, 3]))]
        self.changes, self.covers, self.bodies = [], [], []
        for _ in range(rng.randint(1, 16)):
            device = rng.choice(self.devices)
            self.changes.append(self.change(device.id))
            if rng.random() < 0.85:
                self.covers.append(self.cover(device))
        if rng.random() < 0.1:
            weak = Cover(NEUTRAL, NEUTRAL + bytes(32), ())
            self.changes.append(self.change(weak.device))
            self.covers.append(replace(weak, tips=(self.changes[-1].hash,)))

    def cover(self, device):
        """A signature as an honest device makes it, or another one."""
        own = [change for change in self.changes if change.device == device.id]
        on = {dep for change in own for dep in change.deps}
        tips = [change.hash for change in own if change.hash not in on] or [own[-1].hash]
        kind = self.rng.choices(["honest", "last", "any", "device", "forged", "day", "order", "unknown"], [12, 4, 3, 1, 1, 1, 1, 1])[0]
        if kind == "last":
            tips = [own[-1].hash]
        elif kind == "any":
            tips = [change.hash for change in self.rng.sample(self.changes, min(2, len(self.changes)))]
        elif kind == "device":
            device = self.rng.choice(self.devices)
        elif kind == "unknown":
            tips.append(self.rng.randbytes(32))
        cover = device.cover(self.rng.randbytes(16) if kind == "day" else self.day.id, tips)
        if kind == "forged":
            at = self.rng.randrange(64)
            forged = bytearray(cover.signature)
            forged[at] ^= 1 << self.rng.randrange(8)
            cover = replace(cover, signature=bytes(forged))
        elif kind == "order":
            cover = replace(cover, tips=cover.tips[::-1] if len(tips) > 1 else cover.tips * 2)
        return cover

    def change(self, device):
        """A change in the name of a device: mostly one that goes on honestly."""
        history = self.rng.randrange(2)
        own = [c for c in self.changes if c.device == device and c.history == history]
        deps, actor, seq = [], device + self.rng.randbytes(7) + bytes([self.rng.randrange(128) * 2 + history]), 1
        if own and self.rng.random() < 0.75:
            on = {dep for change in own for dep in change.deps}
            latest = [change for change in own if change.hash not in on]
            before = self.rng.choice(own if self.rng.random() < 0.3 else latest)
            deps, actor, seq = [before], before.actor, before.seq + 1
            others = [change for change in latest if change.actor != actor]
            if others and self.rng.random() < 0.3:
                deps.append(self.rng.choice(others))
        elif own and self.rng.random() < 0.6:
            deps = self.rng.sample(own, min(len(own), self.rng.randint(1, 2)))
        start_op = max([FIRST_LAST_COUNTER, *(dep.last_op for dep in deps)]) + 1
        if self.rng.random() < 0.1:
            start_op += self.rng.choice([1, 1000, 1 << 29])
        hashes = [dep.hash for dep in deps] or [self.day.first]
        if self.rng.random() < 0.08:
            return self.broken(actor, seq, start_op, hashes)
        return self.made(actor, seq, start_op, hashes)

    def broken(self, actor, seq, start_op, hashes):
        """A change that keeps the form and breaks a rule of the verdict, or depends on something that nobody has."""
        kind = self.rng.choice(["gap", "early", "foreign", "first", "again", "unknown"])
        if kind == "gap":
            seq += 1
        elif kind == "early":
            start_op = FIRST_LAST_COUNTER + 1
        elif kind == "foreign" and self.changes:
            hashes = [*hashes[:1], self.rng.choice(self.changes).hash]
        elif kind == "first":
            hashes = [*hashes, self.day.first]
        elif kind == "again":
            seq = 1
        elif kind == "unknown":
            hashes = [*hashes, self.rng.randbytes(32)]
        return self.made(actor, seq, start_op, hashes)

    def made(self, actor, seq, start_op, hashes):
        puts = {}
        for _ in range(self.rng.randint(1, 3)):
            key, text = self.body() if actor[-1] & 1 == 0 else self.register()
            puts[key] = text
        return Change(self.day.id, actor, seq, start_op, tuple(sorted(set(hashes))), tuple(puts.items()))

    def ulid(self):
        if self.bodies and self.rng.random() < 0.15:
            return self.rng.choice(self.bodies)
        return self.rng.choice("01234567") + "".join(self.rng.choices(ULID, k=25))

    def body(self):
        id = self.ulid()
        self.bodies.append(id)
        entry = {"id": id, "kind": "note", "topic": "general", "at": "2027-02-06T10:00:00.000+01:00", "by": "Obs1",
                 "note": f"written {self.rng.randrange(1000)}"}
        return id, json.dumps(entry, separators=(",", ":"))

    def register(self):
        id = self.rng.choice(self.bodies) if self.bodies else self.ulid()
        key = f"{id}/{self.rng.choice(['note', 'note', 'note', 'topic', 'void', 'accuracy_m'])}"
        if self.rng.random() < 0.05:
            key = self.rng.choice([id.lower(), id + "0", "day/area", "weather:today/sky", "ä" * 512])
        values = [None, 1, 1.0, "said", {"b": 1, "a": [1.0, True]}, {"a": [1, True], "b": 1}] if not key.endswith("/void") else [None, "practice"]
        before = [c.hash.hex() for c in self.changes if any(put[0] == key for put in c.puts)]
        over = self.rng.sample(before, self.rng.randint(0, len(before)))
        if self.rng.random() < 0.1:
            over = self.rng.choice([[*over, self.rng.randbytes(32).hex()], [*over, "none"], [*over, 7], "none", [hash.upper() for hash in over]])
        register = {"v": self.rng.choice(values), "by": f"Obs{self.rng.randrange(9)}"} | ({"over": over} if over else {})
        if self.rng.random() < 0.2:
            register["of"] = self.rng.randbytes(32).hex()
        return key, json.dumps(register) if self.rng.random() < 0.97 else self.rng.choice(["sunny", "7", "null", '"over"'])

    def content(self, changes, covers):
        """These as a file holds them: some sound ones in the document, the others beside it, in any order."""
        chosen, held, latest = [], {}, {}
        for change in sorted(changes, key=lambda change: change.start_op):
            deps = [held[dep] for dep in change.deps if dep in held]
            complete = len(deps) == len([dep for dep in change.deps if dep != self.day.first])
            next_one = change.seq == latest.get(change.actor, 0) + 1
            if complete and next_one and keeps_rules(self.day, change, deps) and self.rng.random() < 0.7:
                chosen.append(change)
                held[change.hash], latest[change.actor] = change, change.seq
        aside = [change for change in changes if change.hash not in held]
        self.rng.shuffle(aside)
        return Content(self.day, chosen, self.rng.sample(covers, len(covers)), aside)

    def held(self):
        """What of it all is anywhere: some changes and signatures are lost."""
        lost = self.rng.choice([0, 0, 0.1, 0.4])
        changes = [c for c in self.changes if self.rng.random() >= lost]
        return list({c.hash: c for c in changes}.values()), [c for c in self.covers if self.rng.random() >= lost]

