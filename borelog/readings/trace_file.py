"""Reading a cranking trace: a table of time, amperes and perhaps a sync or battery channel, from any scope."""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from borelog.readings.errors import ReadingError
from borelog.text import one_line

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_TIME = re.compile(r"\b(time|zeit|temps|tiempo|t|x|seconds?|secs?|s|ms|us)\b")
_AMPS = re.compile(r"\b(amp\w*|current|strom|courant|i|a|clamp|starter)\b")
_SYNC = re.compile(r"\b(sync|cam\w*|spark|trigger|coil|ign\w*|zünd\w*|tdc)\b")
_VOLTS = re.compile(r"\b(batt?\w*|volts?|voltage|spannung|v|u)\b")
_UNIT = re.compile(r"[\[(]\s*([A-Za-zµμ]+)\s*[\])]")
_TO_SECONDS = {
    "s": 1.0,
    "sec": 1.0,
    "second": 1.0,
    "seconds": 1.0,
    "ms": 1e-3,
    "us": 1e-6,
    "µs": 1e-6,
    "μs": 1e-6,
    "min": 60.0,
}
_TO_AMPERES = {"a": 1.0, "amp": 1.0, "amps": 1.0, "ampere": 1.0, "amperes": 1.0, "ma": 1e-3, "ka": 1e3}
_TO_VOLTS = {"v": 1.0, "volt": 1.0, "volts": 1.0, "mv": 1e-3}
_GAPS_ALLOWED = 0.02
_CLOCK = re.compile(r"^(?:(\d{1,2}):)?(\d{1,2}):(\d{1,2}(?:[.,]\d+)?)$")


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """A trace as read.

    Attributes
    ----------
    time_s, amps : array, shape (n,)
        Seconds, strictly rising; amperes.
    sync, volts : array or None
        Sync channel in any unit; battery volts.
    notes : tuple of str
        What was mended or assumed, in words.
    """

    time_s: Floats
    amps: Floats
    sync: Floats | None
    volts: Floats | None
    notes: tuple[str, ...]


def read_trace(text: str, amps_per_volt: float | None = None) -> Trace:
    """A trace from CSV text: commas, semicolons, tabs or blanks; decimal point or comma; headers and unit rows.

    Columns are told by their headings; without any they are time, amperes, sync. A current column in V or mV needs
    ``amps_per_volt`` of the clamp (100 for 10 mV/A).

    Raises
    ------
    ReadingError
        Naming the line and the repair.
    """
    import numpy as np

    lines = [(i, line) for i, line in enumerate(text.lstrip("\ufeff").splitlines(), 1) if line.strip()]
    if not lines:
        raise ReadingError("the trace file is empty: export time and current as CSV")
    mark, decimal_comma = _dialect([line for _, line in lines])
    heads: list[list[str]] = []
    rows: list[list[float]] = []
    width, bad = 0, 0
    for number, line in lines:
        cells = _cells(line, mark, decimal_comma)
        values = [_value(c) for c in cells]
        if not rows and (values[0] is None or sum(v is not None for v in values) < 2):
            heads.append(cells)
            continue
        width = width or len(values)
        if len(values) != width:
            values = (values + [math.nan] * width)[:width]
        if any(v is None for v in values):
            bad += 1
            if bad > max(20, 0.05 * len(lines)):
                raise ReadingError(
                    f"line {number} of the trace is no row of numbers: {one_line(line, 30)!r}; export it again as CSV"
                )
        rows.append([math.nan if v is None else v for v in values])
    if len(rows) < 100 or width < 2:
        raise ReadingError(
            "the trace has under 100 rows of time and current: export the whole cranking as CSV"
        )
    table = np.array(rows)
    places, units, notes = _columns(heads, width)
    time = table[:, places["time"]] * _scale(units.get("time", ""), _TO_SECONDS, "time", "s or ms")
    amps = table[:, places["amps"]] * _amp_scale(units.get("amps", ""), amps_per_volt, notes)
    sync = table[:, places["sync"]] if "sync" in places else None
    volts = None
    if "volts" in places:
        volts = table[:, places["volts"]] * _scale(units.get("volts", ""), _TO_VOLTS, "battery", "V or mV")
    return make_trace(time, amps, sync, volts, notes)


def make_trace(
    time_s: Floats,
    amps: Floats,
    sync: Floats | None = None,
    volts: Floats | None = None,
    notes: list[str] | None = None,
) -> Trace:
    """A checked trace from arrays: gaps up to 2 % are bridged and said, more are refused; time must rise.

    Raises
    ------
    ReadingError
        For missing values, time that stands still or runs back, or a trace that is too short.
    """
    import numpy as np

    told = list(notes or [])
    time_s, amps = np.asarray(time_s, dtype=float), np.asarray(amps, dtype=float)
    if time_s.shape != amps.shape or time_s.ndim != 1:
        raise ReadingError("time and current must be two columns of the same length")
    if not np.isfinite(time_s).all():
        keep = np.isfinite(time_s)
        told.append(f"{int((~keep).sum())} rows without a time were left out")
        if (~keep).mean() > _GAPS_ALLOWED:
            raise ReadingError("many rows have no time: export the trace again")
        time_s, amps = time_s[keep], amps[keep]
        sync = None if sync is None else np.asarray(sync, dtype=float)[keep]
        volts = None if volts is None else np.asarray(volts, dtype=float)[keep]
    missing = ~np.isfinite(amps)
    if missing.any():
        if missing.mean() > _GAPS_ALLOWED:
            share = 100 * float(missing.mean())
            raise ReadingError(
                f"{share:.0f} % of the current is missing: more than 2 % cannot be bridged, export it again"
            )
        amps = np.interp(time_s, time_s[~missing], amps[~missing])
        told.append(f"{int(missing.sum())} missing values were bridged")
    if len(time_s) > 1 and (np.diff(time_s) <= 0).any():
        at = int(np.argmax(np.diff(time_s) <= 0))
        raise ReadingError(
            f"time stands still or runs back after {time_s[at]:g} s: export one single recording, time in the first "
            "column or under a heading"
        )
    if sync is not None:
        sync = np.nan_to_num(
            np.asarray(sync, dtype=float), nan=float(np.nanmedian(sync)) if np.isfinite(sync).any() else 0.0
        )
    return Trace(time_s, amps, sync, volts, tuple(told))


