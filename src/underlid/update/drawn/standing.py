"""The hour at which a picture of one hour stands, in words that are the same in every form.

In each run of the model the coldest hour falls at a time of its own. A picture shows one hour for all runs: that whose
middle value is the coldest.
"""

from __future__ import annotations

from underlid.update.drawn.frames import Month
from underlid.update.facts import ColdestHour
from underlid.update.prose import heatwords, phrases

WHICH = "the hour that is thought to be the coldest"
NO_SINGLE_HOUR = (
    "Each run of the model has its coldest hour at another time, so no single hour is as cold as the coldest of all."
)
IN_BRIEF = "at another hour in each run of the model"  # the same where there is little room, after a time


def stands(month: Month) -> str:
    """The step of the cut at which pictures stand: "Wed 14 January, 07:00, the hour whose ..."."""
    return f"{phrases.hour(month.local(month.coldest))}, {WHICH}"


def why(found: ColdestHour) -> str:
    """Why a picture is warmer than the figure of the coldest hour; "" where it is not."""
    return NO_SINGLE_HOUR if heatwords.apart(found) else ""
