"""Times, ids and typed lengths against RFC 3339, python-ulid and the definition of the foot."""

import random
from datetime import datetime, timedelta, timezone
from decimal import Decimal

import pytest
from reckon import Refused
from ulid import ULID

EPOCH = datetime(1970, 1, 1, tzinfo=timezone.utc)


def milliseconds(moment):
    """Whole milliseconds since 1970, the finer part cut off towards the past."""
    return (moment - EPOCH) // timedelta(milliseconds=1)


# Source: RFC 3339, section 5.8; the instants are those that its text gives in words. A leap second is the first second
# of the next minute, since POSIX time has no other place for it.
@pytest.mark.parametrize("text, same_as, offset_min", [
    ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520+00:00", 0),
    ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57+00:00", -480),
    ("1990-12-31T23:59:60Z", "1991-01-01T00:00:00+00:00", 0),
    ("1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00+00:00", -480),
    ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870+00:00", 20),
])
def test_examples_of_rfc_3339(ask, text, same_as, offset_min):
    answer = ask("entry.time", text=text)
    assert answer["millis"] == milliseconds(datetime.fromisoformat(same_as))
    assert answer["utc_offset_min"] == offset_min


# Source: RFC 3339, section 5.6: the grammar, and its note that T and Z may be lower case.
@pytest.mark.parametrize("text", [
    "2027-02-06t10:08:20z", "2027-02-06T10:08:20Z", "2027-02-06T10:08:20.1Z", "2027-02-06T10:08:20.123456789Z",
    "2028-02-29T00:00:00+23:59", "2027-12-31T23:59:59-23:59", "0001-01-02T00:00:00Z", "9999-12-30T00:00:00Z",
])
def test_what_the_grammar_allows_is_read(ask, text):
    expected = datetime.fromisoformat(text.upper().replace(".123456789", ".123456"))
    assert ask("entry.time", text=text)["millis"] == milliseconds(expected)


# Source: RFC 3339, section 5.6 (grammar) and 5.7 (ranges).
@pytest.mark.parametrize("text", [
    "2027-02-06T10:08:20", "2027-02-06", "10:08:20Z", "2027-2-6T10:08:20Z", "27-02-06T10:08:20Z", "2027-02-06T10:08Z",
    "2027-02-06T10:08:20.Z", "2027-02-06T10:08:20,5Z", "2027-02-06T10:08:20+0100", "2027-02-06T10:08:20+01",
    "2027-02-29T00:00:00Z", "2100-02-29T00:00:00Z", "2027-00-01T00:00:00Z", "2027-13-01T00:00:00Z",
    "2027-01-32T00:00:00Z", "2027-04-31T00:00:00Z", "2027-02-06T24:00:00Z", "2027-02-06T10:60:00Z",
    "2027-02-06T10:08:61Z", "2027-02-06T10:08:20+24:00", "2027-02-06T10:08:20+01:60", "20270206T100820Z",
    "2027-037T10:08:20Z", "2027-W05-6T10:08:20Z", "+2027-02-06T10:08:20Z", " 2027-02-06T10:08:20Z",
    "2027-02-06T10:08:20Z ", "２０２７-02-06T10:08:20Z", "2027-02-06T10:08:20 +01:00",
])
def test_what_the_grammar_does_not_allow_is_refused(ask, text):
    with pytest.raises(Refused, match="write it as RFC 3339"):
        ask("entry.time", text=text)


def test_times_are_those_of_python_and_read_back(ask):
    numbers = random.Random(3339)
    for _ in range(2000):
        zone = timezone(timedelta(minutes=numbers.randint(-1439, 1439)))
        moment = datetime(1900, 1, 1, tzinfo=zone) + timedelta(microseconds=numbers.randrange(200 * 365 * 86_400 * 10**6))
        answer = ask("entry.time", text=moment.isoformat())
        assert answer["millis"] == milliseconds(moment)
        written = datetime.fromisoformat(answer["written"])
        assert (written.utcoffset(), milliseconds(written)) == (moment.utcoffset(), milliseconds(moment))
        assert ask("entry.time", text=answer["written"]) == answer


# Source: the ULID specification (48 bits of milliseconds, 80 random bits, Crockford's base 32), as python-ulid reads it.
def test_ids_are_ulids(ask):
    numbers = random.Random(48)
    for at_ms in [0, 1, 1_801_216_100_123, 2**48 - 1, *(numbers.randrange(2**48) for _ in range(500))]:
        noise = numbers.randbytes(10)
        text = ask("entry.id", at_ms=at_ms, random=list(noise))
        ulid = ULID.from_str(text)
        assert (ulid.milliseconds, ulid.bytes[6:], str(ulid)) == (at_ms, noise, text)
        assert ask("entry.id_read", text=text) == text


def test_ids_of_python_are_read_and_other_spellings_are_not(ask):
    for _ in range(100):
        text = str(ULID())
        assert ask("entry.id_read", text=text) == text
        for other in [text.lower(), text[:-1], text + "0", "8" + text[1:], text[:-1] + "U", text[:-1] + "-"]:
            if other != text:
                with pytest.raises(Refused, match="is no entry id"):
                    ask("entry.id_read", text=other)


def test_ids_sort_as_their_times(ask):
    numbers = random.Random(26)
    times = sorted(numbers.randrange(2**48) for _ in range(300))
    ids = [ask("entry.id", at_ms=at_ms, random=list(numbers.randbytes(10))) for at_ms in times]
    assert ids == sorted(ids)


# Source: international yard and pound agreement (1959): 1 yd = 0.9144 m exactly; so 1 ft = 30.48 cm, 1 in = 2.54 cm.
CM = {"ft": Decimal("91.44") / 3, "in": Decimal("91.44") / 36, "cm": Decimal(1), "m": Decimal(100), "mm": Decimal("0.1")}


@pytest.mark.parametrize("unit", CM)
def test_lengths_by_their_exact_definition(ask, unit):
    for number in [*map(Decimal, range(0, 400)), *(Decimal(tenths) / 10 for tenths in range(1, 400, 7)), Decimal("0.25")]:
        exact = number * CM[unit]
        assert ask("entry.quantity", text=f"{number}{unit}", unit="cm") == float(exact)
        if unit != "mm":
            assert ask("entry.quantity", text=f"{number} {unit.upper()}", unit="m") == float(exact / 100)


def test_feet_and_inches_together(ask):
    for feet in range(0, 20):
        for inches in range(1, 12):
            exact = float(feet * CM["ft"] + inches * CM["in"])
            for text in [f"{feet}ft {inches}in", f"{feet}ft{inches}in", f"{feet}'{inches}\"", f"{feet}' {inches}\""]:
                assert ask("entry.quantity", text=text, unit="cm") == exact, text
