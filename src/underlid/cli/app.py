"""The commands and their shared options."""

from __future__ import annotations

import typer
from typer.main import get_command

from underlid.cli import (
    answers,
    backup,
    castings,
    claim,
    count,
    exchange,
    feedcheck,
    fitcheck,
    fleet,
    keeper,
    keeping,
    merge,
    move,
    outlook,
    ph,
    plan,
    population,
    publish,
    recipe,
    serve,
    species,
    trial,
    update,
    weather,
    whatif,
    year,
)

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Evidence from small, unheated worm-composting bins: log in your own words, know what the bedding will do, "
    "tell what happened each month with honest ranges.",
)

#: So that “-3 C” is read as words and not as an option.
MINUS_IS_A_NUMBER = {"ignore_unknown_options": True}

app.command("recipe")(recipe.recipe)
app.command("new")(keeping.new)
app.command("container")(keeping.container)
app.command("log", context_settings=MINUS_IS_A_NUMBER)(keeping.log)
app.command("photo")(keeping.photo)
app.command("entries")(keeping.entries)
app.command("import")(exchange.import_)
app.command("export")(exchange.export)
app.command("parse", context_settings=MINUS_IS_A_NUMBER)(answers.parse)
app.command("check")(answers.check)
app.command("feedcheck")(feedcheck.feedcheck)
app.command("count")(count.count)
app.command("ph")(ph.ph)
app.command("outlook")(outlook.outlook)
app.command("fitcheck")(fitcheck.fitcheck)
app.command("fleet")(fleet.fleet)
app.command("whatif")(whatif.whatif)
app.command("population")(population.population)
app.command("castings")(castings.castings)
app.command("species")(species.species)
app.command("claim")(claim.claim)
app.command("plan")(plan.plan)
app.command("register")(trial.register)
app.command("verdict")(trial.verdict)
app.command("update")(update.update)
app.command("year")(year.year)
app.command("compare")(year.compare)
app.command("publish")(publish.publish)
app.command("backup")(backup.backup)
app.command("restore")(backup.restore)
app.command("verify")(backup.verify)
app.command("keeper")(keeper.keeper)
app.command("move")(move.move)
app.command("merge")(merge.merge)
app.command("serve")(serve.serve)
app.command("demo")(answers.demo)
app.add_typer(weather.app, name="weather")

command = get_command(app)  # which takes a while to put together, and is the same for each call in a process
