from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from nester.core.lengths import Unit, cm, inch, mm
from nester.core.piece import Fold, Grain, Line, Point, Score
from nester.designs import DESIGNS, read_settings
from nester.designs.base.design import Measure
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.folding import fold_faults
from nester.designs.custom.expressions import (
    Dimension,
    ExpressionError,
    parse_comparison,
    parse_expression,
)
from nester.designs.custom.outline import CutCorner, OutlineError, disc_within, line_within, outline
from nester.designs.custom.reader import (
    CustomDesignRefusal,
    check_custom_design,
    decode_custom_design,
    read_custom_design,
    starter_text,
)
from nester.designs.custom.toml_lines import lines_of

EXAMPLE = Path(__file__).parents[5] / "demo_data" / "own_design.toml"
SORTS = {"width": Dimension.LENGTH, "flap": Dimension.LENGTH, "cards": Dimension.NUMBER}
VALUES = {"width": Fraction(cm(10)), "flap": Fraction(mm(15)), "cards": Fraction(3)}


def worked_out(text: str) -> Fraction:
    expression = parse_expression(text)
    expression.dimension(SORTS)
    return expression.evaluate(VALUES)


# --- expressions


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2cm", cm(2)),
        ("1 1/2in", inch("1.5")),
        ("1/2 in", inch("0.5")),
        ("1½in", inch("1.5")),
        ('12"', inch(12)),
        ("18.5 cm", cm("18.5")),
        ("width + 2 * flap", cm(13)),
        ("width + 2 × flap", cm(13)),
        ("width - flap - 5mm", cm(8)),
        ("width − flap – 5mm", cm(8)),
        ("width / 4 ÷ 5", mm(5)),
        ("(width + 2cm) / 3", cm(4)),
        ("½ × width", cm(5)),
        ("2 1/2 × flap", mm("37.5")),
        ("width / 2 1/2", cm(4)),
        ("3 × 1/2in", inch("1.5")),
        ("-flap + width", mm(85)),
        ("width / flap", Fraction(20, 3)),
        ("width × (flap / 3cm)", cm(5)),
        ("cards × 2 − 1", 5),
        ("min(width, flap, 3cm)", mm(15)),
        ("max(width, flap)", cm(10)),
        ("round_to(12.4mm, 5mm)", mm(10)),
        ("round_to(12.5mm, 5mm)", mm(15)),
        ("round_up_to(10.1mm, 5mm)", mm(15)),
        ("round_up_to(10mm, 5mm)", mm(10)),
        ("round_down_to(width / 7, 1mm)", mm(14)),
        ("round_down_to(width / flap, 1)", 6),
        ("round_to(0mm − 12mm, 5mm)", mm(10) * -1),
    ],
)
def test_arithmetic_is_exact(text: str, value: int | Fraction) -> None:
    assert worked_out(text) == value


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("width + 2", "'width' is a length and '2' a number without a unit"),
        ("2 + width", "'width' is a length and '2' a number without a unit"),
        ("max(width, cards)", "'width' is a length and 'cards' a number"),
        ("width × flap", "a length is multiplied by 'flap', a length; that is an area"),
        ("1 / width", "a number is divided by 'width', a length"),
        ("round_to(width, 2)", "can't be added or compared"),
        ("widht", "nothing is called 'widht' here; did you mean width"),
        ("9**9**9", "has a power in it; only"),
        ("2 ^ 3", "has a power in it; only"),
        ("width / 0", "divides by zero"),
        ("width / (cards − 3)", "'width / .cards − 3.' divides by zero"),
        ("1/0in", "divides by zero"),
        ("width / 1/2in", r"'/ 1/2in' can be read two ways; put \(1/2in\) in parentheses"),
        ("round_to(width, 0mm)", "the step in .* must be more than zero"),
        ("round_to(width)", r"is given 1 value; write round_to\(width, 5mm\)"),
        ("max", "'max' needs parentheses"),
        ("sqrt(2)", "'sqrt' can't be worked out by itself; there are min"),
        ("mni(width, flap)", "did you mean min"),
        ("18,5cm", "the comma .* write decimals with a point"),
        ("2 x width", "write × or \\* for times"),
        ("2 width", "write × or \\* for times"),
        ("cm", "a unit follows its number"),
        ("width +", "'width \\+' ends too early"),
        ("(width", "a closing parenthesis is missing"),
        ("width)", "'\\)' can't be understood"),
        ("", "it is empty"),
        ("__import__('os')", "'__import__' can't be worked out"),
        ("width.real", "'.real' can't be understood"),
        ("1e9", "'e9' can't be understood"),
        ("9" * 30, "more digits than any size needs"),
        ("(" * 30 + "1" + ")" * 30, "more than 20 parentheses"),
        ("1+" * 300 + "1", "400 are enough"),
        ("×".join(["99999999"] * 40), "more digits than any size needs"),
        ("a\x00b", "can't be understood|nothing is called"),
        ("²", "nothing is called '²'"),
        ("٣", "can't be understood"),
    ],
)
def test_what_is_no_arithmetic_is_refused_by_name(text: str, said: str) -> None:
    with pytest.raises(ExpressionError, match=said) as refused:
        worked_out(text)
    assert str(refused.value).isprintable()


