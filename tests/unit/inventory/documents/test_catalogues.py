"""Catalogues: every text of the documents is in them, with the same places for names."""

from __future__ import annotations

import ast
import re
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po

import inventory
import nester
from inventory.documents.format.languages import LANGUAGES, translator_for
from inventory.documents.plan.translation import NOTES, piece_name, plan_note
from inventory.production import planning, planning_data
from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm
from nester.core.problem import Cut, Layout, PlacedPiece, Rect, Trimmer
from nester.cutting import cutting_instructions
from nester.designs import DESIGNS, read_settings
from nester.designs.base.totals import consumables_of

KEYWORDS = {"say": None, "translatable": None, "say_many": (1, 2), "count": (1, 2)}
FOLDERS = (
    Path(nester.__file__).parent / "cutting",
    Path(nester.__file__).parent / "drawing",
    Path(inventory.__file__).parent / "documents",
)


def texts_in_the_code():
    found = set()
    for folder in FOLDERS:
        for _, _, text, _, _ in extract_from_dir(
            folder, [("**.py", "python")], keywords=KEYWORDS, comment_tags=()
        ):
            found.add(text)
    return found


def texts_of_designs():
    """Return what the designs call their pieces, and say of them, whatever is chosen of them."""
    found = set()
    for design in DESIGNS.values():
        chosen = [{}]
        for setting in design.settings:
            words = getattr(setting, "choices", None) or ("2", "4")
            chosen += [{setting.name: word} for word in words]
        mats = [one for one in chosen if "mats" in one]  # some advice is for holes in mats
        chosen += [one | mat for one in chosen if "mats" not in one for mat in mats]
        for choice in chosen:
            try:
                settings = read_settings(design, choice, Unit.CM)
                pieces = list(design.pieces(settings, Unit.CM))
            except Refusal:
                continue
            names = {piece.name for piece in pieces}
            for one in consumables_of(design, settings, pieces):
                names |= {one.name, one.use}
            found |= {re.sub(r"[0-9]+", "{n}", name) for name in names if name}
            found |= {piece.note for piece in pieces if piece.note}
    return found


def catalogue(language):
    place = Path(inventory.__file__).parent / "documents" / "words" / f"{language}.po"
    with place.open("rb") as file:
        return read_po(file, locale=language)


def forms_of(text):
    return text if isinstance(text, tuple) else (text,)


@pytest.mark.parametrize("language", [one for one in LANGUAGES if one != "en"])
def test_a_catalogue_has_every_text_and_no_other(language):
    translated = {message.id: message.string for message in catalogue(language) if message.id}
    in_code = texts_in_the_code() | texts_of_designs()
    assert len(in_code) > 200
    assert set(translated) == in_code
    for text, said in translated.items():
        for form in forms_of(said):
            assert form, text
            holes = set(re.findall(r"{\w+}", form))
            assert holes == set(re.findall(r"{\w+}", forms_of(text)[-1])), (text, form)


CUT = Layout(
    "S-1",
    1,
    (PlacedPiece("tier 1", 0, 0, cm("30.5"), cm(20)),),
    (Cut(Rect(0, 0, cm(50), cm(20)), True, cm("30.5"), 0, cm(20)),),
    (Rect(cm("30.5"), 0, cm("19.5"), cm(20)),),
)


def test_steps_in_german():
    (step,) = cutting_instructions(CUT, Unit.CM, translator=translator_for("de"), offcuts=["K-7"])
    assert step == (
        "1. Senkrecht, 30,5 cm vom linken Rand des Bogens 50 × 20 cm.\n"
        "   Links: tier 1, 30,5 × 20 cm.\n"
        "   Rechts: K-7, 19,5 × 20 cm."
    )


def test_a_cut_that_the_trimmer_cannot_make_says_so():
    (step,) = cutting_instructions(CUT, Unit.CM, trimmer=Trimmer(longest_cut=cm(15)))
    assert "With knife and steel rule: it is too long for the trimmer." in " ".join(step.split())
    (step,) = cutting_instructions(CUT, Unit.CM, trimmer=Trimmer(smallest_strip=cm(40)))
    assert "the trimmer cannot hold this strip" in " ".join(step.split())
    (step,) = cutting_instructions(CUT, Unit.CM, trimmer=Trimmer(cm(20), cm(20)))
    assert "knife" not in step


def notes_of_planning():
    """Return the sentences that planning puts into its notes, their holes empty."""
    functions = {
        node.name: node
        for module in (planning, planning_data)
        for node in ast.walk(ast.parse(Path(module.__file__).read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef)
    }
    for name in ("_notes", "_substitution_notes", "spare_notes"):
        for one in ast.walk(functions[name]):
            if isinstance(one, ast.Yield):
                parts = one.value.values if isinstance(one.value, ast.JoinedStr) else [one.value]
                yield "".join(p.value if isinstance(p, ast.Constant) else "{}" for p in parts)


def test_every_note_of_planning_can_be_told_in_another_language():
    known = {re.sub(r"{\w+}", "{}", note) for note in NOTES}
    assert set(notes_of_planning()) == known
    for note in NOTES:
        assert plan_note(note, translator_for("de")) == translator_for("de").say(note) != note
    assert plan_note("Order 7 was due on 2027-03-01.", translator_for("de")) == (
        "Auftrag 7 war am 2027-03-01 fällig."
    )
    assert plan_note("Mind the cat.", translator_for("de")) == "Mind the cat."


def test_pieces_are_named_in_german_and_own_ones_stay():
    german = translator_for("de")
    assert piece_name("mat 3 outside", german) == "Auflage 3 außen"
    assert piece_name("tray", german) == "Unterteil"
    assert piece_name("Ewa's wing 2", german) == "Ewa's wing 2"
    assert piece_name("4 of 5", german) == "4 of 5"
    assert piece_name("mat 2 outside 3", german) == "Auflage 2 außen 3"
    assert piece_name("mat {n} outside", german) == "Auflage {n} außen"
    assert piece_name("", german) == ""
    assert piece_name("tier 1", translator_for("en")) == "tier 1"


def test_numbers_and_dates_by_language():
    german, english = translator_for("de"), translator_for("en")
    assert german.date(date(2027, 3, 1)) == "01.03.2027"
    assert english.date(date(2027, 3, 1)) == "Mar 1, 2027"
    assert german.money(Decimal("23.4"), "EUR") == "23,40 EUR"
    assert english.money(Decimal("23.4"), "EUR") == "23.40 EUR"
    assert german.count("{n} sheet", "{n} sheets", 1) == "1 Bogen"
    assert german.count("{n} sheet", "{n} sheets", 0) == "0 Bögen"


def test_an_unknown_language_is_refused():
    with pytest.raises(Refusal, match=r"'fr'; there are: en, de"):
        translator_for("fr")
