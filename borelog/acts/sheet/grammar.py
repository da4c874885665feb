"""What a line of the sheet says, as entry bodies. One table of sections; each section reads its own lines."""

from __future__ import annotations

import contextlib
import difflib
import re
from collections.abc import Iterator

from borelog.acts.facts import fact_named, fact_values
from borelog.acts.sheet.context import (
    Context,
    LineError,
    Reader,
    Said,
    cylinder_keys,
    how_taken,
    split_cylinder,
    split_how,
)
from borelog.acts.sheet.findings import coverage_line, finding_line
from borelog.acts.sheet.items import (
    ItemError,
    Question,
    item_for,
    section_items,
    sections,
    state_for,
    states_for,
)
from borelog.acts.sheet.lines import Line, flat
from borelog.acts.typed import procedure_named, typed_reading
from borelog.knowledge.procedures import procedures
from borelog.logbook.entries import (
    Codes,
    Conditions,
    Consent,
    Content,
    Facts,
    Looked,
    Note,
    Opened,
    Prices,
    Seen,
    Told,
)
from borelog.marks.places import Looked as State
from borelog.readings.codes import read_codes
from borelog.readings.conditions import conditions_of as conditions_for
from borelog.readings.conditions import read_answer
from borelog.readings.opened import opened_tests
from borelog.text import BorelogError, one_line


def _facts(line: Line, context: Context, how: str) -> Iterator[tuple[Content, str]]:
    if flat(line.key) in ("name", "inspection"):
        yield Opened(name=line.value), how
        return
    fact = fact_named(line.key)
    values = fact_values(fact, line.value)
    if fact.id == "layout" and values["layout"]:
        from borelog.engine.engine import make_engine, parse_layout

        layout, count = parse_layout(values["layout"])
        context.cylinders = make_engine(layout, count).cylinders
    yield Facts(values=values), how


_YES_NO = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}


def _codes(line: Line, _: Context, how: str) -> Iterator[tuple[Content, str]]:
    key = flat(line.key)
    if key in ("codes", "text", "stored", "code"):
        yield Codes(text=line.value), how
    elif read_codes(line.key).codes:
        yield Codes(text=f"{line.key.strip()} {line.value}"), how
    elif key in ("battery disturbed", "battery disconnected", "battery disconnected before"):
        if (answer := _YES_NO.get(flat(line.value))) is None:
            raise LineError(f"{one_line(line.value, 30)!r}: was the battery disturbed? Answer yes or no")
        yield Codes(text="", battery_disturbed=answer), how
    elif key in ("freeze frame", "frozen", "freeze"):
        yield Codes(text="", frozen=line.value), how
    else:
        raise LineError(
            f"under [codes] write 'codes', 'battery disturbed' or 'freeze frame', not {one_line(line.key, 30)!r}"
        )


def _series(section: str) -> tuple[str, str]:
    """'compression dry 2' into ('compression_dry', '2')."""
    match = re.match(r"^(.*?)\s+(\d+)$", section.strip())
    name, series = (match[1], match[2]) if match else (section, "")
    return procedure_named(name).id, "" if series in ("", "1") else series


def _test(line: Line, context: Context, how: str) -> Iterator[tuple[Content, str]]:
    test, series = _series(line.section)
    rows = {flat(c.id): c for c in conditions_for(test)} | {flat(c.label): c for c in conditions_for(test)}
    whole = flat(line.key)
    if (
        test in opened_tests()
        and (procedures()[test].scope == "engine" or whole.startswith("main"))
        and whole not in rows
        and whole not in ("how", "reading", "value")
    ):
        yield typed_reading(test, None, line.value, series=series, part=line.key), how or "measured"
        return
    cylinders, rest = split_cylinder(line.key, context, line.section)
    name = flat(rest if cylinders else line.key)
    if name in rows:
        read_answer(rows[name], line.value)
        for c in cylinders or (None,):
            yield Conditions(test=test, values={rows[name].id: line.value}, cylinder=c, series=series), how
        return
    if cylinders is not None and not rest:
        for c in cylinders:
            yield typed_reading(test, c, line.value, series=series), how or "measured"
        return
    if name in ("reading", "value", "done", "test") and cylinders is None:
        yield typed_reading(test, None, line.value, series=series), how or "measured"
        return
    item = item_for(rest if cylinders else line.key)
    if item is not None:
        yield from _item(item.id, cylinders, line.value, how, series)
        return
    if cylinders is not None and flat(rest).split(" ")[0] in ("puff", "puffs", "first", "last"):
        raise LineError(
            f"the needle's climb stands with its figure: '{cylinders[0]}: 60 first 20' or '{cylinders[0]}: puffs 20 40 60'"
        )
    if cylinders is not None and test in opened_tests():
        for c in cylinders:
            yield typed_reading(test, c, line.value, series=series, part=rest), how or "measured"
        return
    raise LineError(
        f"{one_line(line.key, 40)!r} is no cylinder and no condition of this test; conditions: "
        + ", ".join(c.label for c in conditions_for(test))
    )


