"""First plans from rectpack, a library of greedy packers: a start, and a baseline to beat."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from itertools import product
from typing import Any

from nester.core.problem import Cuts, PlacedPiece
from nester.cutting import is_guillotine
from nester.packing.task.pattern_pool import Plan
from nester.packing.task.task import BinType, Pattern, Placement, Task

__all__ = ["all_rectpack_plans", "rectpack_plans"]

_MAX_PIECES = 400
"""With more pieces rectpack is too slow."""


def rectpack_plans(task: Task, cuts: Cuts) -> Iterator[Plan]:
    """Yield a plan for each of rectpack's settings whose patterns can be cut as required.

    rectpack turns all pieces or none, so if any piece may not be turned, none is.  It knows no
    prices, so sheets are given to it in the order of their price per area.
    """
    for plan in all_rectpack_plans(task, cuts):
        # Its guillotine packers join free rectangles of different parts, and then a piece may lie
        # across a cut: some of their patterns are not guillotine patterns.
        if cuts is Cuts.FREE or all(_is_guillotine(task, pattern) for pattern, _ in plan):
            yield plan


def all_rectpack_plans(task: Task, cuts: Cuts, max_pieces: int = _MAX_PIECES) -> Iterator[Plan]:
    """Yield a plan for each setting, even if straight cuts can't take its patterns apart."""
    pieces = [index for index, item in enumerate(task.item_types) for _ in range(item.demand)]
    if not pieces or len(pieces) > max_pieces:
        return
    import rectpack

    for algorithm, sort, mode in _settings(rectpack, cuts):
        # rectpack 0.2.2 warns about its own constructor argument.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            plan = _pack(rectpack, task, pieces, algorithm, sort, mode)
        yield plan


def _is_guillotine(task: Task, pattern: Pattern) -> bool:
    placed = []
    for index, x, y, turned in pattern.placements:
        width, height = task.item_types[index][:2]
        placed.append(
            PlacedPiece("", x, y, *((height, width) if turned else (width, height)), turned)
        )
    return is_guillotine(placed)


def _settings(rectpack: Any, cuts: Cuts) -> Iterator[tuple[Any, Any, Any]]:
    if cuts is Cuts.STRAIGHT:
        algorithms = [
            getattr(rectpack, f"Guillotine{fit}{split}")
            for fit, split in product(("Bssf", "Blsf", "Baf"), ("Sas", "Las", "Maxas"))
        ]
    else:
        algorithms = [
            rectpack.MaxRectsBssf,
            rectpack.MaxRectsBaf,
            rectpack.MaxRectsBl,
            rectpack.SkylineMwf,
        ]
    sorts = (rectpack.SORT_AREA, rectpack.SORT_LSIDE)
    modes = (rectpack.PackingBin.BFF, rectpack.PackingBin.BBF)
    return product(algorithms, sorts, modes)


def _pack(
    rectpack: Any, task: Task, pieces: list[int], algorithm: Any, sort: Any, mode: Any
) -> Plan:
    rotation = all(s.rotatable or s.width == s.height for s in task.item_types)
    packer = rectpack.newPacker(
        bin_algo=mode, pack_algo=algorithm, sort_algo=sort, rotation=rotation
    )
    for index in pieces:
        packer.add_rect(task.item_types[index].width, task.item_types[index].height, rid=index)
    for bin_type in sorted(
        range(len(task.bin_types)), key=lambda k: _price_per_area(task.bin_types[k])
    ):
        size = task.bin_types[bin_type]
        packer.add_bin(size.width, size.height, count=task.max_sheets(bin_type), bid=bin_type)
    packer.pack()
    copies: dict[Pattern, int] = {}
    for sheet in packer:
        placements = tuple(
            Placement(r.rid, r.x, r.y, r.width != task.item_types[r.rid].width) for r in sheet
        )
        if placements:
            pattern = Pattern(sheet.bid, placements)
            copies[pattern] = copies.get(pattern, 0) + 1
    return tuple(copies.items())


def _price_per_area(sheet_type: BinType) -> tuple[float, int]:
    return sheet_type.price / sheet_type.area, -sheet_type.area
