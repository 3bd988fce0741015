from rich.table import Table

from underlid.cli.options import console


def test_a_keepers_brackets_are_words_and_no_markup(capsys):
    """Square brackets would be taken as styles, and lost, or refused where one closes that was never opened."""
    table = Table("noted", box=None)
    table.add_row("middle [edge] 3 C")
    out = console(100)
    out.print("“[/b] 2 C”")
    out.print(table)
    shown = capsys.readouterr().out
    assert "“[/b] 2 C”" in shown
    assert "middle [edge] 3 C" in shown
