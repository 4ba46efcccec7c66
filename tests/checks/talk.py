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


def covers_of(content):
    """The signatures of a frame."""
    return [Cover(key, signature, tuple(tips[at:at + 32] for at in range(0, len(tips), 32))) for key, signature, tips in content["signatures"]]
