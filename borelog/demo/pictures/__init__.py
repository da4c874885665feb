"""The picture maker: draws stills as a cheap inspection camera sees them, each with the truth about it.

Nothing here is a photograph. Bore, crown, chamber and plug are drawn from geometry, near lamps and seeded noise, so
that a test knows what is where to a fraction of a pixel.
"""

from borelog.demo.pictures.bore import bore_view, rim_scene, wall_view
from borelog.demo.pictures.catalogue import SCENES, scene
from borelog.demo.pictures.chamber import chamber_view, crack_scene
from borelog.demo.pictures.hone import hone_wall
from borelog.demo.pictures.pairs import before_after, before_after_stills
from borelog.demo.pictures.plug import plug_profile
from borelog.demo.pictures.rendered import Pair, PictureError, Rendered
from borelog.demo.pictures.samples import write_samples

__all__ = [
    "SCENES",
    "Pair",
    "PictureError",
    "Rendered",
    "before_after",
    "before_after_stills",
    "bore_view",
    "chamber_view",
    "crack_scene",
    "hone_wall",
    "plug_profile",
    "rim_scene",
    "scene",
    "wall_view",
    "write_samples",
]
