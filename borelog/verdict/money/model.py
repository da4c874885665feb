"""The sum: for every drawn engine and every course what is left over, with the option to stop on the way.

Same random numbers for all courses. The purchase price does not enter.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from borelog.verdict.money.settings import CostLine, Course, Discovery, Settings
from borelog.verdict.money.spread import mean_of, ranks, values_at
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
    """Where one may stop: after ``name``, the best alternative from there, and the most that the rest may cost.

    ``stop_price`` is the mean of what the finished car should bring, over the engines where one goes on, less what the
    alternative brings; ``stopped`` the share of engines where one does not.
    """

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


class _Sum:
    """One evaluation: tables and prices, drawn engines, and all random numbers.

    They are drawn once in table order, so that a changed price or course does not shift the others.
    """

    def __init__(self, settings: Settings, states: States, seed: int) -> None:
        self.settings, self.states = settings, states
        n, groups = states.n, (
            len(settings.lines), len(settings.prices), len(settings.discoveries), len(settings.courses),
        )  # fmt: skip
        rows = iter(ranks(seed, n, groups))
        self.line = {line.id: next(rows) for line in settings.lines}
        self.price = {p: next(rows) for p in sorted(settings.prices)}
        self.found_cost = [next(rows) for _ in settings.discoveries]
        self.days = {c.id: next(rows) for c in settings.courses}
        luck = iter(_luck(seed, n, len(settings.discoveries) + 3))
        self.found = [next(luck) for _ in settings.discoveries]
        self.first, self.back, self.cure = luck
        self.priced: dict[str, Array] = {}

    def drawn_price(self, id_: str) -> Array:
        """A price on every drawn engine, worked out once."""
        if id_ not in self.priced:
            self.priced[id_] = values_at(self.price[id_], self.settings.price(id_), self.settings.spread)
        return self.priced[id_]


@lru_cache(maxsize=4)
def _luck(seed: int, n: int, rows: int) -> NDArray[np.float32]:
    """(rows, n) even chances."""
    return np.random.default_rng((seed, 1)).random((rows, n), dtype=np.float32)


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
    work = _Sum(settings, states, seed)
    nets: dict[str, Array] = {}
    stages: list[Stage] = []
    for course in settings.courses:
        if not course.stages:
            nets[course.id] = _plain_net(course, work)
    stops = _stops(nets)
    for course in settings.courses:
        if course.stages:
            nets[course.id], found = _staged_net(course, work, nets, stops)
            stages += found
    ids = tuple(c.id for c in settings.courses)
    return Result(ids, np.stack([nets[i] for i in ids], axis=1), tuple(stages))


def _unit(work: _Sum, unit: str) -> Array | float:
    if unit == "pct":
        return work.settings.price("value_running")[1] / 100
    if unit in ("own_hour", "paid_hour"):
        return work.settings.price(unit)[1]
    return work.drawn_price(unit)


def _unit_mean(work: _Sum, unit: str) -> float:
    if unit == "pct":
        return work.settings.price("value_running")[1] / 100
    return mean_of(work.settings.price(unit), work.settings.spread)


def _times(line: CostLine, states: States) -> Array | float:
    """How many times a line is due on each drawn engine; 0.0 where it is on none."""
    if line.per == "head" and not line.bill:
        due = states.heads.get("head")
        return 1.0 if due is None else np.maximum(due, 1.0)
    if not line.bill:
        return float(states.cylinders) if line.per == "cylinder" else 1.0
    due = (states.heads if line.per == "head" else states.count).get(line.bill)
    if due is None or not due.any():
        return 0.0
    return due if line.per in ("head", "cylinder") else (due > 0).astype(float)


def _cost(work: _Sum, course: str, stage: str | None = None) -> Array:
    total = np.zeros(work.states.n)
    for line in work.settings.lines:
        if line.course == course and stage in (None, line.stage):
            times = _times(line, work.states)
            if isinstance(times, float) and times == 0.0:
                continue
            amount = values_at(work.line[line.id], line.amount, work.settings.spread)
            amount *= _unit(work, line.unit)
            amount *= times
            total += amount
    return total


def _expected_cost(work: _Sum, course: str, stage: str) -> Array:
    """What a stage is expected to cost on each drawn engine once its state is seen."""
    total = np.zeros(work.states.n)
    for line in work.settings.lines:
        if line.course == course and line.stage == stage:
            total += (
                mean_of(line.amount, work.settings.spread)
                * _unit_mean(work, line.unit)
                * _times(line, work.states)
            )
    return total


def expected_hours(settings: Settings, states: States, course: str, unit: str) -> float:
    """Hours of a kind (own_hour, paid_hour) that a course asks for on average, carried through."""
    return sum(
        mean_of(line.amount, settings.spread) * float(np.mean(_times(line, states)))
        for line in settings.lines
        if line.course == course and line.unit == unit
    )


def _value_after(course: Course, work: _Sum) -> Array:
    """Value with the faults that remain, less what may come back."""
    s, states = work.settings, work.states
    share = np.zeros(states.n)
    for bill, (first, each) in s.leftover.items():
        there = states.count.get(bill)
        if there is None:
            continue
        cured = s.cures.get((course.id, bill), 0.0)
        left = (there > 0) & (work.cure >= cured)
        share += left * (first + each * np.maximum(0.0, there - 1))
    whole = work.drawn_price("value_running")
    value = whole * (1 - np.minimum(CAP, share))
    if course.id not in ("run", "sell", "part_out", "scrap"):
        gone = np.zeros(states.n)
        for fault, (chance, lost) in s.returns.items():
            if fault in states.has:
                np.maximum(gone, lost * (states.has[fault] & (work.back < chance)), out=gone)
        value -= whole * gone
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
    # One failure, not one for each cause: the dearest that comes back counts, and all hang on the same luck.
    counted = np.zeros(states.n)
    for fault, (chance, lost) in sorted(s.returns.items(), key=lambda kv: -kv[1][1]):
        if fault in states.has:
            due = np.where(states.has[fault], chance, 0.0)
            share += lost * np.maximum(0.0, due - counted)
            np.maximum(counted, due, out=counted)
    return mean_of(s.price("value_running"), s.spread) * (1 - np.minimum(CAP, share))


def _income(course: Course, work: _Sum) -> Array:
    if course.id == "sell":
        return work.drawn_price("value_as_it_stands")
    if course.id == "part_out":
        dead = work.states.count.get("block", np.zeros(work.states.n)) > 0
        return work.drawn_price("value_as_parts") * np.where(dead, 0.88, 1.0)
    if course.id == "scrap":
        return work.drawn_price("scrap_value")
    return _value_after(course, work)


def _days(course: Course, work: _Sum) -> Array:
    return (
        values_at(work.days[course.id], course.days, work.settings.spread)
        * work.settings.price("day_cost")[1]
    )


def _found(work: _Sum, course: str, stage: str) -> tuple[Array, NDArray[np.bool_]]:
    """Cost of what is found at a stage, and whether it ends the course."""
    s, states = work.settings, work.states
    cost, ends = np.zeros(states.n), np.zeros(states.n, bool)
    for k, d in enumerate(s.discoveries):
        if d.course != course or d.stage != stage:
            continue
        hit = _due(d, states) & (work.found[k] < d.chance)
        if d.cost[2] > 0:
            cost += (
                hit * values_at(work.found_cost[k], d.cost, s.spread) * (s.price("value_running")[1] / 100)
            )
        if d.ends:
            ends |= hit
    return cost, ends


def _due(d: Discovery, states: States) -> NDArray[np.bool_]:
    if d.because == "any":
        return np.ones(states.n, bool)
    if d.because in states.has:
        return states.has[d.because]
    return states.count.get(d.because, np.zeros(states.n)) > 0


def _second_try(course: Course, cost: Array, work: _Sum) -> Array:
    """Where it did not work first time: part of the cost once more."""
    return np.where(work.first < course.first_time, 0.0, course.second_share * cost)


def _plain_net(course: Course, work: _Sum) -> Array:
    income = _income(course, work)
    cost = _cost(work, course.id)
    extra, _ = _found(work, course.id, "")
    return (
        income * (1 - course.selling) - cost - extra - _second_try(course, cost, work) - _days(course, work)
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
    course: Course, work: _Sum, nets: dict[str, Array], stops: list[tuple[str, float]]
) -> tuple[Array, list[Stage]]:
    """Continue only while what is expected from here beats the best stop."""
    value = _value_after(course, work) * (1 - course.selling)
    hoped = _hoped(course, work) * (1 - course.selling)
    alternative, stop_mean = stops[0]
    stop = nets[alternative] * (OPENED_SALE if alternative == "sell" else 1.0)
    spent = np.zeros(work.states.n)
    out = np.zeros(work.states.n)
    open_now = np.ones(work.states.n, bool)
    stages: list[Stage] = []
    for k, name in enumerate(course.stages):
        cost = _cost(work, course.id, name)
        found, ends = _found(work, course.id, name)
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
                    max(0.0, float(hoped[open_now if open_now.any() else ...].mean()) - stop_mean),
                    float(leave.mean()),
                )
            )
    finished = value - spent - _second_try(course, spent, work) - _days(course, work)
    return np.where(open_now, finished, out), stages
