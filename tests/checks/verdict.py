"""What counts of a day: covering signatures, the verdict, registers and effective entries, from `schemas/trust.md` and `schemas/day.md` alone.
Signatures are checked by cryptography."""

import functools
import json
import re
from collections import defaultdict
from dataclasses import dataclass, field

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from days import LIMIT, is_entry_id, keeps_rules, sha256

PRIME = 2**255 - 19
# y of the points whose order divides 8: (0, ±1) and those of order 4 and 8.
SMALL = int.from_bytes(bytes.fromhex("26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05"), "little")
SMALL_ORDER = {0, 1, PRIME - 1, SMALL, PRIME - SMALL}


def is_small(point):
    return (int.from_bytes(point, "little") & (1 << 255) - 1) % PRIME in SMALL_ORDER


@dataclass(frozen=True)
class Cover:
    """A covering signature."""

    key: bytes
    signature: bytes
    tips: tuple

    @property
    def device(self):
        return sha256(self.key)[:16]

    def is_good(self, day_id):
        if not 1 <= len(self.tips) <= 64 or list(self.tips) != sorted(set(self.tips)) or is_small(self.key) or is_small(self.signature[:32]):
            return False
        try:
            Ed25519PublicKey.from_public_bytes(self.key).verify(self.signature, to_sign(day_id, self.tips))
        except (InvalidSignature, ValueError):
            return False
        return True


def to_sign(day_id, tips):
    return b"firnbook-history-1\n" + day_id + b"".join(tips)


class Device:
    """A key that signs."""

    def __init__(self, seed):
        self.secret = Ed25519PrivateKey.from_private_bytes(seed)
        self.key = self.secret.public_key().public_bytes_raw()
        self.id = sha256(self.key)[:16]

    def cover(self, day_id, tips):
        tips = tuple(sorted(set(tips)))
        return Cover(self.key, self.secret.sign(to_sign(day_id, tips)), tips)


@dataclass
class Verdict:
    visible: dict = field(default_factory=dict)
    waiting: dict = field(default_factory=dict)
    withdrawn: dict = field(default_factory=dict)
    unsound: dict = field(default_factory=dict)
    forks: dict = field(default_factory=dict)


def judge(day, changes, covers):
    """Sorts changes into the words of the page. Each device is judged alone."""
    verdict = Verdict()
    devices = defaultdict(dict)
    for change in changes:
        devices[change.device][change.hash] = change
    good = [cover for cover in set(covers) if cover.is_good(day.id)]
    for device, held in devices.items():
        judge_device(day, held, [tip for cover in good if cover.device == device for tip in cover.tips], verdict)
    return verdict


def judge_device(day, held, tips, verdict):
    order = causes_first(day, held)
    sound, covered, withdrawn = set(), set(), set()
    for hash in order:
        deps = [held[dep] for dep in held[hash].deps if dep != day.first]
        if all(dep.hash in sound for dep in deps) and keeps_rules(day, held[hash], deps):
            sound.add(hash)
    reached = [tip for tip in tips if tip in sound]
    while reached:
        hash = reached.pop()
        if hash in held and hash not in covered:
            covered.add(hash)
            reached += held[hash].deps
    positions = defaultdict(set)
    for hash in covered:
        positions[held[hash].actor, held[hash].seq].add(hash)
    forks = {}
    for actor, seq in sorted(position for position, hashes in positions.items() if len(hashes) > 1):
        forks.setdefault(actor, seq)
    for hash in order:
        change = held[hash]
        if hash in covered and (change.seq >= forks.get(change.actor, LIMIT) or any(dep in withdrawn for dep in change.deps)):
            withdrawn.add(hash)
    for hash, change in held.items():
        if hash in covered:
            kept = verdict.withdrawn if hash in withdrawn else verdict.visible
        else:
            kept = verdict.unsound if hash in order and hash not in sound else verdict.waiting
        kept[hash] = change
    verdict.forks |= forks


