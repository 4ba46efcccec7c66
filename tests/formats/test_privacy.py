"""Nothing that a person typed leaves unless it was asked for: names, phone numbers, places and notes are planted in every field that takes a text
or a label and in every place on the earth, and every file of every export is searched for them."""

import json
import sys
from pathlib import Path

import duckdb
import pytest
from conftest import filled
from reckon import ROOT

NAME, PHONE, NOTE = "Annalena Murmeltier", "079 555 01 23", "she cried at the airway"
#: Digits of the planted place, as degrees and as whole 1e-7 degrees.
LAT, LON = 46.5123987, 9.8123654
PLACES = ["46.51", "9.812", "465123987", "98123654", "465124", "981237"]
SCHEMA = json.loads((ROOT / "schemas" / "entry.schema.json").read_text())


def planted():
    """Two entries of every kind with secrets in every field that a person fills."""
    lines = []
    for n, secret in enumerate([NAME, PHONE]):
        for kind in SCHEMA["oneOf"]:
            entry = {}
            for field, about in kind["properties"].items():
                if field in ("id", "file_sha256"):
                    continue
                if "const" in about:
                    entry[field] = about["const"]
                elif "oneOf" in about:
                    entry[field] = about["oneOf"][0]["const"]
                elif about.get("format") == "date-time":
                    entry[field] = f"2027-02-06T10:0{n}:00.000+01:00"
                elif about.get("x-check") == "code":
                    entry[field] = secret.replace(" ", "")
                elif about.get("type") == "string":
                    entry[field] = NOTE if field == "note" else f"{secret} {field}"
                elif about.get("type") == "boolean":
                    entry[field] = True
                elif about.get("type") in ("number", "integer"):
                    entry[field] = LAT if field.endswith("lat") else LON if field.endswith("lon") else max(about.get("minimum", 0), 1)
                elif field == "outline":
                    entry[field] = [[0, 0], [40, 0], [40, 40]]
                elif field == "points":
                    entry[field] = {"t_ms": [1801904400000, 1000], "x": [LON * 1e7, 500], "y": [LAT * 1e7, 500]}
                elif about.get("type") == "array":
                    entry[field] = [f"{secret} one", f"{secret} two"]
            if entry["kind"] == "track":
                entry["frame"] = "lonlat"
            if entry["kind"] == "drill":
                entry["label"] = f"{secret} drill"
                entry.pop("like")
            if entry["kind"] == "target":
                entry["label"] = f"{secret} target"
            if entry["kind"] == "clock":
                entry.update(device="00112233445566778899aabbccddeeff", base="8899aabbccddeeff0011223344556677", of="1")
            # A newer version's field, as it comes out of another program.
            lines.append({**entry, "id": f"01KH5QX2M8Z4T6V9B3C1D7E{n}{len(lines):02}", "weather_of_tomorrow": NOTE})
    return lines


@pytest.fixture(scope="module")
def store(firnbook, tmp_path_factory):
    folder = tmp_path_factory.mktemp("planted")
    return filled(firnbook, folder / "store", [("2027-02-06", f"{NAME} area", planted())], folder)


def everything(folder):
    """Every text in the files of an export, and what of Parquet stands compressed."""
    texts = []
    for file in Path(folder).rglob("*"):
        if file.is_file():
            texts.append(file.read_bytes().decode("utf-8", "replace"))
            texts.append(str(file.relative_to(folder)))
        if file.suffix == ".parquet":
            texts.append(json.dumps(duckdb.sql(f"SELECT * FROM read_parquet('{file}')").fetchall(), default=str, ensure_ascii=False))
    return "\n".join(texts).lower()


def secrets():
    parts = [*NAME.split(), PHONE, PHONE.replace(" ", ""), NOTE]
    return [part.lower() for part in parts] + PLACES


@pytest.mark.parametrize("form", ["csv", "jsonl", "parquet", "geojson"])
def test_no_secret_leaves_unless_asked(firnbook, store, tmp_path, form):
    firnbook(store, "export", "--format", form, "-o", tmp_path / "usual")
    text = everything(tmp_path / "usual")
    found = [secret for secret in secrets() if secret in text]
    assert found == [], (form, found, [text[max(0, text.index(s) - 80) : text.index(s) + 80] for s in found[:3]])
    assert form == "geojson" or "p-" in text


@pytest.mark.parametrize("form", ["csv", "jsonl", "parquet"])
def test_what_is_asked_for_leaves(firnbook, store, tmp_path, form):
    """The search finds what is there: with notes the notes, in full everything."""
    firnbook(store, "export", "--format", form, "-o", tmp_path / "notes", "--notes")
    text = everything(tmp_path / "notes")
    assert NOTE in text and not any(place in text for place in PLACES)
    firnbook(store, "export", "--format", form, "-o", tmp_path / "full", "--full")
    text = everything(tmp_path / "full")
    assert all(secret in text for secret in [NAME.lower(), PHONE, NOTE, "46.5123987", "465123987"])


def test_geojson_in_full_is_where_it_was(firnbook, store, tmp_path):
    firnbook(store, "export", "--format", "geojson", "-o", tmp_path / "full", "--full")
    assert "9.8123654,46.5123987" in everything(tmp_path / "full").replace(" ", "")


def test_codes_are_the_same_in_every_form_and_say_nothing_of_the_call_sign(firnbook, store, winter, tmp_path):
    # Parquet is written by several threads, each of which meets other people.
    for name, log in [("one", store), ("many", winter)]:
        for form in ["csv", "jsonl", "parquet"]:
            firnbook(log, "export", "--format", form, "-o", tmp_path / f"{name}-{form}", "--codes", tmp_path / f"{name}-{form}.csv")
        given = [(tmp_path / f"{name}-{form}.csv").read_text() for form in ["csv", "jsonl", "parquet"]]
        assert len(given[0].splitlines()) > 3 and given[0] == given[1] == given[2], name
    key = Path(f"{store}.export-key")
    assert len(key.read_text().strip()) == 64 and (sys.platform == "win32" or key.stat().st_mode & 0o077 == 0)
