"""Large digits, to be read from a metre: three by five dots each, two dots to a cell in height."""

from __future__ import annotations

_FONT = {
    "0": "111 101 101 101 111", "1": "010 110 010 010 111", "2": "111 001 111 100 111", "3": "111 001 111 001 111",
    "4": "101 101 111 001 001", "5": "111 100 111 001 111", "6": "111 100 111 101 111", "7": "111 001 010 010 010",
    "8": "111 101 111 101 111", "9": "111 101 111 001 111", ".": "000 000 000 000 010", "-": "000 000 111 000 000",
    "~": "000 010 111 010 000", "<": "001 010 100 010 001", "?": "111 001 010 000 010", " ": "000 000 000 000 000",
    "/": "001 001 010 100 100", "%": "101 001 010 100 101",
}  # fmt: skip


def large(text: str, scale: int = 1) -> tuple[str, ...]:
    """Rows of cells that spell the text: three rows at scale 1, five at scale 2; unknown characters as '?'."""
    dots = ["", "", "", "", ""]
    for char in text:
        rows = _FONT.get(char, _FONT["?"]).split()
        for k in range(5):
            dots[k] += "".join(bit * scale for bit in rows[k]) + "0" * scale
    if scale > 1:
        return tuple(row.replace("1", "█").replace("0", " ").rstrip() or " " for row in dots)
    dots.append("0" * len(dots[0]))
    glyph = {("0", "0"): " ", ("1", "0"): "▀", ("0", "1"): "▄", ("1", "1"): "█"}
    return tuple("".join(glyph[pair] for pair in zip(dots[k], dots[k + 1], strict=True)) for k in (0, 2, 4))