def causes_first(day, held):
    """The complete changes, each after its deps."""
    order, children = {}, defaultdict(list)
    open_deps = {hash: len([dep for dep in change.deps if dep != day.first]) for hash, change in held.items()}
    for hash, change in held.items():
        for dep in change.deps:
            children[dep].append(hash)
    ready = [hash for hash, n in open_deps.items() if n == 0]
    while ready:
        hash = ready.pop()
        order[hash] = None
        for child in children[hash]:
            open_deps[child] -= 1
            if open_deps[child] == 0:
                ready.append(child)
    return order


# What is shown.

@dataclass(frozen=True)
class Value:
    """A text under a key, and where it comes from."""

    counter: int
    actor: bytes
    hash: bytes
    text: str

    @property
    def device(self):
        return self.actor[:16]

    @functools.cached_property
    def members(self):
        """The members of a register or body."""
        try:
            read = json.loads(self.text)
        except ValueError:
            return {}
        return read if isinstance(read, dict) else {}

    @property
    def v(self):
        return self.members.get("v")

    @property
    def over(self):
        over = self.members.get("over")
        if not isinstance(over, list) or not all(isinstance(hash, str) for hash in over):
            return set()
        return {bytes.fromhex(hash) for hash in over if re.fullmatch("[0-9a-f]{64}", hash)}


def put_values(changes):
    """All texts by key, the one that is shown first at the front."""
    values = defaultdict(list)
    for change in changes:
        for i, (key, text) in enumerate(change.puts):
            values[key].append(Value(change.start_op + i, change.actor, change.hash, text))
    for listed in values.values():
        listed.sort(key=lambda value: (value.counter, value.actor), reverse=True)
    return values


def live(values):
    """The values that none is over, the shown one first."""
    replaced = {hash for value in values for hash in value.over}
    return [value for value in values if value.hash not in replaced]


def disagree(values):
    return any(canonical(value.v) != canonical(values[0].v) for value in values[1:])


def canonical(v):
    """The same text for all spellings of a JSON value."""
    if isinstance(v, dict):
        return "{" + ",".join(f"{json.dumps(key)}:{canonical(v[key])}" for key in sorted(v)) + "}"
    if isinstance(v, list):
        return "[" + ",".join(map(canonical, v)) + "]"
    if isinstance(v, float) and v.is_integer():
        v = int(v)
    return json.dumps(v, ensure_ascii=False)


@dataclass
class Shown:
    """An effective entry."""

    entry: dict
    device: bytes
    void: str | None
    unsettled: list


def entries(changes):
    """The effective entries of visible changes, by id."""
    values = put_values(changes)
    registers = {key: live(listed) for key, listed in values.items() if not is_entry_id(key)}
    return {key: effective(key, listed, registers) for key, listed in values.items() if is_entry_id(key)}


def effective(id, bodies, registers):
    unsettled, body = [], bodies[0]
    if len({body.text for body in bodies}) > 1:
        said = registers.get(f"{id}/body", [])
        if not said or disagree(said):
            unsettled.append("body")
        wanted = [body for body in bodies if said and short_code(body.text) == said[0].v]
        body = (wanted or bodies)[0]
    entry, text = dict(body.members), body.text
    fields = sorted(key.split("/", 1)[1] for key in registers if key.startswith(f"{id}/"))
    for name in [name for name in fields if entry and name not in ("void", "body", "adopted")]:
        said = registers[f"{id}/{name}"]
        if disagree(said):
            unsettled.append(name)
        if said[0].v is None:
            entry.pop(name, None)
        else:
            entry[name] = said[0].v
        text = json.dumps(entry, ensure_ascii=False, separators=(",", ":"))
    voids = [value for value in registers.get(f"{id}/void", []) if value.v is not None]
    if voids:
        restored = len(voids) < len(registers[f"{id}/void"])
        now = sha256(text.encode()).hex()
        if restored or all(value.members.get("of", now) != now for value in voids):
            unsettled.append("void")
    return Shown(entry, body.device, voids[0].v if voids else None, unsettled)


def short_code(text):
    bits = int.from_bytes(sha256(text.encode())[:5], "big")
    return "".join("0123456789abcdefghjkmnpqrstvwxyz"[bits >> 5 * i & 31] for i in reversed(range(8)))
