"""How the paper faces were made; run by hand when a face changes, never by the program.

    python make_faces.py B612-Regular.otf figures-Regular.ttf
    python make_faces.py book-Regular.woff2 book-Regular.ttf

Paper embeds TrueType outlines only. B612 comes with cubic outlines, which become quadratic ones within half a unit
of its 2000 units per em, far below what a printer shows. The book face is the file of the screen (Vollkorn with
lining figures in the place of its old-style ones), unpacked. Needs fontTools, and brotli for packed files.
"""

from __future__ import annotations

import sys

from fontTools.pens.cu2quPen import Cu2QuPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont, newTable

LARGEST_DEVIATION_UNITS = 0.5
DROPPED = ("CFF ", "VORG", "GSUB", "GPOS", "GDEF", "DSIG", "FFTM")


def to_truetype(font: TTFont) -> None:
    """Replace cubic outlines by quadratic ones, in place."""
    order, glyphs = font.getGlyphOrder(), font.getGlyphSet()
    table = newTable("glyf")
    table.glyphOrder, table.glyphs = order, {}
    for name in order:
        pen = TTGlyphPen(glyphs)
        glyphs[name].draw(Cu2QuPen(pen, LARGEST_DEVIATION_UNITS, reverse_direction=True))
        table.glyphs[name] = pen.glyph()
    font["loca"], font["glyf"] = newTable("loca"), table
    best = font["maxp"]
    best.tableVersion = 0x00010000
    for field in ("maxZones", "maxTwilightPoints", "maxStorage", "maxFunctionDefs", "maxInstructionDefs"):
        setattr(best, field, 1 if field == "maxZones" else 0)
    for field in ("maxStackElements", "maxSizeOfInstructions", "maxComponentElements"):
        setattr(best, field, 0)
    font["post"].formatType, font["post"].extraNames = 2.0, []
    font["post"].mapping, font["post"].glyphOrder = {}, order
    font.sfntVersion = "\000\001\000\000"


def make(source: str, target: str) -> None:
    font = TTFont(source)
    font.flavor = None
    if "glyf" not in font:
        to_truetype(font)
    for tag in DROPPED:
        if tag in font:
            del font[tag]
    font.save(target)


if __name__ == "__main__":
    make(sys.argv[1], sys.argv[2])
