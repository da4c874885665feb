"""``python .ci/coverage_gate.py coverage.json`` fails where a room's branches are covered by less than 90 %.

With ``--write`` the table in ``docs/quality.md`` is renewed. The report is that of ``pytest --cov --cov-report=json``.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

ROOMS = ("engine", "readings", "verdict", "logbook")
LEAST = 90.0
PAGE = Path(__file__).resolve().parents[1] / "docs" / "quality.md"


def shares(report: dict) -> dict[str, tuple[int, int]]:
    """Covered and all branches by room."""
    found = {}
    for room in ROOMS:
        files = [
            f["summary"]
            for name, f in report["files"].items()
            if f"borelog/{room}/" in name.replace("\\", "/")
        ]
        found[room] = (sum(s["covered_branches"] for s in files), sum(s["num_branches"] for s in files))
    return found


def main() -> None:
    """Print the table; exit 1 under the limit."""
    found = shares(json.loads(Path(sys.argv[1]).read_text(encoding="utf-8")))
    per_cent = {room: 100 * covered / max(1, whole) for room, (covered, whole) in found.items()}
    lines = ["| room | branches | covered |", "|---|---|---|"]
    lines += [f"| {room} | {found[room][1]} | {per_cent[room]:.1f} % |" for room in ROOMS]
    print("\n".join(lines))
    if "--write" in sys.argv:
        text = PAGE.read_text(encoding="utf-8")
        renewed = re.sub(
            r"\| room \| (?:branches \| )?covered \|.*?(?=\n\n)", "\n".join(lines), text, count=1, flags=re.S
        )
        PAGE.write_text(renewed, encoding="utf-8")
    short = [room for room in ROOMS if per_cent[room] < LEAST]
    if short:
        sys.exit(f"branches covered under {LEAST:g} % in {', '.join(short)}: add tests there")


if __name__ == "__main__":
    main()
