"""Colours by number: contrast after WCAG 2.2, and the status set under simulated colour blindness."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from borelog.tui.themes import PALETTES, Palette, contrast, luminance, pairs
from borelog.tui.views.words import STATUS, plain

# Machado, Oliveira and Fernandes 2009, "A Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE TVCG
# 15(6), table of matrices for severity 1.0, linear RGB.
MACHADO = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


def linear(colour: str) -> np.ndarray:
    c = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, white D65."""
    xyz = np.array(
        [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.1191920, 0.9503041],
        ]
    ) @ np.clip(rgb, 0, 1)
    t = xyz / np.array([0.95047, 1.0, 1.08883])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_contrast_of_known_pairs() -> None:
    # WCAG 2.2: black on white is 21 to 1; #777777 on white 4.48 to 1 (the well-known near miss).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)
    assert luminance("#ffffff") == pytest.approx(1.0)


@pytest.mark.parametrize("palette", PALETTES.values(), ids=lambda p: p.name)
def test_every_pair_of_colours_reads(palette: Palette) -> None:
    low = [(a, b, round(contrast(a, b), 2), need) for a, b, need in pairs(palette) if contrast(a, b) < need]
    assert low == []


@pytest.mark.parametrize("palette", PALETTES.values(), ids=lambda p: p.name)
@pytest.mark.parametrize("kind", ["none", *MACHADO])
def test_status_colours_stay_apart_for_colour_blind_eyes(palette: Palette, kind: str) -> None:
    matrix = np.array(MACHADO.get(kind, np.eye(3)))
    seen = {role: lab(matrix @ linear(getattr(palette, role))) for role in ("good", "bad", "watch", "blank")}
    # Good against bad carries the meaning: it must be plain. The rest may come nearer, glyph and word tell them apart.
    assert np.linalg.norm(seen["good"] - seen["bad"]) > 40
    for a, b in itertools.combinations(seen, 2):
        assert np.linalg.norm(seen[a] - seen[b]) > 11, (a, b)


def test_every_status_has_a_glyph_of_its_own_also_in_letters() -> None:
    glyphs = [g for g, _ in STATUS.values()]
    assert len(set(glyphs)) == len(glyphs)
    assert len({plain(g) for g in glyphs}) == len(glyphs)
    assert all(plain(g).isascii() and len(plain(g)) == 1 for g in glyphs)