def _dialect(lines: list[str]) -> tuple[str, bool]:
    """The separator, and whether a comma is the decimal mark."""
    body = lines[len(lines) // 2 : len(lines) // 2 + 50]
    for mark in ("\t", ";"):
        if all(mark in line for line in body):
            return mark, any(re.search(r"\d,\d", line) for line in body)
    if all("," in line for line in body):
        counts = Counter(line.count(",") for line in body)
        if " " in body[0].strip() and all(re.search(r"\d,\d+\s+-?\d", line) for line in body):
            return " ", True
        if counts.most_common(1)[0][0] == 3 and all(
            re.fullmatch(r"\s*-?\d+,\d+,-?\d+,\d+\s*", line) for line in body
        ):
            raise ReadingError(
                "commas part the columns and the decimals alike: export with semicolons or tabs"
            )
        return ",", False
    return " ", False


def _cells(line: str, mark: str, decimal_comma: bool) -> list[str]:
    cells = line.split() if mark == " " else line.rstrip("\r\n").split(mark)
    cells = [c.strip().strip('"').strip() for c in cells]
    return [c.replace(",", ".") for c in cells] if decimal_comma else cells


def _value(cell: str) -> float | None:
    """A number, NaN for a blank or a scope's way to write no value, None for other text."""
    if cell == "" or cell.lower() in ("nan", "na", "n/a", "-", "null", "∞", "-∞", "inf", "-inf", "---"):
        return math.nan
    if clock := _CLOCK.match(cell):
        return 3600 * float(clock[1] or 0) + 60 * float(clock[2]) + float(clock[3].replace(",", "."))
    try:
        value = float(cell)
    except ValueError:
        return None
    if "_" in cell:
        return None
    return value if math.isfinite(value) else math.nan


def _columns(heads: list[list[str]], width: int) -> tuple[dict[str, int], dict[str, str], list[str]]:
    """Which column is which, their units, and notes."""
    notes: list[str] = []
    places: dict[str, int] = {}
    units: dict[str, str] = {}
    names = max(reversed(heads), key=_heading_score, default=None)
    if names is None or not _heading_score(names):
        notes.append("no headings: taken as time in s, current in A" + (", sync" if width > 2 else ""))
        return {"time": 0, "amps": 1, **({"sync": 2} if width > 2 else {})}, units, notes
    below = heads[heads.index(names) + 1] if heads.index(names) + 1 < len(heads) else []
    names = [*names, *[""] * (width - len(names))]  # a file may have more columns than headings
    plain = [re.sub(_UNIT, " ", c).replace("_", " ").lower() for c in names[:width]]
    for kind, words in (("time", _TIME), ("sync", _SYNC), ("amps", _AMPS), ("volts", _VOLTS)):
        for i, name in enumerate(plain):
            if i not in places.values() and words.search(name):
                places[kind] = i
                break
    rest = [i for i in range(width) if i not in places.values()]
    if "time" not in places:
        places["time"] = rest.pop(0) if rest and rest[0] == 0 else 0
    if "amps" not in places:
        if not rest:
            raise ReadingError("no column is headed current or A: name the columns time, current, sync")
        places["amps"] = rest.pop(0)
        notes.append(f"current taken from column {one_line(names[places['amps']], 20)!r}")
    if "sync" not in places and rest:
        places["sync"] = rest.pop(0)
        notes.append(f"sync taken from column {one_line(names[places['sync']], 20)!r}")
    for kind, i in places.items():
        inside = _UNIT.search(names[i])
        under = below[i].strip("()[] ").lower() if i < len(below) else ""
        known = under in _TO_SECONDS or under in _TO_AMPERES or under in _TO_VOLTS
        units[kind] = inside[1].lower() if inside else under if known else ""
    if not units["time"] and re.search(r"\b(ms|us)\b", plain[places["time"]]):
        units["time"] = re.findall(r"\b(ms|us)\b", plain[places["time"]])[0]
    return places, units, notes


def _heading_score(cells: list[str]) -> int:
    """How many kinds of column a header row names; 0 for a row about the recording itself."""
    plain = [re.sub(_UNIT, " ", c).replace("_", " ").lower() for c in cells]
    return (
        sum(any(words.search(c) for c in plain) for words in (_TIME, _AMPS, _SYNC, _VOLTS))
        if len(cells) > 1
        else 0
    )


def _scale(unit: str, table: dict[str, float], what: str, good: str) -> float:
    if not unit:
        return 1.0
    try:
        return table[unit]
    except KeyError:
        raise ReadingError(f"the {what} column is in {one_line(unit, 12)!r}: export it in {good}") from None


def _amp_scale(unit: str, amps_per_volt: float | None, notes: list[str]) -> float:
    if unit in _TO_VOLTS:
        if amps_per_volt is None:
            raise ReadingError(
                f"the current column is in {unit}: give the clamp's amperes per volt (100 for 10 mV/A)"
            )
        notes.append(f"current from {unit} at {amps_per_volt:g} A per V")
        return _TO_VOLTS[unit] * amps_per_volt
    return _scale(unit, _TO_AMPERES, "current", "A")