def _item(
    item: str, cylinders: tuple[int, ...] | None, value: str, how: str, series: str = ""
) -> Iterator[tuple[Content, str]]:
    words, _, note = value.partition(";")
    row = item_for(item)
    if row is None:
        raise LineError(f"no question is called {one_line(item, 40)!r}")
    if row.scope == "pair":
        raise LineError(
            "write where the air came out with the leak-down: '3: 62 % next plug hole', and under [leak-down] '3 air at next hole: clear; at 4'"
        )
    if row.scope == "engine" and cylinders:
        raise LineError(f"{row.id.replace('_', ' ')!r} is asked of the whole engine: leave the cylinder out")
    if row.scope != "engine" and not cylinders:
        raise LineError(
            f"{row.id.replace('_', ' ')!r} is asked per cylinder: put the cylinder's number before it"
        )
    if flat(words) in ("not looked", "not done", ""):
        return
    row, state = _answered(row, words)
    for c in cylinders or (None,):
        yield Seen(item=row.id, cylinder=c, state=state, note=note.strip(), series=series), how or "seen"


def _answered(row: Question, words: str) -> tuple[Question, str]:
    """The question and its answer; '3 crown: hole' answers the neighbour question about the crown's metal."""
    try:
        return row, state_for(row, words)
    except ItemError:
        near = [
            q
            for q in section_items(row.section)
            if q.id != row.id and q.label.startswith(f"{row.label} ") and q.scope == row.scope
        ]
        for q in near:
            with contextlib.suppress(ItemError):
                return q, state_for(q, words)
        raise


# A group of questions whose name people also write over the figures of a test.
_FIGURES = {"compression": "compression_dry", "leakdown": "leakdown"}


def _group(line: Line, context: Context, how: str) -> Iterator[tuple[Content, str]]:
    """Sections of questions: 'exhaust valve 3: notch', or '3: dry soot, odd one out' where the words alone tell."""
    section = flat(line.section)
    if section in _FIGURES and re.match(r"^[~<]?\s*\d|^puffs|^n/a|^not ", line.value, re.I):
        with contextlib.suppress(ItemError):
            yield from _test(Line(_FIGURES[section], line.key, line.value, line.number), context, how)
            return
    cylinders, rest = split_cylinder(line.key, context, line.section)
    if (
        cylinders is not None
        and not rest
        and flat(line.value) in ("looked nothing", "looked, nothing", "nothing")
    ):
        for c in cylinders:
            yield Looked(state=State.NOTHING, cylinder=c, test=section), how or "seen"
        return
    if cylinders is not None and rest and flat(rest) in ("gap", "plug gap"):
        for c in cylinders:
            yield typed_reading("plug_gap", c, line.value), how or "measured"
        return
    if cylinders is not None and not rest:
        for words in line.value.split(";"):
            for said in _answers(section, words):
                for c in cylinders:
                    yield (
                        (typed_reading("plug_gap", c, said), how or "measured")
                        if isinstance(said, str)
                        else (
                            Seen(item=said[0].id, cylinder=c, state=said[1]),
                            how or "seen",
                        )
                    )
        return
    name = rest if cylinders is not None else line.key
    row_found = item_for(name, section)
    if row_found is None:
        known = ", ".join(i.label for i in section_items(section))
        raise LineError(
            f"no question of [{line.section}] is called {one_line(name, 40)!r}; here stand: {known}"
        )
    yield from _item(row_found.id, cylinders, line.value, how)


