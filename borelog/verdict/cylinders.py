"""What is said of each cylinder and of the engine: leader, runner-up, for and against, and what would flip it."""

from __future__ import annotations

from dataclasses import dataclass

from borelog.knowledge.faults import FaultTables
from borelog.verdict.judged import Because, CylinderVerdict, Hypothesis, Level
from borelog.verdict.network.types import SOUND, Case, Posterior, Reasons
from borelog.verdict.signs.value import Signs
from borelog.verdict.wording import BILLS, in_so_many, likelihood, short_name, sights, strength, where

LIKELY = 0.5
ENOUGH_ODDS = 2.0
ENOUGH_GROUPS = 2


def _because(case: Case, said: Signs, tables: FaultTables, sign: int) -> tuple[Because, ...]:
    return tuple(
        Because(
            text=sights(w, tables) + (f" (on {where(w.cylinder)})" if w.cylinder is None else ""),
            strength=strength(w.shift),
            weight=round(w.shift, 6),
            entries=said.entries_of(w.seen),
        )
        for w in case.weights
        if w.shift * sign > 0.05
    )


def _hypothesis(case: Case, said: Signs, tables: FaultTables, flip: str = "") -> Hypothesis:
    return Hypothesis(
        fault=case.fault,
        label=tables.faults[case.fault].label,
        probability=round(case.probability, 6),
        word=f"{likelihood(case.probability)}, {in_so_many(case.probability)}",
        speaks_for=_because(case, said, tables, 1),
        speaks_against=_because(case, said, tables, -1),
        flip=flip,
    )


def bare_hypothesis(fault: str, probability: float, tables: FaultTables) -> Hypothesis:
    return _hypothesis(Case(fault, probability, ()), Signs((), ()), tables)


@dataclass(frozen=True, slots=True)
class Standing:
    """Who leads on a cylinder and by how much.

    Faults can stand together: ``rival`` is what would have to be there *instead* of the leader, ``with_it`` what more
    likely than not stands beside it ('' if nothing does). ``same`` is true where leader and rival ask for the same work;
    ``odds`` are then those of that work against any other.
    """

    leader: str
    probability: float
    rival: str
    against: float
    same: bool
    odds: float
    with_it: str


def standing(posterior: Posterior, cylinder: int, tables: FaultTables) -> Standing:
    """The leader of a cylinder and what stands against it and beside it."""
    first, p = posterior.ranked(cylinder)[0]
    rivals = posterior.instead(cylinder, (first,))
    rival, against = rivals[0]
    bill = tables.bill(first)
    same = bill == tables.bill(rival) and bill != "nothing"
    mine = [f for f in posterior.cylinders[cylinder] if tables.bill(f) == bill] if same else [first]
    other = posterior.instead(cylinder, mine)[0][1]
    odds = (posterior.any_of(cylinder, mine) if same else p) / max(other, 1e-12)
    alone = dict(rivals)
    beside = {f: q - alone[f] for f, q in posterior.ranked(cylinder) if f in alone}
    with_it = max(beside, key=lambda f: (beside[f], f))
    return Standing(first, p, rival, against, same, odds, with_it if beside[with_it] > LIKELY else "")


