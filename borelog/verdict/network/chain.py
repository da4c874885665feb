"""Forward-backward along the cylinders: the same walk whichever way the channels are summed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from borelog.verdict.network.algebra import Algebra
from borelog.verdict.network.tables import Array

Link: TypeAlias = tuple[Array, Array] | None
Pair: TypeAlias = tuple[
    Array, Array | None
]  # a message for 'no breach' and for 'breach' (None: there is no bridge)


@dataclass(frozen=True, slots=True)
class Messages:
    """``left[i]`` and ``right[i]`` hold everything before and after cylinder i of the line, each (V, E, X) for no
    breach and for a breach on that side. ``locals_[i]`` is (V, E, 2, X). ``end`` (V, E, X) is the whole engine.
    """

    left: tuple[Pair, ...]
    right: tuple[Pair, ...]
    locals_: tuple[Array, ...]
    end: Array


def _across(way: Algebra, link: Link, tight: Array, open_: Array | None) -> Pair:
    """A message carried over a joint: weighted by the breach's prior and what speaks for it."""
    if link is None:
        return tight, None
    assert open_ is not None
    return tight * link[0][:, None], way.breach(open_, link[1])


def _step(way: Algebra, side: Pair, here: Array, link: Link) -> Pair:
    """One cylinder taken in, then over the joint behind it."""
    calm, broken = here[:, :, 0], here[:, :, 1]
    no, yes = side
    if yes is None:
        tight = way.join(no, calm)
        open_ = way.join(no, broken) if link is not None else None
    elif link is None:
        tight, open_ = way.join(no, calm) + way.join(yes, broken), None
    else:
        tight = way.join(no, calm) + way.join(yes, broken)
        open_ = way.join(no + yes, broken)
    return _across(way, link, tight, open_)


def walk(way: Algebra, start: Array, locals_: list[Array], links: list[Link]) -> Messages:
    """All messages along the line.

    Parameters
    ----------
    start : (V, E) prior weights; locals_ : one (V, E, 2, X) per cylinder; links : one per joint.
    """
    first = way.start(start)
    left: list[Pair] = [(first, None)]
    for here, link in zip(locals_, [*links, None], strict=True):
        left.append(_step(way, left[-1], here, link))
    nothing = way.neutral(first)
    right: list[Pair] = [(nothing, None)]
    for here, link in zip(reversed(locals_[1:]), reversed(links), strict=True):
        right.append(_step(way, right[-1], here, link))
    return Messages(tuple(left[:-1]), tuple(reversed(right)), tuple(locals_), left[-1][0])


def outside(way: Algebra, messages: Messages, i: int) -> Array:
    """(V, E, 2, X): everything but cylinder i, without and with a breach beside it."""
    (no_l, yes_l), (no_r, yes_r) = messages.left[i], messages.right[i]
    out = np.zeros((*no_l.shape[:2], 2, no_l.shape[2]))
    out[:, :, 0] = way.join(no_l, no_r)
    if yes_r is not None:
        out[:, :, 1] = way.join(no_l, yes_r)
    if yes_l is not None:
        out[:, :, 1] += way.join(yes_l, no_r if yes_r is None else no_r + yes_r)
    return out


def with_breach(way: Algebra, messages: Messages, i: int, link: Link) -> Array:
    """(V, E, X): the whole engine with a breach at joint i (between cylinder i and i + 1)."""
    assert link is not None
    (no, yes), here = messages.left[i], messages.locals_[i]
    before = no if yes is None else no + yes
    carried = way.join(before, here[:, :, 1])
    after = messages.right[i][1]
    assert after is not None
    return way.join(carried, after)
