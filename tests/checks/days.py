"""The document of a day and its changes, read and written from `schemas/day.md` alone."""

import functools
import hashlib
import unicodedata
import zlib
from collections import defaultdict
from dataclasses import dataclass

MAGIC = bytes.fromhex("856f4a83")
DOCUMENT, CHANGE = 0, 1
LIMIT = 1 << 31
FIRST_LAST_COUNTER = 5
ULID = set("0123456789ABCDEFGHJKMNPQRSTVWXYZ")


class Refused(Exception):
    """The bytes are not what the page describes; the text is the reason."""


def need(condition, why):
    if not condition:
        raise Refused(why)


def sha256(data):
    return hashlib.sha256(data).digest()


def fold(label):
    lower = unicodedata.normalize("NFC", unicodedata.normalize("NFC", label).lower())
    return " ".join(lower.split())


def is_entry_id(key):
    return len(key) == 26 and key[0] <= "7" and set(key) <= ULID


# Numbers and lists.

def uint(n):
    out = bytearray()
    while n >= 0x80:
        out.append(n & 0x7F | 0x80)
        n >>= 7
    return bytes(out) + bytes([n])


def sint(n):
    out = bytearray()
    while not -64 <= n < 64:
        out.append(n & 0x7F | 0x80)
        n >>= 7
    return bytes(out) + bytes([n & 0x7F])


def text(value):
    data = value.encode()
    return uint(len(data)) + data


def runs(values, spell=uint):
    """A list of values in its one spelling; None is nothing."""
    groups = []
    for value in values:
        if groups and groups[-1][0] == value:
            groups[-1][1] += 1
        else:
            groups.append([value, 1])
    out, at = b"", 0
    while at < len(groups):
        value, n = groups[at]
        if value is None:
            out, at = out + sint(0) + uint(n), at + 1
        elif n > 1:
            out, at = out + sint(n) + spell(value), at + 1
        else:
            alone = []
            while at < len(groups) and groups[at][1] == 1 and groups[at][0] is not None:
                alone.append(spell(groups[at][0]))
                at += 1
            out += sint(-len(alone)) + b"".join(alone)
    return out


def differences(values):
    return runs([b - a for a, b in zip([0, *values], values)], sint)


class Input:
    """Bytes that are taken from the front."""

    def __init__(self, data):
        self.data, self.at = data, 0

    def take(self, n):
        need(self.at + n <= len(self.data), "the data ends early")
        self.at += n
        return self.data[self.at - n:self.at]

    def number(self, signed):
        value, shift = 0, 0
        while True:
            [byte] = self.take(1)
            need(shift < 63, "a number of more than 63 bits")
            value |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                return value - (1 << shift) if signed and byte & 0x40 else value

    def uint(self):
        return self.number(False)

    def sint(self):
        return self.number(True)

    def bytes(self):
        return self.take(self.uint())

    def text(self):
        return utf8(self.bytes())

    def end(self):
        need(self.at == len(self.data), "more bytes follow")

    def list(self, read):
        """All values of a list of runs, none of which is nothing."""
        values = []
        while self.at < len(self.data):
            n = self.sint()
            need(len(values) + abs(n) <= 1_000_000, "more than a million rows")
            need(n != 0, "nothing where a value is needed")
            values += [read(self)] * n if n > 0 else [read(self) for _ in range(-n)]
        return values

    def differences(self):
        total, values = 0, []
        for difference in self.list(Input.sint):
            total += difference
            need(0 <= total < LIMIT, "a number out of bounds")
            values.append(total)
        return values


def utf8(data):
    try:
        return data.decode()
    except UnicodeDecodeError as error:
        raise Refused("text that is not UTF-8") from error


# Chunks and columns.

def chunk(kind, content):
    rest = bytes([kind]) + uint(len(content)) + content
    return MAGIC + sha256(rest)[:4] + rest


def read_chunk(kind, data):
    need(len(data) <= 64 << 20, "larger than 64 MiB")
    need(data[:4] == MAGIC and data[4:8] == sha256(data[8:])[:4], "no chunk, or a damaged one")
    need(data[8:9] == bytes([kind]), "a chunk of another type")
    inner = Input(data)
    inner.take(9)
    length = inner.uint()
    need(inner.at + length == len(data), "a chunk of another length")
    need(data[9:inner.at] == uint(length), "a length in more bytes than needed")
    return Input(data[inner.at:])


