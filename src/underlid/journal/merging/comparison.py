"""Two journals compared. Nothing is stored, and no store is known: it sees what both hold."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from underlid.journal.merging.conflicts import Merge
from underlid.journal.merging.entries import compare_bins, compare_entries
from underlid.journal.merging.held import Held
from underlid.journal.merging.progress import Progress, Wrong
from underlid.journal.merging.texts import compare_changes, compare_containers, compare_own_claims, compare_plans
from underlid.journal.merging.whose import compare_keepers, compare_marks, hand_over, keep_private


def compare(
    ours: Held, theirs: Held, rename: Mapping[str, str] | None = None, *,
    hand_to: tuple[str, datetime] | None = None, wrong: Wrong | None = None,
) -> Merge:  # fmt: skip
    """Say what of `theirs` is new to `ours`, what stands already, and what stands in the way.

    rename : names of incoming bins to what they are to be called here
    hand_to : a keeper of ours who gets the bins that come in, and the moment; their own keepers then stay out
    wrong : photos whose picture is not to be had, plans and own claims that cannot be read

    Raises NothingToRename or UnknownKeeper.
    """
    so_far = Progress(ours, theirs, rename or {}, hand_to, wrong or {})
    # In the order in which one thing depends on another.
    compare_bins(so_far)
    compare_entries(so_far)
    compare_plans(so_far)
    compare_changes(so_far)
    compare_own_claims(so_far)
    compare_containers(so_far)
    hand_over(so_far, compare_keepers(so_far))
    compare_marks(so_far)
    keep_private(so_far)
    return Merge(
        so_far.comes, so_far.here, so_far.called, tuple(so_far.conflicts), tuple(so_far.left_out), tuple(so_far.notes)
    )  # fmt: skip
