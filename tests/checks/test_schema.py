"""The JSON Schemas against the metaschema and a validator of JSON Schema, and the validator against the door."""

import json
from copy import deepcopy
from datetime import datetime
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator, FormatChecker
from reckon import ROOT, Refused

KINDS = ROOT / "schemas/kinds.json"
SCHEMAS = sorted(path for path in (ROOT / "schemas").rglob("*.json") if path != KINDS)

formats = FormatChecker(formats=[])


@formats.checks("date-time", raises=ValueError)
def is_time(text):
    """Near enough to RFC 3339 for the samples here; the grammar itself is checked in test_time.py."""
    return not isinstance(text, str) or (datetime.fromisoformat(text).tzinfo is not None and "T" in text)


# Source: the metaschema of JSON Schema, draft 2020-12, as the package jsonschema carries it.
@pytest.mark.parametrize("path", SCHEMAS, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_schema_is_one(path):
    schema = json.loads(path.read_text())
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema)


# Source: the same metaschema.
def test_every_kind_is_a_schema_and_stands_in_that_of_entries(schema):
    kinds = json.loads(KINDS.read_text())
    common = kinds.pop("common")
    Draft202012Validator.check_schema(common)
    assert list(kinds) == [kind["title"] for kind in schema["oneOf"]]
    for (name, own), kind in zip(kinds.items(), schema["oneOf"]):
        Draft202012Validator.check_schema(own)
        there = {**common["properties"], **own["properties"]}
        assert {**kind["properties"], "kind": None} == {**there, "kind": None}, name


@pytest.fixture(scope="module")
def schema():
    return json.loads((ROOT / "schemas/entry.schema.json").read_text())


@pytest.fixture(scope="module")
def valid(schema):
    return Draft202012Validator(schema, format_checker=formats).is_valid


SAMPLES = [json.loads(line) for line in (Path(__file__).with_name("entries.jsonl")).read_text().splitlines()]


def test_there_is_a_full_sample_of_every_kind(schema):
    by_kind = {kind["title"]: kind for kind in schema["oneOf"]}
    full = {entry["kind"]: entry for entry in reversed(SAMPLES)}
    assert list(reversed(full)) == list(by_kind)
    for entry in full.values():
        own = set(by_kind[entry["kind"]]["properties"]) - set(by_kind["track"]["properties"]) - set(by_kind["note"]["properties"])
        assert own <= set(entry), entry["kind"]


@pytest.mark.parametrize("entry", SAMPLES, ids=lambda entry: entry["kind"])
def test_samples_are_valid_and_come_back_as_they_were(ask, valid, entry):
    assert valid(entry)
    assert ask("entry.faults", entry=entry) == []
    assert ask("entry.read_and_written", entry=entry) == entry


def changed(entry, field, value):
    """A copy with another value; None takes the field out."""
    copy = deepcopy(entry)
    if value is None:
        copy.pop(field)
    else:
        copy[field] = value
    return copy


def rooms(schema, entry):
    return next(kind["properties"] for kind in schema["oneOf"] if kind["title"] == entry["kind"])


# Of lists of numbers the door says more than the schema (of one length); the kind is what both choose their rules by.
UNLIKE = {"outline", "points", "kind"}
# A position without its other half is refused at the door only.
HALVES = {"x_m", "y_m", "lat", "lon", "origin_lat", "origin_lon"}


@pytest.mark.parametrize("entry", SAMPLES, ids=lambda entry: entry["kind"])
def test_the_door_lets_in_what_the_schema_allows_and_nothing_else(ask, schema, valid, entry):
    refused = 0
    for field, room in rooms(schema, entry).items():
        if field not in entry or field in UNLIKE:
            continue
        values = [None, [], {}, True, 0, -1, 0.5, 11, 1e300, "", " ", "x", "a/b", "2027-02-06", "2027-02-06T10:08:20.000+01:00",
                  "x" * 200, "x" * 201, "x" * 10_000, "x" * 10_001, ["x"], ["x", ""], [7], ["x"] * 200, ["x"] * 201, "a b", "a-_9", "\u00e9", "a:b",
                  "\x7f", "7", "0" * 9, "0" * 10, "0a" * 16, "0A" * 16, "0a" * 32, "0a" * 33]
        for end, step in (("minimum", -1), ("maximum", 1)):
            if end in room:
                values += [room[end], room[end] + step, room[end] - step]
        values += [option["const"] for option in room.get("oneOf", ())]
        for value in values:
            if value is None and field in HALVES:
                continue
            other = changed(entry, field, value)
            faults = [fault["field"] for fault in ask("entry.faults", entry=other)]
            assert (faults == []) == valid(other), (field, value, faults)
            assert set(faults) <= {field}
            refused += faults != []
    assert refused > 20


@pytest.mark.parametrize("entry", SAMPLES, ids=lambda entry: entry["kind"])
def test_what_a_newer_version_adds_is_valid_and_kept(ask, valid, entry):
    newer = entry | {"a_field_of_tomorrow": {"deep": [1, "x", None]}}
    assert valid(newer)
    assert ask("entry.faults", entry=newer) == []
    assert ask("entry.read_and_written", entry=newer) == newer


def test_a_kind_of_a_newer_version_is_not_read(ask, valid):
    newer = SAMPLES[0] | {"kind": "kind_of_tomorrow"}
    assert not valid(newer)
    with pytest.raises(Refused, match='kind "kind_of_tomorrow" is not known to this version'):
        ask("entry.read_and_written", entry=newer)
