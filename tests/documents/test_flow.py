"""Sharing blocks out over pages."""

from hypothesis import given
from hypothesis import strategies as st

from regenplant.documents.flow import Block, Item, shared_out

FRAME = 700.0


def block(height: float) -> Block:
    return Block(height, lambda pen, x, y: None)


@st.composite
def item(draw):
    return Item(
        block(draw(st.floats(1, 300))),
        keep=draw(st.booleans()),
        gap=draw(st.floats(0, 20)),
        repeat=(block(20.0),) if draw(st.booleans()) else (),
    )


@given(st.lists(item(), min_size=1, max_size=60))
def test_nothing_hangs_over_the_foot_and_nothing_is_lost(items):
    pages = shared_out(items, FRAME)
    assert all(placed.y + placed.block.height <= FRAME + 0.1 for page in pages for placed in page)
    printed = [placed.block for page in pages for placed in page]
    assert [made for made in printed if any(made is i.block for i in items)] == [i.block for i in items]


@given(st.lists(item(), min_size=1, max_size=60))
def test_blocks_never_lie_over_one_another(items):
    for page in shared_out(items, FRAME):
        ends = 0.0
        for placed in page:
            assert placed.y >= ends - 0.01
            ends = placed.y + placed.block.height


def test_a_heading_goes_over_with_what_it_heads():
    heading = block(30)
    pages = shared_out([Item(block(650)), Item(heading, keep=True), Item(block(100))], FRAME)
    assert pages[1][0].block is heading


def test_the_head_of_a_table_stands_again_on_the_next_page():
    head = block(20)
    rows = [Item(block(100), repeat=(head,)) for _ in range(10)]
    pages = shared_out([Item(head, keep=True), *rows], FRAME)
    assert len(pages) == 2
    assert pages[1][0].block is head


def test_white_above_a_block_is_dropped_at_the_top_of_a_page():
    pages = shared_out([Item(block(690)), Item(block(50), gap=30)], FRAME)
    assert pages[1][0].y == 0.0
