"""The Swift sources, as far as they can be checked without a Swift compiler: the headers compile, what they declare is in the library, and the
syntax is Swift."""

import os
import re
import subprocess
from pathlib import Path

import pytest
import tree_sitter_swift
from tree_sitter import Language, Parser

SWIFT = Path(os.environ["FIRNBOOK_SWIFT"])
[LIBRARY] = Path(os.environ["FIRNBOOK_PYTHON"]).glob("firnbook/generated/libfirnbook_bindings.*")
HEADERS = sorted(SWIFT.glob("*.h"))


def test_there_is_a_header_a_module():
    assert [h.stem for h in HEADERS] == ["FirnbookFFI", "FirnbookLogFFI"]


@pytest.mark.parametrize("header", HEADERS, ids=lambda h: h.stem)
def test_the_header_compiles(header):
    # Nullability is a word of Clang's alone.
    words = ["-D_Nullable=", "-D_Nonnull="]
    subprocess.run(["cc", "-x", "c", "-std=c11", *words, "-fsyntax-only", str(header)], check=True)


def test_declared_functions_are_the_exported_ones():
    declared = {name for h in HEADERS for name in re.findall(r"\b(\w+)\s*\([^()]*\)\s*;", h.read_text()) if "firnbook" in name}
    listed = subprocess.run(["nm", "--dynamic", "--defined-only", str(LIBRARY)], capture_output=True, text=True, check=True)
    exported = {line.split()[-1] for line in listed.stdout.splitlines()}
    exported = {name for name in exported if re.match(r"(uniffi|ffi)_firnbook", name)}
    assert len(declared) > 60
    assert declared - exported == set()


@pytest.mark.parametrize("source", sorted(SWIFT.glob("*.swift")), ids=lambda s: s.stem)
def test_the_syntax_is_swift(source):
    # An attribute of the compiler's own that the grammar does not have.
    tree = Parser(Language(tree_sitter_swift.language())).parse(re.sub(rb"@_documentation\(.*?\)", b"", source.read_bytes()))
    faults = []

    def look(node):
        # The closure `{ () }`, which returns nothing, is Swift that the grammar does not know.
        if (node.type == "ERROR" and node.text != b"()") or node.is_missing:
            faults.append((node.start_point[0] + 1, node.text[:60]))
        elif node.has_error:
            for child in node.children:
                look(child)

    look(tree.root_node)
    assert faults == []
