"""An invented in-line four with pictures of every kept kind, used by all tests of this room."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from borelog.engine.engine import Engine
from borelog.logbook import entries as e
from borelog.logbook.described import engine_of
from borelog.logbook.inspection import Inspection
from borelog.logbook.journal import Journal
from borelog.marks.places import Place
from borelog.marks.shapes import Arrow, Box, Ellipse, Freehand, Label, Polygon
from borelog.pack.document import RuleRow
from borelog.verdict.judged import (
    Because,
    Contradiction,
    Course,
    CylinderVerdict,
    EngineVerdict,
    Hypothesis,
    Money,
    NextTest,
    Verdict,
)

AT = "2031-05-04T10:11:12+02:00"
WHO = "M. Invented"


def picture(seed: int, width: int = 640, height: int = 480) -> Image.Image:
    """A drawn still: a lit disc with grain."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width]
    r = np.hypot(x - width / 2, y - height / 2) / (height / 2)
    base = np.clip(200 - 140 * r, 8, 255)[..., None] * np.array([1.0, 0.85, 0.7])
    noisy = base + rng.normal(0, 9, (height, width, 3)) + 25 * np.sin(x / 9 + seed)[..., None]
    return Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8))


def exif(orientation: int = 1) -> bytes:
    """Exif that gives a place and an owner away."""
    made = Image.Exif()
    made[0x0112] = orientation
    made[0x010F] = "SECRETMAKER"
    made[0x013B] = "SECRETOWNER"
    made.get_ifd(0x8825)[1] = "N"
    made.get_ifd(0x8825)[2] = (47.0, 11.0, 12.0)
    return made.tobytes()


def encoded(image: Image.Image, kind: str, **more: object) -> bytes:
    """The picture as a file of one format."""
    out = io.BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def film() -> bytes:
    """The first bytes of a film, enough to be known as one."""
    body = b"AVI LIST" + struct.pack("<I", 4) + b"hdrl" + bytes(64)
    return b"RIFF" + struct.pack("<I", len(body)) + body


@dataclass
class Scene:
    """A logbook with one inspection, and what was made of it."""

    journal: Journal
    id: str
    digests: dict[str, str]
    verdict: Verdict
    rules: tuple[RuleRow, ...]

    @property
    def inspection(self) -> Inspection:
        return self.journal.inspection(self.id)

    @property
    def entries(self) -> list[e.Stored]:
        return self.journal.entries(self.id)

    @property
    def engine(self) -> Engine | None:
        return engine_of(self.inspection)


def filed(
    journal: Journal, name: str, data: bytes, kind: str, width: int, height: int, orientation: int = 1
) -> e.StillFiled:
    """A still in the store and its entry."""
    sha256 = journal.pictures.put(data, "." + name.rpartition(".")[2])
    return e.StillFiled(
        sha256=sha256,
        name=name,
        size=len(data),
        format=kind,
        width=width,
        height=height,
        orientation=orientation,
        camera="Probe 5000",
        taken="2031-05-04 09:00:00",
    )


