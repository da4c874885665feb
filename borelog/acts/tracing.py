"""A starter-current trace into the record: relative compression of each cylinder, drawn, and entered as readings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from borelog.acts.bench import Bench
from borelog.acts.outputs import write_made
from borelog.acts.typed import typed_reading
from borelog.charts.trace import Flag, trace_svg, trace_text
from borelog.logbook.described import engine_of
from borelog.logbook.entries import Conditions, StillFiled
from borelog.logbook.inspection import Inspection
from borelog.logbook.measured import series_of
from borelog.logbook.pictures import digest_of_file
from borelog.quantity import parse
from borelog.readings.crank_trace import CrankResult, Sync, analyse, crank_state
from borelog.readings.trace_file import read_trace as read_file
from borelog.text import BorelogError, one_line


class TracingError(BorelogError):
    """A trace, or an option for it, that cannot be used."""

    exit_code = 3


@dataclass(frozen=True, slots=True)
class Traced:
    """What a trace says, in words and as plain values; the swing over one cycle, with its named humps, to be drawn."""

    text: str
    values: dict[str, Any]
    degrees: tuple[float, ...] = ()
    amps: tuple[float, ...] = ()
    flags: tuple[Flag, ...] = ()


def _sync(options: dict[str, str]) -> Sync:
    """sync=cam sensor, cylinder=1, offset=90, at=1.35 (s) from the command line."""
    sync = Sync(options.get("sync", "none"))
    if "cylinder" in options:
        sync = replace(sync, cylinder=int(parse(options["cylinder"], ":1").value))
    if "offset" in options:
        sync = replace(sync, offset_deg=parse(options["offset"], "deg").value)
    if "at" in options:
        sync = replace(sync, kind="named hump", at_s=parse(options["at"], "s").value)
    return sync


_LEVEL = {"soft_70_84": "watch", "low_35_69": "bad", "dead_under_35": "bad", "above_group": "watch"}
_OPTIONS = ("sync", "cylinder", "offset", "at", "clamp", "take")
_SYNC_WORDS = {"named hump": "user names a hump"}


def read_trace(
    bench: Bench,
    inspection_id: str,
    name: str,
    options: dict[str, str],
    *,
    svg: str = "",
    dry_run: bool = False,
) -> Traced:
    """Read a CSV trace, tie its humps to cylinders, and enter each cylinder's share of the good ones in per cent.

    Raises
    ------
    TracingError
        For an option that does not exist or an engine whose layout is not known.
    """
    for option in options:
        if option not in _OPTIONS:
            raise TracingError(f"{one_line(option, 30)!r} is no option of a trace: {', '.join(_OPTIONS)}")
    engine = engine_of(bench.inspection(inspection_id))
    if engine is None:
        raise TracingError("which engine is it? Set layout and firing order first")
    path = Path(name)
    data = path.read_bytes()
    clamp = parse(options["clamp"], ":1").value if "clamp" in options else None
    result = analyse(read_file(_decoded(data), clamp), engine, _sync(options))
    if "take" in options:
        result = _taken(result, options["take"])
    relative = result.relative()
    if svg:
        write_made(Path(svg), trace_svg(*_drawn(result)).encode(), never=(digest_of_file(path),))
    if relative and not dry_run:
        sha = bench.journal.pictures.put(data, ".csv")
        bodies: list[tuple[Any, str]] = [
            (StillFiled(sha256=sha, name=path.name, size=len(data), format="CSV"), "")
        ]
        series = _next_series(bench.inspection(inspection_id))
        noted = {"sync": _SYNC_WORDS.get(_sync(options).kind, _sync(options).kind)}
        if result.volts_low is not None:
            noted["battery"] = f"{result.volts_low:.1f} V"
        bodies.append((Conditions(test="crank_current", values=noted, series=series), ""))
        rough = {h.cylinder for h in result.humps if h.about}
        for cylinder, share in sorted(relative.items()):
            typed = f"{'~' if cylinder in rough else ''}{100 * max(0.0, share):.0f} %"
            bodies.append((typed_reading("crank_current", cylinder, typed, series=series), "measured"))
        bench.append(inspection_id, bodies)
    degrees, amps, flags = _drawn(result)
    words = _words(result, bool(relative) and not dry_run)
    return Traced(words, _values(result), tuple(degrees), tuple(amps), tuple(flags))


def _decoded(data: bytes) -> str:
    """The text of a CSV file: UTF-8 or, with its mark, UTF-16 as spreadsheets write it; odd bytes are kept visible."""
    utf16 = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    return data.decode("utf-16" if utf16 else "utf-8", "replace")


def _next_series(inspection: Inspection) -> str:
    """'' for the first trace; a later one stands beside it as a re-test."""
    known = series_of(inspection, "crank_current")
    return str(len(known) + 1) if known else ""


def _taken(result: CrankResult, which: str) -> CrankResult:
    """The result with one of the two ways in which a waste spark names the humps."""
    if which not in ("1", "2") or len(result.alternatives) != 2:
        raise TracingError(
            "take=1 or take=2 chooses between the two ways in which a waste spark names the humps"
        )
    names = result.alternatives[int(which) - 1]
    humps = tuple(replace(h, cylinder=names[h.position]) for h in result.humps)
    return replace(result, humps=humps, alternatives=(), questions=())


def _drawn(result: CrankResult) -> tuple[list[float], list[float], list[Flag]]:
    """Degrees, amperes and named humps as plain numbers for the charts."""
    flags = [
        Flag(
            at,
            str(h.cylinder) if h.cylinder is not None else "?",
            _LEVEL.get(crank_state(h.relative), "sound"),
        )
        for h, at in zip(result.humps, result.tops_deg, strict=True)
    ]
    return [float(d) for d in result.profile_deg], [float(a) for a in result.profile_amps], flags


def _words(result: CrankResult, entered: bool) -> str:
    lines = trace_text(*_drawn(result))
    lines.append(
        f"{result.rpm:.0f} rpm ({100 * result.rpm_change:+.0f} % over the test), {result.amps:.0f} A on average"
    )
    if result.volts_low is not None:
        lines.append(f"battery down to {result.volts_low:.1f} V")
    for h in result.humps:
        who = (
            f"cylinder {h.cylinder}" if h.cylinder is not None else f"hump {h.position} (cylinder not known)"
        )
        span = f" ({100 * h.low:.0f} to {100 * h.high:.0f})"
        lines.append(
            f"{who}: {'about ' if h.about else ''}{100 * h.relative:.0f} %{span} of the good ones, "
            f"scatter {100 * h.scatter:.0f} over {h.cycles} cycles"
        )
    lines += [*result.notes, *result.questions]
    for k, names in enumerate(result.alternatives, 1):
        low = min(result.humps, key=lambda h: h.relative)
        lines.append(f"take={k}: the lowest hump is cylinder {names[low.position]}")
    lines.append("entered as readings" if entered else "not entered")
    return "\n".join(lines)


def _values(result: CrankResult) -> dict[str, Any]:
    return {
        "rpm": result.rpm,
        "rpm_change": result.rpm_change,
        "amps": result.amps,
        "volts_low": result.volts_low,
        "lock": result.lock,
        "humps": [
            {
                "position": h.position,
                "cylinder": h.cylinder,
                "relative": h.relative,
                "scatter": h.scatter,
                "u": h.u,
                "low": h.low,
                "high": h.high,
                "about": h.about,
            }
            for h in result.humps
        ],
        "alternatives": [{str(k): c for k, c in names.items()} for names in result.alternatives],
        "questions": result.questions,
        "notes": result.notes,
    }