def directory(columns):
    kept = [(number, data) for number, data in columns if data]
    return uint(len(kept)) + b"".join(uint(number) + uint(len(data)) for number, data in kept), b"".join(data for _, data in kept)


def read_directory(content):
    n = content.uint()
    need(n <= 32, "too many columns")
    found = [(content.uint(), content.uint()) for _ in range(n)]
    plain = [number & ~8 for number, _ in found]
    need(plain == sorted(set(plain)) and all(length for _, length in found), "columns out of order or empty")
    return found


@dataclass(frozen=True)
class Change:
    """A change other than the first of its day."""

    day: bytes
    actor: bytes
    seq: int
    start_op: int
    deps: tuple
    puts: tuple  # (key, text) each

    @functools.cached_property
    def bytes(self):
        n, texts = len(self.puts), [value.encode() for _, value in self.puts]
        head, data = directory([
            (0x01, runs([1] * n)), (0x02, runs([5] * n)), (0x15, runs([key for key, _ in self.puts], text)), (0x34, uint(n)),
            (0x42, runs([1] * n)), (0x56, runs([len(value) << 4 | 6 for value in texts])), (0x57, b"".join(texts)), (0x70, runs([0] * n)),
        ])
        content = uint(len(self.deps)) + b"".join(self.deps) + uint(len(self.actor)) + self.actor
        content += uint(self.seq) + uint(self.start_op) + sint(0) + uint(0) + uint(1) + uint(16) + self.day
        return chunk(CHANGE, content + head + data)

    @functools.cached_property
    def hash(self):
        return sha256(self.bytes[8:])

    @property
    def last_op(self):
        return self.start_op + len(self.puts) - 1

    @property
    def device(self):
        return self.actor[:16]

    @property
    def history(self):
        return self.actor[-1] & 1

    def check(self):
        """The rules of the page that need no other change."""
        need(len(self.actor) == 24, "an actor of another length")
        need(1 <= self.seq < LIMIT and self.puts and FIRST_LAST_COUNTER < self.start_op and self.last_op < LIMIT, "numbers out of bounds")
        need(1 <= len(self.deps) <= 256 and list(self.deps) == sorted(set(self.deps)), "deps missing or out of order")
        keys = [key for key, _ in self.puts]
        need(len(keys) == len(set(keys)), "a key twice")
        need(all(1 <= len(key.encode()) <= 8192 and is_entry_id(key) == (self.history == 0) for key in keys), "a key of the other history")


def read_change(day, data):
    content = read_chunk(CHANGE, data)
    n = content.uint()
    need(n <= 256, "too many deps")
    deps = tuple(content.take(32) for _ in range(n))
    actor, seq, start_op = content.bytes(), content.uint(), content.uint()
    need(content.sint() == 0 and content.uint() == 0, "a time or a message")
    need(content.uint() == 1 and content.bytes() == day, "other actors than the day's")
    columns = {number: Input(content.take(length)) for number, length in read_directory(content)}
    content.end()
    keys = columns.get(0x15, Input(b"")).list(Input.text)
    types = columns.get(0x56, Input(b"")).list(Input.uint)
    need(len(keys) == len(types), "columns of different lengths")
    values = texts(types, columns.get(0x57, Input(b"")))
    change = Change(day, actor, seq, start_op, deps, tuple(zip(keys, values)))
    change.check()
    need(change.bytes == data, "another spelling, or something that is not part of a day")
    return change


def texts(types, values):
    need(all(kind & 15 == 6 for kind in types), "a value that is no text")
    found = [utf8(values.take(kind >> 4)) for kind in types]
    values.end()
    return found