@pytest.mark.parametrize(
    ("text", "holds"),
    [
        ("flap <= width / 2", True),
        ("flap ≥ width", False),
        ("cards = 3", True),
        ("cards < 3", False),
        ("width > 2 × flap", True),
    ],
)
def test_comparisons(text: str, holds: bool) -> None:
    comparison = parse_comparison(text)
    comparison.check(SORTS)
    assert comparison.is_satisfied(VALUES) is holds


@pytest.mark.parametrize(
    ("text", "said"),
    [("flap", "compares nothing"), ("flap < 2", "can't be compared"), ("a < b < c", "understood")],
)
def test_what_is_no_comparison_is_refused(text: str, said: str) -> None:
    with pytest.raises(ExpressionError, match=said):
        parse_comparison(text).check(SORTS)


# --- where things stand


def test_every_key_has_its_line() -> None:
    lines = lines_of(
        'a = "x" # b = 1\n\n[t."q r"]\nb.c = """\n[no]\n"""\r\nd = [\n 1, # [\n { e = \'}\' },\n]\n'
        "[[p]]\nx = 1\n[[p]]\n[p.y]\nz = 2026-01-01\n[[p.s]]\nk = 1.5\n[[p.s]]\nk = 2\n"
    )
    assert lines[("a",)] == 1
    assert lines[("t", "q r")] == 3
    assert lines[("t", "q r", "b", "c")] == 4
    assert lines[("t", "q r", "d", 0)] == 8
    assert lines[("t", "q r", "d", 1, "e")] == 9
    assert lines[("p", 0, "x")] == 12
    assert lines[("p", 1, "y", "z")] == 15
    assert lines[("p", 1, "s", 0, "k")] == 17
    assert lines[("p", 1, "s", 1, "k")] == 19
    assert ("no",) not in lines


# --- outlines


def test_a_gable_has_a_point() -> None:
    slanted = CutCorner(cm(2), cm(3), slanted=True)
    shape = outline(cm(4), cm(10), {"top_left": slanted, "top_right": slanted})
    assert shape == ((0, cm(3)), (cm(2), 0), (cm(4), cm(3)), (cm(4), cm(10)), (0, cm(10)))
    assert line_within(shape, Line(Point(cm(2), 0), Point(cm(2), cm(10))))
    assert line_within(shape, Line(Point(0, cm(3)), Point(cm(2), 0)))
    assert not line_within(shape, Line(Point(0, cm(2)), Point(cm(4), cm(2))))
    assert disc_within(shape, Point(cm(2), cm(5)), cm(1))
    # The slanted edge is 2 / √13 cm = 5.547 mm from this place.
    assert disc_within(shape, Point(cm(2), cm(1)), mm("11.09"))
    assert not disc_within(shape, Point(cm(2), cm(1)), mm("11.10"))


@pytest.mark.parametrize(
    "cut",
    [
        {"top_left": CutCorner(4, 1)},
        {"top_left": CutCorner(2, 1), "top_right": CutCorner(2, 1)},
        {"top_left": CutCorner(3, 1, slanted=True), "top_right": CutCorner(2, 1)},
        {"top_left": CutCorner(1, 2), "bottom_left": CutCorner(1, 2)},
        {"top_left": CutCorner(3, 3), "bottom_right": CutCorner(2, 2)},
        {"top_left": CutCorner(2, 2), "bottom_right": CutCorner(2, 2)},
    ],
)
def test_corners_that_leave_no_piece_are_refused(cut: dict[str, CutCorner]) -> None:
    with pytest.raises(OutlineError):
        outline(4, 4, cut)


