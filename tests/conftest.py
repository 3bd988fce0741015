"""The order of the files, for several workers on a machine that has compiled nothing yet, and quicker answers.

What is compiled is kept on disk for all workers, but two that need the same function at the same moment both compile
it. So the files that compile come first, those of one kind apart in time; then the long ones, so that none of them is
begun when the other workers are done; then all others as they are found.
"""

import gc
import os
from pathlib import Path

import numba
import pytest
from xdist.remote import Producer
from xdist.scheduler import LoadFileScheduling

from tests import on_postgresql
from tests.journal.postgres import server
from tests.on_postgresql import _on_postgresql, _taken_back, databases, kept_in

__all__ = ["_on_postgresql", "_taken_back", "databases", "kept_in", "server"]  # pytest finds the fixtures here

HERE = Path(__file__).parent

#: What each is the first to compile: the march; the waters; the engine; one feeding; the filter; feedings; trials.
COMPILE = (
    "heat/test_model.py", "chemistry/test_speciation.py", "worms/test_habitat.py", "chemistry/test_pocket.py",
    "fit/test_filter.py", "chemistry/test_succession.py", "trials/test_design.py",
)  # fmt: skip
LONG = (
    "browser", "web/test_at_bin.py",
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
    gc.disable()
    config.option.loadscopereorder = False  # workers take the files in this order, not by their number of tests
    if "PYTEST_XDIST_WORKER" in os.environ:
        numba.set_num_threads(1)  # several workers have all cores; tests of threads say how many they mean


class ByFile(LoadFileScheduling):  # type: ignore[misc]  # of a package without types
    """Each file is one worker's, and all files with a browser are: two browsers at once wait for each other."""

    def _split_scope(self, nodeid: str) -> str:
        browsing = nodeid.startswith(("tests/browser/", "tests/web/test_at_bin.py"))
        return "browser" if browsing else str(super()._split_scope(nodeid))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> ByFile:
    return ByFile(config, log)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    on_postgresql.parametrize(metafunc, metafunc.definition.path.relative_to(HERE))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=_place)


def pytest_collection_finish() -> None:
    """What is there by now stays: to look through it for what may be thrown away took a core a minute."""
    gc.freeze()
    gc.set_threshold(5_000, 10, 10)
    gc.enable()


def _place(item: pytest.Item) -> int:
    inside = item.path.relative_to(HERE)
    return PLACE.get(inside.as_posix(), PLACE.get(inside.parts[0], len(PLACE)))


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fewer draws behind answers whose words and form are tested: their figures are, where they are worked out."""
    from underlid.counting.narrowing import narrowing
    from underlid.fit import posterior
    from underlid.fit.acidity import acidity
    from underlid.fit.feedcheck import feedcheck

    monkeypatch.setattr(posterior, "SETS", 150)
    monkeypatch.setattr(posterior.fit, "__kwdefaults__", (posterior.fit.__kwdefaults__ or {}) | {"draws": 24})
    monkeypatch.setattr(narrowing, "__kwdefaults__", (narrowing.__kwdefaults__ or {}) | {"futures": 2})
    monkeypatch.setattr(acidity, "__kwdefaults__", (acidity.__kwdefaults__ or {}) | {"sets": 200})
    monkeypatch.setattr(feedcheck, "__defaults__", (60,))
