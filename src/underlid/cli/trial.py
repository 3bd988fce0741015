"""The commands of a trial that is planned: register it before the first count, and ask for its verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from underlid.cli.claim import known_claims
from underlid.cli.options import DEFAULT_JOURNAL, WIDTH, JournalOption, JsonOption, NowOption, clock, console, show_json

if TYPE_CHECKING:
    from underlid.journal.store import Journal
    from underlid.trials.together import Together
    from underlid.trials.verdict import Verdict

METHOD = "two-level normal model: mean over keepers by quadrature over the spreads of bins and of keepers"


def register(
    what: Annotated[
        str, typer.Argument(help="A plan's file, to freeze it; or a registered trial's name, to change it.")
    ],
    drop: Annotated[str | None, typer.Option(help="A bin of the trial that no longer counts.")] = None,
    note: Annotated[bool, typer.Option("--note", help="Record another change of how the trial is done.")] = False,
    because: Annotated[str | None, typer.Option(help="What changed, and why.")] = None,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Freeze a plan under its hash, before the first count; or record what changed since, which stays visible."""
    from underlid.answer import TrialProblem, change_trial
    from underlid.answer import register as freeze
    from underlid.journal.store import Journal
    from underlid.trials.plan import plan_from

    moment = clock(now, ZoneInfo("UTC"))
    with Journal.open(journal) as book:
        if drop is None and not note:
            if not Path(what).exists() and what in {kept.name for kept in book.plans()}:
                raise TrialProblem(
                    f"“{what}” is registered already; to record a change give --drop BIN or --note, with --because."
                )
            kept, remarks = freeze(book, plan_from(_text(Path(what))), moment)
            if as_json:
                show_json({"name": kept.name, "sha256": kept.sha256, "registered_at": kept.registered_at.isoformat()})
                return
            print(f"Registered “{kept.name}” on {kept.registered_at:%Y-%m-%d %H:%M} as {kept.sha256}.")
            print("Write that hash down elsewhere, as in your next update: then nobody can say the plan came later.")
            for sentence in remarks:
                print(sentence)
            return
        change = change_trial(book, what, because or "", moment, drop)
    if as_json:
        show_json({"plan": what, "what": change.what, "bin": drop, "words": change.words})
    else:
        print("Recorded; it will stand beside the verdict.")


