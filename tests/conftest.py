"""The order of the files, for several workers on a machine that has compiled nothing yet, and quicker answers.

What is compiled is kept on disk for all workers, but two that need the same function at the same moment both compile
it. So the files that compile come first, those of one kind apart in time; then the long ones, so that none of them is
begun when the other workers are done; then all others as they are found.
"""

import os
from pathlib import Path

import numba
import pytest

from tests import on_postgresql
from tests.journal.postgres import server
from tests.on_postgresql import _on_postgresql, databases

__all__ = ["_on_postgresql", "databases", "server"]  # pytest finds the fixtures here

HERE = Path(__file__).parent

#: What each is the first to compile: the march; the waters; the engine; one feeding; the filter; feedings; trials.
COMPILE = (
    "heat/test_model.py", "chemistry/test_speciation.py", "worms/test_habitat.py", "chemistry/test_pocket.py",
    "fit/test_filter.py", "chemistry/test_succession.py", "trials/test_design.py",
)  # fmt: skip
LONG = (
    "cli/test_feedcheck.py", "cli/test_ph.py", "cli/test_count.py", "cli/test_commands.py", "cli/test_whatif.py",
    "cli/test_fitcheck.py", "cli/test_population.py", "fit/test_feedcheck.py", "web/test_views.py",
    "fit/test_census.py", "web/test_binpage.py", "web/test_work.py", "chemistry/test_field.py", "web/test_serve.py",
    "web/test_beforehand.py", "counting/test_account.py", "heat/test_reduced.py", "cli/test_castings.py",
    "cli/test_trials.py", "journal/test_store.py", "journal/test_exchange.py", "journal/test_moving.py",
    "journal/test_server.py", "journal/test_backup_stores.py", "web/test_entering.py", "update",
    "worms/test_chance.py", "worms/test_lifecycle.py", "trials/test_power.py", "fit/test_whatif.py",
)  # fmt: skip
PLACE = {name: place for place, name in enumerate(COMPILE + LONG)}


def pytest_configure(config: pytest.Config) -> None:
    config.option.loadscopereorder = False  # workers take the files in this order, not by their number of tests
    if "PYTEST_XDIST_WORKER" in os.environ:
        numba.set_num_threads(1)  # several workers have all cores; tests of threads say how many they mean


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--store", choices=("sqlite", "postgresql"), default="sqlite",
        help="postgresql: run the tests that keep a journal with its records in PostgreSQL",
    )  # fmt: skip


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Files without a test that is run again need not be read."""
    if config.getoption("--store") != "postgresql" or not collection_path.is_relative_to(HERE):
        return None
    inside = collection_path.relative_to(HERE)
    return None if not inside.parts or on_postgresql.keeps_a_journal(inside) else True


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--store") == "postgresql":
        left_out = [item for item in items if any(item.get_closest_marker(name) for name in ("file_only", "computes"))]
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in set(left_out)]
    items.sort(key=_place)


def _place(item: pytest.Item) -> int:
    inside = item.path.relative_to(HERE)
    return PLACE.get(inside.as_posix(), PLACE.get(inside.parts[0], len(PLACE)))


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fewer draws behind answers whose words and form are tested: their figures are, where they are worked out."""
    from underlid.counting.narrowing import narrowing
    from underlid.fit.acidity import acidity
    from underlid.fit.feedcheck import feedcheck

    monkeypatch.setattr(narrowing, "__kwdefaults__", (narrowing.__kwdefaults__ or {}) | {"futures": 2})
    monkeypatch.setattr(acidity, "__kwdefaults__", (acidity.__kwdefaults__ or {}) | {"sets": 200})
    monkeypatch.setattr(feedcheck, "__defaults__", (60,))
