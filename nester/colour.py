"""Colours as people see them: how far apart two are, and what the names on the web mean."""

from __future__ import annotations

import math

__all__ = ["Lab", "ciede2000", "lab_of", "named_colour"]

Lab = tuple[float, float, float]
"""Lightness, from 0 to 100, and the two opponent colours of CIE L*a*b*, under daylight D65."""


def named_colour(name: str) -> str | None:
    """Return the colour of a name of CSS Color 4 as ``#rrggbb``; None if there is none.

    Source: https://www.w3.org/TR/css-color-4/#named-colors; `transparent` is no colour of paper.
    """
    words = _NAMES.split()
    found = dict(zip(words[::2], words[1::2], strict=True)).get(name)
    return None if found is None else f"#{found}"


def lab_of(colour: str) -> Lab:
    """Return a colour of the screen in CIE L*a*b*.

    Parameters
    ----------
    colour
        sRGB as ``#rrggbb``.

    Sources: IEC 61966-2-1 (its curve, and its primaries as CSS Color 4 has them exactly,
    https://www.w3.org/TR/css-color-4/#color-conversion-code); CIE 15 (L*a*b*).
    """
    red, green, blue = (_linear(int(colour[at : at + 2], 16) / 255) for at in (1, 3, 5))
    x, y, z = (
        _root((r * red + g * green + b * blue) / white)
        for (r, g, b), white in zip(_TO_XYZ, _WHITE, strict=True)
    )
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def _linear(shown: float) -> float:
    return shown / 12.92 if shown <= 0.04045 else ((shown + 0.055) / 1.055) ** 2.4


def _root(part: float) -> float:
    return float(math.cbrt(part)) if part > 216 / 24389 else (part * 24389 / 27 + 16) / 116


def ciede2000(one: Lab, other: Lab) -> float:
    """Return how far apart two colours are to the eye; about 1 is just seen.

    Source: G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula: implementation
    notes, supplementary test data, and mathematical observations", Color Research & Application
    30 (2005) 21-30; the numbers in brackets are its equations, all weights are 1.
    """
    (light1, a1, b1), (light2, a2, b2) = one, other
    grey = 1.5 - 0.5 * math.sqrt(_seventh((math.hypot(a1, b1) + math.hypot(a2, b2)) / 2))  # (2-5)
    chroma1, chroma2 = math.hypot(grey * a1, b1), math.hypot(grey * a2, b2)  # (6)
    hue1 = math.degrees(math.atan2(b1, grey * a1)) % 360  # (7)
    hue2 = math.degrees(math.atan2(b2, grey * a2)) % 360
    between = hue2 - hue1 if chroma1 and chroma2 else 0.0  # (10): the shorter way round
    if abs(between) > 180:
        between -= math.copysign(360, between)
    hue_apart = 2 * math.sqrt(chroma1 * chroma2) * math.sin(math.radians(between / 2))  # (11)
    light, chroma = (light1 + light2) / 2, (chroma1 + chroma2) / 2  # (12), (13)
    # (14): in the middle of that way; a grey has no hue (0 here), so the other's counts.
    hue = (hue1 + between / 2) % 360 if chroma1 and chroma2 else hue1 + hue2
    turned = (
        1 - 0.17 * _cos(hue - 30) + 0.24 * _cos(2 * hue)
        + 0.32 * _cos(3 * hue + 6) - 0.20 * _cos(4 * hue - 63)
    )  # fmt: skip  # (15)
    lightness = (light2 - light1) / (
        1 + 0.015 * (light - 50) ** 2 / math.hypot(20**0.5, light - 50)
    )
    of_chroma = (chroma2 - chroma1) / (1 + 0.045 * chroma)  # (19)
    of_hue = hue_apart / (1 + 0.015 * chroma * turned)  # (20)
    bend = 60 * math.exp(-(((hue - 275) / 25) ** 2))  # twice (16)
    both = -2 * math.sqrt(_seventh(chroma)) * math.sin(math.radians(bend))  # (17), (21)
    return math.sqrt(lightness**2 + of_chroma**2 + of_hue**2 + both * of_chroma * of_hue)  # (22)


def _seventh(chroma: float) -> float:
    return chroma**7 / (chroma**7 + 25**7)


