"""``docs/json.md`` names every key that the commands print, and no key that they do not."""

from __future__ import annotations

import contextlib
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from borelog.cli.main import main

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "json.md").read_text(encoding="utf-8")
RECORDED = ("readings", "conditions", "seen", "findings", "codes", "told", "consent", "notes")
OPEN = ("facts", "remarks[].figures", "says", "earlier[]", "rivals[]", "disputes[]", "engine.gaskets[]")
"""Objects whose keys are data, or are described elsewhere."""
SHEETS = {
    "apart": """
[engine]
layout: inline 4
[compression dry]
throttle: open
1: 178 176
2: 96 98 first 50
3: 174
4: ~180
[leak-down dry]
tester orifice: 0.040 in
1: 73/80 psi none
2: 36/80 psi tailpipe
[compression wet]
2: 99
[camera]
2 exhaust valve: notch or burnt edge
[findings]
2: ex_notch @ exhaust valve, severity 3, seen in part, fresh
[codes]
codes: P0302
[told]
seller 2026-03-14: lost power
[consent]
by: owner
stop price: 900
[prices]
currency: EUR
value running: 5200
purchase price: 600
[notes]
engine: oil filter not cut yet
""",
    "at odds": """
[engine]
layout: V6
[compression dry]
1: 112
2: 104
3: 40
4: 103
5: 98
6: 95
[leak-down dry]
3: 2 %
[plugs]
3: wet, oil
""",
}


def section(title: str) -> str:
    return PAGE.split(f"## {title}\n", 1)[1].split("\n## ", 1)[0]


def keys(text: str) -> set[str]:
    """The keys of the tables of a piece of the page."""
    found: set[str] = set()
    for cell in re.findall(r"^\| (`[^|]+`) \|", text, re.M):
        found |= set(re.findall(r"`([^`]+)`", cell))
    return found


def table(text: str, after: str) -> set[str]:
    """The keys of the one table that follows these words."""
    return keys(text.split(after, 1)[1].split("\n\n", 2)[1])


def leaves(value: Any, path: str = "") -> Iterator[tuple[str, bool]]:
    """Every path of a document, and whether anything stands there (an empty list and null stand for what could)."""
    if any(path == o or path.endswith(f".{o}") for o in OPEN):
        yield path, True
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, f"{path}.{key}" if path else key)
    elif isinstance(value, list):
        yield f"{path}[]", bool(value)
        for inner in value:
            yield from leaves(inner, f"{path}[]")
    else:
        yield path, value is not None


def said_by(*command: str) -> str:
    """Standard output of one command."""
    caught = io.StringIO()
    with contextlib.redirect_stdout(caught):
        main(list(command))
    return caught.getvalue()


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    """The arguments for a logbook with the engines of the sheets, the first one opened and known."""
    folder = tmp_path_factory.mktemp("json")
    for name, text in SHEETS.items():
        (folder / name).write_text(text, encoding="utf-8")
        said_by("--logbook", str(folder / "book"), "new", name)
        said_by("--logbook", str(folder / "book"), "record", "last", str(folder / name))
    said_by("--logbook", str(folder / "book"), "truth", "apart", "2=exh_valve_leak")
    return "--logbook", str(folder / "book")


@pytest.fixture(scope="module")
def answers(book: tuple[str, str]) -> dict[str, list[dict[str, Any]]]:
    """What ``show`` and ``verdict`` print of the engines."""
    return {c: [json.loads(said_by(*book, c, e, "--json")) for e in SHEETS] for c in ("show", "verdict")}


def documented(command: str) -> set[str]:
    """Full paths for one command, its shared parts written out."""
    text = section(f"borelog.{command}/1")
    if command == "show":
        plain = keys(text.split("A recorded thing:")[0])
        things = {k for k in plain if k.removesuffix("[]") in RECORDED}
        return (plain - things) | {f"{t}.{k}" for t in things for k in table(text, "A recorded thing:")}
    plain = keys(text.split("A cause (")[0])
    reasons = table(text, "A reason (each of")
    causes = {k for k in table(text, "A cause (") if not k.startswith("speaks")}
    causes |= {f"{s}[].{k}" for s in ("speaks_for", "speaks_against") for k in reasons}
    holders = {"cylinders[].leader", "cylinders[].runner_up", "engine.hypotheses[]"}
    return (plain - holders) | {f"{h}.{k}" for h in holders for k in causes}


@pytest.mark.parametrize("command", ["show", "verdict"])
def test_every_key_is_documented_and_every_documented_key_is_printed(
    answers: dict[str, list[dict[str, Any]]], command: str
) -> None:
    seen: dict[str, bool] = {}
    for document in answers[command]:
        for path, there in leaves(document):
            seen[path] = seen.get(path, False) or there
    wanted = documented(command)
    stands_for = {p for p in seen if any(w == p or w.startswith((p + ".", p + "[")) for w in wanted)}
    assert sorted(set(seen) - stands_for) == [], "printed, not documented"
    empty = {p for p, there in seen.items() if not there}
    unseen = {w for w in wanted if w not in seen and not any(w.startswith((e + ".", e + "[")) for e in empty)}
    assert sorted(unseen) == [], "documented, not printed"


@pytest.mark.parametrize(
    "row",
    re.findall(r"^\| `(borelog\.[a-z.]+/1)` \| `([^`]+)` \| (.+) \|$", section("Lists and the rest"), re.M),
)
def test_the_other_documents_hold_their_keys(
    row: tuple[str, str, str], book: tuple[str, str], tmp_path: Path
) -> None:
    schema, command, told = row
    sheet = tmp_path / "a.sheet"
    sheet.write_text(SHEETS["at odds"], encoding="utf-8")
    more = {
        "calc NAME": ["calc", "units", "pressure=150"],
        "search": ["search", "notch"],
        "new": ["new", "Two"],
    }
    more |= {
        "journal": ["journal", "apart"],
        "price": ["price", "apart"],
        "record": ["record", "apart", str(sheet), "-n"],
    }
    document = json.loads(said_by(*book, *more.get(command, command.split()), "--json"))
    assert document["schema"] == schema
    first = told.split("; with `--faults`")[0]
    if command == "calc NAME":
        assert {"calculation", "source"} <= set(document)
        return
    if "`rows[]`: " in first:
        assert set(re.findall(r"`([a-z_]+)`", first)) == {k for r in document["rows"] for k in r}
    else:
        top = {
            k.removesuffix("[]") for k in re.findall(r"`([a-z_]+(?:\[\])?)`", re.sub(r": [^;]+", "", first))
        }
        assert top == set(document) - {"schema"}


def test_the_faults_among_the_terms() -> None:
    rows = json.loads(said_by("terms", "--faults", "--json"))["rows"]
    assert {k for r in rows for k in r} == {"id", "label", "bill"}
    assert "exh_valve_leak" in {r["id"] for r in rows}
