"""Each layer imports only from those above it, and science knows neither storage nor screens."""

import ast
from pathlib import Path

import pytest

SOURCE = Path(__file__).parent.parent / "src" / "underlid"

FILES = {"files"}  # how a file is written whole: for all who write one
OPEN = {"opendata"}  # what all data packages have in common
WORDS = {"quantity"}
RECORDS = WORDS | {"records"}
SCIENCE = {"weather", "bedding", "heat", "chemistry", "worms"}
MAY_IMPORT = {
    "files": FILES,
    "quantity": WORDS,
    "records": RECORDS,
    "entry": RECORDS | {"entry"},
    "weather": FILES | {"weather"},
    "bedding": {"bedding"},
    "threads": set(),
    "heat": {"heat", "bedding", "threads"},
    "chemistry": RECORDS | {"chemistry", "threads"},
    "worms": {"worms", "threads"},
    "counting": RECORDS | {"bedding", "counting"},
    "fit": RECORDS | SCIENCE | {"counting", "fit", "entry", "threads"},
    "trials": RECORDS | SCIENCE | {"counting", "fit", "trials", "threads"},
    "journal": FILES | RECORDS | {"journal"},
    "opendata": OPEN,
    "club": RECORDS | OPEN | {"club"},
    "update": RECORDS | OPEN | SCIENCE | {"counting", "fit", "trials", "update"},
    "answer": RECORDS | {"journal", "fit", "trials", "weather", "counting", "worms"},
    "spread": {"spread"},
    "fleet": RECORDS | {"answer", "fit", "heat", "journal", "spread", "trials", "weather"},
    "monthly": RECORDS | {"answer", "journal", "fit", "trials", "update"},
}
STORAGE_AND_SCREENS = {
    "sqlalchemy", "alembic", "typer", "rich", "altair", "vl_convert", "jinja2", "fastapi", "dask", "distributed",
    "requests",
}  # fmt: skip
MAY_USE = {
    "spread": {"distributed"},
    "weather": {"requests"},
    "journal": {"sqlalchemy", "alembic"},
    "update": {"altair", "vl_convert", "jinja2"},
}


def imports(path):
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            if node.module == "underlid":
                yield from (f"underlid.{alias.name}" for alias in node.names if not alias.name.startswith("__"))
            else:
                yield node.module


def modules(package):
    whole = SOURCE / f"{package}.py"
    return [whole] if whole.exists() else sorted((SOURCE / package).rglob("*.py"))


@pytest.mark.parametrize("package", MAY_IMPORT)
def test_a_layer_imports_only_from_above(package):
    assert modules(package)
    for path in modules(package):
        for name in imports(path):
            root, _, rest = name.partition(".")
            if root == "underlid":
                assert rest.split(".")[0] in MAY_IMPORT[package], f"{path} imports {name}"
            else:
                assert root not in STORAGE_AND_SCREENS - MAY_USE.get(package, set()), f"{path} imports {name}"


def test_every_package_has_its_place():
    known = set(MAY_IMPORT) | {"cli", "demo", "web"}
    found = {p.stem for p in SOURCE.iterdir() if not p.name.startswith("_") and (p.is_dir() or p.suffix == ".py")}
    assert found == known