def _cos(degrees: float) -> float:
    return math.cos(math.radians(degrees))


_TO_XYZ = (
    (506752 / 1228815, 87881 / 245763, 12673 / 70218),
    (87098 / 409605, 175762 / 245763, 12673 / 175545),
    (7918 / 409605, 87881 / 737289, 1001167 / 1053270),
)
_WHITE = (0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290)

_NAMES = """
aliceblue f0f8ff  antiquewhite faebd7  aqua 00ffff  aquamarine 7fffd4  azure f0ffff  beige f5f5dc
bisque ffe4c4  black 000000  blanchedalmond ffebcd  blue 0000ff  blueviolet 8a2be2  brown a52a2a
burlywood deb887  cadetblue 5f9ea0  chartreuse 7fff00  chocolate d2691e  coral ff7f50
cornflowerblue 6495ed  cornsilk fff8dc  crimson dc143c  cyan 00ffff  darkblue 00008b
darkcyan 008b8b  darkgoldenrod b8860b  darkgray a9a9a9  darkgrey a9a9a9  darkgreen 006400
darkkhaki bdb76b  darkmagenta 8b008b  darkolivegreen 556b2f  darkorange ff8c00  darkorchid 9932cc
darkred 8b0000  darksalmon e9967a  darkseagreen 8fbc8f  darkslateblue 483d8b  darkslategray 2f4f4f
darkslategrey 2f4f4f  darkturquoise 00ced1  darkviolet 9400d3  deeppink ff1493  deepskyblue 00bfff
dimgray 696969  dimgrey 696969  dodgerblue 1e90ff  firebrick b22222  floralwhite fffaf0
forestgreen 228b22  fuchsia ff00ff  gainsboro dcdcdc  ghostwhite f8f8ff  gold ffd700
goldenrod daa520  gray 808080  grey 808080  green 008000  greenyellow adff2f  honeydew f0fff0
hotpink ff69b4  indianred cd5c5c  indigo 4b0082  ivory fffff0  khaki f0e68c  lavender e6e6fa
lavenderblush fff0f5  lawngreen 7cfc00  lemonchiffon fffacd  lightblue add8e6  lightcoral f08080
lightcyan e0ffff  lightgoldenrodyellow fafad2  lightgray d3d3d3  lightgrey d3d3d3
lightgreen 90ee90  lightpink ffb6c1  lightsalmon ffa07a  lightseagreen 20b2aa  lightskyblue 87cefa
lightslategray 778899  lightslategrey 778899  lightsteelblue b0c4de  lightyellow ffffe0
lime 00ff00  limegreen 32cd32  linen faf0e6  magenta ff00ff  maroon 800000
mediumaquamarine 66cdaa  mediumblue 0000cd  mediumorchid ba55d3  mediumpurple 9370d8
mediumseagreen 3cb371  mediumslateblue 7b68ee  mediumspringgreen 00fa9a  mediumturquoise 48d1cc
mediumvioletred c71585  midnightblue 191970  mintcream f5fffa  mistyrose ffe4e1  moccasin ffe4b5
navajowhite ffdead  navy 000080  oldlace fdf5e6  olive 808000  olivedrab 6b8e23  orange ffa500
orangered ff4500  orchid da70d6  palegoldenrod eee8aa  palegreen 98fb98  paleturquoise afeeee
palevioletred d87093  papayawhip ffefd5  peachpuff ffdab9  peru cd853f  pink ffc0cb  plum dda0dd
powderblue b0e0e6  purple 800080  rebeccapurple 663399  red ff0000  rosybrown bc8f8f
royalblue 4169e1  saddlebrown 8b4513  salmon fa8072  sandybrown f4a460  seagreen 2e8b57
seashell fff5ee  sienna a0522d  silver c0c0c0  skyblue 87ceeb  slateblue 6a5acd  slategray 708090
slategrey 708090  snow fffafa  springgreen 00ff7f  steelblue 4682b4  tan d2b48c  teal 008080
thistle d8bfd8  tomato ff6347  turquoise 40e0d0  violet ee82ee  wheat f5deb3  white ffffff
whitesmoke f5f5f5  yellow ffff00  yellowgreen 9acd32
"""
