"""Calculators about what figures say together: pattern, trend, needle, gain, the aviation form, a second leak-down."""

from __future__ import annotations

from borelog.engine.engine import make_engine, parse_layout
from borelog.knowledge import tables
from borelog.readings import leakdown, patterns, plugs
from borelog.readings.calc_engine import engine_of
from borelog.readings.calc_shape import KPA_PER_PSI, Result, Values, Work, local_air
from borelog.readings.compression import CompressionReading, CompressionTest, make_test
from borelog.readings.errors import ReadingError
from borelog.readings.leakdown import LeakReading, make_leak
from borelog.readings.plugs import PlugState
from borelog.text import one_line


def _cylinders(text: str | None, count: int, what: str) -> tuple[int, ...]:
    """Cylinder numbers out of '1 3 4 2'; all in turn when nothing is given."""
    if text is None:
        return tuple(range(1, count + 1))
    numbers = text.replace("-", " ").replace(",", " ").split()
    if not all(n.isdecimal() for n in numbers) or len(numbers) != count or len(set(numbers)) != count:
        raise ReadingError(f"{what} names each of the {count} readings once: type for example 1 3 4 2")
    return tuple(int(n) for n in numbers)


def _session(figures: tuple[float, ...], cylinders: tuple[int, ...], kind: str = "dry") -> CompressionTest:
    readings = [CompressionReading(c, (f,)) for c, f in zip(cylinders, figures, strict=True)]
    return make_test(kind, readings, order=cylinders)


def _pattern(v: Values) -> Result:
    engine = engine_of(v)
    if len(v["readings"]) != engine.count:
        raise ReadingError(
            f"this {engine.name} has {engine.count} cylinders, {len(v['readings'])} readings are given"
        )
    test = _session(v["readings"], engine.cylinders)
    found = patterns.pattern({r.cylinder: r.mean_kpa for r in test.readings}, engine, v["least"])
    values = {
        "pattern": found.name,
        "cylinders": list(found.cylinders),
        "pairs": [list(p) for p in found.pairs],
    }
    return found.words if found.words.startswith(found.name) else f"{found.name}: {found.words}", values


def _trend(v: Values) -> Result:
    order = _cylinders(v["tested"], len(v["readings"]), "tested")
    found = patterns.trend(_session(v["readings"], order))
    if found is None:
        return "needs four good cylinders in the order tested", {"change": None, "chance": None, "sags": None}
    return found.words, {"change": found.change, "chance": found.chance, "sags": found.sags}


def _needle(v: Values) -> Result:
    found = patterns.build_shape(v["puffs"], v["good"])
    return f"{found.shape}: {found.words}", {"shape": found.shape}


def _gain(v: Values) -> Result:
    layout, count = parse_layout(v["layout"])
    engine = make_engine(layout, count, v["numbering"] or "")
    if len(v["dry"]) != len(v["wet"]):
        raise ReadingError("type as many figures with oil as before, cylinder for cylinder")
    cylinders = tuple(range(1, len(v["dry"]) + 1))
    before = _session(v["dry"], cylinders)
    readings = [CompressionReading(c, (x,)) for c, x in zip(cylinders, v["wet"], strict=True)]
    gains = patterns.wet_gains(before, make_test("wet", readings, oil_ml=v["oil"]), engine)
    single = len(gains) == 1
    lines = [
        patterns.gain_words(g).partition(":")[2].strip() if single else patterns.gain_words(g) for g in gains
    ]
    common = [w for w in gains[0].warnings if all(w in g.warnings for g in gains)]
    lines += [f"cylinder {g.cylinder}: {w}" for g in gains for w in g.warnings if w not in common]
    rows = [
        {"cylinder": g.cylinder, "gain": g.gain, "u": g.u, "state": g.state, "warnings": list(g.warnings)}
        for g in gains
    ]
    first = {k: rows[0][k] for k in ("gain", "u", "state", "warnings")} if single else {}
    return "\n".join([*lines, *common]), {**first, "cylinders": rows}


def _form(v: Values) -> Result:
    reading = make_leak(LeakReading(1, held_kpa=v["held"], supply_kpa=v["supply"], orifice_mm=v["orifice"]))
    again = None
    if v["rerun"] is not None:
        again = make_leak(
            LeakReading(1, held_kpa=v["rerun"], supply_kpa=v["supply"], orifice_mm=v["orifice"])
        )
    line = leakdown.faa_line(reading, v["bore"], again, local_air(v))
    how = "worked out for the form's tester" if line.converted else "as read"
    text = f"{line.held_psi:.0f}/80 ({how}), loss {line.loss:.1f} %: {line.action}"
    return text, {
        "held_psi": line.held_psi,
        "loss_percent": line.loss,
        "in_excess": line.in_excess,
        "action": line.action,
    }


def _bands(v: Values) -> Result:
    band, why = leakdown.aero_band([k / KPA_PER_PSI for k in v["held"]])
    return f"{band}: {why} (service instruction 1191A, quoted)", {"band": band, "why": why}


def _second(v: Values) -> Result:
    first = make_leak(LeakReading(1, "dry", percent=v["before"]))
    found = leakdown.change(first, make_leak(LeakReading(1, v["kind"], percent=v["after"])))
    return found.words, {"state": found.state, "words": found.words}


def _answers(text: str | None, item: str) -> list[str]:
    """One state a cylinder out of words of the sheet ('dry soot, tan') or ids ('dry_soot normal_tan')."""
    ids = dict.fromkeys(s for i, s in plugs.plug_words() if i == item)
    said = [w.strip() for w in (text or "").replace(";", ",").split(",") if w.strip()]
    if len(said) == 1 and all(w in ids for w in said[0].split()):
        said = said[0].split()
    return [_answer(words, item, tuple(ids)) for words in said]


def _answer(words: str, item: str, ids: tuple[str, ...]) -> str:
    wordings = {
        r["state"]: r["wording"].lower()
        for r in tables.rows("item_states.csv", "item", "state", "wording")
        if r["item"] == item
    }
    plain = " ".join(words.lower().replace("_", " ").split())
    exact = [s for s in ids if plain in (s.replace("_", " "), wordings.get(s, "").replace(",", ""))]
    parts = plain.split()
    begun = exact or [
        s for s in ids if all(p in f"{wordings.get(s, '')} {s.replace('_', ' ')}".split() for p in parts)
    ]
    if len(begun) == 1:
        return begun[0]
    known = "; ".join(wordings.get(s, s.replace("_", " ")) for s in ids)
    what = "fits several answers" if begun else "is no answer"
    raise ReadingError(f"{one_line(words, 30)!r} {what}; with commas between the cylinders write {known}")


def _plug_set(v: Values) -> Result:
    deposits = _answers(v["deposits"], "plug_deposit")
    specks = _answers(v["specks"], "plug_specks") or [""] * len(deposits)
    if len(specks) != len(deposits):
        raise ReadingError("type as many specks as deposits, one for each cylinder")
    found = plugs.judge_plugs(
        [PlugState(i, d, s) for i, (d, s) in enumerate(zip(deposits, specks, strict=True), 1)]
    )
    text = "\n".join(found.remarks) or "no plug stands out"
    return text, {"odd": list(found.odd), "metal": list(found.metal), "remarks": list(found.remarks)}


WORK: dict[str, Work] = {
    "pattern": _pattern,
    "trend": _trend,
    "needle": _needle,
    "oil-gain": _gain,
    "leak-form": _form,
    "leak-bands": _bands,
    "leak-change": _second,
    "plugs": _plug_set,
}