def verdict(
    name: Annotated[str, typer.Argument(help="Name of the registered trial.")],
    page: Annotated[Path | None, typer.Option(help="Write the trial as an HTML page too.")] = None,
    others: Annotated[
        list[Path] | None, typer.Option("--with", help="Journal of another keeper who did the same trial; repeatable.")
    ] = None,
    across: Annotated[
        bool, typer.Option("--across", help="Take in the trials of the same claim by other keepers of this journal.")
    ] = False,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Whether the statement holds within the margin, fails, or cannot be told yet: with what would settle it."""
    from underlid.answer import trial_of, verdict_json
    from underlid.files import write_whole
    from underlid.journal.store import Journal
    from underlid.trials import telling

    with Journal.open(journal) as book:
        zones = {record.name: record.timezone for record in book.bins()}
        moment = clock(now, ZoneInfo(next(iter(zones.values()), "UTC")))
        told, alarms = trial_of(book, name, moment)
        own, said = _by_keeper(book, name, moment) if across else ({str(journal): told}, ())
    all_told = _with_others(own, said, name, others or [], moment) if across or others else None
    if page is not None:
        from underlid.update.forms.trialpage import page as render

        claim = known_claims(journal).get(told.plan.claim)
        write_whole(page, render(told, claim, alarms, moment).encode())
    if as_json:
        show_json(
            {**verdict_json(told, alarms), **together_json(all_told), "page": None if page is None else str(page)}
        )
        return
    out = console(WIDTH)
    for alarm in alarms:
        out.print(f"For the animals' sake: {alarm.sentence}")
    out.print(telling.sentence(told))
    if expected := telling.expected(told.plan):
        out.print(expected)
    _print_rows(told)
    for head, said in (
        ("What would settle it", telling.settles(told)),
        ("What else could explain it", (*told.caps[1:], *telling.rivals(told))),
        ("Changed since it was registered", tuple(_change(one.what, one.bin, one.words) for one in told.changes)),
    ):
        if said:
            out.print(f"{head}.")
            for each in said:
                out.print(f"  {each}")
    if all_told is not None:
        out.print(f"By all keepers: {all_told.sentence}")
        for each in (*all_told.left_out, *all_told.remarks):
            out.print(f"  {each}")
    if page is not None:
        print(f"Written to {page}.")


def together_json(found: Together | None) -> dict[str, object]:
    """What several keepers found together as plain JSON types; empty if there is but one."""
    if found is None:
        return {}
    plain = math.exp if found.plan.scale == "ratio" else float

    def ends(interval: tuple[float, float]) -> list[float]:
        return [round(plain(end), 5) for end in interval]

    return {
        "together": {
            "verdict": found.word, "sentence": found.sentence,
            "keepers": [
                {"name": one.name, "bins": list(one.bins), "effect": ends(belief.interval(found.level))}
                for one, belief in zip(found.keepers, found.found.effects, strict=True)
            ],
            "interval": ends(found.interval), "level": round(found.level, 6),
            "next_keeper": ends(found.predicted),
            "tau": [round(point, 5) for point in found.found.tau],
            "left_out": list(found.left_out), "remarks": list(found.remarks), "method": METHOD,
        }
    }  # fmt: skip


# --- inside ----------------------------------------------------------------------------------------------


def _text(path: Path) -> str:
    from underlid.answer import TrialProblem

    try:
        return path.read_text("utf-8")
    except UnicodeDecodeError:
        raise TrialProblem(f"{path} is not text in UTF-8, so it is no plan.") from None


def _print_rows(told: Verdict) -> None:
    from rich.table import Table

    from underlid.trials import telling

    out = console(WIDTH)
    if rows := telling.rows(told):
        table = Table("bin", "arm", told.plan.outcome, "when", "words", box=None, pad_edge=False)
        for row in rows:
            table.add_row(row.bin, row.arm, row.outcome, row.day, row.words)
        out.print(table)
    if looks := telling.looks(told):
        table = Table("look", "effect, estimated", "level", "found", box=None, pad_edge=False)
        for look in looks:
            table.add_row(f"{look.day} ({look.due})", look.effect, look.level, look.found)
        out.print(table)


def _change(what: str, bin: str | None, words: str) -> str:
    return f"{what}{'' if bin is None else f' ({bin})'}: “{words}”"


def _by_keeper(book: Journal, name: str, moment: datetime) -> tuple[dict[str, Verdict], tuple[str, ...]]:
    """The verdicts of this journal's trials of the same claim, by keeper, and remarks on how they were chosen."""
    from underlid.answer import trial_of
    from underlid.trials.plan import plan_from
    from underlid.trials.together import by_keeper

    plans = {kept.name: plan_from(kept.text) for kept in sorted(book.plans(), key=lambda kept: kept.registered_at)}
    chosen, said = by_keeper(name, plans, book.bin_keepers())
    return {keeper: trial_of(book, trial, moment)[0] for keeper, trial in chosen.items()}, said


def _with_others(
    own: dict[str, Verdict], said: Sequence[str], name: str, others: Sequence[Path], moment: datetime
) -> Together:
    """The verdict with those of other keepers' journals, who registered a trial of the same name."""
    from underlid.answer import trial_of
    from underlid.journal.store import Journal
    from underlid.trials.together import together

    by_keeper = dict(own)
    for folder in others:
        with Journal.open(folder) as book:
            by_keeper[str(folder)] = trial_of(book, name, moment)[0]
    return together(by_keeper, said)