@dataclass(frozen=True)
class Day:
    """A date and an area."""

    date: str
    area: str

    @functools.cached_property
    def id(self):
        return sha256(f"firnbook-day-1\n{self.date}\n{fold(self.area)}".encode())[:16]

    @property
    def first_operations(self):
        """Counter, key, action, value type and value of each."""
        put = [(1, "id", self.id.hex()), (2, "date", self.date), (3, "area", fold(self.area))]
        put = [(counter, key, 1, len(value.encode()) << 4 | 6, value.encode()) for counter, key, value in put]
        return [*put, (4, "format", 1, 1 << 4 | 4, b"\1"), (5, "entries", 0, 0, b"")]

    @functools.cached_property
    def first_bytes(self):
        _, keys, actions, types, values = zip(*self.first_operations)
        head, data = directory([(0x15, runs(keys, text)), (0x34, uint(5)), (0x42, runs(actions)), (0x56, runs(types)),
                                (0x57, b"".join(values)), (0x70, runs([0] * 5))])
        return chunk(CHANGE, uint(0) + uint(16) + self.id + uint(1) + uint(1) + sint(0) + uint(0) + uint(0) + head + data)

    @functools.cached_property
    def first(self):
        return sha256(self.first_bytes[8:])


def keeps_rules(day, change, deps):
    """The rules of the verdict for one change, all deps of which are held."""
    if change.deps == (day.first,):
        return change.seq == 1 and change.start_op > FIRST_LAST_COUNTER
    if day.first in change.deps:
        return False
    before = [dep for dep in deps if dep.actor == change.actor]
    follows = not before if change.seq == 1 else any(dep.seq == change.seq - 1 for dep in before)
    return follows and all((dep.device, dep.history) == (change.device, change.history) and dep.last_op < change.start_op for dep in deps)


def document(day, changes):
    """A document with the first change and these, which are sound and in which every change comes after its deps."""
    actors = sorted({day.id, *(change.actor for change in changes)})
    rows = {hash: row for row, hash in enumerate([day.first, *(change.hash for change in changes)])}
    heads = sorted(set(rows) - {dep for change in changes for dep in change.deps})
    place = actors.index
    dep_rows = [rows[dep] for change in changes for dep in change.deps]
    head, data = directory([
        (0x01, runs([place(day.id), *(place(change.actor) for change in changes)])), (0x03, differences([1, *(c.seq for c in changes)])),
        (0x13, differences([5, *(c.last_op for c in changes)])), (0x23, differences([0] * len(rows))),
        (0x40, runs([0, *(len(c.deps) for c in changes)])), (0x43, differences(dep_rows)), (0x56, runs([7] * len(rows))),
    ])
    puts = sorted((key.encode(), change.start_op + i, place(change.actor), value.encode())
                  for change in changes for i, (key, value) in enumerate(change.puts))
    content = uint(len(actors)) + b"".join(uint(len(actor)) + actor for actor in actors) + uint(len(heads)) + b"".join(heads)
    operations, values = operation_columns(day, actors, puts)
    return chunk(DOCUMENT, content + head + operations + data + values + b"".join(uint(rows[h]) for h in heads))


def operation_columns(day, actors, puts):
    root = sorted(day.first_operations, key=lambda operation: operation[1])
    at, n = actors.index(day.id), len(puts)
    values = [operation[4] for operation in root] + [put[3] for put in puts]
    types = [operation[3] for operation in root] + [len(put[3]) << 4 | 6 for put in puts]
    return directory([
        (0x01, runs([None] * 5 + [at] * n) if n else b""), (0x02, runs([None] * 5 + [5] * n) if n else b""),
        (0x15, runs([operation[1] for operation in root] + [put[0].decode() for put in puts], text)),
        (0x21, runs([at] * 5 + [put[2] for put in puts])), (0x23, differences([o[0] for o in root] + [put[1] for put in puts])),
        (0x34, uint(5 + n)), (0x42, runs([o[2] for o in root] + [1] * n)), (0x56, runs(types)), (0x57, b"".join(values)),
        (0x80, runs([0] * (5 + n))),
    ])


