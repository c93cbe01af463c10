"""A cutter who has the sheet and the printed words, in English or German, and nothing else.

Lengths are exact fractions of a millimetre, read and reckoned here; no code of the product takes
part.  The sheet has its true size; each cut runs where the words say, by the number printed, and
what comes of it is as large as it then is.  Parts are found again by the words that name them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

__all__ = ["TOLERANCE", "CutPiece", "WordsError", "follow"]

TOLERANCE = Fraction(1, 4)
"""Millimetres by which what is cut may be off; the papers say the same."""
_MM = {"mm": Fraction(1), "cm": Fraction(10), "in": Fraction(254, 10)}


class WordsError(Exception):
    """The words can't be followed."""


@dataclass(frozen=True)
class CutPiece:
    """What lies on the table: its name, and where it lay on the sheet."""

    name: str
    left: Fraction
    top: Fraction
    right: Fraction
    bottom: Fraction


_L = r"≈?[\d ./,]+?"
_U = r" (?:mm|cm|in)"
_SIZE = rf"{_L} × {_L}{_U}"
_WORDS = {
    "en": {
        "cut": rf"(?P<up>Up and down|Across), (?P<at>{_L}{_U}) from the (?:left|top) edge "
        rf"of the (?P<size>{_SIZE}) (?:sheet|part)\.",
        "none": rf"No cut of the (?P<size>{_SIZE}) (?:sheet|part): only a sliver would come off;"
        r" leave it on\.",
        "knife": rf"Knife, (?P<up>up and down|across), (?P<at>{_L}{_U}) from the (?:left|top) edge "
        rf"of (?P<of>.+?); start (?P<start>{_L}{_U})"
        rf"(?: and stop (?P<end>{_L}{_U}) from its (?:top|left) edge"
        r"| from its (?:top|left) edge and cut to its (?:bottom|right) edge)\.",
        "sides": r"(?:Left|Top): (?P<a>.+?)\. (?:Right|Bottom): (?P<b>.+)\.$",
        "whole": r"Whole: (?P<a>.+)\.$",
        "free": r"Now free: (?P<things>.+); the rest is scrap\.$",
        "out": r"(?:Corner|Piece) cut out: (.+?)\.(?= (?:Corner|Piece) cut out|$)",
        "scrap": r"scrap, ",
        "part": rf"(?:go on with|set aside) the (?P<size>{_SIZE}) part, for cuts? ",
        "blank": rf"(?P<name>.+), (?P<size>{_SIZE}); (?:go on with|set) it(?: aside)?, for cuts? ",
        "whole_of": rf"the (?P<size>{_SIZE}) (?:sheet|part)$",
        "up": ("up and down",),
    },
}


def _length(text: str) -> Fraction:
    number, unit = text.strip().lstrip("≈").rsplit(" ", 1)
    value = sum((Fraction(word.replace(",", ".")) for word in number.split()), Fraction(0))
    return value * _MM[unit]


