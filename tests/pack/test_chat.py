"""Pictures for a chat: few, large letters, marks and words inside, masked like every other copy."""

from __future__ import annotations

import pytest
from PIL import Image

from borelog.pack import chat, paper
from borelog.pack.build import build
from borelog.pack.errors import PackError

pytest.importorskip("typst")


def test_a_few_cards_of_one_size(scene, tmp_path):
    built = build(
        scene.inspection,
        scene.engine,
        scene.verdict,
        scene.journal.pictures,
        tmp_path / "pack",
        reader="buyer",
        pdf=False,
        sync=False,
        cards=True,
    )
    assert [p.name for p in built.cards] == ["card-1.png", "card-2.png", "card-3.png"]
    assert {p.parent for p in built.cards} == {tmp_path / "pack-chat"}
    for path in built.cards:
        with Image.open(path) as image:
            assert image.size == chat.SIZE
            assert len(set(image.convert("L").resize((90, 112)).tobytes())) > 10
    assert not list((tmp_path / "pack").rglob("card-*"))


def test_marks_are_burned_in(scene, tmp_path):
    """The orange of a severity 3 mark stands in the picture itself."""
    built = build(
        scene.inspection,
        scene.engine,
        scene.verdict,
        scene.journal.pictures,
        tmp_path / "pack",
        reader="buyer",
        pdf=False,
        sync=False,
        cards=True,
    )
    with Image.open(built.cards[-1]) as image:
        colours = {c for _, c in image.convert("RGB").getcolors(1 << 24)}
    assert (0xF0, 0x8A, 0x4B) in colours


def test_without_the_paper_maker_it_says_what_to_install(scene, tmp_path, monkeypatch):
    monkeypatch.setattr(paper, "available", lambda: False)
    with pytest.raises(PackError, match="pip install typst"):
        build(
            scene.inspection,
            scene.engine,
            scene.verdict,
            scene.journal.pictures,
            tmp_path / "pack",
            reader="buyer",
            sync=False,
            cards=True,
        )