def read_document(day_id, data):
    """The day, its changes but for the first, and the heads."""
    content = read_chunk(DOCUMENT, data)
    n = content.uint()
    need(n <= 65_536, "too many actors")
    actors = [content.bytes() for _ in range(n)]
    heads = [content.take(32) for _ in range(content.uint())]
    need(actors == sorted(set(actors)) and day_id in actors, "actors out of order, or not of this day")
    directories = [read_directory(content), read_directory(content)]
    left = [64 << 20]
    of_changes, of_operations = [{number & ~8: plain(number, content.take(length), left) for number, length in d} for d in directories]
    places = [content.uint() for _ in heads]
    content.end()

    def column(columns, number):
        return Input(columns.get(number, b""))

    authors, counts = column(of_changes, 0x01).list(Input.uint), column(of_changes, 0x40).list(Input.uint)
    seqs, last_ops = column(of_changes, 0x03).differences(), column(of_changes, 0x13).differences()
    dep_rows = column(of_changes, 0x43).differences()
    need(len(authors) == len(counts) == len(seqs) == len(last_ops) > 0 and sum(counts) == len(dep_rows), "columns of different lengths")
    keys, types = column(of_operations, 0x15).list(Input.text), column(of_operations, 0x56).list(Input.uint)
    writers, counters = column(of_operations, 0x21).list(Input.uint), column(of_operations, 0x23).differences()
    need(len(keys) == len(types) == len(writers) == len(counters) >= 5, "columns of different lengths")
    values = column(of_operations, 0x57)
    area, date, _, _, _ = [values.take(kind >> 4) for kind in types[:5]]
    day = Day(utf8(date), utf8(area))
    need(day.id == day_id and fold(day.area) == day.area, "the first change is not that of the day")
    ops = defaultdict(dict)
    for key, value, writer, counter in zip(keys[5:], texts(types[5:], values), writers[5:], counters[5:]):
        need(writer < n and counter not in ops[actors[writer]], "an operation twice")
        ops[actors[writer]][counter] = (key, value)

    changes, at, hashes, latest = [], 0, [day.first], {}
    need(authors[0] == actors.index(day_id) and counts[0] == 0, "the first row is not the first change")
    for author, count, seq, last_op in zip(authors[1:], counts[1:], seqs[1:], last_ops[1:]):
        need(author < n, "an actor that is not there")
        actor, rows = actors[author], dep_rows[at:at + count]
        at += count
        need(all(row < len(hashes) for row in rows), "a dep that comes later")
        own = sorted(counter for counter in ops[actor] if counter <= last_op)
        need(own and own[-1] == last_op and own == list(range(own[0], last_op + 1)), "counters with gaps")
        puts = tuple(ops[actor].pop(counter) for counter in own)
        change = Change(day_id, actor, seq, own[0], tuple(hashes[row] for row in rows), puts)
        change.check()
        need(seq == latest.get(actor, 0) + 1, "numbers of an actor with gaps")
        need(keeps_rules(day, change, [changes[row - 1] for row in rows if row > 0]), "a change that is not sound")
        latest[actor] = seq
        hashes.append(change.hash)
        changes.append(change)
    need(not any(ops.values()) and set(actors) == {day_id, *latest}, "operations or actors of no change")
    # Made again, it must have the same columns, heads and places.
    again = read_plain(document(day, changes))
    need(again == (actors, heads, of_changes, of_operations, places), "another spelling, or something that is not part of a day")
    return day, changes, heads


def read_plain(data):
    """A document taken apart, without looking at what its columns mean."""
    content = read_chunk(DOCUMENT, data)
    actors = [content.bytes() for _ in range(content.uint())]
    heads = [content.take(32) for _ in range(content.uint())]
    directories = [read_directory(content), read_directory(content)]
    tables = [{number: content.take(length) for number, length in d} for d in directories]
    return actors, heads, *tables, [content.uint() for _ in heads]


def plain(number, data, left):
    if number & 8:
        data = inflate(data, left[0])
    need(len(data) <= left[0], "larger than 64 MiB inflated")
    left[0] -= len(data)
    return data


def inflate(data, most):
    inflater = zlib.decompressobj(wbits=-15)
    try:
        out = inflater.decompress(data, most + 1)
    except zlib.error as error:
        raise Refused("no deflated data") from error
    need(len(out) <= most and inflater.eof and not inflater.unused_data, "not one deflated stream within its limit")
    return out


def deflate(data):
    deflater = zlib.compressobj(wbits=-15)
    return deflater.compress(data) + deflater.flush()
