"""Days, files and the verdict by a second program, which has them only from `schemas/day.md`, `schemas/pack.md` and `schemas/trust.md`: it reads
what the program writes, and writes histories of all sorts for the program to judge."""

import functools
import json
import random
import re
import subprocess
import zlib

import pytest
from days import CHANGE, DOCUMENT, MAGIC, Change, Day, Refused, chunk, directory, read_change, read_chunk, runs, sint, text, uint
from histories import Case
from packs import Content, read_pack, write_pack
from reckon import ROOT, built
from verdict import PRIME, SMALL, Device, entries, judge

CASES = 200
DAY = Day("2027-02-06", "Upper Bowl")
ALICE, ENTRY = Device(bytes(range(32))), "01KH5QX2M8Z4T6V9B3C1D7E0FG"
ENTRIES, REGISTERS = ALICE.id + bytes(8), ALICE.id + bytes(7) + b"\1"


@functools.cache
def firnbook():
    return built("firnbook")


class Program:
    """The program on one store."""

    def __init__(self, store):
        self.store = store

    def run(self, *line, stdin=None, refused=False):
        command = [firnbook(), "--store", str(self.store), "--json", *map(str, line)]
        done = subprocess.run(command, input=stdin, capture_output=True, text=True, timeout=300)
        assert (done.returncode == 0) != refused, done.stderr or done.stdout
        return json.loads(done.stdout)

    def merge(self, *packs, refused=False):
        folder = self.store.parent / f"{self.store.stem}-packs"
        folder.mkdir(exist_ok=True)
        begin = len(list(folder.iterdir()))
        files = [folder / f"{begin + n:04}.firn" for n in range(len(packs))]
        for file, pack in zip(files, packs):
            file.write_bytes(pack)
        return self.run("merge", *files, refused=refused)["files"]

    def pack(self):
        file = self.store.with_suffix(".firn")
        self.run("pack", "--all", "--by", "Base", "-o", file)
        return read_pack(file.read_bytes())

    def shown(self):
        """Every entry by day and id, as `entries` answers."""
        answer = self.run("entries", "--void", "--since", "2000-01-01")["entries"]
        return {(e["day"], e["entry"]["id"]): (e["entry"], e["device"], e["void"], sorted(e["unsettled"])) for e in answer}

    def counts(self):
        return {day["day"]: (day["waiting"], day["withdrawn"]) for day in self.run("day", "list")["days"]}


@pytest.fixture
def program(tmp_path):
    return lambda name: Program(tmp_path / f"{name}.firnstore")


def read(contents):
    """Every entry by day and id, as this reading shows it."""
    found = {}
    for content in contents:
        verdict = judge(content.day, content.changes + content.aside, content.covers)
        for id, e in entries(verdict.visible.values()).items():
            found[content.day.id.hex(), id] = (e.entry, e.device.hex(), e.void, sorted(e.unsettled))
    return found


# Source: RFC 8032, section 7.1, tests 1 to 3.
@pytest.mark.parametrize("secret, public, message, signature", [
    ("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60", "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
     "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"),
    ("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb", "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
     "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"),
    ("c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7", "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
     "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"),
])
def test_the_signer_used_here_signs_as_the_standard_says(secret, public, message, signature):
    device = Device(bytes.fromhex(secret))
    assert device.key.hex() == public
    assert device.secret.sign(bytes.fromhex(message)).hex() == signature


def test_the_points_of_small_order_are_those_of_the_curve():
    """Doubling a point of order 8 gives one with y = 0, so that d y^4 + 2 y^2 = 1."""
    d = -121665 * pow(121666, -1, PRIME)
    assert (d * SMALL**4 + 2 * SMALL**2) % PRIME == 1


def test_the_first_change_is_that_of_the_page(program):
    id, first = re.search(r"the day id is `(\w{32})`\s+and the hash of the first change is `(\w{64})`",
                          (ROOT / "schemas" / "day.md").read_text()).groups()
    assert (DAY.id.hex(), DAY.first.hex()) == (id, first)
    base = program("base")
    base.merge(write_pack(bytes(16), [Content(DAY, [])]))
    shown = base.run("day", "show")
    assert (shown["day"], shown["heads"]) == (id, [first])