# --- whole designs


def test_the_starting_point_is_a_design() -> None:
    design = read_custom_design(starter_text(), "new.toml")
    assert check_custom_design(starter_text(), "new.toml") == []
    settings = read_settings(design, {"width": "10cm"}, Unit.CM)
    assert settings == {"width": cm(10), "height": cm(15), "flap": mm(15), "cards": 1}
    sachet, card = design.pieces(settings)
    assert (sachet.width, sachet.height) == (cm(13), cm(25))
    assert (sachet.role, sachet.grain, sachet.upright) == ("sachet", Grain.HEIGHT, True)
    left = Line(Point(mm(15), 0), Point(mm(15), cm(15)))
    assert sachet.scores[0] == Score(left, Fold.MOUNTAIN, 180)
    assert fold_faults(sachet, 0, Unit.CM) == ()
    assert len(sachet.scores) == 3
    assert len(sachet.glue) == 2
    assert (card.width, card.height) == (mm(96), cm(12))
    assert card.holes[0].eyelet
    assert card.holes[0].centre == (mm(48), cm(1))
    (joint,) = design.joints(settings)
    assert joint.nominal_clearance == mm(4)
    assert joint.layers[0].half_thicknesses == 4
    assert joint.play(lambda _: mm("0.3")) == mm("3.4")
    (ribbon,) = design.consumables(settings)
    assert (ribbon.measure, ribbon.amount, ribbon.quantity) == (Measure.LENGTH, cm(25), 1)


def test_a_quantity_of_none_leaves_a_piece_out() -> None:
    design = read_custom_design(starter_text(), "new.toml")
    settings = read_settings(design, {"cards": "0"}, Unit.CM)
    assert [piece.name for piece in design.pieces(settings)] == ["sachet"]
    assert design.joints(settings) == ()
    assert design.consumables(settings) == ()


def test_the_example_folds_into_a_little_house() -> None:
    design = read_custom_design(EXAMPLE.read_text(encoding="utf-8"), EXAMPLE.name)
    assert design.roles == ("wall", "floor", "roof", "mat")
    assert design.sub_roles == ("wall.gable", "wall.side")
    settings = read_settings(design, {"width": "10cm", "wall": "8cm"}, Unit.CM)
    gable, side, floor, roof, mat = design.pieces(settings)
    assert gable.outline[1] == (cm(5), 0)
    assert (gable.height, side.height) == (cm(13), cm(8))
    # A slope of 45 degrees over 5 cm is 5 cm × √2 = 70.71 mm, in half millimetres upwards 71 mm.
    assert roof.height == 2 * (mm(71) + mm(8))
    assert len(floor.outline) == 12
    assert floor.scores[0].line == ((cm(2), cm(2)), (cm(2), floor.height - cm(2)))
    assert mat.quantity == 2
    # The face is outside: the walls' tabs fold behind it, the door opens towards it.
    assert {score.fold for score in side.scores} == {Fold.MOUNTAIN}
    assert [score.fold for score in gable.scores] == [Fold.VALLEY]
    assert [
        fault for one in (gable, side, floor, roof) for fault in fold_faults(one, 0, Unit.CM)
    ] == []
    assert {layer.role for layer in design.joints(settings)[0].layers} == {"wall.side", "floor"}


def test_rules_speak_in_the_makers_words() -> None:
    design = read_custom_design(starter_text(), "new.toml")
    with pytest.raises(DesignRefusal, match="sachet: rules 1, holds: the flaps meet behind the"):
        read_settings(design, {"width": "2cm"}, Unit.CM)
    with pytest.raises(DesignRefusal, match="sachet, height: 50 cm is out of range"):
        read_settings(design, {"height": "50cm"}, Unit.CM)
    with pytest.raises(DesignRefusal, match="sachet has no setting 'widht'; did you mean width"):
        read_settings(design, {"widht": "50cm"}, Unit.CM)


