"""``python -m tests.benchmarks.page`` measures everything and writes ``docs/benchmarks.md``.

``--from FILE`` writes the page from a finished run (``pytest -m bench --benchmark-json FILE``) instead; ``-k`` is handed to
pytest and measures only a part, for a look: the page then says so.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path
from typing import Any

from tests.benchmarks.conftest import Row, promised

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "benchmarks.md"
PACKAGES = (
    "opencv-python-headless",
    "scikit-image",
    "numpy",
    "textual",
    "pillow",
    "msgspec",
    "jinja2",
    "typst",
)
HEAD = """# Benchmarks

Written by `python -m tests.benchmarks.page`; do not edit. Every promised speed stands here with what was measured, beside a
floor (the least that any program must do for it) or a reference in the same run. The shortest of several rounds counts. A
target in milliseconds holds for the bench the project was planned on; on another machine the ratio says more. No test
fails for being slow: these are measurements, and one that misses its target is shown as missed.
"""


def number(value: float, unit: str) -> str:
    """Three figures and the unit."""
    digits = 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2 if abs(value) >= 0.1 else 3
    joint = "" if unit in ("x", "%") else " "
    return f"{value:,.{digits}f}".replace(",", " ") + joint + unit


def times(ratio: float) -> str:
    """'3.2x', or '1/8 000' where the reference takes many times longer."""
    return number(ratio, "x") if ratio >= 0.05 else f"1/{1 / ratio:,.0f}".replace(",", " ")


def met(row: Row) -> str:
    """'yes', 'no', or '-' where nothing was promised."""
    if row.get("target") is None or row.get("value") is None:
        return "-"
    good = row["value"] >= row["target"] if row["better"] == "more" else row["value"] <= row["target"]
    return "yes" if good else "**no**"


def worse(one: Row | None, other: Row) -> Row:
    """The slower of two measurements of one promise."""
    if one is None:
        return other
    return (min if other["better"] == "more" else max)(one, other, key=lambda row: row["value"])


def rows_of(run: dict[str, Any]) -> tuple[list[Row], list[Row]]:
    """The measured rows of one run: those with a promise in the table's order, then the others.

    A benchmark that called no ``speed`` is shown with its shortest round, so that nothing measured is lost.
    """
    measured: dict[str, Row] = {}
    others: list[Row] = []
    for bench in run["benchmarks"]:
        info = bench["extra_info"]
        for row in info.get("rows", ()):
            if row.get("id"):
                measured[row["id"]] = worse(measured.get(row["id"]), row)
            else:
                others.append(row)
        if not info.get("rows"):
            words = bench["name"].removeprefix("test_").replace("_", " ")
            row = {"what": words, "unit": "ms", "better": "less", "target": info.get("target_ms")}
            row |= {
                "value": 1e3 * bench["stats"]["min"],
                "room": bench["group"] or "",
                "floor": info.get("floor", ""),
            }
            row["floor_ms"] = info.get("floor_ms")
            row["ratio"] = info.get("ratio", info.get("ratio_to_floor"))
            others.append(row)
    named = [measured.get(id_, {**row, "value": None}) for id_, row in promised().items()]
    return named, others


def line(row: Row) -> str:
    """One line of the table."""
    unit = row["unit"]
    value = number(row["value"], unit) if row["value"] is not None else "not measured"
    sign = "at least " if row["better"] == "more" else "under "
    target = sign + number(row["target"], unit) if row.get("target") is not None else "-"
    floor = row.get("floor") or ("floor" if row.get("floor_ms") else "")
    if floor and row.get("floor_ms"):
        floor = f"{floor}: {number(row['floor_ms'], 'ms')}"
    ratio = f"{times(row['ratio'])} " if row.get("ratio") else ""
    beside = f"{ratio}({floor})" if floor else "-"
    return f"| {row['room']} | {row['what']} | {value} | {beside} | {target} | {met(row)} |"


def machine(run: dict[str, Any]) -> list[str]:
    """What it ran on: processor, cores, system, versions, date."""
    info = run["machine_info"]
    cpu = info.get("cpu", {})
    brand = cpu.get("brand_raw") or info.get("processor") or platform.machine()
    packages = ", ".join(f"{name} {version(name)}" for name in PACKAGES)
    return [
        f"- Machine: {brand}, {cpu.get('count', '?')} cores, {info['system']} {info['release'].split('-')[0]}",
        f"- Python {info['python_version']}; {packages}",
        f"- Date: {run['datetime'][:10]}",
        *busy(run.get("load", ())),
    ]


def busy(load: tuple[float, ...]) -> list[str]:
    """How busy the machine was besides, where that can be told; a busy one makes every figure an upper bound."""
    if not load:
        return []
    most, cores = max(load), os.cpu_count() or 1
    said = f"- Load average while measuring: up to {most:.1f} on {cores} cores"
    return [
        said + ("; other work was running, so every time is an upper bound" if most > cores + 0.5 else "")
    ]


def page(run: dict[str, Any], part: str = "") -> str:
    """The whole page."""
    named, others = rows_of(run)
    head = "| room | what | measured | beside | target | met |\n|---|---|---|---|---|---|"
    counted = [met(r) for r in named]
    said = f"{counted.count('yes')} of {len(named)} promised speeds are met here, {counted.count('**no**')} missed"
    said += f", {counted.count('-')} not measured." if "-" in counted else "."
    parts = [HEAD, *machine(run), ""]
    parts += [f"Only a part was measured: `-k {part}`.", ""] if part else []
    parts += [said, "", "## Promised", "", head, *map(line, named), ""]
    parts += ["## Measured besides", "", head, *map(line, others), ""]
    return "\n".join(parts)


def measure(part: str) -> dict[str, Any]:
    """Run the benchmarks and read what they wrote."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "run.json"
        command = [
            sys.executable,
            "-m",
            "pytest",
            "-m",
            "bench",
            "-q",
            "tests/benchmarks",
            "--benchmark-quiet",
        ]
        command += [f"--benchmark-json={report}"] + (["-k", part] if part else [])
        before = load_now()
        subprocess.run(command, cwd=ROOT, check=False)
        run = dict(json.loads(report.read_text(encoding="utf-8")))
    return run | {"load": (*before, *load_now())}


def load_now() -> tuple[float, ...]:
    """The load averages of the last one and five minutes; none where the system has none."""
    return os.getloadavg()[:2] if hasattr(os, "getloadavg") else ()


def main() -> None:
    """Measure, or read a finished run, and write the page."""
    parser = argparse.ArgumentParser(description="Measure every promised speed and write docs/benchmarks.md.")
    parser.add_argument("--from", dest="source", metavar="FILE", help="a finished run instead of a new one")
    parser.add_argument("-k", dest="part", default="", help="only these benchmarks")
    args = parser.parse_args()
    run = json.loads(Path(args.source).read_text(encoding="utf-8")) if args.source else measure(args.part)
    PAGE.write_text(page(run, args.part), encoding="utf-8")
    print(f"wrote {PAGE.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
