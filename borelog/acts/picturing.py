"""Pictures beyond filing one by one: a whole card, a film, two pictures compared, measures, a lens calibrated."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from borelog.acts.bench import Bench
from borelog.acts.filing import (
    Added,
    Filed,
    FilingError,
    Looked,
    Progress,
    Refused,
    expand,
    file_one,
    look_at,
)
from borelog.acts.overview import cylinders_of
from borelog.logbook.entries import StillFiled, StillPlaced
from borelog.marks.places import Place
from borelog.quantity import parse
from borelog.text import BorelogError, one_line

if TYPE_CHECKING:
    from borelog.stills.card import Proposal


class PicturingError(BorelogError):
    """An option for pictures that cannot be used."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class CardRow:
    """One still of a card as proposed: its cylinder (None: not told), and why it was put there."""

    name: str
    still: str
    cylinder: int | None
    slate: bool
    aside: str
    why: str


@dataclass(frozen=True, slots=True)
class Card:
    """A card of stills looked at, with a proposal for its cylinders. Nothing is filed until a person accepts it."""

    looked: tuple[Looked, ...]
    kept: tuple[int, ...]
    aside: dict[int, str]
    refused: tuple[Refused, ...]
    proposal: Proposal

    @property
    def rows(self) -> tuple[CardRow, ...]:
        """Every still in shooting order, those set aside last."""
        out = []
        for group in self.proposal.groups:
            for k, index in enumerate(group.stills):
                x = self.looked[self.kept[index]]
                why = group.why if k == 0 else ""
                out.append(CardRow(x.name, x.filed.sha256, group.cylinder, index == group.slate, "", why))
        for index in self.proposal.loose:
            x = self.looked[self.kept[index]]
            out.append(CardRow(x.name, x.filed.sha256, None, False, "", "before the first cylinder"))
        for index, why in sorted(self.aside.items()):
            x = self.looked[index]
            out.append(CardRow(x.name, x.filed.sha256, None, False, why, ""))
        return tuple(out)

    @property
    def cells(self) -> list[tuple[str, str, str, str]]:
        """The same as text for a table."""
        return [
            (
                r.name,
                str(r.cylinder or "-"),
                "slate" if r.slate else f"aside: {r.aside}" if r.aside else "",
                r.why,
            )
            for r in self.rows
        ]


def propose(
    bench: Bench, inspection_id: str, names: Sequence[str], progress: Progress, pull_order: Sequence[int] = ()
) -> Card:
    """Look at a whole card and propose which stills belong to which cylinder; doubles and black frames are set aside."""
    from borelog.stills.card import Shot
    from borelog.stills.card import propose as cut
    from borelog.stills.doubles import Judged, sort_out
    from borelog.stills.intake import decode
    from borelog.stills.seen import see

    order = tuple(pull_order) or cylinders_of(bench.inspection(inspection_id))
    if not order:
        raise FilingError("set the layout first, so that the card can be cut into cylinders")
    looked: list[Looked] = []
    refused: list[Refused] = []
    for found in look_at(expand(names), progress):
        (looked if isinstance(found, Looked) else refused).append(found)  # type: ignore[arg-type]
    if not looked:
        raise FilingError("no usable picture is there under these names")
    run = [Judged(x.filed.sha256, x.hash, x.sharpness, x.useless) for x in looked]
    aside = {entry.index: entry.reason for entry in sort_out(run)}
    kept = tuple(k for k in range(len(looked)) if k not in aside)
    shots = []
    for k in kept:
        x = looked[k]
        pixels, _ = decode(x.data, x.name, longest=160)
        shots.append(Shot(x.name, _seconds(x.filed.taken), x.modified or None, see(pixels)))
    return Card(tuple(looked), kept, aside, tuple(refused), cut(shots, order))


def _seconds(taken: str) -> float | None:
    """Camera time as seconds; evidence, not truth."""
    for form in ("%Y:%m:%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S"):
        try:
            return datetime.strptime(taken[:19], form).timestamp()
        except ValueError:
            continue
    return None


def shifted(bench: Bench, inspection_id: str, card: Card, by: int, group: int = 0) -> Card:
    """The proposal with a run moved on by so many cylinders."""
    from borelog.stills.card import shift_cylinders

    del bench, inspection_id
    return replace(card, proposal=shift_cylinders(card.proposal, group, by))


def accept(bench: Bench, inspection_id: str, card: Card) -> Added:
    """File a card as proposed; what was set aside is kept too, with why."""
    known = {r.body.sha256 for r in bench.inspection(inspection_id).of(StillFiled)}
    by_digest = {x.filed.sha256: x for x in card.looked}
    filed = []
    for row in card.rows:
        looked = by_digest[row.still]
        place = Place("tag") if row.slate else None
        again = row.still in known
        placed = StillPlaced(
            still=row.still,
            cylinder=row.cylinder,
            place=None,
            aside=row.aside,
            caption="slate" if row.slate else "",
        )
        file_one(bench, inspection_id, looked, placed, again=again)
        known.add(row.still)
        filed.append(Filed(row.name, row.still, row.cylinder, place, row.aside, again, looked.remarks))
    return Added(tuple(filed), card.refused)


