"""Every named scene: what draws it, with which looks, and what it shows. The names are the files' names."""

from __future__ import annotations

from typing import Any

from borelog.demo.pictures.damage_scenes import DAMAGE_SCENES
from borelog.demo.pictures.rendered import PictureError, Rendered
from borelog.demo.pictures.story_scenes import STORY_SCENES
from borelog.demo.pictures.subject import Subject

SCENES: dict[str, Subject] = STORY_SCENES | DAMAGE_SCENES


def scene(name: str, seed: int | None = None, **params: Any) -> Rendered:
    """Draw a named scene.

    Parameters
    ----------
    name : a key of :data:`SCENES`
    seed : another look of the same subject; the published still's own seed by default
    params : replaces single looks, as the subject's drawing function takes them

    Returns
    -------
    Rendered

    Raises
    ------
    PictureError
        Unknown name; the message lists what there is.
    """
    if name not in SCENES:
        raise PictureError(f"There is no scene '{name}'; choose one of {', '.join(SCENES)}.")
    subject = SCENES[name]
    shot = subject.draw(seed=subject.seed if seed is None else seed, **(subject.looks | params))
    shot.truth.update({"scene": name, "shows": subject.shows, "view": subject.view})
    return shot
