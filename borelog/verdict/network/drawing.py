"""Joint states of the engine drawn exactly from the posterior: forward filtering, backward sampling.

Forward messages carry the pattern of speaking channels so far (all terms positive). Backward, each cylinder's own
pattern, the breach beside it and its fault set are drawn given what the rest has already taken on. Draws that stand at
the same point share their table, so ten thousand draws cost little more than a hundred.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from math import inf

import numpy as np
from numpy.typing import NDArray

from borelog.knowledge.faults import HISTORY, FaultTables
from borelog.verdict.network.algebra import Patterns
from borelog.verdict.network.chain import Messages, walk
from borelog.verdict.network.posterior import Solved, solve
from borelog.verdict.network.problem import links, problem, start_weight
from borelog.verdict.network.tables import Array
from borelog.verdict.network.types import Draws, Evidence, NetShape

Ints = NDArray[np.int64]


@lru_cache(maxsize=256)
def _unions(pattern: int) -> tuple[Ints, Ints]:
    """All (a, b) with a | b = pattern."""
    bits = [1 << k for k in range(8) if pattern >> k & 1]
    pairs = [(0, 0)]
    for bit in bits:
        pairs = [(a | x, b | y) for a, b in pairs for x, y in ((bit, 0), (0, bit), (bit, bit))]
    a, b = np.array(pairs, dtype=np.int64).T
    return a, b


@lru_cache(maxsize=256)
def _subsets(pattern: int) -> Ints:
    """All patterns within ``pattern``."""
    return np.unique(_unions(pattern)[0])


def _pick(rng: np.random.Generator, weights: Array, count: int) -> Ints:
    """``count`` indices with chances in proportion to ``weights``."""
    steps = np.cumsum(weights)
    found = np.searchsorted(steps, rng.random(count) * steps[-1], side="right")
    picked: Ints = np.minimum(found, len(steps) - 1).astype(np.int64)
    return picked


def _alike(*columns: Ints) -> Iterator[tuple[tuple[int, ...], Ints]]:
    """Draws that share all columns: their values and their places."""
    sizes = [int(c.max(initial=0)) + 1 for c in columns]
    kinds, where = np.unique(np.ravel_multi_index(columns, sizes), return_inverse=True)
    order = np.argsort(where, kind="stable")
    ends = np.cumsum(np.bincount(where, minlength=len(kinds)))
    values = np.stack(np.unravel_index(kinds, sizes), axis=1)
    for kind, start, end in zip(values.tolist(), [0, *ends[:-1]], ends, strict=True):
        yield tuple(kind), order[start:end]


class _Backward:
    """The walk back along the line for a set of draws; rows are the (validity, engine state) pairs in use."""

    def __init__(self, done: Solved, rows: Ints, rng: np.random.Generator) -> None:
        prob, net = done.prob, done.prob.net
        states = len(net.states)
        v, e = rows // states, rows % states
        self.prob, self.rng, self.state = prob, rng, e
        self.way = Patterns(net.silent_set, net.silent_state[e], net.silent_breach, prob.channels)
        self.weights = [part.weight[v, e][None] for part in done.locals_]
        self.quiet = net.silent_breach[list(prob.channels)]
        self.links = [None if link is None else (link[0][e], link[1][e]) for link in links(prob)]
        start = start_weight(prob)[v, e][None]
        self.messages: Messages = walk(
            self.way, start, [self.way.local(w) for w in self.weights], list(self.links)
        )
        self.signs = done.signs[v, e]

    def last_pattern(self, row: Ints) -> Ints:
        """The pattern of the whole engine for each draw."""
        out = np.empty_like(row)
        for (r,), at in _alike(row):
            out[at] = _pick(self.rng, self.messages.end[0, r] * self.signs[r], len(at))
        return out

    def before_breach(self, i: int, row: Ints, pattern: Ints, breach: Ints) -> Ints:
        """Patterns before the breach at joint i added its own share; unchanged where there is no breach."""
        if not breach.any():
            return pattern
        no, yes = self.messages.left[i]
        joined = self.way.join(no if yes is None else no + yes, self.messages.locals_[i][:, :, 1])[0]
        out = pattern.copy()
        bits = 1 << np.arange(len(self.quiet))
        for (r, c, g), at in _alike(row, pattern, breach):
            if g:
                parts = _subsets(c)
                added = (c & ~parts)[:, None] & bits != 0
                missed = np.broadcast_to((~c & bits) != 0, added.shape)
                factor = np.prod(np.where(added, 1.0 - self.quiet, np.where(missed, self.quiet, 1.0)), axis=1)
                out[at] = parts[_pick(self.rng, joined[r, parts] * factor, len(at))]
        return out

    def one(self, i: int, row: Ints, pattern: Ints, right: Ints) -> tuple[Ints, Ints, Ints]:
        """Fault set, breach on the left and pattern on the left of cylinder i, given what lies right of it."""
        pattern = self.before_breach(i, row, pattern, right)
        no, yes = self.messages.left[i]
        here = self.messages.locals_[i]
        own, left, rest = np.empty_like(row), np.empty_like(row), np.empty_like(row)
        for (r, c, g), at in _alike(row, pattern, right):
            before, mine = _unions(c)
            calm = no[0, r, before] * here[0, r, g, mine]
            table = calm if yes is None else np.concatenate([calm, yes[0, r, before] * here[0, r, 1, mine]])
            picked = _pick(self.rng, table, len(at))
            left[at], rest[at], own[at] = (
                picked // len(before),
                before[picked % len(before)],
                mine[picked % len(before)],
            )
        sets = np.empty_like(row)
        for (r, b, c), at in _alike(row, np.maximum(left, right), own):
            sets[at] = _pick(self.rng, self.weights[i][0, r, b] * self.way.sets[:, c], len(at))
        return sets, left, rest


def _other_channels(
    done: Solved, rng: np.random.Generator, sets: Ints, engine: Ints, breaches: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Channels on which no sign hangs yet, drawn from the joint states."""
    net = done.prob.net
    quiet = net.silent_state[engine] * np.prod(net.silent_set[sets], axis=1)
    quiet = quiet * np.where(breaches[:, :, None], net.silent_breach, 1.0).prod(axis=1)
    speaking: NDArray[np.bool_] = rng.random(quiet.shape) >= quiet
    return speaking


