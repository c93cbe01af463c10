"""Catalogues: every text of the documents is in them, with the same places for names."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po

import inventory
import nester
from inventory.documents.voices import LANGUAGES, voice_of
from nester.cutting import steps
from nester.layouts import Cut, Layout, Placed, Rect, Trimmer
from nester.measure import Unit, cm
from nester.refusal import Refusal

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


def catalogue(language):
    place = Path(inventory.__file__).parent / "documents" / "words" / f"{language}.po"
    with place.open("rb") as file:
        return read_po(file, locale=language)


def forms_of(text):
    return text if isinstance(text, tuple) else (text,)


@pytest.mark.parametrize("language", [one for one in LANGUAGES if one != "en"])
def test_a_catalogue_has_every_text_and_no_other(language):
    translated = {message.id: message.string for message in catalogue(language) if message.id}
    in_code = texts_in_the_code()
    assert len(in_code) > 100
    assert set(translated) == in_code
    for text, said in translated.items():
        for form in forms_of(said):
            assert form, text
            holes = set(re.findall(r"{\w+}", form))
            assert holes == set(re.findall(r"{\w+}", forms_of(text)[-1])), (text, form)


CUT = Layout(
    "S-1",
    1,
    (Placed("tier 1", 0, 0, cm("30.5"), cm(20)),),
    (Cut(Rect(0, 0, cm(50), cm(20)), True, cm("30.5"), 0, cm(20)),),
    (Rect(cm("30.5"), 0, cm("19.5"), cm(20)),),
)


def test_steps_in_german():
    (step,) = steps(CUT, Unit.CM, voice=voice_of("de"), offcuts=["K-7"])
    assert step == (
        "1. Senkrecht, 30,5 cm vom linken Rand des Bogens 50 × 20 cm.\n"
        "   Links: tier 1, 30,5 × 20 cm.\n"
        "   Rechts: K-7, 19,5 × 20 cm."
    )


def test_a_cut_that_the_trimmer_cannot_make_says_so():
    (step,) = steps(CUT, Unit.CM, trimmer=Trimmer(longest_cut=cm(15)))
    assert "With knife and steel rule: it is too long for the trimmer." in " ".join(step.split())
    (step,) = steps(CUT, Unit.CM, trimmer=Trimmer(smallest_strip=cm(40)))
    assert "the trimmer cannot hold this strip" in " ".join(step.split())
    (step,) = steps(CUT, Unit.CM, trimmer=Trimmer(cm(20), cm(20)))
    assert "knife" not in step


def test_numbers_and_dates_by_language():
    german, english = voice_of("de"), voice_of("en")
    assert german.date(date(2027, 3, 1)) == "01.03.2027"
    assert english.date(date(2027, 3, 1)) == "Mar 1, 2027"
    assert german.money(Decimal("23.4"), "EUR") == "23,40 EUR"
    assert english.money(Decimal("23.4"), "EUR") == "23.40 EUR"
    assert german.count("{n} sheet", "{n} sheets", 1) == "1 Bogen"
    assert german.count("{n} sheet", "{n} sheets", 0) == "0 Bögen"


def test_an_unknown_language_is_refused():
    with pytest.raises(Refusal, match=r"'fr'; there are: en, de"):
        voice_of("fr")
