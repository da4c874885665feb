"""The sum: for every drawn engine and every course what is left over, with the option to stop on the way.

Same random numbers for all courses. The purchase price does not enter.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from borelog.verdict.money.settings import CostLine, Course, Discovery, Settings
from borelog.verdict.money.spread import together, triangular_moments, triangular_quantile
from borelog.verdict.money.states import States

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

CAP = 0.92
"""Faults left in never take more than this share of the car's value: it still has doors (from memory)."""
OPENED_SALE = 0.75
"""An engine in pieces sells for this share of what it brings as it stands (from memory)."""


@dataclass(frozen=True, slots=True)
class Stage:
    """Where one may stop: after ``name``, the best alternative from there, and the most that the rest may cost."""

    course: str
    name: str
    alternative: str
    stop_price: float
    stopped: float


@dataclass(frozen=True, slots=True)
class Result:
    """``net`` (n, courses) money left over per drawn engine and course, before the purchase price; ``stages`` the stops."""

    courses: tuple[str, ...]
    net: Array
    stages: tuple[Stage, ...]


@dataclass(slots=True)
class _Sum:
    settings: Settings
    states: States
    rng: np.random.Generator

    def uniforms(self, lines: int) -> Array:
        return together(self.rng, self.states.n, lines)


def evaluate(settings: Settings, states: States, seed: int) -> Result:
    """Net of every course on every drawn engine.

    Parameters
    ----------
    settings
        Tables and prices.
    states
        Drawn engines.
    seed
        Of the cost lines; the same seed and states give the same result.
    """
    work = _Sum(settings, states, np.random.default_rng(seed))
    u = _Numbers(work)
    nets: dict[str, Array] = {}
    stages: list[Stage] = []
    plain = [c for c in settings.courses if not c.stages]
    for course in plain:
        nets[course.id] = _plain_net(course, work, u)
    stops = _stops(nets)
    for course in settings.courses:
        if course.stages:
            nets[course.id], found = _staged_net(course, work, u, nets, stops)
            stages += found
    ids = tuple(c.id for c in settings.courses)
    return Result(ids, np.stack([nets[i] for i in ids], axis=1), tuple(stages))


class _Numbers:
    """All random numbers, drawn once in table order, so that a changed price or course does not shift the others."""

    def __init__(self, work: _Sum) -> None:
        s = work.settings
        n = work.states.n
        self.lines = {line.id: k for k, line in enumerate(s.lines)}
        self.line = together(work.rng, n, len(s.lines))
        names = sorted(s.prices)
        self.prices = {p: k for k, p in enumerate(names)}
        self.price = together(work.rng, n, len(names))
        self.found = work.rng.random((n, len(s.discoveries)))
        self.found_cost = together(work.rng, n, len(s.discoveries))
        self.days = together(work.rng, n, len(s.courses))
        self.first = work.rng.random(n)
        self.back = work.rng.random(n)
        self.cure = work.rng.random(n)


def _price(work: _Sum, u: _Numbers, id_: str) -> Array:
    return triangular_quantile(u.price[:, u.prices[id_]], *work.settings.price(id_))


def _unit(work: _Sum, u: _Numbers, unit: str) -> Array | float:
    if unit == "pct":
        return work.settings.price("value_running")[1] / 100
    if unit in ("own_hour", "paid_hour"):
        return work.settings.price(unit)[1]
    return _price(work, u, unit)


def _unit_mean(work: _Sum, unit: str) -> float:
    if unit == "pct":
        return work.settings.price("value_running")[1] / 100
    return triangular_moments(*work.settings.price(unit))[0]


def _times(line: CostLine, states: States) -> Array | float:
    """How many times a line is due on each drawn engine."""
    zero = np.zeros(states.n)
    if line.per == "head":
        return np.maximum(states.heads.get(line.bill or "head", zero), 0.0 if line.bill else 1.0)
    if line.per == "cylinder":
        return states.count.get(line.bill, zero) if line.bill else float(states.cylinders)
    if line.bill:
        return (states.count.get(line.bill, zero) > 0).astype(float)
    return 1.0


def _cost(work: _Sum, u: _Numbers, course: str, stage: str | None = None) -> Array:
    total = np.zeros(work.states.n)
    for line in work.settings.lines:
        if line.course == course and stage in (None, line.stage):
            amount = triangular_quantile(u.line[:, u.lines[line.id]], *line.amount)
            total += amount * _unit(work, u, line.unit) * _times(line, work.states)
    return total


def _expected_cost(work: _Sum, course: str, stage: str) -> Array:
    """What a stage is expected to cost on each drawn engine once its state is seen."""
    total = np.zeros(work.states.n)
    for line in work.settings.lines:
        if line.course == course and line.stage == stage:
            total += (
                triangular_moments(*line.amount)[0] * _unit_mean(work, line.unit) * _times(line, work.states)
            )
    return total


