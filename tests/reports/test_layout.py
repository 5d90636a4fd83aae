"""How blocks become pages."""

from __future__ import annotations

from reports.layout import Block, Column, Row, paginate, space, table
from reports.look import RESULTS


def named(height: float, *, stays: bool = False, again: Block | None = None) -> Block:
    return Block(height, space(0.0).draw, stays_with_next=stays, again=again)


def test_blocks_fill_a_page_and_go_on_with_the_next() -> None:
    blocks = [named(40.0) for _ in range(5)]
    assert [len(page) for page in paginate(blocks, 100.0, 130.0)] == [2, 3]


def test_a_heading_is_never_left_alone_at_the_foot_of_a_page() -> None:
    heading = named(10.0, stays=True)
    pages = paginate([named(85.0), heading, named(20.0)], 100.0, 100.0)
    assert pages[1][0] is heading


def test_a_tables_head_comes_again_on_the_next_page() -> None:
    rows = [Row((f"row {index}", "1.0 dB")) for index in range(20)]
    blocks = table([Column("Characteristic", 200.0), Column("Reading", 60.0)], rows, RESULTS)
    pages = paginate(blocks, 100.0, 100.0)
    assert len(pages) > 1
    assert all(page[0].draw is blocks[0].draw for page in pages)
    assert sum(len(page) - 1 for page in pages) == 20


def test_no_page_is_overfull() -> None:
    rows = [Row(("long words " * (index % 7 + 1), "1.0 dB")) for index in range(60)]
    blocks = table([Column("Characteristic", 90.0), Column("Reading", 60.0)], rows, RESULTS)
    for page in paginate(blocks, 150.0, 300.0)[1:]:
        assert sum(block.height for block in page) <= 300.0


def test_a_block_taller_than_a_page_has_one_of_its_own() -> None:
    giant = named(500.0)
    assert [len(page) for page in paginate([named(10.0), giant, named(10.0)], 100.0, 100.0)] == [1, 1, 1]
