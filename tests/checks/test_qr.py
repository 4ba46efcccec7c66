"""The codes that the terminal shows, read by a reader of another project (zxing-cpp): they say what stands printed below them."""

import os
import pty
import re
import signal
import subprocess

import pytest
import zxingcpp
from PIL import Image
from reckon import built

# Upper and lower half of a character's cell: is it ink?
HALVES = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
INK, PAPER = 0, 255
MODULE_PX = 4
# Black on bright white, as ECMA-48 and its usual extension number colours.
BLACK_ON_WHITE = "\x1b[30m\x1b[107m"


def drawn(screen):
    """The lines of a screen that hold the code, and the text of the others."""
    lines = screen.replace("\r", "").split("\n")
    code = [line for line in lines if re.search("[▀▄█]", line)]
    return code, "\n".join(line for line in lines if line not in code)


def picture(code):
    """The code as a camera sees it: ink is black."""
    plain = [re.sub(r"\x1b\[[0-9;]*m", "", line) for line in code]
    width = max(map(len, plain))
    image = Image.new("L", (width, 2 * len(plain)), PAPER)
    for y, line in enumerate(plain):
        for x, character in enumerate(line):
            for half, ink in enumerate(HALVES[character]):
                image.putpixel((x, 2 * y + half), INK if ink else PAPER)
    return image.resize((image.width * MODULE_PX, image.height * MODULE_PX), Image.Resampling.NEAREST)


def read(code):
    [found] = zxingcpp.read_barcodes(picture(code))
    assert found.format == zxingcpp.BarcodeFormat.QRCode
    return found.text


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    """The program on a store that has founded a crew."""
    store = [built("firnbook"), "--store", str(tmp_path_factory.mktemp("qr") / "base.firnstore")]
    subprocess.run([*store, "settings", "me", "Base"], check=True, capture_output=True)
    subprocess.run([*store, "day", "new", "--area", "Upper Bowl"], check=True, capture_output=True)
    subprocess.run([*store, "crew", "new"], check=True, capture_output=True)
    return store


@pytest.mark.parametrize("addresses", [["192.0.2.7:45460"], ["192.0.2.7:45460", "[2001:db8::7]:45460"], ["192.0.2.7:1"] * 9])
def test_an_invitation(base, addresses):
    line = [*base, "--color", "always", "crew", "invite", *(word for a in addresses for word in ("--addr", a))]
    screen = subprocess.run(line, check=True, capture_output=True, text=True).stdout
    code, text = drawn(screen)
    assert all(line.startswith(BLACK_ON_WHITE) for line in code)
    assert read(code) == re.search(r"FIRN-[0-9A-Z]+", text)[0]


def test_where_base_listens(base):
    screen, terminal = pty.openpty()
    process = subprocess.Popen([*base, "listen", "--addr", "127.0.0.1:0"], stdin=terminal, stdout=terminal, stderr=terminal)
    os.close(terminal)
    shown = b""
    while b"Ctrl-C" not in shown:
        shown += os.read(screen, 65536)
    process.send_signal(signal.SIGINT)
    assert process.wait(timeout=30) == 0
    code, text = drawn(shown.decode())
    assert read(code) == re.search(r"127\.0\.0\.1:\d+", text)[0]

