"""Text from outside in every slot of every view stays text: no escape, no control character, no line break."""

from __future__ import annotations

import re
from types import SimpleNamespace

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from borelog.logbook import entries as e
from borelog.logbook.described import engine_of
from borelog.logbook.inspection import Inspection
from borelog.marks.places import Looked as State
from borelog.marks.places import Place
from borelog.marks.shapes import Box, Label
from borelog.tui.keymap import keys_in_force
from borelog.tui.views import (
    doctoring,
    facts,
    find,
    pack,
    plan,
    rail,
    readings,
    saying,
    sheet,
    standing_calls,
    stepping,
    stills,
    verdict,
)
from borelog.tui.views import logbook as logbook_view
from borelog.tui.views.words import Span, said
from borelog.verdict.judged import (
    Because,
    Contradiction,
    Course,
    CylinderVerdict,
    Hypothesis,
    Money,
    NextTest,
    Verdict,
)

from .test_views import inspection_of

HOSTILE = st.one_of(
    st.text(max_size=80),
    st.sampled_from(
        ["[/]", "[bold]x[/bold]", "[@click=app.quit]x[/]", "\x1b]52;c;eA==\x07", "\x1b[2J\x1b[H", "a\nb\r\tc", "\u202eabc\u202c", "שלום עולם", "🔧" * 9, "e\u0301" * 20, "\ud800", "x" * 10_000, "\x00\x7f\x9b"]
    ),
)  # fmt: skip


def verdict_with(text: str) -> Verdict:
    """A verdict in which every slot holds a text; marked words of any length and kind must do no harm."""
    text = text.encode("utf-8", "replace").decode("utf-8")[:20_000]
    because = Because(text=text, strength=text, weight=1.0, entries=("1" * 32,))
    h = Hypothesis(
        fault="f",
        label=text,
        probability=0.4,
        word=text,
        speaks_for=(because,),
        speaks_against=(because,),
        flip=text,
    )
    return Verdict(
        call=text, why=(because,), unknown=(text,), cylinders=(CylinderVerdict(cylinder=1, level="bad", words=text, enough=False, leader=h, runner_up=h),),
        contradictions=(Contradiction(words=text, repeat=text),), next_tests=(NextTest(words=text, test="leak_down", cylinder=1, minutes=5, cautions=(text,)),),
        money=Money(currency=text, courses=(Course(course="c", label=text, worse=-5, middle=1, better=9, loss_chance=0.2, words=text),), stops=(text,), movers=(text,), placeholders=(text,), sentence=text, decides=text, caution=text),
        limits=(text,),
    )  # fmt: skip


def hostile_inspection(t: str) -> Inspection:
    """An inspection with the text wherever a person or a camera can put one."""
    t = t.encode("utf-8", "replace").decode("utf-8")
    sha = "a" * 64
    place = Place("crown")
    mark = e.Mark(sha, Box(1, 1, 5, 5), t, {}, t)
    return inspection_of(
        e.Opened(t), e.Facts({"layout": "inline 4", "plate": t, "cranked_by": t}), e.Note(t, 1), e.Told(t, t, t), e.Codes(t, None, t), e.Consent(t, t, t, t, t),
        e.Reading("compression_dry", 1, t, (150.0,), "psi", "", (), None, (t,), "", "", t, t), e.Reading("leakdown", 1, t, (20.0,), "%", "", (), None, ("exhaust", t), "", t, t, t),
        e.Conditions("compression_dry", {"order": t, "battery": t}), e.Seen("plug_deposit", 1, t, t), e.Seen(t, 2, t, t), e.Looked(State.NOT_POSSIBLE, 2, None, "compression_dry", t),
        e.StillFiled(sha, t, 5, "JPEG", 640, 480, 1, t, t), e.StillPlaced(sha, 1, place, False, 0.0, t, "", "", t), e.Marked(mark), e.Marked(e.Mark(sha, Label(3, 3, t))),
        e.Finding("own", 1, place, t, t, 3, t, t, (mark,), t, t, t), e.Scaled(sha, 0.1, 0.01, t), e.Prices({"currency": t}), e.Truth(1, (t,), t, t),
        e.HandedOver(1, "buyer", t, t, (t,)), e.CallTaken(t, t, {}, t, t), how=t, who=t,
    )  # fmt: skip


