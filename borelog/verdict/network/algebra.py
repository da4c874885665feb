"""Two exact ways to sum over the channels, with one face.

A channel is silent when everything that feeds it is silent: a noisy-OR over all cylinders, breaches and the engine
state. Engine-wide signs depend on the whole pattern of speaking channels, so the sum over what feeds them does not
fall apart cylinder by cylinder. Two ways round that:

`Silent`: for each subset T of channels, the probability that *at least* those are silent is a plain product over
    cylinders; inclusion-exclusion over the 2**K subsets gives the patterns. Fast; terms of both signs, so it loses
    digits on a very sick engine.
`Patterns`: carry the distribution over patterns along the cylinders, joining two by OR. About thirty times slower; all
    terms are positive, nothing cancels.

A vector over subsets or patterns is the last axis X = 2**K of every array here; bit k stands for channel k.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

import numpy as np

from borelog.verdict.network.tables import Array


class Algebra(Protocol):
    """What the chain along the cylinders needs of a way to sum."""

    def start(self, weight: Array) -> Array:
        """(V, E) weights to (V, E, X): nothing but the engine state feeds the channels yet."""

    def neutral(self, like: Array) -> Array:
        """A part of the engine that feeds no channel, shaped like ``like``."""

    def local(self, weight: Array) -> Array:
        """(..., S) weights of one cylinder's fault sets to (..., X)."""

    def join(self, one: Array, other: Array) -> Array:
        """Two independent parts of the engine, (..., X) each, as one."""

    def breach(self, part: Array, weight: Array) -> Array:
        """A gasket breach of prior ``weight`` (E,) added to a part, (..., E, X)."""

    def against(self, signs: Array) -> Array:
        """Engine-wide signs (V, E, 2**K) over patterns to what `total` and `weigh` take, (V, E, X)."""

    def total(self, part: Array, signs: Array) -> tuple[Array, Array]:
        """(V, E) sum of a finished part against the signs (from `against`), and the sum of absolute terms."""

    def patterns(self, part: Array) -> Array:
        """(V, E, X) of a finished part to (V, E, 2**K): how likely each pattern of speaking channels is."""

    def weigh(self, outside: Array, signs: Array) -> Array:
        """(..., V, E, B, X) of everything but one cylinder to (..., V, E, B, S): the factor on its fault sets."""


def subset_products(silent: Array, channels: Sequence[int]) -> Array:
    """(..., K_all) chances to stay silent to (..., 2**K) products over subsets of ``channels``."""
    out: Array = np.ones((*silent.shape[:-1], 1))
    for k in channels:
        out = np.concatenate([out, out * silent[..., k : k + 1]], axis=-1)
    return out


def pattern_chances(silent: Array, channels: Sequence[int]) -> Array:
    """(..., K_all) chances to stay silent to (..., 2**K) chances of each pattern of speaking channels."""
    out: Array = np.ones((*silent.shape[:-1], 1))
    for k in channels:
        quiet = silent[..., k : k + 1]
        out = np.concatenate([out * quiet, out * (1.0 - quiet)], axis=-1)
    return out


def _halved(values: Array, step: Callable[[Array, Array, Array, Array], None]) -> Array:
    """For each channel in turn, ``step`` fills both halves of the result from both halves of ``values`` (..., X).

    Called with the halves where the channel's bit is 0 and where it is 1, old ones first. The last axis is put first
    meanwhile, so that a step along it works on long runs.
    """
    size = values.shape[-1]
    old = np.ascontiguousarray(values.reshape(-1, size).T)
    new, width = np.empty_like(old), old.shape[1]
    while width < old.size:
        before, after = old.reshape(-1, 2, width), new.reshape(-1, 2, width)
        step(before[:, 0], before[:, 1], after[:, 0], after[:, 1])
        old, new, width = new, old, 2 * width
    return np.ascontiguousarray(old.T).reshape(values.shape)


def _sign_step(quiet: Array, loud: Array, any_: Array, silent: Array) -> None:
    any_[...] = loud
    np.subtract(quiet, loud, out=silent)


def _pattern_step(any_: Array, silent: Array, quiet: Array, loud: Array) -> None:
    quiet[...] = silent
    np.subtract(any_, silent, out=loud)


def signed(signs: Array) -> Array:
    """Coefficients of inclusion-exclusion: f(subset silent) from f(pattern), along the last axis."""
    return _halved(signs, _sign_step)


def or_join(x: Array, y: Array) -> Array:
    """Distribution of ``a | b`` for independent patterns a, b: z[c] = sum over a|b=c of x[a] y[b]; positive terms."""
    if x.shape[-1] == 1:
        return x * y
    half = x.shape[-1] // 2
    x0, x1, y0, y1 = x[..., :half], x[..., half:], y[..., :half], y[..., half:]
    z = or_join(np.stack(np.broadcast_arrays(x0, x1, x0)), np.stack(np.broadcast_arrays(y0, y0 + y1, y1)))
    return np.concatenate([z[0], z[1] + z[2]], axis=-1)