def test_sizes_that_can_not_be_made_are_refused_by_piece() -> None:
    design = read_custom_design(minimal(width='"a − 2cm"'), "f")
    with pytest.raises(DesignRefusal, match="thing: pieces 1, width: 'a − 2cm' comes to -1 cm"):
        read_settings(design, {"a": "1cm"}, Unit.CM)
    design = read_custom_design(minimal(width='"a / 7"', a='"14cm"'), "f")
    with pytest.raises(DesignRefusal, match="does not come out exactly; round it"):
        read_settings(design, {"a": "10cm"}, Unit.CM)


def minimal(*, more: str = "", a: str = '"10cm"', width: str = '"a"', piece: str = "") -> str:
    return (
        f'name = "thing"\ntitle = "a thing"\n[sizes]\na = {a}\n{more}\n[[pieces]]\nname = "part"\n'
        f'role = "part"\nwidth = {width}\nheight = "5cm"\n{piece}\n'
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "line 1, name: it is missing"),
        ("name = \n", "line 1: this is not TOML at column 8: words and arithmetic must"),
        ('name = "A b"\n', "line 1, name: 'A b' can't be its name; write one like paper-house"),
        ('name = "tray-box"\n', "line 1, name: 'tray-box' is a design that comes with Quirebox"),
        (
            minimal(a="10.5"),
            "line 4, sizes, a: it should be arithmetic in quotes, such as .*, not a number",
        ),
        (minimal(a='"10"'), "line 4, sizes, a: '10' has no unit; write 10cm for a length, or 10"),
        (minimal(a='"b"', more='b = "1cm"'), "line 4, sizes, a: 'b' is further down"),
        (minimal(a='{ usual = "1cm", least = "2cm" }'), "line 4, sizes, a, usual: .* own range"),
        (minimal(a='{ usual = "1cm", leats = "2cm" }'), "a, leats: .* did you mean least"),
        (minimal(a='{ usual = "1cm", most = "99m" }'), "a, most: 'm.* can't be understood"),
        (minimal(a='{ usual = "1cm", most = "99in × 9" }'), "a, most: it should be a length up"),
        (minimal(more='min = "1cm"'), "line 5, sizes, min: 'min' has a meaning of its own"),
        (minimal(more='a-b = "1cm"'), "line 5, sizes, a-b: .* write one like lid_wall"),
        (minimal(more='[worked_out]\na = "1cm"'), "line 6, worked_out, a: there is a size 'a'"),
        (
            minimal(more='[worked_out]\nb = "c"\nc = "d + 1"\nd = "b"'),
            "line 6, worked_out, b: it depends on itself: b → c → d → b",
        ),
        (minimal(more='[worked_out]\nb = "b"'), "worked_out, b: it depends on itself: b → b"),
        (minimal(more='[worked_out]\nb = "a + 1"'), "b: 'a' is a length and '1' a number"),
        (minimal(more='[[rules]]\nholds = "a < 2"\nsays = "no"'), "rules 1, holds: .* compared"),
        (minimal(more='[[rules]]\nholds = "a < 2cm"\nsays = "no"'), "rules 1, holds: no$"),
        (minimal(width="10"), 'line 9, pieces 1, width: 10 has no unit; write it like "10cm"'),
        (minimal(width='"3"'), "line 9, pieces 1, width: '3' is a number; it should be a length"),
        (minimal(width='"0mm"'), "width: '0mm' comes to 0 mm and must be more than zero"),
        (minimal(width='"11in × 100"'), "width: .* may be at most 10 m"),
        (minimal(width='"a / 7"'), "width: 'a / 7' does not come out exactly; round it"),
        (minimal(piece="quantity = 0"), "line 6, pieces: no piece is left"),
        (minimal(piece="quantity = 1001"), "line 11, pieces 1, quantity: .* it may be 0 to 1000"),
        (minimal(piece='quantity = "a"'), "quantity: 'a' is a length; it should be a number"),
        (minimal(piece='grain = "along"'), "grain: 'along' should be one of any, width, height"),
        (minimal(piece='upright = "yes"'), "upright: 'yes' should be true or false"),
        (minimal(piece="uprigth = true"), "line 11, pieces 1, uprigth: .* did you mean upright"),
        (minimal(piece='corners = "3cm"'), "corners: the corners cut away leave nothing of the"),
        (minimal(piece='scores = [{ x = "2cm" }]'), "line 11, pieces 1, scores 1, fold: it is mis"),
        (
            minimal(
                piece='scores = [\n{x = "1cm", fold = "valley"},\n{x = "11cm", fold = "valley"}]'
            ),
            "line 13, pieces 1, scores 2: x = 110 mm does not run across the piece",
        ),
        *(
            (
                minimal(piece=f'scores = [{{ x = "2cm", fold = "valley", degrees = {angle} }}]'),
                "line 11, pieces 1, scores 1, degrees: .* is not a fold angle; write whole degrees",
            )
            for angle in (-1, 181, '"45 / 2"')
        ),
        (minimal(piece='slits = [{ x = "2cm", y = "2cm" }]'), "slits 1: it should say x or y"),
        (minimal(piece='slits = [{ from = [0, 0] }]'), "slits 1, to: it is missing"),
        (minimal(piece='slits = [{ from = [0], to = [0, 0] }]'), "from: it should be a place"),
        (
            minimal(piece='slits = [{ from = [0, 0], to = [0, "6cm"] }]'),
            "slits 1: it leaves the piece between 0 mm, 0 mm to 0 mm, 60 mm",
        ),
        (
            minimal(piece='holes = [{ at = ["wide", "tall / 2"], diameter = "4mm" }]'),
            "holes 1: a hole of 4 mm at 100 mm, 25 mm is not wholly within the piece",
        ),
        (
            minimal(
                piece='[[fits]]\nname = "x"\nouter = "a"\ninner = "5cm"\nplay = 0\npapers.prat = 1'
            ),
            "line 16, fits 1, papers, prat: no piece has the role 'prat'; did you mean part",
        ),
        (minimal(piece='[[consumables]]\nname = "ribbon"\nlength = "wide"'), "called 'wide' here"),
        (minimal() + minimal().partition("\n\n")[2], "pieces 2, name: .* names must differ"),
        (minimal(piece='note = "\\u202e"'), "note: it holds characters that can't be printed"),
        (minimal().replace('"part"\nw', '"all"\nw'), "role: 'all' stands for every piece"),
        (
            minimal().replace("[[pieces]]", "[pieces]"),
            "pieces: it should be a list of tables, not a table",
        ),
    ],
)  # fmt: skip
def test_each_fault_is_named_with_its_line(text: str, said: str) -> None:
    with pytest.raises(CustomDesignRefusal, match=said) as refused:
        read_custom_design(text, "my.toml")
    assert str(refused.value).startswith("my.toml, line ")
    assert str(refused.value) in map(str, check_custom_design(text, "my.toml"))


