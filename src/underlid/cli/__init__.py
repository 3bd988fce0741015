"""The command line. Commands are thin: they read words, call one function, and show what it returns."""

from __future__ import annotations

import sys

EXIT_BAD_INPUT = 2
OF_FILES: dict[type[OSError], str] = {
    FileNotFoundError: "There is no file or folder {}: check the path.",
    PermissionError: "{} may not be read or written: check its permissions, or choose another place.",
    IsADirectoryError: "{} is a folder: name a file.",
    NotADirectoryError: "{} is a file: name a folder.",
    FileExistsError: "{} is there already: choose another name.",
}


def main() -> None:
    """Run the command line; what the keeper can mend is said in one sentence, with exit code 2."""
    from underlid.cli.app import command

    try:
        command()
    except ValueError as error:
        # Our own named errors are sentences for the keeper; any other ValueError is a fault of ours.
        if not type(error).__module__.startswith("underlid."):
            raise
        _say(str(error))
    except OSError as error:
        where = f" ({error.filename})" if error.filename else ""
        plain = OF_FILES.get(type(error)) if error.filename else None
        _say(
            plain.format(error.filename) if plain else f"{error.strerror or error}{where}: check the path and its disk."
        )
    except KeyboardInterrupt:
        sys.exit(130)


def _say(sentence: str) -> None:
    from underlid.cli.options import without_controls

    print(without_controls(f"underlid: {sentence}"), file=sys.stderr)
    sys.exit(EXIT_BAD_INPUT)