def draws(shape: NetShape, evidence: Evidence, tables: FaultTables, seed: int, n: int) -> Draws:
    """``n`` joint states of the engine, independent and exactly from the posterior.

    Parameters
    ----------
    shape, evidence, tables
        As for ``posteriors``. Evidence nothing can explain is drawn from the priors.
    seed : int
        The same seed, evidence and tables give the same draws.
    n : int

    Returns
    -------
    Draws
        Columns of ``sets`` follow ``shape.cylinders``.
    """
    done = solve(problem(shape, evidence, tables))
    if done.log_evidence == -inf:
        return draws(shape, Evidence(tuple(s for s in evidence.seen if s.item == HISTORY)), tables, seed, n)
    prob, net = done.prob, done.prob.net
    rng = np.random.default_rng(seed)
    mass = done.mass.ravel()
    rows, row = np.unique(_pick(rng, mass, n), return_inverse=True)
    row = row.ravel().astype(np.int64)
    back = _Backward(done, rows, rng)
    whole = pattern = back.last_pattern(row)
    right = np.zeros_like(row)
    sets = np.empty((n, len(prob.line)), dtype=np.int64)
    breaches = np.zeros((n, len(shape.pairs)), dtype=bool)
    column = {c: k for k, c in enumerate(shape.cylinders)}
    for i in reversed(range(len(prob.line))):
        sets[:, column[prob.line[i]]], left, pattern = back.one(i, row, pattern, right)
        pair = prob.linked[i - 1] if i else None
        if pair is not None:
            breaches[:, shape.pairs.index(pair)] = left > 0
        right = left
    engine = back.state[row]
    channels = _other_channels(done, rng, sets, engine, breaches)
    for k, channel in enumerate(prob.channels):
        channels[:, channel] = whole >> k & 1 > 0
    return Draws(
        shape.cylinders,
        shape.pairs,
        net.faults,
        net.sets,
        net.states,
        sets,
        engine,
        breaches,
        channels,
        net.has,
    )