def verdict(entries: tuple[str, ...] = ()) -> Verdict:
    """A judgement with every part filled."""
    burnt = Hypothesis(
        fault="exhaust_valve_burnt",
        label="burnt exhaust valve",
        probability=0.81,
        word="likely",
        speaks_for=(
            Because(
                text="air is heard at the tailpipe", strength="strongly for", weight=2.3, entries=entries
            ),
        ),
        speaks_against=(
            Because(text="the valve rim was seen only in part", strength="weakly against", weight=-0.4),
        ),
        flip="no air at the tailpipe after tapping the valve",
    )
    rings = Hypothesis(fault="rings", label="worn or stuck rings", probability=0.12, word="unlikely")
    return Verdict(
        call="Head off: cylinder 3 leaks past its exhaust valve, the bores look sound.",
        why=(Because(text="Cylinder 3 reads 60 % of the best", entries=entries),),
        unknown=(
            "Leak-down on cylinders 1, 2 and 4",
            "Whether it was overheated",
            "Bore of cylinder 4",
            "Oil filter not cut",
        ),
        cylinders=(
            CylinderVerdict(cylinder=1, level="sound", words="no sign of trouble", enough=True),
            CylinderVerdict(cylinder=2, level="watch", words="a little low, watch", enough=True),
            CylinderVerdict(
                cylinder=3,
                level="bad",
                words="burnt exhaust valve, likely (0.81)",
                enough=True,
                leader=burnt,
                runner_up=rings,
            ),
            CylinderVerdict(
                cylinder=4,
                level="open",
                words="not enough evidence",
                enough=False,
                leader=rings,
                runner_up=burnt,
            ),
        ),
        engine=EngineVerdict(
            words="No sign of an engine-wide fault.",
            hypotheses=(
                Hypothesis(fault="overheated", label="overheated", probability=0.2, word="possible"),
            ),
            gaskets=(Because(text="Between 3 and 4: no sign of a breach"),),
        ),
        contradictions=(
            Contradiction(
                words="Leak-down 62 % and wet gain of nothing do not fit worn rings.",
                repeat="Repeat the leak-down on 3, 6 minutes.",
            ),
        ),
        next_tests=(
            NextTest(
                words="Leak-down on 4, 6 minutes, splits head work from rebuild.",
                gain="worth about 210",
                test="leakdown",
                cylinder=4,
                minutes=6,
                worth=210.0,
                cautions=("Lock the crank before air goes in.",),
            ),
        ),
        money=Money(
            currency="units",
            seed=7,
            draws=10_000,
            courses=(
                Course(
                    course="head_off",
                    label="head off",
                    worse=-300.0,
                    middle=850.0,
                    better=1600.0,
                    loss_chance=0.16,
                    best_chance=0.6,
                    words="best in 6 of 10",
                ),
                Course(
                    course="sell",
                    label="sell as it stands",
                    worse=200.0,
                    middle=400.0,
                    better=600.0,
                    loss_chance=0.0,
                    best_chance=0.3,
                ),
                Course(
                    course="scrap",
                    label="scrap",
                    worse=150.0,
                    middle=180.0,
                    better=210.0,
                    loss_chance=0.0,
                    best_chance=0.0,
                    within_noise=False,
                ),
            ),
            stops=("Stop if over 900 after the head is off.",),
            movers=("hours for the head", "price it sells for"),
            placeholders=("hourly rate",),
            sentence="Head off: ahead 6 times in 10, about 450 units better than selling it.",
            most=731.0,
            profit=517.0,
            caution="Estimates from placeholder tables.",
        ),
        tables="a" * 64,
        limits=("This is a reading of what was recorded, not a measurement of what was not.",),
    )


RULES = (
    RuleRow(
        test="compression_dry",
        rule="75 % of the highest",
        words="cylinder 3 at 62 % fails; 1, 2 and 4 pass",
        source="US Army TM 9-8000",
        failing=(3,),
        passing=(1, 2, 4),
        level="bad",
    ),
    RuleRow(
        test="compression_dry",
        rule="70 % and 100 psi",
        words="the two rules agree",
        source="common practice",
        failing=(3,),
        level="bad",
    ),
)