def test_a_training_day_reads_as_the_program_shows_it(tmp_path, program):
    """Phones without a network, corrections that cross, voids, and the same file the other way round."""
    demo = tmp_path / "demo"
    Program(tmp_path / "none.firnstore").run("demo", "--dir", demo, "--date", "2027-02-06")
    base, phone = Program(demo / "base.firnstore"), Program(demo / "phones" / "alder.firnstore")
    ids = sorted(id for _, id in phone.shown().keys() & base.shown().keys())
    for n, id in enumerate(ids[:12]):
        base.run("amend", id, "--note", f"base {n}", "--by", "Base")
        phone.run("amend", id, "--note", f"phone {n}", "--by", "Obs1")
        if n % 3 == 0:
            phone.run("amend", id, "--note", f"base {n}", "--by", "Obs1")
    base.run("void", *ids[2:6], "--reason", "practice presses", "--by", "Base")
    phone.run("void", *ids[4:8], "--reason", "not ours", "--by", "Obs1")
    phone.run("void", "--restore", ids[7], "--by", "Obs1")
    phone.pack()
    base.merge(phone.store.with_suffix(".firn").read_bytes())
    base.run("amend", ids[0], "--note", "settled", "--by", "Base")

    manifest, contents = base.pack()
    assert manifest["device"] == json.loads((demo / "base.firnstore.device").read_text())["device"]
    for content in contents:
        assert all(cover.is_good(content.day.id) for cover in content.covers) and content.covers
        assert not judge(content.day, content.changes, []).visible
        verdict = judge(content.day, content.changes, content.covers)
        assert len(verdict.visible) == len(content.changes) and not content.aside
    shown = base.shown()
    assert read(contents) == shown
    assert any(unsettled for _, _, _, unsettled in shown.values()) and any(void for _, _, void, _ in shown.values())

    again = program("again")
    again.merge(write_pack(bytes(16), contents))
    assert again.shown() == shown
    assert again.run("day", "show")["heads"] == base.run("day", "show")["heads"]


def test_the_key_beside_a_store_is_the_one_that_signs(program):
    phone = program("phone")
    phone.run("day", "new", "--area", "Upper Bowl", "--date", "2027-02-06", "--by", "Obs1")
    phone.run("log", "note", "--topic", "general", "--note", "one", "--at", "10:00", "--by", "Obs1", "--day", "2027-02-06")
    kept = json.loads(phone.store.with_name(phone.store.name + ".device").read_text())
    device = Device(bytes.fromhex(kept["key"]))
    assert device.id.hex() == kept["device"]
    _, [content] = phone.pack()
    on = {dep for change in content.changes for dep in change.deps}
    tips = [change.hash for change in content.changes if change.hash not in on]
    # Ed25519 gives one signature for a key and a message, so the same one comes out here.
    assert content.covers == [device.cover(content.day.id, tips)]


def test_a_copied_store_leaves_two_branches_and_joins_them(program):
    phone, copy = program("phone"), program("copy")
    phone.run("day", "new", "--area", "Upper Bowl", "--date", "2027-02-06", "--by", "Obs1")

    def log(store, note):
        store.run("log", "note", "--topic", "general", "--note", note, "--at", "10:00", "--by", "Obs1", "--day", "2027-02-06")

    log(phone, "before")
    for end in ["", ".device"]:
        file = phone.store.with_name(phone.store.name + end)
        file.with_name(copy.store.name + end).write_bytes(file.read_bytes())
    log(phone, "on the phone")
    log(copy, "on the copy")
    copy.pack()
    phone.merge(copy.store.with_suffix(".firn").read_bytes())
    _, [content] = phone.pack()
    on = {dep for change in content.changes for dep in change.deps}
    assert len({change.hash for change in content.changes} - on) > 1 and len({change.actor for change in content.changes}) > 2
    assert read([content]) == phone.shown() and len(phone.shown()) == 3
    log(phone, "after")
    _, [content] = phone.pack()
    assert max(len(change.deps) for change in content.changes) > 1
    verdict = judge(content.day, content.changes, content.covers)
    assert not verdict.forks and read([content]) == phone.shown() and len(phone.shown()) == 4


