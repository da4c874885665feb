"""A whole card of stills: looked at, cut into cylinders as a proposal, shifted where it slipped, filed once accepted."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from borelog.acts.bench import Bench
from borelog.acts.filing import (
    TWICE,
    Added,
    Filed,
    FilingError,
    Looked,
    Progress,
    Refused,
    file_one,
    found_under,
    judged_of,
    look_at,
    probe_of,
)
from borelog.acts.overview import cylinders_of
from borelog.acts.views import known_views, spot_of
from borelog.logbook.entries import StillFiled, StillPlaced
from borelog.marks.places import views

if TYPE_CHECKING:
    from borelog.stills.card import Proposal, Shot


@dataclass(frozen=True, slots=True)
class CardRow:
    """One still of a card as proposed: its cylinder (None: not told), a view it may show, and why it was put there."""

    name: str
    still: str
    cylinder: int | None
    slate: bool
    aside: str
    why: str
    view: str = ""
    sure: float = 0.0


@dataclass(frozen=True, slots=True)
class Card:
    """A card of stills looked at, with a proposal for its cylinders. Nothing is filed until a person accepts it.

    ``looked`` is every usable still without its bytes, ``kept`` which of them the proposal counts, ``views`` for each
    of those the view it may show and how sure (0 to 1), ``shots`` what each is known by; ``slates`` are those that a
    person said are slate pictures (None: the tool's own guess stands).
    """

    looked: tuple[Looked, ...]
    kept: tuple[int, ...]
    aside: dict[int, str]
    refused: tuple[Refused, ...]
    proposal: Proposal
    views: tuple[tuple[str, float], ...] = ()
    shots: tuple[Shot, ...] = ()
    slates: tuple[int, ...] | None = None

    @property
    def rows(self) -> tuple[CardRow, ...]:
        """Every still in shooting order, those set aside last."""
        out = []
        for group in self.proposal.groups:
            for k, index in enumerate(group.stills):
                out.append(
                    self._row(index, group.cylinder, index == group.slate, group.why if k == 0 else "")
                )
        out += [self._row(index, None, False, "before the first cylinder") for index in self.proposal.loose]
        for index, why in sorted(self.aside.items()):
            x = self.looked[index]
            out.append(CardRow(x.name, x.filed.sha256, None, False, why, ""))
        return tuple(out)

    def _row(self, index: int, cylinder: int | None, slate: bool, why: str) -> CardRow:
        x = self.looked[self.kept[index]]
        view, sure = self.views[index] if self.views and not slate else ("", 0.0)
        return CardRow(x.name, x.filed.sha256, cylinder, slate, "", why, view, sure)

    @property
    def cells(self) -> list[tuple[str, str, str, str]]:
        """The same as text for a table."""
        return [(r.name, str(r.cylinder or "-"), _shows(r), r.why) for r in self.rows]


def _shows(row: CardRow) -> str:
    if row.slate:
        return "slate"
    if row.aside:
        return f"aside: {row.aside}"
    return f"{views()[row.view].label}? ({row.sure:.0%})" if row.view else ""


def propose(
    bench: Bench, inspection_id: str, names: Sequence[str], progress: Progress, pull_order: Sequence[int] = ()
) -> Card:
    """Look at a whole card and propose which stills belong to which cylinder, and which view each may show.

    Parameters
    ----------
    pull_order
        Cylinders in the order in which the plugs were pulled; by number where nobody says.

    Raises
    ------
    FilingError
        Without a layout, without one usable picture, or where the pull order names a cylinder that is not there.
    """
    from borelog.stills.card import Shot
    from borelog.stills.card import propose as cut
    from borelog.stills.doubles import sort_out
    from borelog.stills.intake import decode
    from borelog.stills.seen import propose_views, see

    inspection = bench.inspection(inspection_id)
    known = cylinders_of(inspection)
    if not known:
        raise FilingError("set the layout first, so that the card can be cut into cylinders")
    order = tuple(pull_order) or known
    if strange := [c for c in order if c not in known]:
        raise FilingError(f"the pull order names cylinder {strange[0]}, which this engine does not have")
    paths, missing = found_under(names)
    looked: list[Looked] = []
    refused: list[Refused] = list(missing)
    shots: list[Shot] = []
    for found in look_at(paths, progress):
        if isinstance(found, Refused):
            refused.append(found)
            continue
        pixels, _ = decode(found.data, found.name, longest=160)
        shots.append(Shot(found.path, _seconds(found.filed.taken), found.modified or None, see(pixels)))
        looked.append(replace(found, data=b""))
    if not looked:
        why = f": {refused[0].name}: {refused[0].why}" if refused else ""
        raise FilingError(f"no usable picture is there under these names{why}")
    aside = {entry.index: entry.reason for entry in sort_out([judged_of(x) for x in looked])}
    kept = tuple(k for k in range(len(looked)) if k not in aside)
    counted = tuple(shots[k] for k in kept)
    proposal = cut(counted, order)
    seen = [s for shot in counted if (s := shot.seen) is not None]
    proposed = propose_views(seen, known_views(bench, inspection)) if len(seen) == len(kept) else ()
    return Card(tuple(looked), kept, aside, tuple(refused), proposal, proposed, counted)


def _seconds(taken: str) -> float | None:
    """Camera time as seconds; evidence, not truth."""
    for form in ("%Y:%m:%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S"):
        try:
            return datetime.strptime(taken[:19], form).timestamp()
        except (ValueError, OverflowError, OSError):
            continue
    return None


def shifted(card: Card, by: int, group: int = 0) -> Card:
    """The proposal with this group and all later ones moved on by so many cylinders."""
    from borelog.stills.card import shift_cylinders

    return replace(card, proposal=shift_cylinders(card.proposal, group, by))


def slate_marked(card: Card, still: int) -> Card:
    """The card cut anew with this still said to be a slate picture, or no longer: a hand with fingers is not found."""
    from borelog.stills.card import propose as cut

    now = card.slates
    if now is None:
        now = tuple(g.slate for g in card.proposal.groups if g.slate is not None)
    marked = tuple(k for k in now if k != still) if still in now else (*now, still)
    return replace(card, slates=marked, proposal=cut(card.shots, card.proposal.pull_order, marked))


def border_moved(card: Card, by: int, group: int) -> Card:
    """The proposal with the border before this group, and all later ones, moved by so many stills."""
    from borelog.stills.card import shift_stills

    return replace(card, proposal=shift_stills(card.proposal, group, by))


def still_moved(card: Card, still: int, group: int | None) -> Card:
    """The proposal with one still put into another group, or among those of no cylinder."""
    from borelog.stills.card import move_still

    return replace(card, proposal=move_still(card.proposal, still, group))


def accept(
    bench: Bench,
    inspection_id: str,
    card: Card,
    *,
    with_views: bool = False,
    probe: str = "",
    progress: Progress = lambda done, total: None,
) -> Added:
    """File a card as proposed; what was set aside is kept too, with why.

    ``with_views`` files the proposed views as well, for a person who looked them over.
    """
    from borelog.stills import StillError
    from borelog.stills.intake import read_file

    inspection = bench.inspection(inspection_id)
    known = {r.body.sha256 for r in inspection.of(StillFiled)}
    noted = probe_of(inspection, probe)
    by_digest = {x.filed.sha256: x for x in reversed(card.looked)}
    filed: list[Filed] = []
    refused = list(card.refused)
    here: set[str] = set()
    for number, row in enumerate(card.rows, 1):
        looked = by_digest[row.still]
        if row.still in here:
            filed.append(Filed(row.name, row.still, row.cylinder, None, TWICE, True))
            continue
        try:
            data = read_file(looked.path)
        except StillError as error:
            refused.append(Refused(row.name, str(error).partition(": ")[2] or str(error)))
            continue
        cylinder, place = row.cylinder, None
        if with_views and row.view and (row.cylinder is not None or views()[row.view].scope == "engine"):
            cylinder, place = spot_of(row.view, row.cylinder)
        placed = StillPlaced(
            still=row.still,
            cylinder=cylinder,
            place=place,
            mirror=bool(noted and noted.mirror),
            roll=noted.roll if noted else 0.0,
            probe=probe,
            aside=row.aside,
            caption="slate" if row.slate else "",
        )
        if hashlib.sha256(data).hexdigest() != row.still:
            refused.append(Refused(row.name, "has changed since it was looked at; take the card in again"))
            continue
        file_one(bench, inspection_id, replace(looked, data=data), placed, again=row.still in known)
        again = row.still in known
        known.add(row.still)
        here.add(row.still)
        filed.append(Filed(row.name, row.still, cylinder, place, row.aside, again, looked.remarks))
        progress(number, len(card.rows))
    return Added(tuple(filed), tuple(refused))


def pull_order(text: str) -> tuple[int, ...]:
    """'1 3 5 2 4 6' or '1-3-5-2-4-6' as cylinders.

    Raises
    ------
    FilingError
        For anything that is no row of numbers, each once.
    """
    words = text.replace("-", " ").replace(",", " ").split()
    if not all(w.isdigit() for w in words) or len(set(words)) < len(words):
        raise FilingError("the pull order is cylinder numbers, each once, for example 1-3-5-2-4-6")
    return tuple(int(w) for w in words)