def _answers(section: str, words: str) -> Iterator[tuple[Question, str] | str]:
    """Answers side by side, 'wet, fuel, odd one out, gap 1.1': the longest wording that fits, then the next.

    A gap comes back as its text, everything else as question and state.
    """
    parts = [p.strip() for p in re.split(r"(?<!\d),|,(?!\d)", words) if p.strip()]
    while parts:
        if gap := re.match(r"^gap\s+(.+)$", parts[0], re.I):
            yield gap[1]
            parts = parts[1:]
            continue
        for taken in range(len(parts), 0, -1):
            try:
                found = _answer(section, ", ".join(parts[:taken]))
            except BorelogError:
                if taken == 1:
                    raise
                continue
            yield found
            parts = parts[taken:]
            break


def _answer(section: str, words: str) -> tuple[Question, str]:
    """'notch or burnt edge' or, where that alone does not tell, 'weep none': question and state."""
    said = flat(words)
    for q in section_items(section):
        for name in (flat(q.label), flat(q.id), *(flat(a) for a in q.also)):
            if said.startswith(f"{name} "):
                with contextlib.suppress(BorelogError):
                    return q, state_for(q, said[len(name) + 1 :])
    return states_for(section, words)


def _told(line: Line, _: Context, how: str) -> Iterator[tuple[Content, str]]:
    match = re.match(r"^(.*?)[\s,]+(\d{1,4}[-./]\d{1,2}[-./]\d{1,4})$", line.key)
    by, on = (match[1], match[2]) if match else (line.key, "")
    yield Told(by=by.strip(), text=line.value, on=on), how or "told"


_CONSENT = {
    "by": "by", "consent by": "by", "put back price": "put_back_price", "price of putting back": "put_back_price",
    "stop price": "stop_price", "on": "on", "date": "on", "text": "text", "words": "text",
}  # fmt: skip


def _consent(line: Line, _: Context, how: str) -> Iterator[tuple[Content, str]]:
    key = _CONSENT.get(flat(line.key))
    if key is None:
        raise LineError(f"under [consent] write {', '.join(sorted(set(_CONSENT)))}")
    values = {"by": "", key: line.value}
    yield Consent(**values), how


def _prices(line: Line, _: Context, how: str) -> Iterator[tuple[Content, str]]:
    from borelog.acts.prices import checked_price

    key, value = checked_price(line.key, line.value)
    yield Prices(values={key: value}), how


def _note(line: Line, context: Context, how: str) -> Iterator[tuple[Content, str]]:
    cylinders = cylinder_keys(line.key, context, line.section)
    for c in cylinders or (None,):
        yield Note(text=line.value, cylinder=c), how


_SECTIONS: dict[str, Reader] = {
    "": _facts, "engine": _facts, "car": _facts, "identity": _facts, "inspection": _facts,
    "codes": _codes, "trouble codes": _codes,
    "findings": finding_line, "finding": finding_line,
    "coverage": coverage_line, "looked": coverage_line,
    "told": _told, "consent": _consent, "prices": _prices, "notes": _note, "note": _note,
}  # fmt: skip


def reader_of(section: str) -> Reader:
    """The reader of a section: a named one, a group of questions, or a test.

    Raises
    ------
    LineError
        If the section is none of these.
    """
    key = flat(section)
    if key in _SECTIONS:
        return _SECTIONS[key]
    if section_items(key):
        return _group
    try:
        _series(section)
    except BorelogError as error:
        names = [s for s in _SECTIONS if s]
        every = [*names, *sections(), *(p.label.lower() for p in procedures().values())]
        begun = [n for n in every if flat(n).startswith(key) or key.endswith(flat(n))]
        near = begun or difflib.get_close_matches(key, every, 1, 0.7)
        hint = f"did you mean [{near[0]}]?" if near else f"sections: {', '.join(names)}, or a test"
        raise LineError(f"no section is called [{one_line(section, 40)}]; {hint}") from error
    return _test


def read_line(line: Line, context: Context) -> list[Said]:
    """Everything one line says.

    Raises
    ------
    BorelogError
        With what may stand there instead.
    """
    if flat(line.key) in ("how", "how taken", "taken"):
        how = how_taken(line.value)
        if how is None:
            raise LineError(
                f"{one_line(line.value, 40)!r} is no way of taking a reading: measured, seen clearly, in part, inferred, told by ..."
            )
        context.how[line.section] = how
        return []
    if not line.value:
        return []
    section_reader = reader_of(line.section)
    keep = section_reader in (_facts, _told, _prices, _note, _consent)
    value, how = (line.value, "") if keep else split_how(line.value)
    plain = Line(line.section, line.key, value, line.number, line.id)
    return [
        Said(body, taken, line)
        for body, taken in section_reader(plain, context, how or context.how.get(line.section, ""))
    ]