def test_withdrawn_entries_are_adopted_under_another_device(program):
    usual = {"kind": "note", "topic": "general", "at": "2027-02-06T10:00:00.000+01:00", "by": "Alice"}
    base, bodies = program("base"), [(ENTRY[:-1] + end, json.dumps({"id": ENTRY[:-1] + end} | usual)) for end in "ABC"]
    first = Change(DAY.id, ENTRIES, 1, 6, (DAY.first,), (bodies[0],))
    left, right = [Change(DAY.id, ENTRIES, 2, 7, (first.hash,), (body,)) for body in bodies[1:]]
    base.merge(write_pack(ALICE.id, [Content(DAY, [], [ALICE.cover(DAY.id, [left.hash]), ALICE.cover(DAY.id, [right.hash])], [first, left, right])]))
    assert base.counts() == {DAY.id.hex(): (0, 2)}
    base.run("adopt", bodies[1][0], "--day", "2027-02-06", "--by", "Base")
    _, [content] = base.pack()
    shown = base.shown()
    assert read([content]) == shown and [id for _, id in sorted(shown)] == [bodies[0][0], bodies[1][0]]
    device = json.loads(base.store.with_name(base.store.name + ".device").read_text())["device"]
    assert shown[DAY.id.hex(), bodies[1][0]][:2] == (json.loads(bodies[1][1]), device)
    [adopted] = [json.loads(text) for change in content.changes for key, text in change.puts if key == f"{bodies[1][0]}/adopted"]
    assert adopted["v"] == {"device": ALICE.id.hex()}


@pytest.fixture(scope="module")
def cases():
    rng = random.Random(2027)
    cases = [Case(rng, number) for number in range(CASES)]
    return [(case, *case.held()) for case in cases]


def test_random_histories_are_judged_alike(cases, program):
    base = program("base")
    [merged] = base.merge(write_pack(bytes(16), [case.content(changes, covers) for case, changes, covers in cases]))
    expected, shown = {}, {}
    for case, changes, covers in cases:
        verdict = judge(case.day, changes, covers)
        expected[case.day.id.hex()] = (len(verdict.waiting), len(verdict.withdrawn))
        shown |= read([Content(case.day, changes, covers)])
    assert base.counts() == expected
    assert base.shown() == shown
    assert (merged["waiting"], merged["withdrawn"]) == tuple(map(sum, zip(*expected.values())))
    assert base.run("verify")["ok"]

    # Every sort of change is there often enough to mean something.
    verdicts = [judge(case.day, changes, covers) for case, changes, covers in cases]
    for sort in ["visible", "waiting", "withdrawn", "unsound", "forks"]:
        assert sum(bool(getattr(verdict, sort)) for verdict in verdicts) > CASES / 12, sort


@pytest.mark.parametrize("seed", range(3))
def test_random_histories_in_parts_and_any_order_come_to_the_same(cases, program, seed):
    """Each file has some changes and some signatures, and what comes twice does no harm."""
    rng = random.Random(seed)
    base, packs = program("base"), [[], [], [], []]
    expected, visible = {}, {}
    for case, changes, covers in cases:
        parts = [([], []) for _ in packs]
        for sort, things in enumerate([changes, covers]):
            for thing in things:
                for part in rng.sample(parts, rng.choice([1, 1, 2])):
                    part[sort].append(thing)
        held, signed = {}, []
        for pack, (some, signatures) in zip(packs, parts):
            pack.append(case.content(some, signatures))
            held |= {change.hash: change for change in some}
            signed += signatures
            verdict = judge(case.day, held.values(), signed)
            # What is unsound is dropped. What depends on it and comes later waits.
            held = {hash: change for hash, change in held.items() if hash not in verdict.unsound}
        expected[case.day.id.hex()] = (len(verdict.waiting), len(verdict.withdrawn))
        whole = judge(case.day, changes, covers)
        assert (verdict.visible, verdict.withdrawn, verdict.forks) == (whole.visible, whole.withdrawn, whole.forks)
        visible[case.day.id] = whole
    base.merge(*(write_pack(bytes(16), pack) for pack in packs))
    assert base.counts() == expected
    assert base.shown() == read(Content(case.day, changes, covers) for case, changes, covers in cases)
    assert base.run("verify")["ok"]

    # What it hands on is enough for another program to come to the same, and only what is visible is in the document.
    _, contents = base.pack()
    for content in contents:
        whole = visible[content.day.id]
        assert {change.hash for change in content.changes} == set(whole.visible)
        again = judge(content.day, content.changes + content.aside, content.covers)
        assert (again.visible, again.withdrawn, again.forks) == (whole.visible, whole.withdrawn, whole.forks)


