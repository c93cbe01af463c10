"""Damage done to files: what a full disk, a wrong program or a slip makes of them."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from typing import Any

from hypothesis import strategies as st
from openpyxl import Workbook

__all__ = [
    "LISTS",
    "as_csv",
    "as_workbook",
    "damages",
    "members",
    "spoil",
    "spoil_member",
    "zipped",
]

_PLACE = st.floats(0, 1)
_SOME = st.sampled_from(
    [
        b"", b"\0", b"\xff", b"\xfe\xff", b"\xef\xbb\xbf", b'"', b"\n", b"\r", b",", b";", b"\t",
        b"'", b"=1+1", b"<", b">", b"&", b"]]>", b"-1", b"1e999", b"9" * 40, "١٢".encode(),
        "\u202e🎁".encode(), b"nan", b"\x1b[31m", b"A" * 5000, b"/" * 30, b"..", b"PK\x03\x04",
    ]
)  # fmt: skip
_DEED = st.one_of(
    st.tuples(st.just("cut short"), _PLACE),
    st.tuples(st.just("flip"), _PLACE, st.integers(0, 7)),
    st.tuples(st.just("take out"), _PLACE, st.integers(1, 200)),
    st.tuples(st.just("put in"), _PLACE, st.one_of(_SOME, st.binary(max_size=8))),
    st.tuples(st.just("write over"), _PLACE, st.one_of(_SOME, st.binary(max_size=8))),
    st.tuples(st.just("double"), _PLACE, st.integers(1, 400)),
    st.tuples(st.just("in other letters"), st.sampled_from(["utf-16", "utf-32", "cp1252"])),
)
damages: st.SearchStrategy[list[tuple[Any, ...]]] = st.lists(_DEED, min_size=1, max_size=4)
"""What is done to a file, one after the other."""


def spoil(data: bytes, deeds: list[tuple[Any, ...]]) -> bytes:
    """Return what is left of a file."""
    for deed, *how in deeds:
        if deed == "in other letters":
            data = data.decode("utf-8", "replace").encode(how[0], "replace")
            continue
        place = round(how[0] * len(data))
        before, after = data[:place], data[place:]
        match deed:
            case "cut short":
                data = before
            case "flip" if after:
                data = before + bytes([after[0] ^ 1 << how[1]]) + after[1:]
            case "take out":
                data = before + after[how[1] :]
            case "put in":
                data = before + how[1] + after
            case "write over":
                data = before + how[1] + after[len(how[1]) :]
            case "double":
                data = before + after[: how[1]] + after
    return data


def members(data: bytes) -> dict[str, bytes]:
    """Return the files in a ZIP archive."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def zipped(files: dict[str, bytes]) -> bytes:
    """Return a ZIP archive of files."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return made.getvalue()


def spoil_member(data: bytes, name: str, deeds: list[tuple[Any, ...]]) -> bytes:
    """Return a whole archive in which one file is spoiled, and its manifest, if any, fits it."""
    files = members(data)
    files[name] = spoil(files[name], deeds)
    if "manifest.json" in files and name != "manifest.json":
        manifest = json.loads(files["manifest.json"])
        for one in manifest["tables"]:
            if one["file"] == name:
                one["sha256"] = hashlib.sha256(files[name]).hexdigest()
        files["manifest.json"] = json.dumps(manifest).encode()
    return zipped(files)


LISTS: dict[str, list[list[str]]] = {
    "papers": [
        ["name", "colour", "finish", "grammage", "swatch", "pattern", "grain"],
        ["Fern 'A'", "green", "linen", "160", "#3a7d44", "plain", "long"],
        ["Łąka, gold", "gold", "", "300", "", "directional", ""],
    ],
    "sheets": [
        ["paper", "size", "quantity", "price", "place", "note", "lot", "margin"],
        ["Card", "50x70cm", "25", "1.80", "Shelf / Drawer 2", "a, b", "B7", "left=5mm"],
        ["Card", "A4", "3", "", "", "", "", ""],
    ],
    "offcuts": [
        ["paper", "size", "quantity", "price", "place", "grain"],
        ["Card", "20x30cm", "2", "0.40", "Box", "height"],
    ],
    "orders": [
        ["customer", "design", "copies", "due", "sizes", "papers"],
        ["Ines", "gift-tag", "2", "2027-03-14", "width=5cm; height=8cm", "all=Card"],
    ],
    "counts": [["label", "found", "book"], ["S-1", "8", "9"], ["K-1", "1", "1"]],
    "pieces": [["name", "width", "height", "quantity"], ["lid", "12cm", "12cm", "4"]],
    "prices": [
        ["paper", "size", "pack", "price", "least", "days", "shipping"],
        ["Card", "50x70cm", "25", "31.25", "1", "7", "5.90"],
    ],
    "postage": [["weight", "price"], ["500 g", "1.60"], ["1 kg", "2.70"]],
}
"""A small list of each kind that the program reads."""


def as_csv(lines: list[list[str]]) -> bytes:
    text = io.StringIO()
    csv.writer(text).writerows(lines)
    return text.getvalue().encode()


def as_workbook(lines: list[list[str]]) -> bytes:
    book = Workbook()
    for line in lines:
        book.active.append([int(cell) if cell.isdigit() else cell for cell in line])
    made = io.BytesIO()
    book.save(made)
    return made.getvalue()
