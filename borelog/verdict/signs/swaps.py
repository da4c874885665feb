"""Coil, plug and injector all swapped without the misfire moving: one fact, not three independent ones."""

from __future__ import annotations

from borelog.verdict.network.types import Seen
from borelog.verdict.signs.value import Sign

PARTS = ("swap_coil", "swap_plug", "swap_injector")
Key = tuple[object, ...]


def taken_together(found: dict[Key, Sign]) -> dict[Key, Sign]:
    """The signs with three swaps that all stayed with a cylinder as the one sign 'all three swapped'.

    Of coil, plug and injector one is the part, so that the three answers hang together: counted one by one they would
    leave the dead part likelier than the wiring behind it.
    """
    out = dict(found)
    for cylinder in {s.seen.cylinder for s in found.values() if s.seen.item in PARTS}:
        keys = [k for k, s in found.items() if s.seen.cylinder == cylinder and s.seen.item in PARTS]
        stayed = [found[k] for k in keys if found[k].seen.state == "stays"]
        if len(stayed) < len(PARTS):
            continue
        for k in keys:
            del out[k]
        entries = tuple(dict.fromkeys(e for s in stayed for e in s.entries))
        hows = {s.seen.how for s in stayed}
        how = hows.pop() if len(hows) == 1 else "inferred"
        out["swap_all", cylinder] = Sign(Seen("swap_all", cylinder, "stays", how), entries)
    return out
