"""What the stills screen shows: runs of stills by cylinder and place, the marks on one, and the coverage grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from borelog.acts.words import body_words
from borelog.logbook.coverage import ANSWERED, STILL_ONLY
from borelog.logbook.coverage import states as states_of_places
from borelog.logbook.entries import Finding, Mark, Marked, MaskDrawn, Scaled, StillFiled, StillPlaced
from borelog.logbook.inspection import Inspection
from borelog.marks.places import HEIGHTS, SIDES, Place, place_words, views
from borelog.marks.places import Looked as State
from borelog.marks.shapes import Label, Shape
from borelog.text import counted, one_line
from borelog.tui.actions import SHIPPED, Keys, key_of
from borelog.tui.overlay import Drawn
from borelog.tui.views.comparing import CAUSES
from borelog.tui.views.standing import severity_status, term_words
from borelog.tui.views.words import Line, Span, cut, fitted, padded, wrapped

ENGINE, UNFILED, ASIDE = "engine", "not filed", "set aside"


class Suggested(Protocol):
    """A suggestion as it is listed: what it is, and how often that is wrong."""

    @property
    def words(self) -> str:
        """What it may be."""

    @property
    def wrong(self) -> str:
        """How often that is wrong."""


@dataclass(frozen=True, slots=True)
class Still:
    """One still: its digest, name, size in pixels, where it is filed, why it was set aside, how many marks it has."""

    sha256: str
    name: str
    width: int
    height: int
    cylinder: int | None
    place: Place | None
    aside: str
    caption: str
    marks: int
    forgotten: bool = False
    mirror: bool = False
    roll: float = 0.0
    probe: str = ""
    reading: str = ""

    @property
    def words(self) -> str:
        """Where it is filed, in words."""
        return place_words(self.place) if self.place else "no place yet"


@dataclass(frozen=True, slots=True)
class Run:
    """The stills of one cylinder, of the engine, those not filed, or those set aside."""

    key: int | str
    stills: tuple[Still, ...]

    @property
    def title(self) -> str:
        """The run's name."""
        return f"cylinder {self.key}" if isinstance(self.key, int) else str(self.key)


@dataclass(frozen=True, slots=True)
class Shown:
    """A mark on the still in hand: its entry, which of a finding's marks, its number, words and role."""

    entry: str
    index: int
    number: int
    mark: Mark
    words: str
    role: str
    finding: bool


def stills_of(inspection: Inspection) -> tuple[Still, ...]:
    """All stills in the order they were filed."""
    placed = {r.body.still: r.body for r in inspection.of(StillPlaced)}
    counts: dict[str, int] = {}
    for mark in _all_marks(inspection):
        counts[mark.still] = counts.get(mark.still, 0) + 1
    out = []
    for r in inspection.of(StillFiled):
        b, p = r.body, placed.get(r.body.sha256)
        out.append(
            Still(
                b.sha256, one_line(b.name, 80), b.width, b.height, p.cylinder if p else None, p.place if p else None,
                one_line(p.aside) if p else "", one_line(p.caption) if p else "", counts.get(b.sha256, 0), b.sha256 in inspection.forgotten,
                *((p.mirror, p.roll, one_line(p.probe, 60), p.reading) if p else ()),
            )
        )  # fmt: skip
    return tuple(out)


def _all_marks(inspection: Inspection) -> list[Mark]:
    out = [r.body.mark for r in inspection.of(Marked)]
    for found in inspection.of(Finding):
        out.extend(found.body.marks)
    return out


def runs(inspection: Inspection, cylinders: tuple[int, ...]) -> tuple[Run, ...]:
    """Runs in the order of the cylinders, then the engine as a whole, those not filed, those set aside."""
    groups: dict[int | str, list[Still]] = {c: [] for c in cylinders}
    groups |= {ENGINE: [], UNFILED: [], ASIDE: []}
    for still in stills_of(inspection):
        if still.aside:
            key: int | str = ASIDE
        elif still.cylinder is not None:
            key = still.cylinder
        else:
            key = ENGINE if still.place else UNFILED
        groups.setdefault(key, []).append(still)
    order = {view: k for k, view in enumerate(views())}

    def rank(still: Still) -> tuple[int, str, str]:
        p = still.place
        return (order.get(p.view, 99), p.side, p.height) if p else (100, "", "")

    out = []
    for key, group in groups.items():
        if isinstance(key, int) or group:
            out.append(Run(key, tuple(sorted(group, key=rank) if key not in (UNFILED, ASIDE) else group)))
    return tuple(out)


