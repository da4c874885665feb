"""What is still not known, most important first."""

from __future__ import annotations

from borelog.logbook.entries import Looked, Reading
from borelog.logbook.inspection import Inspection
from borelog.marks.places import Looked as State
from borelog.verdict.network.types import Posterior
from borelog.verdict.wording import listed

_ASKED = (
    ("compression_dry", "compression dry"),
    ("leakdown", "leak-down"),
)


def unknowns(inspection: Inspection, posterior: Posterior) -> tuple[str, ...]:
    """Cylinders and tests without anything recorded, and tests that were not possible, with why."""
    cylinders = posterior.shape.cylinders
    out: list[str] = []
    blank = [c for c in cylinders if not posterior.groups.get(c)]
    if blank:
        what = "Nothing" if len(blank) == len(cylinders) else f"Cylinder {listed(map(str, blank))}: nothing"
        out.append(f"{what} recorded")
    readings = inspection.of(Reading)
    looked = inspection.of(Looked)
    for test, label in _ASKED:
        done = {r.body.cylinder for r in readings if r.body.test == test}
        not_possible = {
            r.body.cylinder: r.body.why
            for r in looked
            if r.body.test == test and r.body.state == State.NOT_POSSIBLE
        }
        missing = [c for c in cylinders if c not in done and c not in not_possible]
        if missing:
            out.append(
                f"{label[0].upper()}{label[1:]} not done"
                + ("" if len(missing) == len(cylinders) else f" on {listed(map(str, missing))}")
            )
        for c, why in not_possible.items():
            on = f" on {c}" if c is not None else ""
            out.append(f"{label[0].upper()}{label[1:]} not possible{on}" + (f": {why}" if why else ""))
    seen = {c for c, groups in posterior.groups.items() if set(groups) & _CAMERA}
    dark = [c for c in cylinders if c not in seen]
    if dark:
        out.append(
            "No camera look" + ("" if len(dark) == len(cylinders) else f" into {listed(map(str, dark))}")
        )
    if "oil" not in posterior.groups.get(None, ()):
        out.append("Oil not looked at")
    return tuple(out)


_CAMERA = frozenset({"crown", "crown_damage", "crown_hit", "land", "bore", "exh", "int", "chamber", "liquid"})
