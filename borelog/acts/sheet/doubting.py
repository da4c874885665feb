"""A bare number among figures of another unit: asked about where that unit fits the others better than the usual one."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable
from statistics import median

import msgspec

from borelog.acts.sheet.context import Said
from borelog.logbook.entries import Reading
from borelog.quantity import Quantity, QuantityError, dimension_of, plain_number

_WORDS = re.compile(r"\b(?:first|last|puffs?)\b", re.I)


def _bare(body: Reading) -> bool:
    """Whether no unit was typed behind the figure."""
    head = _WORDS.sub(" ", body.typed.partition(";")[0])
    return not re.search(r"[A-Za-z%\"°]", head.split("/")[0]) and body.supply is None


def unit_doubts(said: list[Said], recorded: Iterable[Reading] = ()) -> list[Said]:
    """The same, with a question on each bare figure that the unit of its neighbours fits better.

    Parameters
    ----------
    said
        What the lines of a sheet say.
    recorded
        Readings that stand already, which count as neighbours.
    """
    groups: dict[tuple[str, str], list[Reading]] = {}
    for body in (*recorded, *(s.body for s in said if isinstance(s.body, Reading))):
        groups.setdefault((body.test, body.series), []).append(body)
    return [
        Said(msgspec.structs.replace(s.body, doubt=question), s.how, s.line)
        if isinstance(s.body, Reading)
        and not s.body.doubt
        and (question := _question(s.body, groups[s.body.test, s.body.series]))
        else s
        for s in said
    ]


def _question(body: Reading, group: list[Reading]) -> str:
    """'10 psi? The others are in bar, 10 bar is 145 psi ...', or '' where there is nothing to ask."""
    others = [b for b in group if not _bare(b) and b.unit != body.unit and b.values]
    if not _bare(body) or not others or body.part or max(body.values) <= 0:
        return ""
    unit = Counter(b.unit for b in others).most_common(1)[0][0]
    value = body.values[0]
    if dimension_of(unit) != dimension_of(body.unit):
        fed = [b.supply for b in others if b.unit == unit and b.supply is not None]
        if not fed or value > max(fed):
            return ""
        return f"{plain_number(value)} {body.unit}? The others are pairs of gauges in {unit}: type held/supplied, or the unit"
    try:
        level = median(Quantity(v, b.unit).to(unit) for b in others for v in b.values)
        here = Quantity(value, body.unit).to(unit)
    except QuantityError:
        return ""
    if level <= 0 or here <= 0 or abs(math.log(here / level)) <= abs(math.log(value / level)) + math.log(2):
        return ""
    meant = plain_number(Quantity(value, unit).to(body.unit), 3)
    return f"{plain_number(value)} {body.unit}? The others are in {unit}; {plain_number(value)} {unit} is {meant} {body.unit}"
