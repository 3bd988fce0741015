"""Plans, their changes, own claims and containers compared. A plan is text here, and is never rewritten."""

from __future__ import annotations

import json
from dataclasses import replace

from underlid.journal.errors import JournalError
from underlid.journal.merging.conflicts import NotTaken, PlanNameTaken, PlanOfOtherBins
from underlid.journal.merging.progress import Progress, capital
from underlid.journal.rows import container_row, named
from underlid.records import OwnClaims, RegisteredPlan


def compare_plans(so_far: Progress) -> None:
    """Compare the plans; one that names a bin which is not here under that name would be about another."""
    known = {one.name.casefold(): one for one in so_far.ours.plans}
    old = {one.id for one in so_far.ours.changes}
    changed = {one.plan for one in so_far.theirs.changes if one.id not in old}
    for plan in so_far.theirs.plans:
        other = known.get(plan.name.casefold())
        same = other is not None and (other.name, other.text) == (plan.name, plan.text)
        names = _texts_in(plan.text, so_far.their_bins)
        elsewhere = [each for each in names if so_far.called.get(each) != each]
        if other is not None and not same:
            so_far.conflicts.append(PlanNameTaken(plan.name, other.name, f"{other.registered_at:%Y-%m-%d}"))
        elif elsewhere and (not same or plan.name in changed):  # the bin of that name here is another one
            now = so_far.called.get(elsewhere[0])
            why = "does not come in" if now is None else f"is '{now}' here"
            so_far.conflicts.append(PlanOfOtherBins(plan.name, elsewhere[0], why))
        elif same:
            so_far.here.plans.append(plan)
        elif (detail := so_far.wrong.get((RegisteredPlan, plan.name))) is not None:
            so_far.conflicts.append(NotTaken(capital(named(plan)), detail))
        elif so_far.storable(plan):
            so_far.comes.plans.append(plan)
            known[plan.name.casefold()] = plan


def compare_changes(so_far: Progress) -> None:
    """Compare what became different after a plan was registered."""
    known = {one.id: one for one in so_far.ours.changes}
    plans = {one.name for one in (*so_far.comes.plans, *so_far.here.plans)}
    for there in so_far.theirs.changes:
        new = there if there.bin is None else replace(there, bin=so_far.called.get(there.bin, there.bin))
        what = f"{capital(named(new))} of plan '{new.plan}'"
        if new.id in known:
            if so_far.stands(new, known[new.id], what):
                so_far.here.changes.append(new)
        elif new.plan not in plans:
            so_far.left_out.append(f"{what}, since that plan does not come in.")
        elif there.bin in so_far.their_bins - set(so_far.called):
            so_far.left_out.append(f"{what}, since bin '{there.bin}' does not come in.")
        elif so_far.storable(new):
            so_far.comes.changes.append(new)


def compare_own_claims(so_far: Progress) -> None:
    """Compare the files of own claims."""
    known = {one.id: one for one in so_far.ours.own_claims}
    for new in so_far.theirs.own_claims:
        if new.id in known:
            if so_far.stands(new, known[new.id]):
                so_far.here.own_claims.append(new)
        elif (detail := so_far.wrong.get((OwnClaims, new.id))) is not None:
            so_far.conflicts.append(NotTaken(f"The own claims given on {new.noted_at:%Y-%m-%d}", detail))
        elif so_far.storable(new):
            so_far.comes.own_claims.append(new)
    if so_far.comes.own_claims and so_far.ours.own_claims:
        so_far.notes.append("Own claims come in: of two of one name, the one that was given later holds.")


def compare_containers(so_far: Progress) -> None:
    """Compare what the keepers' containers hold."""
    for name, holds in so_far.theirs.containers.items():
        ours = so_far.ours.containers.get(name)
        if ours is not None:
            so_far.here.containers[name] = ours
            if ours != holds:
                said = f"“{ours.words}” here and “{holds.words}” there"
                so_far.notes.append(f"Container '{name}' holds {said}: what is said here stays.")
            continue
        try:
            container_row(name, holds)
        except JournalError as error:
            so_far.conflicts.append(NotTaken(f"Container '{name}'", str(error)))
            continue
        so_far.comes.containers[name] = holds


def _texts_in(text: str, names: set[str]) -> list[str]:
    """Those of the names that are a whole text somewhere in a JSON; in what is none, those that occur at all.

    A plan is text here, so where in it a bin is named is not known: a name too many only leaves a plan to be told of.
    """
    try:
        todo, found = [json.loads(text)], set()
    except (ValueError, RecursionError):
        return sorted(name for name in names if name in text)
    while todo:
        one = todo.pop()
        if isinstance(one, str):
            found.add(one)
        elif isinstance(one, dict):
            todo += [*one, *one.values()]
        elif isinstance(one, list):
            todo += one
    return sorted(names & found)