def _value_after(course: Course, work: _Sum, u: _Numbers) -> Array:
    """Value with the faults that remain, less what may come back."""
    s, states = work.settings, work.states
    share = np.zeros(states.n)
    for bill, (first, each) in s.leftover.items():
        there = states.count.get(bill)
        if there is None:
            continue
        cured = s.cures.get((course.id, bill), 0.0)
        left = (there > 0) & (u.cure >= cured)
        share += left * (first + each * np.maximum(0.0, there - 1))
    whole = _price(work, u, "value_running")
    value = whole * (1 - np.minimum(CAP, share))
    if course.id not in ("run", "sell", "part_out", "scrap"):
        for fault, (chance, lost) in s.returns.items():
            if fault in states.has:
                value -= whole * lost * (states.has[fault] & (u.back < chance))
    least: Array = np.maximum(value, whole * (1 - CAP))
    return least


def _hoped(course: Course, work: _Sum) -> Array:
    """What the finished car is expected to bring once its state is seen: nothing of luck that is still to come."""
    s, states = work.settings, work.states
    share = np.zeros(states.n)
    for bill, (first, each) in s.leftover.items():
        there = states.count.get(bill)
        if there is not None:
            left = 1 - s.cures.get((course.id, bill), 0.0)
            share += (there > 0) * left * (first + each * np.maximum(0.0, there - 1))
    for fault, (chance, lost) in s.returns.items():
        if fault in states.has:
            share += states.has[fault] * chance * lost
    return triangular_moments(*s.price("value_running"))[0] * (1 - np.minimum(CAP, share))


def _income(course: Course, work: _Sum, u: _Numbers) -> Array:
    if course.id == "sell":
        return _price(work, u, "value_as_it_stands")
    if course.id == "part_out":
        dead = work.states.count.get("block", np.zeros(work.states.n)) > 0
        return _price(work, u, "value_as_parts") * np.where(dead, 0.88, 1.0)
    if course.id == "scrap":
        return _price(work, u, "scrap_value")
    return _value_after(course, work, u)


def _days(course: Course, work: _Sum, u: _Numbers) -> Array:
    k = [c.id for c in work.settings.courses].index(course.id)
    return triangular_quantile(u.days[:, k], *course.days) * work.settings.price("day_cost")[1]


def _found(work: _Sum, u: _Numbers, course: str, stage: str) -> tuple[Array, NDArray[np.bool_]]:
    """Cost of what is found at a stage, and whether it ends the course."""
    s, states = work.settings, work.states
    cost, ends = np.zeros(states.n), np.zeros(states.n, bool)
    for k, d in enumerate(s.discoveries):
        if d.course != course or d.stage != stage:
            continue
        hit = _due(d, states) & (u.found[:, k] < d.chance)
        cost += hit * triangular_quantile(u.found_cost[:, k], *d.cost) * s.price("value_running")[1] / 100
        if d.ends:
            ends |= hit
    return cost, ends


def _due(d: Discovery, states: States) -> NDArray[np.bool_]:
    if d.because == "any":
        return np.ones(states.n, bool)
    if d.because in states.has:
        return states.has[d.because]
    return states.count.get(d.because, np.zeros(states.n)) > 0


def _second_try(course: Course, cost: Array, u: _Numbers) -> Array:
    """Where it did not work first time: part of the cost once more."""
    return np.where(u.first < course.first_time, 0.0, course.second_share * cost)


def _plain_net(course: Course, work: _Sum, u: _Numbers) -> Array:
    income = _income(course, work, u)
    cost = _cost(work, u, course.id)
    extra, _ = _found(work, u, course.id, "")
    return (
        income * (1 - course.selling) - cost - extra - _second_try(course, cost, u) - _days(course, work, u)
    )


def _stops(nets: dict[str, Array]) -> list[tuple[str, float]]:
    """Alternatives once an engine is open, best first, with what they bring on average."""
    mean = {
        k: float(v.mean())
        for k, v in nets.items()
        if k in ("used_engine", "reman_engine", "sell", "part_out", "scrap")
    }
    if "sell" in mean:
        mean["sell"] *= OPENED_SALE
    return sorted(mean.items(), key=lambda kv: -kv[1])


def _staged_net(
    course: Course, work: _Sum, u: _Numbers, nets: dict[str, Array], stops: list[tuple[str, float]]
) -> tuple[Array, list[Stage]]:
    """Continue only while what is expected from here beats the best stop."""
    value = _value_after(course, work, u) * (1 - course.selling)
    hoped = _hoped(course, work) * (1 - course.selling)
    alternative, stop_mean = stops[0]
    stop = nets[alternative] * (OPENED_SALE if alternative == "sell" else 1.0)
    spent = np.zeros(work.states.n)
    out = np.zeros(work.states.n)
    open_now = np.ones(work.states.n, bool)
    stages: list[Stage] = []
    for k, name in enumerate(course.stages):
        cost = _cost(work, u, course.id, name)
        found, ends = _found(work, u, course.id, name)
        spent = spent + np.where(open_now, cost + found, 0.0)
        rest = np.zeros(work.states.n)
        for later in course.stages[k + 1 :]:
            rest += _expected_cost(work, course.id, later)
        if k + 1 < len(course.stages):
            forward = hoped - rest
            leave = open_now & (ends | (forward < stop_mean))
            out = np.where(leave, stop - spent, out)
            open_now = open_now & ~leave
            stages.append(
                Stage(
                    course.id,
                    name,
                    alternative,
                    max(0.0, float(hoped.mean()) - stop_mean),
                    float(leave.mean()),
                )
            )
    finished = value - spent - _second_try(course, spent, u) - _days(course, work, u)
    return np.where(open_now, finished, out), stages