def add_film(
    bench: Bench,
    inspection_id: str,
    path: Path,
    *,
    cylinder: int | None = None,
    place: Place | None = None,
    most: int = 24,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Added:
    """Keep a film and file its sharp, different frames as stills, each exactly as the frame was."""
    from borelog.acts.filing import check_cylinder, check_place
    from borelog.stills.doubles import phash
    from borelog.stills.film import pick
    from borelog.stills.intake import encode, read_file

    check_cylinder(bench.inspection(inspection_id), cylinder)
    check_place(cylinder, place)
    filed: list[Filed] = []
    name = one_line(path.name, 160)
    known = {r.body.sha256 for r in bench.inspection(inspection_id).of(StillFiled)}
    picks = list(pick(path, most, lambda done, total: progress(done, total or done + 1)))
    data = read_file(path, cap=8 * 1024**3)
    film = hashlib.sha256(data).hexdigest()
    if film not in known:
        bench.journal.pictures.put(data, path.suffix.lower())
        body = StillFiled(
            sha256=film, name=name, size=len(data), format=path.suffix.lstrip(".").upper() or "AVI"
        )
        aside = StillPlaced(
            still=film, cylinder=cylinder, place=place, aside="film: its frames are filed beside it"
        )
        bench.append(inspection_id, [(body, ""), (aside, "")])
    for p in picks:
        png = encode(p.image, "PNG")
        height, width = p.image.shape[:2]
        still = StillFiled(
            sha256=hashlib.sha256(png).hexdigest(),
            name=f"{Path(name).stem}-{p.frame:05d}.png",
            size=len(png),
            format="PNG",
            width=width,
            height=height,
            source=f"frame {p.frame} of {name} ({film[:12]}), {p.seconds:.2f} s by its own clock",
        )
        looked = Looked(still.name, png, still, p.score, phash(p.image), "", (), 0.0)
        again = still.sha256 in known
        file_one(
            bench,
            inspection_id,
            looked,
            StillPlaced(still=still.sha256, cylinder=cylinder, place=place),
            again=again,
        )
        filed.append(Filed(still.name, still.sha256, cylinder, place, "", again))
    return Added(tuple(filed), ())


@dataclass(frozen=True, slots=True)
class Told:
    """A result in words and as plain values."""

    text: str
    values: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Compared:
    """Two pictures compared and written out."""

    aligned: bool
    lines: tuple[str, ...]
    values: dict[str, Any]


def _point_pairs(text: str) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """'120,80>131,84 ...' as pairs of points."""
    number = r"(-?\d+(?:\.\d+)?)"
    found = re.findall(rf"{number},{number}\s*>\s*{number},{number}", text)
    pairs = [((float(a), float(b)), (float(c), float(d))) for a, b, c, d in found]
    if len(pairs) < 4:
        raise PicturingError(
            "--pairs needs four pairs of points, for example '120,80>131,84 500,90>512,95 ...'"
        )
    return pairs


def compare_files(
    first: Path, second: Path, out: Path, *, thorough: bool = False, pairs: str = "", gif: bool = False
) -> Compared:
    """Align two pictures of one place and write pair, map, regions and pictures for a chat."""
    from borelog.stills.compare import compare, write
    from borelog.stills.intake import decode_file

    a, _ = decode_file(first)
    b, _ = decode_file(second)
    points = _point_pairs(pairs) if pairs else None
    result = compare(a, b, mode="thorough" if thorough else "fast", points=points)
    files = write(result, out, (one_line(first.name, 40), one_line(second.name, 40)))
    kept = [f for f in files if gif or f.suffix != ".gif"]
    for f in set(files) - set(kept):
        f.unlink(missing_ok=True)
    lines = [*result.text().splitlines()]
    lines += [
        f"{r.rank}. different, {'lighter' if r.lighter else 'darker'}, at {r.box.x:.0f},{r.box.y:.0f}, "
        f"{r.box.width:.0f} x {r.box.height:.0f} px, strength {r.score:.1f}"
        for r in result.regions
    ]
    lines += [f"written: {f}" for f in kept]
    if not result.alignment.accepted:
        lines.append("not aligned: mark four pairs of points with --pairs 'x,y>x,y ...'")
    return Compared(
        result.alignment.accepted, tuple(lines), {**result.as_dict(), "files": [str(f) for f in kept]}
    )


def measures() -> list[tuple[str, str, str]]:
    """Every measure there is: name, what it measures, its parameters."""
    from borelog.stills.measuring import MEASURES

    return [(m.name, m.summary, ", ".join(p.usage for p in m.parameters)) for m in MEASURES.values()]


def measure_file(name: str, path: Path, options: dict[str, str]) -> Told:
    """One measure on one picture, with plain parameters as typed."""
    from borelog.stills.intake import decode_file
    from borelog.stills.measuring import run

    pixels, _ = decode_file(path)
    result = run(name, pixels, options)
    return Told(result.text, result.values)


def calibrate(paths: Sequence[Path], inner: str, square: str) -> Told:
    """A probe's lens from pictures of a chessboard; '9x6' inner corners."""
    from borelog.stills.intake import decode_file
    from borelog.stills.lens import calibrate as fit

    match = re.fullmatch(r"\s*(\d{1,2})\s*[x×]\s*(\d{1,2})\s*", inner.lower())
    if not match:
        raise PicturingError(
            f"{one_line(inner, 20)!r}: give the inner corners across and down, for example 9x6"
        )
    side = parse(square, "mm").to("mm") if square else 1.0
    boards = ((p.name, decode_file(p)[0]) for p in paths)
    found = fit(boards, int(match[1]), int(match[2]), side)
    lens = found.lens
    lines = [
        f"fx {lens.fx:.1f}, fy {lens.fy:.1f}, centre {lens.cx:.1f}, {lens.cy:.1f} px; rms {lens.rms:.2f} px over {lens.views} views"
    ]
    lines += [f"{n}: {e:.2f} px" for n, e in found.errors]
    lines += [*found.refused, *found.advice]
    return Told(
        "\n".join(lines), {"lens": _plain(lens), "errors": dict(found.errors), "refused": list(found.refused)}
    )


def _plain(lens: Any) -> dict[str, Any]:
    plain = msgspec.to_builtins(lens)
    return dict(plain)