def marks_on(inspection: Inspection, still: str) -> tuple[Shown, ...]:
    """Marks on a still, numbered from 1: findings' marks first, then loose ones."""
    out: list[Shown] = []
    for r in inspection.of(Finding):
        for k, mark in enumerate(r.body.marks):
            if mark.still == still:
                words = term_words(r.body) + (f": {one_line(mark.label, 40)}" if mark.label else "")
                role = {"bad": "bad", "watch": "watch", "good": "good"}[severity_status(r.body.severity)]
                out.append(Shown(r.id, k, len(out) + 1, mark, words, role, True))
    for r2 in inspection.of(Marked):
        if r2.body.mark.still == still:
            text = r2.body.mark.shape.text if isinstance(r2.body.mark.shape, Label) else r2.body.mark.label
            out.append(
                Shown(r2.id, 0, len(out) + 1, r2.body.mark, one_line(text, 60) or "mark", "ink", False)
            )
    return tuple(out)


def masks_on(inspection: Inspection, still: str) -> tuple[Shape, ...]:
    """Areas of a still that are filled in every copy that leaves the house."""
    found = [r.body.shapes for r in inspection.of(MaskDrawn) if r.body.still == still]
    return found[-1] if found else ()


def drawn_marks(shown: tuple[Shown, ...], held: int | None) -> tuple[Drawn, ...]:
    """Marks as they are laid over the picture; words of a label stand in the picture, others are listed beside it."""
    return tuple(Drawn(s.mark.shape, str(s.number), s.role, False, k == held) for k, s in enumerate(shown))


def scale_of(inspection: Inspection, still: str) -> Scaled | None:
    """The scale noted for a still."""
    return next((r.body for r in reversed(inspection.of(Scaled)) if r.body.still == still), None)


def side_lines(
    inspection: Inspection,
    still: Still | None,
    shown: tuple[Shown, ...],
    held: int | None,
    look: str,
    room: int,
    keys: Keys = SHIPPED,
) -> list[Line]:
    """Beside the picture: what it is, where it is filed, its marks by number, its scale."""
    if still is None:
        return []
    lines: list[Line] = [(Span(cut(still.name, room), "ink", "bold"),)]
    where = f"cylinder {still.cylinder}, {still.words}" if still.cylinder is not None else still.words
    lines += [(Span(text, "ink" if still.place else "watch"),) for text in wrapped(where, room)]
    if still.aside:
        lines += [(Span(text, "watch"),) for text in wrapped(f"set aside: {still.aside}", room)]
    if still.caption:
        lines += [(Span(text, "quiet"),) for text in wrapped(still.caption, room)]
    tied = inspection.find(still.reading) if still.reading else None
    if tied is not None:
        lines += [
            (Span(text, "ink"),)
            for text in wrapped(f"picture of: {one_line(body_words(tied.body), 80)}", room)
        ]
    lines.append((Span(f"{still.width} × {still.height} px · {still.sha256[:8]}", "quiet"),))
    scale = scale_of(inspection, still.sha256)
    lines.append(
        (
            Span(
                f"scale {scale.mm_per_px:.3g} mm per px ± {2 * scale.u_mm_per_px / scale.mm_per_px:.1%}",
                "ink",
            ),
        )
        if scale
        else (Span("no scale: sizes in px", "quiet"),)
    )
    if scale and scale.plane:
        lines += [(Span(text, "quiet"),) for text in wrapped(scale.plane, room)]
    if still.probe or still.mirror or still.roll:
        turned = [
            f"probe {still.probe}" if still.probe else "",
            "mirror" if still.mirror else "",
            f"roll {still.roll:g}°" if still.roll else "",
        ]
        lines += [(Span(text, "quiet"),) for text in wrapped(", ".join(x for x in turned if x), room)]
    if look:
        lines += [(Span(text, "watch"),) for text in wrapped(f"shown: {look}", room)]
    lines.append(())
    if not shown:
        lines.append((Span(f"no marks: {key_of(keys, 'stills', 'draw')} draws one", "quiet"),))
    for k, s in enumerate(shown):
        for n, text in enumerate(wrapped(s.words, room - 4)):
            head = f"{s.number:>2}  " if n == 0 else "    "
            lines.append((Span(head, s.role, "pick" if k == held and n == 0 else "bold"), Span(text, s.role)))
        if s.mark.measure:
            # What it rests on is told of the mark in hand; of all of them it would push the rest out of sight.
            words = one_line(s.mark.measure) if k == held else one_line(s.mark.measure).partition(";")[0]
            lines += [
                (Span(f"    {text}", "ink" if k == held else "quiet"),) for text in wrapped(words, room - 4)
            ]
    return lines


def thumb_tag(number: int, still: Still) -> str:
    """What stands under a thumbnail: its number, where it is filed, how many marks it has."""
    return f"{number} {still.words if still.place else still.name}" + (
        f" ●{still.marks}" if still.marks else ""
    )


