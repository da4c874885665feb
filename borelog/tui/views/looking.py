"""What has not been looked at or measured yet, and what to say where there is no engine to show."""

from __future__ import annotations

from borelog.knowledge.procedures import procedures
from borelog.logbook.entries import Looked, Reading
from borelog.logbook.inspection import Inspection
from borelog.tui.actions import SHIPPED, Keys, key_of
from borelog.tui.views.words import Line, Span, wrapped


def untested(inspection: Inspection, cylinder: int) -> tuple[str, ...]:
    """Tests of a cylinder that turn or fill it and have neither a reading nor a word yet."""
    done = {r.body.test for r in inspection.of(Reading) if r.body.cylinder == cylinder}
    done |= {r.body.test for r in inspection.of(Looked) if r.body.cylinder == cylinder and r.body.test}
    moving = ("compression", "leakdown", "crank")
    return tuple(p.id for p in procedures().values() if p.id.startswith(moving) and p.id not in done)


def no_layout(room: int, keys: Keys = SHIPPED) -> list[Line]:
    """What to do before a layout is noted."""
    enter, note, pictures = (key_of(keys, "plan", a) for a in ("facts", "note", "see_stills"))
    words = (
        "No layout is noted yet, so there are no cylinders to draw.",
        f"{enter}  enter the engine: for example 'in-line 4', 'V8' or 'flat 6'. Everything else may come later.",
        f"{note}  write words of your own, what the seller says, codes, consent.",
        f"{pictures}  take in and file pictures.",
    )
    out: list[Line] = [()]
    for text in words:
        out += [(Span(f"  {line}", "ink"),) for line in wrapped(text, room - 4, "   ")]
        out.append(())
    return out