def or_pull(d: Array, g: Array) -> Array:
    """For each pattern p the mean of g over ``p | l``, l drawn from d: y[p] = sum over l of d[l] g[p | l]."""
    if d.shape[-1] == 1:
        return d * g
    half = d.shape[-1] // 2
    d0, d1, g0, g1 = d[..., :half], d[..., half:], g[..., :half], g[..., half:]
    z = or_pull(np.stack(np.broadcast_arrays(d0, d1, d0 + d1)), np.stack(np.broadcast_arrays(g0, g1, g1)))
    return np.concatenate([z[0] + z[1], z[2]], axis=-1)


class _Columns:
    """(..., A) @ (A, C) in strips of columns, each small enough for one thread.

    A matrix product of this size handed out to threads waits for the slowest of them: on a busy machine that costs
    fifty times what it saves.
    """

    WIDTH = 16

    def __init__(self, matrix: Array) -> None:
        strips = -(-matrix.shape[1] // self.WIDTH)
        padded = np.zeros((matrix.shape[0], strips * self.WIDTH))
        padded[:, : matrix.shape[1]] = matrix
        self._columns = matrix.shape[1]
        self._strips = np.ascontiguousarray(
            padded.reshape(matrix.shape[0], strips, self.WIDTH).transpose(1, 0, 2)
        )

    def after(self, stack: Array) -> Array:
        """The product, for ``stack`` of shape (..., A)."""
        strips, _, width = self._strips.shape
        rows = stack.reshape(-1, stack.shape[-1])
        out = np.empty((*stack.shape[:-1], strips * width))
        np.matmul(rows, self._strips, out=out.reshape(len(rows), strips, width).transpose(1, 0, 2))
        return out[..., : self._columns]


class Silent:
    """Inclusion-exclusion over subsets of silent channels."""

    def __init__(self, sets: Array, state: Array, breach: Array, channels: Sequence[int]) -> None:
        products = subset_products(sets, channels)
        self._sets, self._back = _Columns(products), _Columns(products.T)
        self._state = subset_products(state, channels)
        self._breach = subset_products(breach, channels)

    def start(self, weight: Array) -> Array:
        """See `Algebra`."""
        return weight[..., None] * self._state

    def neutral(self, like: Array) -> Array:
        """See `Algebra`."""
        return np.ones_like(like)

    def local(self, weight: Array) -> Array:
        """See `Algebra`."""
        return self._sets.after(weight)

    def join(self, one: Array, other: Array) -> Array:
        """See `Algebra`."""
        return one * other

    def breach(self, part: Array, weight: Array) -> Array:
        """See `Algebra`."""
        return part * (weight[:, None] * self._breach)

    def against(self, signs: Array) -> Array:
        """See `Algebra`."""
        return signed(signs)

    def total(self, part: Array, signs: Array) -> tuple[Array, Array]:
        """See `Algebra`."""
        terms = part * signs
        return terms.sum(-1), np.abs(terms).sum(-1)

    def patterns(self, part: Array) -> Array:
        """See `Algebra`."""
        return np.maximum(_halved(part, _pattern_step), 0.0)

    def weigh(self, outside: Array, signs: Array) -> Array:
        """See `Algebra`."""
        return self._back.after(outside * signs[:, :, None, :])


class Patterns:
    """The chain of partial ORs: distributions over patterns of speaking channels."""

    def __init__(self, sets: Array, state: Array, breach: Array, channels: Sequence[int]) -> None:
        self.sets = pattern_chances(sets, channels)
        self._sets, self._back = _Columns(self.sets), _Columns(self.sets.T)
        self._state = pattern_chances(state, channels)
        self._quiet = breach[list(channels)]

    def start(self, weight: Array) -> Array:
        """See `Algebra`."""
        return weight[..., None] * self._state

    def neutral(self, like: Array) -> Array:
        """See `Algebra`."""
        out = np.zeros_like(like)
        out[..., 0] = 1.0
        return out

    def local(self, weight: Array) -> Array:
        """See `Algebra`."""
        return self._sets.after(weight)

    def join(self, one: Array, other: Array) -> Array:
        """See `Algebra`."""
        return or_join(one, other)

    def breach(self, part: Array, weight: Array) -> Array:
        """See `Algebra`."""
        out = part * weight[:, None]
        size, width = out.shape[-1], 1
        for quiet in self._quiet:
            view = out.reshape(*out.shape[:-1], size // (2 * width), 2, width)
            view[..., 1, :] += (1.0 - quiet) * view[..., 0, :]
            view[..., 0, :] *= quiet
            width *= 2
        return out

    def against(self, signs: Array) -> Array:
        """See `Algebra`."""
        return signs

    def total(self, part: Array, signs: Array) -> tuple[Array, Array]:
        """See `Algebra`."""
        total = (part * signs).sum(-1)
        return total, total

    def patterns(self, part: Array) -> Array:
        """See `Algebra`."""
        return part

    def weigh(self, outside: Array, signs: Array) -> Array:
        """See `Algebra`."""
        return self._back.after(or_pull(outside, np.broadcast_to(signs[:, :, None, :], outside.shape)))