def follow(
    width: Fraction, height: Fraction, steps: list[str], language: str = "en"
) -> list[CutPiece]:
    """Cut a sheet by the words, and return all that they name; raise `WordsError` if they fail."""
    words = _WORDS[language]
    table: list[CutPiece] = []
    done: list[CutPiece] = []
    knife: tuple[CutPiece, list[tuple[bool, Fraction, Fraction, Fraction]]] | None = None
    first = True

    def take(size: str) -> CutPiece:
        nonlocal first
        if first:
            first = False
            return CutPiece(size, Fraction(0), Fraction(0), width, height)
        for part in reversed(table):
            if part.name == size:
                table.remove(part)
                return part
        raise WordsError(f"no part {size} on the table: {[part.name for part in table]}")

    def put(fate: str, left: Fraction, top: Fraction, right: Fraction, bottom: Fraction) -> None:
        if re.match(words["scrap"], fate):
            return
        if match := re.match(words["part"], fate):
            table.append(CutPiece(match["size"], left, top, right, bottom))
        elif match := re.match(words["blank"], fate):
            table.append(CutPiece(match["name"], left, top, right, bottom))
            done.append(CutPiece(match["name"], left, top, right, bottom))
        else:
            name, size = re.fullmatch(rf"(.+), ({_SIZE})", fate).groups()
            _ = size
            done.append(CutPiece(name, left, top, right, bottom))

    for step in steps:
        text = re.sub(r"^\d+\. ", "", " ".join(step.split()))
        if match := re.match(words["none"], text):
            part = take(match["size"])
            fate = re.search(words["whole"], text)
            if not fate:
                raise WordsError(text)
            put(fate["a"], part.left, part.top, part.right, part.bottom)
        elif match := re.match(words["cut"], text):
            part, at = take(match["size"]), _length(match["at"])
            fates = re.search(words["sides"], text)
            if not fates:
                raise WordsError(text)
            if match["up"].lower() in words["up"]:
                if not 0 < at < part.right - part.left:
                    raise WordsError(f"no cut within the part: {text}")
                line = part.left + at
                put(fates["b"], line, part.top, part.right, part.bottom)
                put(fates["a"], part.left, part.top, line, part.bottom)
            else:
                if not 0 < at < part.bottom - part.top:
                    raise WordsError(f"no cut within the part: {text}")
                line = part.top + at
                put(fates["b"], part.left, line, part.right, part.bottom)
                put(fates["a"], part.left, part.top, part.right, line)
        elif match := re.match(words["knife"], text):
            whole = re.match(words["whole_of"], match["of"])
            name = whole["size"] if whole else match["of"]
            if knife is None or knife[0].name != name:
                knife = (take(name), [])
            part, lines = knife
            upright = match["up"].lower() in words["up"]
            low, along, far = (
                (part.left, part.top, part.bottom) if upright else (part.top, part.left, part.right)
            )
            end = along + _length(match["end"]) if match["end"] else far
            lines.append(
                (upright, low + _length(match["at"]), along + _length(match["start"]), end)
            )
            if free := re.search(words["free"], text):
                for thing in free["things"].split("; "):
                    named, size = re.fullmatch(rf"(.+), ({_SIZE})", thing).groups()
                    done.append(_region(named, size, part, lines, done))
                knife = None
            for fate in re.findall(words["out"], text):
                size = re.search(_SIZE, fate)[0]
                put(fate, *_edges(_region("", size, part, lines, done)))
        else:
            raise WordsError(f"not understood: {text}")
        if knife is not None and not re.match(words["knife"], text):
            knife = None
    return done


def _edges(piece: CutPiece) -> tuple[Fraction, Fraction, Fraction, Fraction]:
    return piece.left, piece.top, piece.right, piece.bottom


def _region(
    name: str,
    size: str,
    part: CutPiece,
    lines: list[tuple[bool, Fraction, Fraction, Fraction]],
    taken: list[CutPiece],
) -> CutPiece:
    """Return the loose rectangle of a size: one around which all is cut and nothing within."""
    wide, high = size.split(" × ")
    unit = high.rsplit(" ", 1)[1]
    across, down = _length(f"{wide} {unit}"), _length(high)
    xs = sorted({part.left, part.right, *(at for up, at, _, _ in lines if up)})
    ys = sorted({part.top, part.bottom, *(at for up, at, _, _ in lines if not up)})
    for left in xs:
        for right in xs:
            if abs(right - left - across) > TOLERANCE:
                continue
            for top in ys:
                for bottom in ys:
                    if abs(bottom - top - down) > TOLERANCE:
                        continue
                    found = CutPiece(name, left, top, right, bottom)
                    if _is_loose(found, part, lines) and not any(
                        _edges(found) == _edges(other) for other in taken
                    ):
                        return found
    raise WordsError(f"{name} {size} hangs on: {lines}")


def _is_loose(
    piece: CutPiece, part: CutPiece, lines: list[tuple[bool, Fraction, Fraction, Fraction]]
) -> bool:
    for up, at, start, end in (
        (True, piece.left, piece.top, piece.bottom),
        (True, piece.right, piece.top, piece.bottom),
        (False, piece.top, piece.left, piece.right),
        (False, piece.bottom, piece.left, piece.right),
    ):
        if at in ((part.left, part.right) if up else (part.top, part.bottom)):
            continue
        for _, _, low, high in sorted(line for line in lines if line[:2] == (up, at)):
            if low <= start:
                start = max(start, high)
        if start < end:
            return False
    for up, at, start, end in lines:
        low, high = (piece.left, piece.right) if up else (piece.top, piece.bottom)
        near, far = (piece.top, piece.bottom) if up else (piece.left, piece.right)
        if low < at < high and start < far and near < end:
            return False
    return True
