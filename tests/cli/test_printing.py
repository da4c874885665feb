"""Standard output: JSON that is steady and always valid, text that never carries an escape."""

from __future__ import annotations

import json
from dataclasses import dataclass

import numpy as np
import pytest

from borelog.cli.printing import out, out_json, table


@dataclass
class _Value:
    share: float
    parts: tuple[float, ...]


def test_numbers_are_steady_and_what_is_none_is_null(capsys: pytest.CaptureFixture[str]) -> None:
    value = _Value(1 / 3, (float("nan"), float("inf"), -0.0, 1e-300, 12345678.9012345))
    out_json({"v": value, "a": np.array([0.1 + 0.2]), "n": np.float64(2) / 3}, "x/1")
    body = json.loads(capsys.readouterr().out, parse_constant=lambda c: pytest.fail(f"{c} is no JSON"))
    assert body == {
        "schema": "x/1", "v": {"share": 0.333333333, "parts": [None, None, 0.0, 1e-300, 12345678.9]}, "a": [0.3],
        "n": 0.666666667,
    }  # fmt: skip
    assert str(body["v"]["parts"][2]) == "0.0"


def test_text_is_cleaned(capsys: pytest.CaptureFixture[str]) -> None:
    out("a\x1b]52;c;x\x07")
    out(table([("\x1b[2J", "x")], ("a", "b")))
    assert "\x1b" not in capsys.readouterr().out
