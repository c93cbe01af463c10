"""Designs on the command line: worked out, drawn, as templates, and of the maker's own."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import ezdxf
import pytest
from pypdf import PdfReader

from nester.designs import DESIGNS
from tests.e2e.conftest import Desk

BOX = ("layered-box", "panel=18cm", "tiers=4", "step=2cm")


@pytest.mark.parametrize("name", DESIGNS)
def test_every_design_is_worked_out_without_a_shop(desk: Desk, name: str) -> None:
    data = desk.data("pieces", "design", "show", name, "--json", run=desk.run_here)
    assert data["design"] == name
    assert data["pieces"]
    assert data["grams"] > 0
    assert data["fold_faults"] == []
    told = desk.do("design", "show", name, run=desk.run_here)
    assert "Weight of its paper" in told
    assert max(map(len, told.splitlines())) <= 80
    assert "It does not fold" not in told
    assert not [line for line in data["fit"] if line["verdict"] == "binds"]


def test_thicker_paper_leaves_less_play(desk: Desk) -> None:
    plays = []
    for weight in ("200", "400"):
        data = desk.data(
            "pieces", "design", "show", *BOX, "--paper", f"all={weight}", "--json",
            run=desk.run_here,
        )  # fmt: skip
        plays.append({line["name"]: line["play"] for line in data["fit"]})
    assert plays[0].keys() == plays[1].keys()
    assert all(plays[1][name] < play for name, play in plays[0].items())


def test_papers_of_the_shop_tell_their_thickness(stocked: Desk) -> None:
    show = ("design", "show", *BOX, "--paper", "all=Coal card")
    assert "How it fits" in stocked.do(*show, run=stocked.run_here)
    told = stocked.refuses("design", "show", *BOX, "--paper", "all=Coal crad", run=stocked.run_here)
    assert "Coal card" in told
    assert "tier" in stocked.refuses(
        "design", "show", *BOX, "--paper", "teir=300", run=stocked.run_here
    )


def test_bare_numbers_are_in_the_unit_of_the_shop_as_in_its_orders(stocked: Desk) -> None:
    show = ("design", "show", "gift-tag", "width=2", "--json")
    widths = []
    for unit in ("in", "mm", "cm"):
        stocked.do("shop", "set", "--unit", unit, run=stocked.run_here)
        ran = stocked.run_here(*show, *(("length=20",) if unit == "mm" else ()))
        widths.append(json.loads(ran.out)["pieces"][0]["width"] if ran.code == 0 else ran.err)
    assert widths[0] == 50.8
    assert "out of range" in widths[1]
    assert widths[2] == 20
    assert "2 in" in stocked.do("design", "settings", "gift-tag", "--unit", "in")


def test_drawings_are_one_a_piece_and_one_of_the_whole(desk: Desk) -> None:
    desk.do("design", "show", *BOX, "--svg", "drawn", "--pdf", "drawn.pdf")
    drawn = sorted(desk.folder.joinpath("drawn").iterdir())
    assert [path.name for path in drawn][-1] == "whole.svg"
    assert len(drawn) == 7
    assert all(ET.parse(path).getroot().tag.endswith("svg") for path in drawn)  # noqa: S314
    assert len(PdfReader(desk.folder / "drawn.pdf").pages) == 7


def test_templates_are_pdf_dxf_and_svg(desk: Desk) -> None:
    desk.do("design", "template", "gift-tag", "--page", "letter", "--into", "tag")
    tag = desk.folder / "tag"
    page = PdfReader(tag / "templates.pdf").pages[0].mediabox
    assert (round(page.width), round(page.height)) == (612, 792)
    assert not ezdxf.readfile(tag / "templates.dxf").audit().errors
    assert list(tag.glob("01-*.svg"))
    assert "'a4', 'letter'" in desk.refuses("design", "template", "gift-tag", "--page", "A9")


def test_a_design_of_ones_own_goes_from_a_starting_point_to_a_cut_batch(stocked: Desk) -> None:
    stocked.do("design", "new", "own.toml")
    stocked.do("design", "check", "own.toml")
    assert "exists already" in stocked.refuses("design", "new", "own.toml")
    added = stocked.do("design", "add", "own.toml")
    name = added.split("'")[1]
    listed = stocked.data("designs", "design", "list", "--json")
    assert [one["name"] for one in listed if one["own"]] == [name]
    stocked.data("pieces", "design", "show", name, "--json")
    stocked.do("order", "add", "Ines", name, "--due", "in 5 days", "--paper", "all=Coal card")
    number = str(len(stocked.data("orders", "order", "list", "--json")))
    assert "order" in stocked.refuses("design", "remove", name)
    stocked.do("batch", "plan", number, "--effort", "quick")
    stocked.do("batch", "cut", "1")
    for step in ("assembled", "delivered"):
        stocked.do("order", "move", number, step)
    stocked.do("design", "remove", name)


def test_a_design_of_ones_own_that_does_not_fold_says_so(stocked: Desk) -> None:
    Path(stocked.folder / "own.toml").write_text(
        'name = "leaner"\ntitle = "a tray"\n[[pieces]]\nname = "tray"\nrole = "tray"\n'
        'width = "20cm"\nheight = "20cm"\ncorners = "5cm"\nscores = [\n'
        '{ x = "5cm", fold = "valley" },\n{ x = "15cm", fold = "valley", degrees = 45 },\n'
        '{ y = "5cm", fold = "valley" },\n{ y = "15cm", fold = "valley" }]\n',
        encoding="utf-8",
    )
    stocked.do("design", "add", "own.toml")
    told = stocked.do("design", "show", "leaner")
    assert "It does not fold: tray: its walls stand" in told
    data = stocked.data("pieces", "design", "show", "leaner", "--json")
    assert len(data["fold_faults"]) == 1
    assert [score["degrees"] for score in data["pieces"][0]["scores"]].count(45) == 1


def test_a_fault_in_a_design_of_ones_own_is_told_by_line(desk: Desk) -> None:
    desk.do("design", "new", "own.toml")
    path = Path(desk.folder / "own.toml")
    text = path.read_text(encoding="utf-8")
    path.write_text(text + '\n[[pieces]]\nname = "lost"\nwidth = "widht"\n', encoding="utf-8")
    ran = desk.run("design", "check", "own.toml")
    assert ran.code == 2
    assert "own.toml, line " in ran.out + ran.err
    assert "Traceback" not in ran.err


def test_brackets_in_a_title_of_ones_own_are_shown_as_they_are(stocked: Desk) -> None:
    text = stocked.do("design", "new", run=stocked.run_here)
    title = "[/b] a [red] sachet"
    (stocked.folder / "own.toml").write_text(
        text.replace("a flat sachet with a card in it", title), encoding="utf-8"
    )
    stocked.do("design", "add", "own.toml", run=stocked.run_here)
    for verb in ("show", "settings"):
        assert title in stocked.do("design", verb, "sachet", run=stocked.run_here)


def test_orders_that_bind_are_refused_with_the_number(stocked: Desk) -> None:
    told = stocked.refuses(
        "order", "add", "Ewa", "layered-box", "--due", "in 5 days",
        "--size", "panel=18cm", "--size", "step=1mm", "--size", "lid-clearance=0.5mm",
        "--paper", "all=Coal card",
    )  # fmt: skip
    assert "mm" in told


@pytest.mark.parametrize("name", DESIGNS)
@pytest.mark.parametrize("unit_of_shop", [None, "cm", "in"])
def test_the_unit_never_changes_a_box(desk: Desk, name: str, unit_of_shop: str | None) -> None:
    """The same settings give the same pieces in every unit; only a shop's own measures differ."""
    if unit_of_shop is not None:
        desk.do("shop", "new", "Hazelmoth", "--unit", unit_of_shop, "--currency", "EUR",
                run=desk.run_here)  # fmt: skip

    def pieces(*words: str) -> list[dict]:
        shown = desk.data("pieces", "design", "show", name, *words, "--json", run=desk.run_here)
        return shown["pieces"]

    usual = pieces()
    assert all(pieces("--unit", unit) == usual for unit in ("mm", "cm", "in"))
