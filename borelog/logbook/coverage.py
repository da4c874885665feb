"""What was looked at: one count of the coverage grid for every table, screen and command."""

from __future__ import annotations

from borelog.logbook.entries import Finding, Looked
from borelog.logbook.inspection import Inspection
from borelog.marks.places import Looked as State
from borelog.marks.places import grid_places


def place_states(inspection: Inspection, cylinder: int | None) -> dict[tuple[str, str, str], tuple[str, str]]:
    """State and entry of every place of the coverage grid that has one, by (view, side, height)."""
    states: dict[tuple[str, str, str], tuple[str, str]] = {}
    for looked in inspection.of(Looked):
        if looked.body.cylinder == cylinder and looked.body.place:
            p = looked.body.place
            states[(p.view, p.side, p.height)] = (looked.body.state, looked.id)
    for found in inspection.of(Finding):
        if found.body.cylinder == cylinder and found.body.place:
            p = found.body.place
            states[(p.view, p.side, p.height)] = (State.FOUND, found.id)
    return states


def coverage_of(inspection: Inspection, cylinder: int) -> tuple[int, int]:
    """Places with a state other than 'not looked', and all places."""
    states = place_states(inspection, cylinder)
    places = grid_places()
    noted = sum(
        states.get((p.view, p.side, p.height), (State.NOT_LOOKED, ""))[0] != State.NOT_LOOKED for p in places
    )
    return noted, len(places)