def build_scene(
    folder: Path, *, stills: int = 6, name: str = "Grey saloon, cylinder 3 dead", note: str = ""
) -> Scene:
    """A logbook with one inspection in ``folder``."""
    journal = Journal.open(folder)
    id_ = journal.create(name, who=WHO, demo=True)
    one, two = picture(1), picture(2)
    kinds: list[tuple[str, bytes, str, int, int, int]] = [
        (
            "IMG_0001.JPG",
            encoded(one, "JPEG", quality=90, exif=exif(), comment=b"SECRETCOMMENT"),
            "JPEG",
            640,
            480,
            1,
        ),
        ("IMG_0002.JPG", encoded(two, "JPEG", quality=90, exif=exif(6)), "JPEG", 480, 640, 6),
        ("crown.png", encoded(picture(3, 320, 240), "PNG", exif=exif()), "PNG", 320, 240, 1),
        ("old.bmp", encoded(picture(4, 160, 120), "BMP"), "BMP", 160, 120, 1),
        ("scan.tif", encoded(picture(5, 160, 120), "TIFF"), "TIFF", 160, 120, 1),
        ("phone.webp", encoded(picture(6, 320, 240), "WEBP", quality=80), "WebP", 320, 240, 1),
    ]
    kinds += [
        (f"more{i}.jpg", encoded(picture(10 + i), "JPEG", quality=88), "JPEG", 640, 480, 1)
        for i in range(max(0, stills - 6))
    ]
    files = [filed(journal, *k) for k in kinds]
    files.append(filed(journal, "run.avi", film(), "AVI", 0, 0))
    digests = {f.name: f.sha256 for f in files}
    first, turned, crown = files[0].sha256, files[1].sha256, files[2].sha256
    facts = {
        "layout": "inline 4",
        "firing_order": "1-3-4-2",
        "engine_number": "EN-4711",
        "chassis_number": "WZZINVENTED123456",
        "plate": "AB CD 123",
        "odometer": "187 000 km",
        "make": "Invented saloon",
    }
    bodies: list[tuple[e.Known, str]] = [(e.Facts(facts), "")]
    bodies += [(f, "") for f in files]
    bodies += [
        (e.StillPlaced(first, cylinder=3, place=Place("exhaust_valve"), caption=note or "valve shut"), ""),
        (e.StillPlaced(turned, cylinder=3, place=Place("bore", "exhaust", "top")), ""),
        (e.StillPlaced(crown, cylinder=1, place=Place("crown")), ""),
        (e.StillPlaced(files[3].sha256, cylinder=2, place=Place("crown"), mirror=True), ""),
        (e.StillPlaced(files[5].sha256, place=Place("plug_tray")), ""),
        (e.Conditions("compression_dry", {"battery": "12,2 V", "throttle": "open"}), ""),
    ]
    for cylinder, typed, values in (
        (1, "178 176 psi", (178.0, 176.0)),
        (2, "165", (165.0,)),
        (3, "110", (110.0,)),
        (4, "174", (174.0,)),
    ):
        bodies.append((e.Reading("compression_dry", cylinder, typed, values, "psi", note=note), "measured"))
    bodies += [
        (e.Reading("leakdown", 3, "62 % exhaust", (62.0,), "%", air=("exhaust",)), "measured"),
        (e.Looked("not possible", cylinder=2, test="leakdown", why=note or "adapter does not fit"), ""),
        (e.Looked("looked, nothing", cylinder=1, place=Place("bore", "exhaust", "top")), ""),
        (e.Looked("could not see", cylinder=4, place=Place("exhaust_valve"), why="oil on the lens"), ""),
        (
            e.Finding(
                "crown_pits",
                cylinder=3,
                place=Place("crown"),
                severity=3,
                certainty="seen in part",
                age="fresh",
                note=note,
                marks=(
                    e.Mark(first, Box(100.5, 80.25, 120.0, 90.0), label=note or "pitted rim"),
                    e.Mark(first, Ellipse(320.0, 240.0, 60.0, 30.0, 20.0)),
                    e.Mark(turned, Polygon(((50.0, 60.0), (200.0, 80.0), (120.0, 220.0)))),
                ),
            ),
            "seen in part",
        ),
        (
            e.Finding(
                "own_words",
                cylinder=3,
                own=note or "blue tint",
                severity=1,
                marks=(e.Mark(first, Arrow(10, 10, 90, 90)),),
            ),
            "seen",
        ),
        (
            e.Marked(
                e.Mark(crown, Freehand(((10.0, 10.0), (50.0, 80.0), (90.0, 20.0)))),
            ),
            "",
        ),
        (e.Marked(e.Mark(crown, Label(150.0, 100.0, note or "IN side"))), ""),
        (e.Scaled(crown, 0.0312345678, 0.0012, "two valves"), ""),
        (e.MaskDrawn(first, (Box(400.0, 300.0, 101.0, 51.0),), "plate"), ""),
        (e.Codes("P0303 misfire cylinder 3", battery_disturbed=False, frozen=note), ""),
        (e.Told("the seller", note or "It ran fine until last week.", "1 May"), "told"),
        (e.Consent("the owner", "400", "900", note, "3 May"), ""),
        (e.Note(note or "smells of coolant", cylinder=3), ""),
        (e.Seen("arrival_state", None, "runs_rough", note), "seen"),
        (e.Prices({"rate": "85"}), ""),
    ]
    journal.append_many(id_, bodies, who=WHO, at=AT)
    inspection = journal.inspection(id_)
    low = next(r.id for r in inspection.of(e.Reading) if r.body.cylinder == 3)
    journal.append(
        id_, e.Correct(low, e.Reading("compression_dry", 3, "108", (108.0,), "psi")), who=WHO, at=AT
    )
    gone = journal.append(id_, e.Note("entered on the wrong car"), who=WHO, at=AT)
    journal.append(id_, e.Withdraw(gone.entry.id, "wrong car"), who=WHO, at=AT)
    return Scene(journal, id_, digests, verdict((low,)), RULES)