def raw(kind=CHANGE, actor=ENTRIES, seq=uint(1), start=uint(6), deps=(DAY.first,), time=sint(0), message=text(""), others=(DAY.id,),
        keys=(ENTRY,), values=("{}",), tail=b"", **columns):
    """A change written by hand, any part of which can be another one; columns by their id, as c42 for 42."""
    n, plain = len(keys), [value.encode() for value in values]
    usual = {"c01": runs([1] * n), "c02": runs([5] * n), "c15": runs(keys, text), "c34": uint(n), "c42": runs([1] * n),
             "c56": runs([len(value) << 4 | 6 for value in plain]), "c57": b"".join(plain), "c70": runs([0] * n)}
    head, data = directory([(int(name[1:], 16), column) for name, column in sorted((usual | columns).items())])
    content = uint(len(deps)) + b"".join(deps) + uint(len(actor)) + actor + seq + start + time + message
    content += uint(len(others)) + b"".join(uint(len(other)) + other for other in others) + head + data + tail
    return chunk(kind, content)


REGISTER = {"actor": REGISTERS, "keys": (f"{ENTRY}/note",)}
LONG = {**REGISTER, "keys": ("x" * 8192,)}
TWO = (ENTRY, ENTRY[:-1] + "H")
GOOD = [{}, REGISTER, LONG, {"keys": TWO, "values": ("{}", "")}, {"keys": TWO[::-1], "values": ("", "")}, {"start": uint((1 << 31) - 1)},
        {"deps": sorted([bytes(32), DAY.first])}, {"seq": uint((1 << 31) - 1)}, {"actor": REGISTERS, "keys": (ENTRY.lower(),)}]
BAD = {
    "a delete": {"c42": runs([3]), "c56": runs([0]), "c57": b""},
    "an increment": {"c42": runs([5]), "c56": runs([1 << 4 | 4]), "c57": b"\1"},
    "a mark": {"c42": runs([7]), "c94": uint(1)},
    "a new text object": {"c42": runs([4]), "c56": runs([0]), "c57": b""},
    "a new map": {"c42": runs([0]), "c56": runs([0]), "c57": b""},
    "a new list": {"c42": runs([2]), "c56": runs([0]), "c57": b""},
    "an insertion": {"c34": uint(0) + uint(1)},
    "a counter": {"c56": runs([1 << 4 | 8]), "c57": b"\1"},
    "bytes": {"c56": runs([2 << 4 | 7])},
    "a number": {"c56": runs([1 << 4 | 4]), "c57": b"\1"},
    "nothing as value": {"c56": runs([0]), "c57": b""},
    "a pred": {"c70": runs([1]), "c71": runs([1]), "c73": runs([6], sint)},
    "an element of a list as key": {"c11": runs([1]), "c13": runs([6], sint), "c15": b""},
    "a put on the root": {"c01": b"", "c02": b""},
    "another map": {"c02": runs([6])},
    "the map of another actor": {"c01": runs([0])},
    "a time": {"time": sint(1)},
    "a message": {"message": text("hello")},
    "extra bytes": {"tail": b"more"},
    "another actor beside the day's": {"others": (DAY.id, ENTRIES)},
    "no actor beside its own": {"others": ()},
    "another day": {"others": (bytes(16),)},
    "the actor of the first change": {"actor": DAY.id},
    "a short actor": {"actor": ENTRIES[:16]},
    "a long actor": {"actor": ENTRIES + b"\0"},
    "no deps": {"deps": ()},
    "a dep twice": {"deps": (DAY.first, DAY.first)},
    "deps out of order": {"deps": (DAY.first, bytes(32))},
    "257 deps": {"deps": [bytes(30) + n.to_bytes(2, "big") for n in range(257)]},
    "number 0": {"seq": uint(0)},
    "a number of 2^31": {"seq": uint(1 << 31)},
    "the counter of the map": {"start": uint(5)},
    "a counter of 2^31": {"start": uint((1 << 31) - 1), "keys": TWO, "values": ("{}", "{}")},
    "no operation": {"keys": (), "values": ()},
    "a key twice": {"keys": (ENTRY, ENTRY), "values": ("{}", "{}")},
    "an empty key": {**REGISTER, "keys": ("",)},
    "a key of 8193 bytes": {**REGISTER, "keys": ("x" * 8193,)},
    "a register among entries": {"keys": (f"{ENTRY}/note",)},
    "an entry id in lower case among entries": {"keys": (ENTRY.lower(),)},
    "an entry id above 2^128 among entries": {"keys": ("8" + ENTRY[1:],)},
    "an entry among registers": {"actor": REGISTERS},
    "text that is not UTF-8": {"c57": b"\xff\xfe"},
    "a key that is not UTF-8": {**REGISTER, "c15": sint(-1) + uint(1) + b"\xff"},
    "fewer keys than values": {"c15": b""},
    "one value alone as a run": {"c42": sint(1) + uint(1)},
    "equal values in two runs": {"keys": TWO, "values": ("{}", "{}"), "c42": sint(-1) + uint(1) + sint(-1) + uint(1)},
    "equal values as different ones": {"keys": TWO, "values": ("{}", "{}"), "c42": sint(-2) + uint(1) + uint(1)},
    "a run of nothing": {"c42": sint(0) + uint(1)},
    "a number in more bytes than needed": {"seq": b"\x81\0"},
    "a column of a newer version": {"cf6": runs([1])},
    "a document": {"kind": DOCUMENT},
    "a compressed change": {"kind": 2},
    "a bundle": {"kind": 3},
    "an unknown chunk": {"kind": 9},
}