def test_all_faults_are_found_in_one_go() -> None:
    text = minimal(width='"b"', piece='grain = "x"\nnote = 1', more='a2 = "1 +"')
    assert [(one.line, one.field) for one in check_custom_design(text, "f")] == [
        (5, "sizes, a2"), (9, "pieces 1, width"), (11, "pieces 1, grain"), (12, "pieces 1, note"),
    ]  # fmt: skip


def test_a_size_that_can_not_be_read_is_named_once() -> None:
    text = minimal(a='"1 +"', more='[worked_out]\nb = "a × 2"\nc = "b"', width='"c"')
    assert [one.field for one in check_custom_design(text, "f")] == ["sizes, a"]


def test_files_that_are_no_text_are_refused_by_line() -> None:
    with pytest.raises(CustomDesignRefusal, match=r"^f, line 2: this is not UTF-8 text"):
        decode_custom_design(b'name = "x"\n\xff', "f")
    with pytest.raises(CustomDesignRefusal, match="more than 100 kB is too large for a design"):
        decode_custom_design(b"#" * 100_001, "f")
    marked = decode_custom_design(b"\xef\xbb\xbf" + minimal().encode(), "f")
    assert check_custom_design(marked, "f") == []
    assert check_custom_design("\ufeff" + minimal().replace("\n", "\r\n"), "f") == []


def test_no_built_in_design_can_be_hidden() -> None:
    for name in DESIGNS:
        (finding, *_) = check_custom_design(minimal().replace('"thing"', f'"{name}"'), "f")
        assert (finding.line, finding.field) == (1, "name")