def cylinder_verdict(
    c: int, posterior: Posterior, why: Reasons | None, said: Signs, tables: FaultTables
) -> CylinderVerdict:
    """What is said of one cylinder."""
    (first, p), (second, q) = posterior.ranked(c)[:2]
    groups = posterior.groups.get(c, ())
    if not groups:
        return CylinderVerdict(
            cylinder=c,
            level="blank",
            words="nothing recorded: not enough evidence",
            enough=False,
            leader=bare_hypothesis(first, p, tables),
            runner_up=bare_hypothesis(second, q, tables),
        )
    at = standing(posterior, c, tables)
    support = why.support if why else len(groups)
    enough = at.odds >= ENOUGH_ODDS and support >= ENOUGH_GROUPS and posterior.fits
    accused = first == SOUND and _accused(posterior, c, said, tables)
    called = enough and not accused and (first != SOUND or squeezed(posterior, c))
    flip = _flip_words(why, tables) if why else ""
    leader = _hypothesis(why.leader, said, tables, flip) if why else bare_hypothesis(first, p, tables)
    runner = _hypothesis(why.runner_up, said, tables) if why else bare_hypothesis(second, q, tables)
    return CylinderVerdict(
        cylinder=c,
        level=_level(first, p, called, tables),
        words=_words(at, tables, fits=posterior.fits, enough=enough, accused=accused, called=called),
        enough=called,
        leader=leader,
        runner_up=runner,
        with_it=at.with_it,
    )


def _words(
    at: Standing, tables: FaultTables, *, fits: bool, enough: bool, accused: bool, called: bool
) -> str:
    """A cylinder's line."""
    label, other = tables.faults[at.leader].label, tables.faults[at.rival].label
    other = other[0].lower() + other[1:]
    if not fits:
        return f"these readings do not fit any known story; nearest: {label.lower()}"
    if not enough:
        return f"not enough evidence; {label.lower()} leads, {in_so_many(at.probability)}"
    if accused:
        return "not enough evidence: sound by one test and not by another; the repeat settles it"
    if not called:
        return "not enough evidence: looks sound so far, but no test of its squeeze that counts"
    if at.same and at.probability < ENOUGH_ODDS * at.against:
        return f"{label} or {other}: the same bill, {BILLS[tables.bill(at.leader)]}"
    beside = tables.faults[at.with_it].label if at.with_it else ""
    also = f"; with it {beside[0].lower()}{beside[1:]}" if beside else ""
    return f"{label}, {likelihood(at.probability)}{also}"


# Groups that test how well a cylinder holds pressure, with the validity variable each hangs on ('' none).
_PRESSED = ("seal_dynamic", "seal_static", "leak_path")
_SQUEEZE = {"seal_dynamic": "compression_dry", "seal_static": "leak_down", "crank_trace": ""}


def _accused(posterior: Posterior, cylinder: int, said: Signs, tables: FaultTables) -> bool:
    """Whether a doubted test of its squeeze speaks against it: nobody calls a cylinder sound over such a reading."""
    here = ((tables.items[s.seen.item], s.seen.state) for s in said.signs if s.seen.cylinder == cylinder)
    return any(
        item.group in _PRESSED
        and item.states.index(state) > 0
        and posterior.doubted.get((cylinder, item.group), 0.0) > LIKELY
        for item, state in here
    )


def squeezed(posterior: Posterior, cylinder: int) -> bool:
    """Whether some test of the cylinder's squeeze counts: no one calls a cylinder sound on the look of its plug."""
    for group, variable in _SQUEEZE.items():
        if group in posterior.groups.get(cylinder, ()):
            where_ = cylinder if variable == "leak_down" else None
            if (
                posterior.spoiled.get((variable, where_), 0.0) <= 0.5
                and posterior.misread.get((cylinder, group), 0.0) <= 0.5
            ):
                return True
    return False


def _level(fault: str, p: float, enough: bool, tables: FaultTables) -> Level:
    if not enough:
        return "open"
    if fault == "sound":
        return "sound"
    light = tables.faults[fault].usual_call in ("repair_in_car", "test_first")
    return "watch" if light or p < 0.5 else "bad"


def _flip_words(why: Reasons, tables: FaultTables) -> str:
    flip = why.flip
    if flip is None:
        return "no single further result would put another cause in front"
    item = tables.items[flip.item]
    again = " taken again" if flip.repeat else ""
    return (
        f"{short_name(flip.item)}{again}: '{item.wording.get(flip.state, flip.state)}' would put "
        f"{tables.faults[flip.leader].label.lower()} in front"
    )
