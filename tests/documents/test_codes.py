"""Codes that scan back: drawn, printed, read by a scanner's library."""

import io

import pytest
import segno
from reportlab.pdfgen.canvas import Canvas

from regenplant.documents import codes
from regenplant.documents.pen import MILLIMETRE, Pen
from tests.documents.reading import Code, codes_by_page

NUMBERS = ("B-10412", "T-20417", "V-30012", "D-00031", "T-1000000")


def printed(*blocks) -> bytes:
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(300, 300), invariant=1)
    pen = Pen(canvas, 300)
    for index, block in enumerate(blocks):
        block.draw(pen, 40, 30 + index * 120)
    canvas.save()
    return buffer.getvalue()


@pytest.mark.parametrize("number", NUMBERS)
@pytest.mark.parametrize("dpi", [150, 200, 300])
def test_both_codes_are_read_back_from_the_page(number, dpi):
    read = codes_by_page(printed(codes.qr(number), codes.code_128(number, 8 * MILLIMETRE)), dpi)[0]
    assert read == {Code("QR Code", number), Code("Code 128", number)}


def test_bars_and_modules_are_wide_enough_for_a_poor_printer():
    # X-dimension of at least 0.33 mm, common practice after ISO/IEC 15416 grading
    assert codes.BAR_PT >= 0.33 * MILLIMETRE - 1e-9
    assert codes.MODULE_PT >= 0.33 * MILLIMETRE


def test_quiet_zones_are_kept():
    # ISO/IEC 15417: 10 X on both sides; ISO/IEC 18004: 4 modules all around
    bars, _ = codes.bar_runs("T-20417")
    assert codes.code_128_width("T-20417") == pytest.approx((bars + 20) * codes.BAR_PT)
    modules, _ = codes.qr_cells("T-20417")
    assert codes.qr("T-20417").height == pytest.approx((modules + 8) * codes.MODULE_PT)


def test_the_drawn_cells_are_the_matrix():
    modules, cells = codes.qr_cells("B-10412")
    dark = {(x + step, y) for x, y, width, _ in cells for step in range(int(width))}
    matrix = segno.make("B-10412", error="m", micro=False, boost_error=True).matrix
    assert modules == len(matrix)
    assert dark == {(x, y) for y, row in enumerate(matrix) for x, module in enumerate(row) if module}
