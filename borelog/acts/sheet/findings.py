"""The lines under [findings] and [coverage]: what was seen, where, how sure, and what was looked at."""

from __future__ import annotations

import re
from collections.abc import Iterator

from borelog.acts.sheet.context import Context, LineError, cylinder_keys, split_cylinder
from borelog.acts.sheet.lines import Line, flat
from borelog.acts.typed import procedure_named
from borelog.logbook.entries import Content, Finding, Looked
from borelog.marks.places import Looked as State
from borelog.marks.places import parse_place
from borelog.marks.vocabulary import AGE, CERTAINTY, SEVERITY, FindingError, term
from borelog.text import BorelogError, one_line


def finding_line(line: Line, context: Context, how: str) -> Iterator[tuple[Content, str]]:
    """'3: notch in the rim @ exhaust valve, severity 3, seen clearly, fresh; words of one's own'."""
    cylinders = cylinder_keys(line.key, context, line.section)
    if cylinders is None and flat(line.key) not in ("engine", "whole engine"):
        raise LineError(
            "a finding begins with a cylinder or 'engine', for example '3: ex_notch @ exhaust valve'"
        )
    head, _, note = line.value.partition(";")
    parts = [p.strip() for p in head.split(",")]
    name, _, where = parts[0].partition("@")
    values: dict[str, str] = {}
    places = [where.strip()] if where.strip() else []
    for part in parts[1:]:
        key = flat(part)
        if match := re.match(r"^severity\s+(\d{1,4})\b", key):
            values["severity"] = match[1]
        elif key in SEVERITY:
            values["severity"] = str(SEVERITY.index(key))
        elif key in CERTAINTY or key in ("clearly", "in part"):
            values["certainty"] = {"clearly": CERTAINTY[0], "in part": CERTAINTY[1]}.get(key, key)
        elif key in AGE:
            values["age"] = key
        elif key.startswith("checked"):
            values["checked"] = part
        else:
            places.append(part)
    place = parse_place(" ".join(places)) if places else None
    try:
        known = term(name)
        term_id, own, component, usual = known.id, "", known.component, known.severity
    except FindingError:
        if not name.strip().startswith("own "):
            raise
        term_id, own, component, usual = "own", name.strip()[4:], "", 1
    severity = int(values.get("severity", usual))
    if not 0 <= severity <= 4:
        raise LineError(f"severity {severity} does not exist; 0 to 4: {', '.join(SEVERITY)}")
    for c in cylinders or (None,):
        yield (
            Finding(
                term=term_id,
                cylinder=c,
                place=place,
                component=component,
                own=own,
                severity=severity,
                certainty=values.get("certainty", CERTAINTY[0]),
                age=values.get("age", AGE[0]),
                fake_checked=values.get("checked", ""),
                note=note.strip(),
            ),
            how or "seen",
        )


_STATES = {flat(s): s for s in State} | {
    "looked nothing": State.NOTHING,
    "nothing": State.NOTHING,
    "not done": State.NOT_LOOKED,
}


def coverage_line(line: Line, context: Context, how: str) -> Iterator[tuple[Content, str]]:
    """'3 bore exhaust top: looked, nothing', '3: looked, nothing', 'compression wet: not possible - seized'."""
    words, _, why = re.sub(r"\s+-\s+", " ; ", line.value).partition(";")
    state = _STATES.get(flat(words).replace(",", ""))
    if state is None:
        raise LineError(f"{one_line(words, 30)!r}: coverage is one of {', '.join(State)}")
    cylinders, rest = split_cylinder(line.key, context, line.section)
    name = rest if cylinders is not None else line.key
    for c in cylinders or (None,):
        if not name and c is not None:
            yield Looked(state=state, cylinder=c, test="camera", why=why.strip()), how
            continue
        try:
            yield Looked(state=state, cylinder=c, test=procedure_named(name).id, why=why.strip()), how
        except BorelogError:
            yield Looked(state=state, cylinder=c, place=parse_place(name), why=why.strip()), how
