"""Pictures as cells: glyph tables against Unicode's own names, colours kept, rows as terminals read them."""

from __future__ import annotations

import re
import unicodedata

import numpy as np
import pyte
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from borelog.tui import cells
from borelog.tui.cells import DOTS, CellGrid, greyed, row_texts, strips, to_cells, with_dots, with_text

_WHERE = {"UPPER LEFT": 1, "UPPER RIGHT": 2, "LOWER LEFT": 4, "LOWER RIGHT": 8}


def test_quadrant_table_against_unicode_names() -> None:
    # Unicode 15, block 2580: names say which quarters are filled.
    for pattern, glyph in enumerate(cells._QUADRANTS):
        name = unicodedata.name(glyph)
        if name.startswith("QUADRANT"):
            assert sum(_WHERE[part] for part in name.removeprefix("QUADRANT ").split(" AND ")) == pattern, (
                name
            )
        else:
            assert {
                "UPPER HALF BLOCK": 3,
                "LOWER HALF BLOCK": 12,
                "LEFT HALF BLOCK": 5,
                "RIGHT HALF BLOCK": 10,
                "FULL BLOCK": pattern,
            }[name] == pattern


def test_sextant_table_against_unicode_names() -> None:
    # Unicode 13, block 1FB00: 'BLOCK SEXTANT-135' names the cells, counted row by row from 1.
    for pattern, glyph in enumerate(cells._sextants()):
        name = unicodedata.name(glyph)
        if name.startswith("BLOCK SEXTANT-"):
            assert sum(1 << (int(d) - 1) for d in name.removeprefix("BLOCK SEXTANT-")) == pattern, name
        else:
            assert {"LEFT HALF BLOCK": 21, "RIGHT HALF BLOCK": 42, "FULL BLOCK": pattern}[name] == pattern


def test_braille_dots_against_unicode_names() -> None:
    # Unicode 3, block 2800: dots 1 2 3 7 run down the left column, 4 5 6 8 down the right one.
    numbers = {(0, 0): 1, (1, 0): 2, (2, 0): 3, (3, 0): 7, (0, 1): 4, (1, 1): 5, (2, 1): 6, (3, 1): 8}
    blank = CellGrid(
        np.full((1, 1), 32, np.uint32), np.zeros((1, 1, 3), np.uint8), np.zeros((1, 1, 3), np.uint8)
    )
    for place, number in numbers.items():
        dots = np.zeros((4, 2), np.uint8)
        dots[place] = 1
        out = with_dots(blank, dots, np.full((2, 3), 9, np.uint8))
        assert unicodedata.name(chr(int(out.code[0, 0]))) == f"BRAILLE PATTERN DOTS-{number}"


@pytest.mark.parametrize("glyphs", ["quadrants", "half", "sextants"])
def test_two_colours_in_a_cell_are_kept_exactly(glyphs: str) -> None:
    kx, ky = DOTS[glyphs]
    n = kx * ky
    for pattern in range(1, 2**n - 1):
        block = np.zeros((ky, kx, 3), np.uint8)
        for bit in range(n):
            block[bit // kx, bit % kx] = (200, 100, 50) if pattern >> bit & 1 else (10, 20, 30)
        grid = to_cells(block, glyphs)
        assert tuple(grid.ink[0, 0]) == (200, 100, 50)
        assert tuple(grid.ground[0, 0]) == (10, 20, 30)


@given(
    arrays(np.uint8, st.tuples(st.sampled_from([6, 12]), st.sampled_from([4, 8]), st.just(3))),
    st.sampled_from(sorted(DOTS)),
)
@settings(max_examples=60, deadline=None)
def test_a_terminal_reads_every_row_as_one_glyph_a_cell(samples: np.ndarray, glyphs: str) -> None:
    """What a terminal emulator shows is the grid: same characters, same colours, nothing wrapped or left over."""
    grid = to_cells(samples, glyphs)
    rows, columns = grid.code.shape
    screen = pyte.Screen(columns + 2, rows)
    stream = pyte.Stream(screen)
    for row, text in enumerate(row_texts(grid)):
        stream.feed(f"\x1b[{row + 1};1H{text}")
    for row in range(rows):
        for column in range(columns):
            seen = screen.buffer[row][column]
            assert seen.data == chr(int(grid.code[row, column]))
            assert seen.fg == "".join(f"{v:02x}" for v in grid.ink[row, column])
            assert seen.bg == "".join(f"{v:02x}" for v in grid.ground[row, column])
        assert screen.buffer[row][columns].data == " "


@pytest.mark.parametrize("char", ["A", "é", "▚", "\U0001fb3b"])
def test_characters_of_one_to_four_bytes_come_through(char: str) -> None:
    grid = to_cells(np.zeros((2, 8, 3), np.uint8))
    with_text(grid, 1, 0, char * 2, (255, 255, 255), (0, 0, 0))
    assert re.sub("\x1b\\[[0-9;]*m", "", row_texts(grid)[0]) == f"█{char * 2}█"


def test_text_outside_the_area_is_cut_off() -> None:
    grid = to_cells(np.zeros((2, 8, 3), np.uint8))
    before = grid.code.copy()
    with_text(grid, 0, 5, "x", (1, 1, 1), (0, 0, 0))
    assert (grid.code == before).all()
    with_text(grid, -1, 0, "xyz", (1, 1, 1), (0, 0, 0))
    assert [chr(int(c)) for c in grid.code[0]] == ["y", "z", "█", "█"]


def test_without_colour_there_is_no_colour_and_grey_is_grey() -> None:
    samples = np.random.default_rng(1).integers(0, 255, (4, 8, 3), dtype=np.uint8)
    grid = to_cells(samples)
    assert "\x1b" not in "".join(row_texts(grid, "none"))
    for r, g, b in re.findall(r"[34]8;2;(\d+);(\d+);(\d+)", "".join(row_texts(grid, "grey"))):
        assert r == g == b
    assert (greyed(np.array([[255, 255, 255]], np.uint8)) >= 254).all()


def test_256_colours_are_the_nearest_of_the_cube() -> None:
    grid = CellGrid(
        np.array([[65]], np.uint32), np.array([[[255, 0, 95]]], np.uint8), np.array([[[0, 0, 0]]], np.uint8)
    )
    # xterm's 256 colours: 16 + 36 r + 6 g + b of steps 0 95 135 175 215 255.
    assert row_texts(grid, "256") == [f"\x1b[38;5;{16 + 36 * 5 + 1:03d};48;5;016mA\x1b[0m"]


def test_a_strip_is_text_at_once_and_segments_when_asked() -> None:
    samples = np.random.default_rng(2).integers(0, 255, (4, 24, 3), dtype=np.uint8)
    grid = to_cells(samples)
    for row, strip in enumerate(strips(grid)):
        assert strip._made is None  # type: ignore[attr-defined]
        assert strip.cell_length == 12
        assert strip.text == "".join(map(chr, grid.code[row].tolist()))
        part = strip.crop(3, 7)
        assert part.text == strip.text[3:7]
        styles = [s.style for s in part]
        assert styles[0] is not None and styles[0].color is not None
        assert styles[0].color.get_truecolor() == tuple(grid.ink[row, 3])
