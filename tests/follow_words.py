"""A cutter who has the sheet and the printed words, in English or German, and nothing else.

Lengths are exact fractions of a millimetre, read and reckoned here; no code of the product takes
part.  The sheet has its true size; each cut runs where the words say, by the number printed, and
what comes of it is as large as it then is.  Parts are found again by the words that name them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

__all__ = ["TOLERANCE", "CutPiece", "WordsError", "follow"]

TOLERANCE = Fraction(1, 4)
"""Millimetres by which what is cut may be off; the papers say the same."""
_MM = {"mm": Fraction(1), "cm": Fraction(10), "in": Fraction(254, 10)}


_Line = tuple[bool, Fraction, Fraction, Fraction]
"""Whether it runs up and down, where, from and to where."""


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
    "de": {
        "cut": rf"(?P<up>Senkrecht|Quer), (?P<at>{_L}{_U}) vom (?:linken|oberen) Rand "
        rf"des (?:Bogens|Stücks) (?P<size>{_SIZE})\.",
        "none": rf"Kein Schnitt des (?:Bogens|Stücks) (?P<size>{_SIZE}): Es fiele nur ein"
        r" hauchdünner Streifen ab; dranlassen\.",
        "knife": rf"Messer, (?P<up>senkrecht|quer), (?P<at>{_L}{_U}) vom (?:linken|oberen) Rand "
        rf"(?P<of>.+?); (?P<start>{_L}{_U}) von seinem (?:oberen|linken) Rand ansetzen"
        rf"(?:, bei (?P<end>{_L}{_U}) aufhören"
        r"| und bis zu seinem (?:unteren|rechten) Rand schneiden)\.",
        "sides": r"(?:Links|Oben): (?P<a>.+?)\. (?:Rechts|Unten): (?P<b>.+)\.$",
        "whole": r"Ganz: (?P<a>.+)\.$",
        "free": r"Jetzt frei: (?P<things>.+); der Rest ist Abfall\.$",
        "out": r"Ausgeschnittene(?: Ecke|s Teil): (.+?)\.(?= Ausgeschnittene|$)",
        "scrap": r"Abfall, ",
        "part": rf"(?:weiter mit )?Stück (?P<size>{_SIZE})(?: beiseitelegen)?, für Schnitte? ",
        "blank": rf"(?P<name>.+), (?P<size>{_SIZE}); (?:damit weiter|beiseitelegen),"
        r" für Schnitte? ",
        "whole_of": rf"des (?:Bogens|Stücks) (?P<size>{_SIZE})$",
        "up": ("senkrecht",),
    },
}


def _length(text: str) -> Fraction:
    number, unit = text.strip().lstrip("≈").rsplit(" ", 1)
    value = sum((Fraction(word.replace(",", ".")) for word in number.split()), Fraction(0))
    return value * _MM[unit]


def follow(
    width: Fraction,
    height: Fraction,
    steps: list[str],
    language: str = "en",
    hollows: Mapping[str, Fraction] | None = None,
) -> list[CutPiece]:
    """Cut a sheet by the words, and return all that they name; raise `WordsError` if they fail.

    Parameters
    ----------
    hollows
        By name, how many square millimetres of its blank a piece does not cover.
    """
    words, hollows = _WORDS[language], hollows or {}
    waiting: dict[int, CutPiece] = {1: CutPiece("", Fraction(0), Fraction(0), width, height)}
    done: list[CutPiece] = []
    knife: tuple[str, CutPiece, list[_Line], set[tuple[Fraction, ...]]] | None = None

    def take(number: int, name: str) -> CutPiece:
        part = waiting.pop(number, None)
        if part is None or part.name not in ("", name):
            raise WordsError(f"nothing like {name} waits for cut {number}: {part}")
        return part

    def put(fate: str, left: Fraction, top: Fraction, right: Fraction, bottom: Fraction) -> None:
        if re.match(words["scrap"], fate):
            return
        match = re.match(words["part"], fate) or re.match(words["blank"], fate)
        if match:
            names = match.groupdict()
            part = CutPiece(names.get("name") or match["size"], left, top, right, bottom)
            waiting[int(re.match(r"(\d+)", fate[match.end() :])[1])] = part
            if "name" in names:
                done.append(part)
            return
        match = re.fullmatch(rf"(.+), {_SIZE}", fate)
        if not match:
            raise WordsError(fate)
        done.append(CutPiece(match[1], left, top, right, bottom))

    for number, step in enumerate(steps, 1):
        text = re.sub(r"^\d+\. ", "", " ".join(step.split()))
        if match := re.match(words["none"], text):
            part = take(number, match["size"])
            fate = re.search(words["whole"], text)
            if not fate:
                raise WordsError(text)
            put(fate["a"], part.left, part.top, part.right, part.bottom)
        elif match := re.match(words["cut"], text):
            part, at = take(number, match["size"]), _length(match["at"])
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
            name = whole["size"] if whole else match["of"].removeprefix("von ")
            if knife is None or knife[0] != name or number in waiting:
                knife = (name, take(number, name), [], set())
            _, part, lines, taken = knife
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
                    hollow = hollows.get(named, Fraction(0))
                    done.append(_region(named, size, part, lines, taken, hollow))
                knife = None
            for fate in re.findall(words["out"], text):
                size = re.search(rf"(?:, |the |Stück )({_SIZE})", fate)[1]
                put(fate, *_edges(_region("", size, part, lines, taken)))
        else:
            raise WordsError(f"not understood: {text}")
        if knife is not None and not re.match(words["knife"], text):
            knife = None
    if waiting:
        raise WordsError(f"never cut: {list(waiting.values())}")
    return done


def _edges(piece: CutPiece) -> tuple[Fraction, Fraction, Fraction, Fraction]:
    return piece.left, piece.top, piece.right, piece.bottom


def _region(
    name: str,
    size: str,
    part: CutPiece,
    lines: list[_Line],
    taken: set[tuple[Fraction, ...]],
    hollow: Fraction = Fraction(0),
) -> CutPiece:
    """Return loose paper of a size that is a rectangle, but for what may be cut out of it."""
    wide, high = size.split(" × ")
    across, down = _length(f"{wide} {high.rsplit(' ', 1)[1]}"), _length(high)
    for left, top, right, bottom, area in _loose(part, lines):
        if abs(right - left - across) > TOLERANCE or abs(bottom - top - down) > TOLERANCE:
            continue
        missing = (right - left) * (bottom - top) - area
        slack = 8 * TOLERANCE * max(across, down) if hollow else 0
        key = (left, top, right, bottom, area)
        if missing <= hollow + slack and key not in taken:
            taken.add(key)
            return CutPiece(name, left, top, right, bottom)
    raise WordsError(f"{name} {size} hangs on")


def _loose(part: CutPiece, lines: list[_Line]) -> Iterator[tuple[Fraction, ...]]:
    """Yield what hangs together when all lines are cut: its edges, and its area."""
    xs = {part.left, part.right, *(at for up, at, _, _ in lines if up)}
    ys = {part.top, part.bottom, *(at for up, at, _, _ in lines if not up)}
    for up, _, start, end in lines:
        (ys if up else xs).update((start, end))
    across = sorted(x for x in xs if part.left <= x <= part.right)
    down = sorted(y for y in ys if part.top <= y <= part.bottom)
    walls = set()
    for up, at, start, end in lines:
        for near in down if up else across:
            if start <= near < end:
                walls.add((up, at, near))
    left = {(i, j) for i in range(len(across) - 1) for j in range(len(down) - 1)}
    while left:
        group, waiting = set(), [left.pop()]
        while waiting:
            i, j = waiting.pop()
            group.add((i, j))
            for cell, wall in (
                ((i - 1, j), (True, across[i], down[j])),
                ((i + 1, j), (True, across[i + 1], down[j])),
                ((i, j - 1), (False, down[j], across[i])),
                ((i, j + 1), (False, down[j + 1], across[i])),
            ):
                if cell in left and wall not in walls:
                    left.remove(cell)
                    waiting.append(cell)
        yield (
            min(across[i] for i, _ in group),
            min(down[j] for _, j in group),
            max(across[i + 1] for i, _ in group),
            max(down[j + 1] for _, j in group),
            sum(
                ((across[i + 1] - across[i]) * (down[j + 1] - down[j]) for i, j in group),
                Fraction(0),
            ),
        )
