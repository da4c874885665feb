"""``docs/pack-format.md`` names every key of ``inspection.json`` where the schema has it, and no other."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from pathlib import Path

from borelog.pack.coding import schema

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "pack-format.md").read_text(encoding="utf-8")


def in_the_schema() -> set[tuple[frozenset[str], str, frozenset[str]]]:
    """(keys that hold it, which shape it is, its own keys) of every object."""
    defined = json.loads(schema())["$defs"]
    held: dict[str, set[str]] = defaultdict(set)
    for body in defined.values():
        for key, value in body["properties"].items():
            for name in re.findall(r"#/\$defs/(\w+)", json.dumps(value)):
                held[name].add(key)
    return {
        (frozenset(held[name]), name.lower() if "shape" in held[name] else "", frozenset(body["properties"]))
        for name, body in defined.items()
    }


def on_the_page() -> set[tuple[frozenset[str], str, frozenset[str]]]:
    """The same from the table under 'Its keys'."""
    table = PAGE.split("### Its keys", 1)[1].split("\n## ", 1)[0]
    found = set()
    for line in table.splitlines():
        if not line.startswith("| ") or line.startswith("| held by"):
            continue
        held, _, keys = (cell.strip() for cell in line.strip("|").split(" | "))
        names = frozenset(re.findall(r"`(\w+)`", held))
        shape = held.removeprefix("`shape`").strip() if names == {"shape"} else ""
        found.add((names, shape, frozenset(re.findall(r"`(\w+)`", keys))))
    return found


def test_every_key_of_the_document_is_described_where_it_stands() -> None:
    assert on_the_page() == in_the_schema()


def test_the_whole_schema_was_looked_at() -> None:
    every = {key for _, _, keys in in_the_schema() for key in keys}
    assert {"remarks", "least_kpa", "puffs", "digest"} <= every
