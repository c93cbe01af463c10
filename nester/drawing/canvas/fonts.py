"""Fonts for printed pages: which one has a sign, and how wide words are in it.

Source Sans Pro has Latin, Greek and Cyrillic letters, Noto Sans Devanagari those of Hindi, Marathi
and Nepali, whose signs change beside one another and are set by HarfBuzz.  Chinese, Japanese and
Korean signs are in Noto Sans CJK, 16 MB of it, which is taken if it is installed (the extra
``cjk``).  All are under the SIL Open Font License 1.1.  A sign that no font has is shown as
``[?]``, so that it can be seen that something stands there.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from typing import Any, NamedTuple

from nester.core.errors import Refusal
from nester.drawing.canvas.marks import MM_PER_POINT

__all__ = ["MISSING_GLYPH", "Face", "FontSet", "Run"]

MISSING_GLYPH = "[?]"

_TEXT, _BOLD = "text", "bold"
_FONT_FILES = {
    _TEXT: ("font_source_sans_pro", "files/SourceSansPro-Regular.ttf"),
    _BOLD: ("font_source_sans_pro", "files/SourceSansPro-Bold.ttf"),
    "devanagari": ("fontpkg_noto_sans_devanagari", "files/NotoSansDevanagari[wdth,wght].ttf"),
    "cjk": ("noto_cjk_sans_jp_regular", "NotoSansCJKjp-Regular.otf"),
}
"""By name of a face: the package that brings it, and where in it."""
_SHAPED_FACES = frozenset({"devanagari"})


@dataclass(frozen=True)
class Face:
    """A font that can be asked how wide its signs are, in parts of its size."""

    name: str
    path: Path
    widths: dict[str, float]
    needs_shaping: bool
    is_custom: bool = False
    """Whether it is a font that the shop brought."""

    def width(self, words: str) -> float:
        """Return how wide words are at a size of 1."""
        if self.needs_shaping:
            return _shaped_width(self.path, words)
        return sum(map(self.widths.__getitem__, words))


class Run(NamedTuple):
    """Words that one face has all signs of."""

    face: Face
    text: str


class FontSet:
    """The fonts of a document.

    Parameters
    ----------
    more
        Font files (TrueType or OpenType) for signs that ours have not.

    Raises
    ------
    Refusal
        If a font is missing or can't be read.
    """

    def __init__(self, more: Sequence[Path] = ()) -> None:
        self._custom = [_load_face(f"own {n}", Path(path)) for n, path in enumerate(more)]
        self._faces = {name: _bundled_face(name) for name in (_TEXT, _BOLD)}
        self._fallbacks: list[Face] | None = None
        self.width = lru_cache(maxsize=100_000)(self._width)
        self._unit_width = lru_cache(maxsize=100_000)(self._measure)
        self._runs = lru_cache(maxsize=100_000)(self._split)

    def runs(self, words: str, *, bold: bool = False) -> list[Run]:
        """Split words into runs, each in the first face that has its signs."""
        return self._runs(words, bold)

    def _split(self, words: str, bold: bool) -> list[Run]:
        main = self._faces[_BOLD if bold else _TEXT]
        composed = unicodedata.normalize("NFC", words)
        if main.widths.keys() >= set(composed):
            return [Run(main, composed)] if composed else []
        runs: list[Run] = []
        for sign in composed:
            face = self._face_of(sign, main, runs[-1].face if runs else main)
            shown = sign if face is not None else MISSING_GLYPH
            face = face or main
            if runs and runs[-1].face is face:
                runs[-1] = Run(face, runs[-1].text + shown)
            else:
                runs.append(Run(face, shown))
        return runs

    def _width(self, words: str, size: float, *, bold: bool = False) -> float:
        """Return how wide words are in millimetres; the size is in points."""
        return self._unit_width(words, bold) * size * MM_PER_POINT

    def _measure(self, words: str, bold: bool) -> float:
        return sum(run.face.width(run.text) for run in self.runs(words, bold=bold))

    def _face_of(self, sign: str, main: Face, before: Face) -> Face | None:
        # A joiner or an accent belongs to the letter before it.
        if unicodedata.category(sign) in ("Mn", "Mc", "Cf") and sign in before.widths:
            return before
        if sign in main.widths:
            return main
        return next((face for face in self._fallback_faces() if sign in face.widths), None)

    def _fallback_faces(self) -> list[Face]:
        if self._fallbacks is None:
            own = [name for name in _FONT_FILES if name not in self._faces and _is_installed(name)]
            self._fallbacks = [
                *self._custom,
                *(_bundled_face(name) for name in own),
            ]
        return self._fallbacks


def _is_installed(name: str) -> bool:
    return find_spec(_FONT_FILES[name][0]) is not None


def _bundled_face(name: str) -> Face:
    package, place = _FONT_FILES[name]
    if not _is_installed(name):
        raise Refusal(
            f"the font for printing is missing (Python package '{package.replace('_', '-')}');"
            " install Quirebox again"
        )
    return _load_face(name, Path(str(files(package))) / place)


@cache
def _load_face(name: str, path: Path) -> Face:
    from fontTools.ttLib import TTFont, TTLibError

    try:
        with path.open("rb") as file, TTFont(file, lazy=True, fontNumber=0) as font:
            advance, em = font["hmtx"], font["head"].unitsPerEm
            widths = {
                chr(code): advance[glyph][0] / em for code, glyph in font.getBestCmap().items()
            }
    except (OSError, TTLibError, KeyError, AttributeError) as why:
        words = str(why) or type(why).__name__
        raise Refusal(
            f"{path}: this font can't be read ({words}); give a .ttf or .otf file"
        ) from None
    own = name.startswith("own")
    return Face(name, path, widths, own or name in _SHAPED_FACES, own)


@lru_cache(maxsize=10_000)
def _shaped_width(path: Path, words: str) -> float:
    import uharfbuzz

    buffer = uharfbuzz.Buffer()
    buffer.add_str(words)
    buffer.guess_segment_properties()
    font = _harfbuzz_font(path)
    uharfbuzz.shape(font, buffer)
    return float(sum(place.x_advance for place in buffer.glyph_positions) / font.face.upem)


@cache
def _harfbuzz_font(path: Path) -> Any:
    import uharfbuzz

    return uharfbuzz.Font(uharfbuzz.Face(uharfbuzz.Blob.from_file_path(str(path))))