def refuses(pack):
    try:
        read_pack(pack)
    except Refused:
        return True
    return False


def aside(*changes):
    return write_pack(bytes(16), [Content(DAY, [], [], list(changes))])


def test_what_is_not_part_of_a_day_is_refused_whole(program):
    assert raw() == Change(DAY.id, ENTRIES, 1, 6, (DAY.first,), ((ENTRY, "{}"),)).bytes
    good, bad = [aside(raw(**parts)) for parts in GOOD], [aside(raw(), raw(**parts)) for parts in BAD.values()]
    deflated = zlib.compress(raw()[10:], wbits=-15)
    change = raw()
    bad += [aside(MAGIC + change[4:8] + b"\2" + uint(len(deflated)) + deflated), aside(change[:-1]), aside(change + b"\0"), aside(change + change),
            aside(change[:4] + bytes(4) + change[8:]), aside(b"")]
    assert not any(map(refuses, good)) and all(map(refuses, bad))
    base = program("base")
    merged = base.merge(*good, *bad, refused=True)
    assert [file["status"] for file in merged[:len(good)]] == ["merged"] * len(good)
    taken = [name for name, file in zip([*BAD, "deflated", "cut", "followed", "two", "checksum", "empty"], merged[len(good):])
             if file["status"] != "refused"]
    assert taken == []
    waiting = judge(DAY, [read_change(DAY.id, raw(**parts)) for parts in GOOD], []).waiting
    assert base.counts() == {DAY.id.hex(): (len(waiting), 0)} and len(waiting) > 5


def test_altered_changes_and_documents_are_refused_alike(program):
    """A byte is changed, removed or added; length and checksum fit again."""
    rng = random.Random(45)
    case = Case(rng, 7)
    contents = [case.content(case.changes, []) for _ in range(3)]
    packs = []
    for _ in range(150):
        good = rng.choice(case.changes).bytes
        packs.append(write_pack(bytes(16), [Content(case.day, [], [], [altered(rng, CHANGE, good)])]))
    for _ in range(150):
        packs.append(write_pack(bytes(16), [rng.choice(contents)], lambda parts: (altered(rng, DOCUMENT, parts[0]), parts[1])))
    expected = [refuses(pack) for pack in packs]
    assert expected.count(False) > 10
    merged = program("base").merge(*packs, refused=True)
    assert [file["status"] == "refused" for file in merged] == expected


def altered(rng, kind, data):
    content = bytearray(read_chunk(kind, data).data)
    at = rng.randrange(len(content))
    how = rng.randrange(4)
    if how == 0:
        del content[at]
    elif how == 1:
        content.insert(at, rng.randrange(256))
    elif how == 2:
        content[at] = content[at] + rng.choice([1, -1]) & 255
    else:
        content[at] ^= 1 << rng.randrange(8)
    return chunk(kind, bytes(content))
