"""Words that may be an amount, a box or a date."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

from underlid.quantity.amount import AmountError, VagueAmount, VagueSize, parse_amount, parse_size
from underlid.quantity.when import VagueTime, WhenError, parse_when

_TWO_CROSSES = re.compile(r"(?:(?<![a-z])(?:x|by)(?![a-z])|[×*]).*(?:(?<![a-z])(?:x|by)(?![a-z])|[×*])", re.I)


def parse_any(
    text: str,
    *,
    now: datetime,
    tz: ZoneInfo,
    start: datetime | None = None,
    expect: str | None = None,
    containers: Mapping[str, VagueAmount] | None = None,
    allow_future: bool = False,
) -> VagueAmount | VagueSize | VagueTime:
    """The first of amount, box and date that the words are; see the parser of each for the arguments.

    Raises AmountError or WhenError, whichever understood more of the words.
    """
    if _TWO_CROSSES.search(text):
        return parse_size(text)
    try:
        return parse_amount(text, expect=expect, containers=containers)
    except AmountError as error:
        as_amount = error
    try:
        return parse_when(text, now=now, tz=tz, start=start, allow_future=allow_future)
    except WhenError as error:
        as_date = error
    if as_date.position > as_amount.position:
        raise as_date
    if as_date.position < as_amount.position:
        raise as_amount
    raise AmountError(as_amount.what, text, as_amount.position, f"{as_amount.mend}\n{as_date.mend}")
