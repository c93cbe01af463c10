import pytest

from nester.core.lengths import LengthError, Unit, cm, inch, mm
from nester.core.sheet_sizes import SHEET_SIZES, Size, parse_size


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("50x70cm", Size(cm(50), cm(70))),
        ("50 cm × 70 cm", Size(cm(50), cm(70))),
        ("500 * 700", Size(mm(500), mm(700))),
        ("500mm X 70cm", Size(mm(500), mm(700))),
        ("18.5cm × 2in", Size(cm("18.5"), inch(2))),
        ("8 1/2 x 11 in", Size(inch("8.5"), inch(11))),
        ("8½ x 11in", Size(inch("8.5"), inch(11))),
        ("8½ x 11½", Size(mm("8.5"), mm("11.5"))),
        ("8½ x 11½ in", Size(inch("8.5"), inch("11.5"))),
        ("8 x 11½in", Size(inch(8), inch("11.5"))),
        ('12 x 12"', Size(inch(12), inch(12))),
        ('12" x 30 cm', Size(inch(12), cm(30))),
        ("12x12in", Size(inch(12), inch(12))),
        (" a4 ", Size(mm(210), mm(297))),
        ("LETTER", Size(inch("8.5"), inch(11))),
    ],
)
def test_reading_a_size(text, size):
    assert parse_size(text) == size


def test_bare_numbers_are_in_the_given_unit():
    assert parse_size("12 x 11 1/2", Unit.IN) == Size(inch(12), inch("11.5"))


@pytest.mark.parametrize("text", ["", "A", "A99", "50", "50x", "x70", "5x6x7", "5 x 7 ft", "0x5"])
def test_no_size(text):
    with pytest.raises(LengthError):
        parse_size(text)


def test_a_refusal_can_be_printed_on_one_line():
    with pytest.raises(LengthError) as refused:
        parse_size("50\x1b[31m by\n70")
    assert str(refused.value).isprintable()


def test_every_sheet_size_is_found_by_its_name_in_any_case():
    for name, size in SHEET_SIZES.items():
        assert parse_size(name.upper()) == parse_size(name.lower()) == size
