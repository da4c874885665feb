"""The documentation is true: its sheet records, its commands exist, its links lead somewhere, its figures come out."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from borelog.cli.commands import COMMANDS
from borelog.cli.main import main
from borelog.cli.reference import usage

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.glob("*.md"))]


def fenced(page: Path, kind: str) -> list[str]:
    """The fenced blocks of one kind."""
    return re.findall(rf"^```{kind}\n(.*?)^```", page.read_text(encoding="utf-8"), re.M | re.S)


def test_the_full_sheet_records_without_a_question(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "example.sheet"
    (example,) = fenced(DOCS / "sheet.md", "sheet")
    sheet.write_text(example, encoding="utf-8")
    book = ["--logbook", str(tmp_path / "book"), "--who", "tester"]
    assert main([*book, "new", "Lapwing"]) == 0
    assert main([*book, "record", "last", str(sheet)]) == 0
    said = capsys.readouterr().out
    assert "0 doubtful" in said and "0 left out" in said
    assert main([*book, "record", "last", str(sheet)]) == 0
    assert capsys.readouterr().out.strip().startswith("0 saved")
    assert main([*book, "verdict", "last"]) == 0
    assert "Burnt or leaking exhaust valve on 2: head off." in capsys.readouterr().out


def test_the_toml_sheet_records_as_well(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = tmp_path / "example.toml"
    (example,) = fenced(DOCS / "sheet.md", "toml")
    sheet.write_text(example, encoding="utf-8")
    book = ["--logbook", str(tmp_path / "book"), "--who", "tester"]
    assert main([*book, "new", "One"]) == 0
    assert main([*book, "record", "last", str(sheet)]) == 0
    assert "6 saved" in capsys.readouterr().out


def test_every_command_stands_in_the_reference_as_it_is() -> None:
    """The tables are those that ``python -m borelog.cli.reference`` writes."""
    page = (DOCS / "commands.md").read_text(encoding="utf-8")
    missing = [c.name for c in COMMANDS if f"| `{usage(c)}` | {c.sentence} |" not in page]
    assert missing == []
    assert set(re.findall(r"^\| `borelog ([a-z]+)", page, re.M)) == {c.name for c in COMMANDS}


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_commands_in_examples_exist(page: Path) -> None:
    used = re.findall(r"^\$ borelog ([a-z]+)", page.read_text(encoding="utf-8"), re.M)
    assert set(used) <= {c.name for c in COMMANDS}


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_lead_somewhere(page: Path) -> None:
    links = re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8"))
    missing = [x for x in links if "://" not in x and not (page.parent / x).exists()]
    assert not missing


def _calculations() -> list[tuple[str, str]]:
    found = []
    for block in fenced(DOCS / "calculations.md", "console"):
        for part in re.split(r"^\$ borelog ", block, flags=re.M)[1:]:
            command, _, output = part.partition("\n")
            found.append((command, output.strip()))
    return found


@pytest.mark.parametrize(("command", "output"), _calculations(), ids=lambda x: x[:40])
def test_worked_calculations_come_out(command: str, output: str, capsys: pytest.CaptureFixture[str]) -> None:
    import shlex

    assert main(shlex.split(command)) == 0
    printed = " ".join(capsys.readouterr().out.split())
    for line in output.splitlines():
        assert " ".join(line.split()) in printed


def test_the_readme_begins_with_the_job_and_gives_both_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    first = next(line for line in text.splitlines() if line and not line.startswith("#"))
    assert "engine cylinder" in first.lower()
    together = text.split("## Install, demo and tests")[1].split("\n## ")[0]
    assert "python3 -m venv .venv && .venv/bin/pip install -e . && .venv/bin/borelog demo" in together
    assert ".venv/bin/pip install -e '.[test]' && .venv/bin/python -m pytest -n 4 -q" in together


def test_every_caution_stands_in_the_recording_guide() -> None:
    from borelog.knowledge.tables import rows

    guide = " ".join((DOCS / "recording.md").read_text(encoding="utf-8").split())
    assert [r["id"] for r in rows("cautions.csv", "id", "text", "source") if r["text"] not in guide] == []


def test_the_case_followed_by_hand_uses_the_shipped_rows() -> None:
    """Rows, products and shares of the worked case are those of the tables as they are now."""
    from math import prod

    from borelog.knowledge.faults import shipped

    tables = shipped()
    seen = (("leak_pct", "p40_70"), ("air_exhaust", "strong"), ("wet_gain", "none_under_10"))
    text = (DOCS / "verdict.md").read_text(encoding="utf-8")
    products = []
    for name, cause in (
        ("sound", "sound"),
        ("worn rings", "worn_rings_bore"),
        ("exhaust valve", "exh_valve_leak"),
    ):
        found = []
        for item, state in seen:
            row = tables.rows.get((cause, item)) or tables.rows["sound", item]
            found.append(row.probabilities[tables.items[item].states.index(state)])
        weight = tables.faults[cause].weight
        products.append(weight * prod(found))
        cells = [
            c.strip()
            for c in next(x for x in text.splitlines() if x.startswith(f"| {name} |")).strip("|").split("|")
        ]
        assert [float(c) for c in cells[1:]] == pytest.approx(
            [weight, *found, round(products[-1], 6)], abs=1e-6
        ), name
    assert f"{products[2]:.6f} / {sum(products):.6f} = {100 * products[2] / sum(products):.1f} %" in text