def everything_shown(made: Inspection, judged: Verdict, t: str, room: int) -> list[tuple[Span, ...]]:
    """Every line that any screen makes of an inspection."""
    engine = engine_of(made)
    assert engine is not None
    lines: list[tuple[Span, ...]] = []
    lines += (
        plan.plan_lines(made, engine, judged, 1, room, 20)[0]
        + plan.plan_lines(made, engine, judged, 1, room, 20, True)[0]
    )
    lines += plan.list_lines(made, engine.cylinders, judged, 1, room)[0]
    for c in (1, 2):
        lines += [s.line for s in sheet.sheet_lines(made, engine, judged, c, room)]
    lines += [
        rail.title_line("plan", made, engine, t and "logbook", "10:00", False, room),
        rail.rail_line(made, engine.cylinders, 1, judged, room),
    ]
    for grid in (
        readings.build(made, engine.cylinders, frozenset({"compression_dry", "leakdown"}), {}),
        facts.build(made),
    ):
        for row in grid.rows:
            for column, cell in row.cells.items():
                lines.append((Span(cell.text), Span(readings.cell_words(row, column, cell)), Span(row.label)))
                lines += stepping.hint_lines(row, column, cell, t, t, t, room)
    for sentence in verdict.sentences(made, judged, 1, room):
        lines += sentence.lines
    lines += (
        pack.history(made, room) + pack.outcome_lines(t, t, (t,), (t,), room) + pack.check_lines((t,), room)
    )
    for choice in pack.choices(made, pack.Plan(folder="x"), room):
        lines += choice.lines
    for texts, _, source in saying.page_entries(made, room):
        lines += (*texts, (Span(source),))
    for test in ("compression_dry", "leakdown", "plug_gap", "bore_diameter"):
        lines += saying.said_of(made, test, "parts" if test == "bore_diameter" else test, room, 9)
    for kind in (e.CallTaken, e.Truth, e.Prices):
        for thing in made.of(kind):
            lines += standing_calls.entry_lines(thing, room)
    lines += doctoring.doctor_lines(
        [("x", _line(t), _line(t))], [("y", _line(t), "")], _line(t), False, room, [t]
    )
    for run in stills.runs(made, engine.cylinders):
        lines.append(stills.row_line(run, 0, room))
        for still in run.stills:
            lines += stills.side_lines(made, still, stills.marks_on(made, still.sha256), 0, "", room)
    lines += stills.coverage_lines(made, 1, (), room)[0]
    rows = [
        SimpleNamespace(
            number=1,
            id="i",
            name=_line(t),
            demo=True,
            engine=_line(t),
            worst=_line(t),
            call=_line(t),
            open=2,
            opened_at="",
            changed_at="2026-03-01T10:00",
            entries=3,
            taken_in=_line(t),
        )
    ]
    for entry in logbook_view.entries(rows, room):
        lines += entry.lines
    for found in logbook_view.hits(
        [SimpleNamespace(inspection="i", number=1, name=_line(t), entry="e", words=_line(t))], room
    ):
        lines += found.lines
    for _, words, more in find.candidates("plan", keys_in_force(), made, engine.cylinders, rows):
        lines.append((Span(words), Span(more)))
    return lines


def _line(t: str) -> str:
    from borelog.text import one_line

    return one_line(t.encode("utf-8", "replace").decode("utf-8"))


@given(HOSTILE, st.sampled_from([40, 60, 80, 118]))
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_text_from_outside_in_every_slot_stays_text(t: str, room: int) -> None:
    """No escape, no control character, no line break reaches a screen, whatever was typed, named or taken in."""
    lines = everything_shown(hostile_inspection(t), verdict_with(t), t, room)
    for line in lines:
        text = said(line)
        assert not re.search("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]", text), text
