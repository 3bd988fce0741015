"""Whether what was fed can have fitted into the bin, by the most that the bin may hold."""

from __future__ import annotations

import math

from underlid.quantity import VagueAmount, show_amount
from underlid.records import Bin

MOST_KG_LITRE = 1.0  # scraps packed without a gap are about as dense as water, loose ones half of it: our judgement
MUCH = 1 / 3  # of a bin, by mass in one feeding; leaves are added by larger volumes and sink: our judgement


def inside_l(bin: Bin) -> float:
    """The most that may fit into a bin [L]."""
    return 1000 * bin.length.high * bin.width.high * bin.height.high


def too_much(amount: VagueAmount, inside_l: float) -> str | None:
    """A sentence on an amount fed at once that a bin of at most so many litres can hardly take, or None."""
    litres = {"kg": amount.low / MOST_KG_LITRE, "L": amount.low}.get(amount.unit, 0.0)
    most = MUCH * inside_l if amount.unit == "kg" else inside_l
    if not most < litres < math.inf:
        return None
    least = f"at least {litres:.3g} L" + (" if no denser than water" if amount.unit == "kg" else "")
    if litres > inside_l:
        return f"{show_amount(amount)} is hardly possible: that is {least}, and the bin holds at most {inside_l:.3g} L"
    share = f"more than a third of the {inside_l:.3g} L that the bin holds at most"
    return f"{show_amount(amount)} is much for one feeding: that is {least}, {share}; please check"
