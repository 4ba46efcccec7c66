"""Files of days, read and written from `schemas/pack.md` alone, by cbor2 and zlib."""

import json
import struct
from dataclasses import dataclass, field

import cbor2
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from days import Day, Input, deflate, document, inflate, need, read_change, read_document, sha256
from verdict import Cover

@dataclass
class Content:
    """What a file holds of a day."""

    day: Day
    changes: list
    covers: list = field(default_factory=list)
    aside: list = field(default_factory=list)


def write_pack(device, contents, damage=lambda documents: documents):
    """A file without a signature. `damage` may alter the bytes of documents and of what is beside them."""
    days, parts = [], []
    for content in contents:
        heads = sorted({content.day.first, *(c.hash for c in content.changes)} - {dep for c in content.changes for dep in c.deps})
        tips = {hash: at for at, hash in enumerate(heads)}
        beside = {"signatures": [[c.key, c.signature, [tips.get(tip, tip) for tip in c.tips]] for c in content.covers]}
        if content.aside:
            beside["aside"] = [c if isinstance(c, bytes) else c.bytes for c in content.aside]
        saved, beside = damage((document(content.day, content.changes), deflate(cbor2.dumps(beside))))
        ids = {key for c in content.changes if c.history == 0 for key, _ in c.puts}
        days.append({"id": content.day.id.hex(), "date": content.day.date, "area": content.day.area, "entries": len(ids), "length": len(saved),
                     "beside": len(beside), "sha256": sha256(saved + beside).hex()})
        parts.append(saved + beside)
    manifest = json.dumps({"device": device.hex(), "days": days}).encode()
    pack = b"FIRNPACK" + struct.pack(">HI", 2, len(manifest)) + manifest + b"".join(parts)
    return pack + sha256(pack)


def named(tip, heads):
    """The change that a tip names: by its place among the heads, or by its hash."""
    need(isinstance(tip, bytes) or tip < len(heads), "a place of a head that does not exist")
    return tip if isinstance(tip, bytes) else heads[tip]


def read_pack(data):
    """The manifest and the content of each day."""
    need(data[:8] == b"FIRNPACK" and len(data) <= 256 << 20 and sha256(data[:-32]) == data[-32:], "no file of days, or a damaged one")
    content = Input(data[:-32])
    content.take(8)
    version, length = struct.unpack(">HI", content.take(6))
    need(version == 2, "another version")
    manifest = json.loads(content.take(length))
    days = []
    for described in manifest["days"]:
        saved, beside = content.take(described["length"]), content.take(described["beside"])
        need(sha256(saved + beside).hex() == described["sha256"], "another hash than in the manifest")
        day, changes, heads = read_document(bytes.fromhex(described["id"]), saved)
        need(day.date == described["date"], "another date than in the manifest")
        beside = cbor2.loads(inflate(beside, 64 << 20))
        covers = [Cover(key, signature, tuple(named(tip, heads) for tip in tips)) for key, signature, tips in beside["signatures"]]
        days.append(Content(day, changes, covers, [read_change(day.id, change) for change in beside.get("aside", [])]))
    if "crew" in manifest:
        signed = b"firnbook-pack-2\n" + sha256(content.data[:content.at])
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(manifest["key"])).verify(content.take(64), signed)
    content.end()
    return manifest, days
