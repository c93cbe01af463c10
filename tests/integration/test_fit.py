"""Two plain lists in, plain data out."""

import json
from fractions import Fraction

import pytest

from inventory.advice.fit_lists import read_problem
from inventory.views.production.cutting import answer_as_json
from nester.core.errors import Refusal
from nester.core.lengths import Unit, from_mm_number, inch, mm
from nester.core.piece import Turn
from nester.core.problem import Cuts, Demand, Effort, StockItem
from nester.packing import solve
from nester.verify import verify

PIECES = """\
name,width,height,quantity,paper,turn
tier 1,54cm,54cm,1,black,
lid,7 1/16in,7 1/16 in,2,black,any
band,400,30.5,3,,NONE
flag,30,400,2,,none
"""
SHEETS = """\
name;width;height;quantity;price;paper
large;56cm;71cm;;1,20;black
small;"8,5 in";11in;2;;
none left;700;500;0;0;
"""


@pytest.fixture
def lists(tmp_path):
    def lists(pieces=PIECES, sheets=SHEETS):
        paths = tmp_path / "pieces.csv", tmp_path / "sheets.csv"
        for path, text in zip(paths, (pieces, sheets), strict=True):
            path.write_text(text, encoding="utf-8")
        return paths

    return lists


def test_lists_are_read_exactly(lists):
    problem = read_problem(*lists(), cuts=Cuts.FREE)
    assert problem.cuts is Cuts.FREE
    assert problem.demands == (
        Demand("tier 1", mm(540), mm(540), 1, "black", Turn.ANY),
        Demand("lid", inch("113/16"), inch("113/16"), 2, "black", Turn.ANY),
        Demand("band", mm(400), mm("30.5"), 3, "", Turn.NONE),
        Demand("flag", mm(30), mm(400), 2, "", Turn.NONE),
    )
    assert problem.stock == (
        StockItem("large", mm(560), mm(710), None, Fraction(6, 5), "black"),
        StockItem("small", inch("8.5"), inch(11), 2, Fraction("215.9") * Fraction("279.4")),
        StockItem("none left", mm(700), mm(500), 0, Fraction(0)),
    )


def test_bare_numbers_are_in_the_unit_of_the_list(lists):
    paths = lists(
        "name,width,height,quantity\na,8 1/2,11,1\n", "name,width,height,quantity\ns,12,12mm,\n"
    )
    problem = read_problem(*paths, unit=Unit.IN)
    assert problem.demands[0].width == inch("8.5")
    assert (problem.stock[0].width, problem.stock[0].height) == (inch(12), mm(12))
    assert problem.stock[0].price == Fraction("304.8") * 12


HEAD = "name,width,height,quantity,price,paper\n"


@pytest.mark.parametrize(
    ("pieces", "sheets", "said"),
    [
        (PIECES + "lid,5,5,1\n", SHEETS, "pieces.csv, line 6, name: 'lid' stands in line 3"),
        (PIECES + "a,5,5,0\n", SHEETS, "pieces.csv, line 6, quantity: 0 is too few"),
        (PIECES + "a,5,5,\n", SHEETS, "pieces.csv, line 6, quantity: a whole number is missing"),
        (PIECES + "a,5,5,1.5\n", SHEETS, "pieces.csv, line 6, quantity: '1.5' is not a whole"),
        (PIECES + "a,,5,1\n", SHEETS, "pieces.csv, line 6, width: a size is missing"),
        (PIECES + "a,5,11m,1\n", SHEETS, "pieces.csv, line 6, height: '11m' has an unknown unit"),
        (PIECES + "a,5,nan,1\n", SHEETS, "pieces.csv, line 6, height: 'nan' is not a size"),
        (PIECES + "a,5,1001cm,1\n", SHEETS, "pieces.csv, line 6, height: '1001cm' is more than"),
        (PIECES + "a,5,5,1,,half\n", SHEETS, "pieces.csv, line 6, turn: 'half' must be any or"),
        (PIECES + ",5,5,1\n", SHEETS, "pieces.csv, line 6, name: the name is missing"),
        (PIECES, HEAD + "s,5,5,-1\n", "sheets.csv, line 2, quantity: -1 is too few"),
        (PIECES, HEAD + "s,5,5,,-1\n", "sheets.csv, line 2, price: the price '-1' must not"),
        (PIECES, HEAD + "s,5,5,,free\n", "sheets.csv, line 2, price: the price 'free' is not"),
        (PIECES, HEAD + "s,5,5,\nS,5,5,\n", "sheets.csv, line 3, name: 'S' stands in line 2"),
        (PIECES, HEAD.replace("price", "prize") + "s,5,5,\n", "is it 'price'?"),
        (PIECES, "name,width,height\ns,5,5\n", "sheets.csv, line 1: the column 'quantity' is"),
    ],
)
def test_refused_with_file_line_and_field(lists, pieces, sheets, said):
    with pytest.raises(Refusal) as refused:
        read_problem(*lists(pieces, sheets))
    assert said in str(refused.value)


@pytest.mark.parametrize("cuts", list(Cuts))
def test_the_written_answer_says_all_of_the_answer(lists, cuts):
    problem = read_problem(*lists(), cuts=cuts)
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []
    data = json.loads(json.dumps(answer_as_json(problem, answer)))
    assert data["unit"] == "mm"
    assert data["cuts"] == cuts
    assert data["cost"] == pytest.approx(float(answer.cost))
    assert data["bound"] <= data["cost"]
    assert data["gap"] == pytest.approx((data["cost"] - data["bound"]) / data["cost"])
    paper = {stock.name: stock.paper for stock in problem.stock}
    for written, layout in zip(data["layouts"], answer.layouts, strict=True):
        assert (written["sheet"], written["copies"]) == (layout.stock, layout.copies)
        assert written["paper"] == paper[layout.stock]
        for piece, placed in zip(written["pieces"], layout.placed, strict=True):
            assert (piece["name"], piece["turned"]) == (placed.name, placed.turned)
            sides = [from_mm_number(piece[side]) for side in ("x", "y", "width", "height")]
            assert tuple(sides) == placed.rect
        for step, cut in zip(written["steps"], layout.cuts, strict=True):
            line = {end: from_mm_number(value) for end, value in step["line"].items()}
            if cut.vertical:
                assert line == {"x1": cut.at, "x2": cut.at, "y1": cut.start, "y2": cut.end}
            else:
                assert line == {"x1": cut.start, "x2": cut.end, "y1": cut.at, "y2": cut.at}
        assert len(written["offcuts"]) == len(layout.offcuts)
    assert {one["name"]: one["quantity"] for one in data["unplaced"]} == {"band": 3, "flag": 2}
    assert all(one["why"] for one in data["unplaced"])
