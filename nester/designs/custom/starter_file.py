"""The file a maker starts from when she draws up a custom design."""

from __future__ import annotations

__all__ = ["STARTER_TEXT"]

STARTER_TEXT = """\
# A design of your own. Change what is here, leave out what you don't need, and add more.
# What follows a # is a remark. This design is a sachet with a card in it.

# What orders call it: small letters, digits and hyphens.
name = "sachet"
title = "a flat sachet with a card in it"

# --- Sizes: what an order may choose, and the default if it doesn't.
# A size with a unit (mm, cm or in; 10.5cm, 1 1/2in, ½in) is a length. A bare number is a count.
# Names are small letters, digits and _.
[sizes]
width = "12cm"
# Written the longer way, usual is the default, least and most the smallest and largest it may be.
height = { usual = "width × 3/2", least = "4cm", most = "40cm", help = "height of the sachet" }
flap = { usual = "1 1/2cm", help = "how far the glue flaps reach" }
cards = { usual = 1, least = 0, most = 5, help = "how many cards; 0 for none" }

# --- Calculated from the sizes, each with its own name. + - * / or + − × ÷, parentheses, and
#   min(a, b), max(a, b)              the smallest, the largest
#   round_to(a, 5mm)                  to the nearest step; also round_up_to and round_down_to
# Lengths and plain numbers can't be added: write width + 2mm, not width + 2.
[worked_out]
back = "round_down_to(height × 2/3, 1mm)"
card_width = "width − 4mm"

# --- Rules: what must hold (<, <=, >, >= or =), and what to show you when it doesn't.
[[rules]]
holds = "flap <= width / 2"
says = "the flaps meet behind the sachet; make flap at most half of width"

# --- Pieces: each is cut from a rectangle of paper.
[[pieces]]
name = "sachet"
role = "sachet"               # which paper: orders name one for each role
width = "width + 2 × flap"
height = "height + back"
grain = "height"              # along which side the grain should run: width, height or any
upright = true                # a printed pattern must stand upright
note = "Fold the back up first, then glue the flaps onto it."
# Cut away at the corners: one size for squares at all four, or by top_left, top_right,
# bottom_left, bottom_right. slanted cuts straight from side to side.
corners = { bottom_left = { width = "flap", height = "back" }, bottom_right = { width = "flap", \
height = "back" }, top_left = { width = "flap", height = "1cm", slanted = true }, \
top_right = { width = "flap", height = "1cm", slanted = true } }
# Marks. Positions are measured from the top left corner, x to the right and y down, the face up.
# On a piece, wide and tall are its own width and height.
# A score with x or y runs right across; a score with from and to runs between two positions.
# It is folded by 90 degrees, as for a wall, unless degrees says otherwise: 180 folds it flat.
scores = [
    { x = "flap", fold = "mountain", degrees = 180 },
    { x = "wide − flap", fold = "mountain", degrees = 180 },
    { from = ["flap", "height"], to = ["wide − flap", "height"], fold = "mountain", degrees = 180 },
]
glue = [
    { at = [0, "1cm"], width = "flap", height = "height − 1cm" },
    { at = ["wide − flap", "1cm"], width = "flap", height = "height − 1cm" },
]

[[pieces]]
name = "card"
role = "card"
quantity = "cards"            # 0 leaves the piece out
width = "card_width"
height = "back + 2cm"
slits = [{ from = ["2cm", "2cm"], to = ["4cm", "2cm"] }]
holes = [{ at = ["wide / 2", "1cm"], diameter = "4mm", eyelet = true }]

# --- Fits: what goes into what. play is the play you want, both sides together; papers says
# how many sheets of which role are in between, both sides together (halves are fine). A fit is
# checked if all the roles it names are made; a role with 0 adds no thickness.
[[fits]]
name = "card in sachet"
outer = "width"
inner = "card_width"
play = "3mm"
papers = { sachet = 2, card = 0 }

# --- Consumables: what else a finished object needs. Without a length they are counted.
[[consumables]]
name = "ribbon"
use = "loop of a card"
length = "25cm"
quantity = "cards"
"""
