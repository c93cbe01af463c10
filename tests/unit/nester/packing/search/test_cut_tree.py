"""Cut trees are built from guillotine layouts only, and know what is free."""

from nester.packing.search.cut_tree import (
    Host,
    Node,
    PlacedBox,
    Sheet,
    build_cut_tree,
    collect_codes,
)


def box(code, x, y, width, height):
    return PlacedBox((x, y), (x + width, y + height), code)


def free_sizes(sheet):
    return sorted((width, height) for width, height, _, _ in sheet.free)


def test_slices_along_the_first_axis_leave_one_rest():
    root = build_cut_tree([box(0, 0, 0, 4, 6), box(2, 4, 0, 3, 6)], 0, 10, 6)
    assert root is not None
    assert (root.axis, root.rest, root.slices) == (0, 3, [0, 2])
    assert free_sizes(Sheet(0, root)) == [(3, 6)]


def test_overlapping_extents_are_divided_along_the_other_axis():
    root = build_cut_tree([box(0, 0, 0, 4, 2), box(2, 1, 2, 3, 3)], 0, 10, 6)
    assert root is not None
    (part,) = root.slices
    assert isinstance(part, Node)
    assert (part.axis, part.rest) == (1, 1)
    sheet = Sheet(0, root)
    assert free_sizes(sheet) == [(1, 3), (4, 1), (6, 6)]
    assert sheet.waste == 10 * 6 - 4 * 2 - 3 * 3


def test_a_pinwheel_has_no_tree():
    pinwheel = [
        box(0, 0, 0, 2, 1),
        box(2, 2, 0, 1, 2),
        box(4, 1, 2, 2, 1),
        box(6, 0, 1, 1, 2),
    ]
    assert build_cut_tree(pinwheel, 0, 3, 3) is None


def test_a_void_is_a_sheet_of_its_own():
    guest = Node(0, 1, 2, [4])
    root = build_cut_tree([box(Host(0, [guest]), 0, 0, 6, 6)], 0, 6, 6)
    assert root is not None
    assert free_sizes(Sheet(0, root)) == [(1, 2)]
    codes: list[int] = []
    collect_codes(root.slices, codes)
    assert codes == [0, 4]
