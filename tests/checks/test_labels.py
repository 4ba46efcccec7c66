"""The form in which labels are compared, against Python's own Unicode tables."""

import random
import sys
import unicodedata

# Characters that Python cuts words at and Unicode's White_Space property does not count: the information separators.
SEPARATORS = "\x1c\x1d\x1e\x1f"


def folded(label):
    """NFC, lower case, NFC again, and inner spaces to one."""
    lower = unicodedata.normalize("NFC", unicodedata.normalize("NFC", label).lower())
    return " ".join(lower.split())


def assigned():
    """Every character that Python's Unicode version knows, without surrogates and private use."""
    for code in range(sys.maxunicode + 1):
        character = chr(code)
        if unicodedata.category(character) not in ("Cn", "Co", "Cs") and character not in SEPARATORS:
            yield character


def test_every_character(ask):
    differ = [hex(ord(c)) for c in assigned() if ask("entry.fold", text=f"a{c}b") != folded(f"a{c}b")]
    assert differ == []


def test_runs_of_characters(ask):
    numbers = random.Random(15)
    characters = list(assigned())
    letters = "aA\u0301\u0308\u0323\u00c4\u212b\u1e9e\u0130\u03a3\u03c2\u01c5\u1100\u1161\u11a8 \u00a0\u3000\t"
    for _ in range(3000):
        text = "".join(numbers.choice(letters) if numbers.random() < 0.8 else numbers.choice(characters) for _ in range(12))
        assert ask("entry.fold", text=text) == folded(text), ascii(text)


def test_what_people_mix_up_is_one_label(ask):
    for spellings in [("Obs1", " OBS1 "), ("Upper  Bowl", "upper bowl", "UPPER\u00a0BOWL"), ("\u00c9cole", "e\u0301COLE"), ("\u212b1", "\u00e51")]:
        assert len({ask("entry.fold", text=spelling) for spelling in spellings}) == 1
    assert ask("entry.fold", text="A1") != ask("entry.fold", text="A 1")
