"""Stop rules on refuge: how probably the fitted bedding leaves the worms too little room, lately or soon.

A reading tells of a spot; how much of the bedding stays inside what the species tolerates only the fit can tell, hour
by hour and draw by draw.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from underlid.fit.study import Study
from underlid.trials.stopping import StopRule
from underlid.trials.watch import LATELY

WATCHED = "refuge below"
WORTH_TELLING = 0.1  # chance below which nothing is said: our judgement
HOUR_S = 3600


@dataclass(frozen=True, slots=True)
class Shrinking:
    """A rule on refuge, and the chances that it was broken in the last two weeks or will be in a forecast's reach.

    doubtful : whether the fit that says so contradicts the readings; unread : whether there were none to fit to
    """

    rule: StopRule
    lately: float
    ahead: float
    doubtful: bool = False
    unread: bool = False

    @property
    def sentence(self) -> str:
        """What to tell the keeper; of a chance that would be shown as 0 % nothing."""
        chances = (
            (self.lately, f"was broken in the last two weeks with a chance of {_shown(self.lately)} (estimated)"),
            (self.ahead, f"will be broken in the days to come with a chance of {_shown(self.ahead)} (predicted)"),
        )
        told = " and ".join(said for chance, said in chances if round(100 * chance))
        doubt = (
            " But the readings and this weather do not fit together, so these chances may be far off: a thermometer in "
            "the bedding knows better."
        )
        unread = (
            " No reading of the bedding is in that: it rests on the weather and the bin's description alone, and one "
            "look with a thermometer would tell more."
        )
        return (
            f"By the fit the stop rule “{self.rule.watched}” {told}: {self.rule.then}. {self.rule.because}"
            f"{doubt if self.doubtful else ''}{unread if self.unread else ''}"
        )


def shrinking(rules: Sequence[StopRule], study: Study) -> tuple[Shrinking, ...]:
    """The rules on refuge that the bedding breaks with a chance of WORTH_TELLING or more."""
    told = study.outlook
    hours = len(told.time_utc)
    now = min(told.now_index, hours - 1)
    begin = max(0, now - int(LATELY.total_seconds()) // HOUR_S)
    end = min(told.forecast_until, hours)
    found = []
    for rule in rules:
        if rule.what == WATCHED and rule.limit is not None:
            below = told.refuge_draws[:, :, 0] < rule.limit
            least = round(max(rule.hours or 1.0, 1.0))
            lately = float((longest(below[:, begin : now + 1]) >= least).mean())
            # A run that has begun may only get long enough in the hours to come.
            ahead = float((longest(below[:, max(0, now + 1 - least) : end]) >= least).mean()) if end > now + 1 else 0.0
            if max(lately, ahead) >= WORTH_TELLING:
                found.append(Shrinking(rule, lately, ahead, study.posterior.misfit, not study.posterior.readings))
    return tuple(found)


def _shown(chance: float) -> str:
    """A chance in whole per cent; what came in all of the draws is not told as certain."""
    return "over 99%" if round(100 * chance) == 100 else f"{chance:.0%}"


def longest(true: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Length of the longest run of hours that are true, (draws,) of (draws, hours)."""
    hours = np.arange(1, true.shape[1] + 1)
    last_false = np.maximum.accumulate(np.where(true, 0, hours), axis=1)
    return np.asarray(np.where(true, hours - last_false, 0).max(axis=1, initial=0))