def suggestion_lines(
    suggestions: Sequence[Suggested], at: int, room: int, keys: Keys = SHIPPED
) -> list[Line]:
    """Beside the picture: what is suggested, by number, and how often that is wrong."""
    lines: list[Line] = []
    wrong: dict[str, None] = {}
    for k, s in enumerate(suggestions):
        lines.append(
            (
                Span(f"?{k + 1:<2} ", "watch", "pick" if k == at else "bold"),
                Span(cut(s.words, room - 4), "ink"),
            )
        )
        wrong[s.wrong] = None
    if lines:
        yes, no = (key_of(keys, "stills", a) for a in ("accept_region", "drop_region"))
        lines = [(), (Span(f"suggested: {yes} yes, {no} no", "ink", "bold"),), *lines]
    for words in wrong:
        lines += [
            (Span(text, "quiet"),)
            for text in wrapped(f"how often wrong: {words}" if words != CAUSES else words, room)
        ]
    return lines


_STATE = {
    State.NOT_LOOKED: ("missing", "not looked"),
    State.NOTHING: ("good", "nothing"),
    State.FOUND: ("bad", "found"),
    State.COULD_NOT_SEE: ("not possible", "no view"),
    State.NOT_POSSIBLE: ("not possible", "not poss."),
    STILL_ONLY: ("missing", "still only"),
    ANSWERED: ("doubt", "answered"),
}
_GLYPHS = {
    "missing": ("▒", "blank"),
    "good": ("✓", "good"),
    "bad": ("✗", "bad"),
    "not possible": ("—", "blank"),
    "doubt": ("?", "watch"),
}


_NARROW = 60
"""Columns below which a place is written short, so that no two look the same."""
_SHORT = {"exhaust": "exh", "intake": "int", "middle": "mid", "bottom": "low"}


def coverage_lines(
    inspection: Inspection, cylinder: int | None, stills: tuple[Still, ...], room: int
) -> tuple[list[Line], list[Place]]:
    """The coverage grid of a cylinder, or of the engine: a line for each place with its state and its stills."""
    states = states_of_places(inspection, (cylinder,))
    count: dict[tuple[str, str, str], int] = {}
    for s in stills:
        if s.place:
            key = (s.place.view, s.place.side, s.place.height)
            count[key] = count.get(key, 0) + 1
    lines: list[Line] = []
    places: list[Place] = []
    for view in views().values():
        if view.scope != ("cylinder" if cylinder is not None else "engine"):
            continue
        for side in SIDES if view.has_sides else ("",):
            for height in HEIGHTS if view.has_heights else ("",):
                here = Place(view.id, side, height)
                status, word = _STATE[states.get((cylinder, here), (State.NOT_LOOKED,))[0]]
                glyph, role = _GLYPHS[status]
                n = count.get((view.id, side, height), 0)
                short = room < _NARROW
                parts = (view.label, *(_SHORT.get(x, x) if short else x for x in (side, height)))
                name = " ".join(x for x in parts if x)
                pics = (f"{n}" if short else counted(n, "still")) if n else ""
                loud = "loud" if status == "missing" else ""
                lines.append(
                    fitted(
                        (
                            Span(padded(f" {name}", max(10, room - (17 if short else 24)))),
                            Span(f" {glyph} {word} ", role, loud),
                            Span("  "),
                            Span(pics, "quiet"),
                        ),
                        room,
                    )
                )
                places.append(here)
    return lines, places


def head_line(run: Run, index: int, room: int) -> Line:
    """Over the row of thumbnails: which run, and the still in hand in full."""
    still = run.stills[index]
    words = f"still {index + 1} of {len(run.stills)}: {still.words}" + (
        f", {still.marks} marks" if still.marks else ""
    )
    return fitted(
        (Span(f" {run.title} ", "ink", "bold"), Span(f" {words}", "ink" if still.place else "watch")), room
    )


def row_line(run: Run, index: int, room: int, keys: Keys = SHIPPED) -> Line:
    """The row of stills of a run, the one in hand reversed and kept in view."""
    if not run.stills:
        more = f": {key_of(keys, 'stills', 'take_stills')} takes in pictures"
        words = "no stills yet"
        words += more if len(f" {run.title}: {words}{more}") <= room else ""
        return (Span(f" {run.title}: ", "ink", "bold"), Span(words, "blank"))
    parts = []
    for k, s in enumerate(run.stills):
        words = s.words if s.place else cut(s.name, 14)
        dot = f" ●{s.marks}" if s.marks else ""
        parts.append(
            Span(
                f" {k + 1} {cut(words, 24)}{dot} ",
                "ink" if s.place else "watch",
                "pick" if k == index else "",
            )
        )
    head = Span(f" {run.title} ", "ink", "bold")
    left = room - len(head.text) - 4
    start = index
    used = len(parts[index].text)
    while start > 0 and used + len(parts[start - 1].text) + 1 <= left // 2:
        start -= 1
        used += len(parts[start].text) + 1
    out: list[Span] = [head, Span("◂" if start else " ", "quiet")]
    for k, part in enumerate(parts[start:], start):
        if left - len(part.text) < 1 and k > index:
            out.append(Span("▸", "quiet"))
            break
        out.append(part)
        left -= len(part.text)
    return tuple(out)
