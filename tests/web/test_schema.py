"""Whatever a program sends to the interface, it gets what the interface's own description says, and never a fault."""

from dataclasses import replace

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given
from hypothesis import settings as bounds
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import CHECKS, load_all_checks
from schemathesis.core.failures import FailureGroup

from tests.web.conftest import HERE
from underlid.weather.files import demo_weather
from underlid.web import app as web
from underlid.web.meant import csrf_token
from underlid.web.work import Worker

load_all_checks()
AS_DESCRIBED = CHECKS.get_by_names([
    "not_a_server_error", "status_code_conformance", "content_type_conformance", "response_headers_conformance",
    "response_schema_conformance",
])  # fmt: skip
EXAMPLES = 8  # of each route, as described and not as described
UNSAFE = {"post", "put", "patch", "delete"}
BOUNDS = bounds(
    max_examples=EXAMPLES, derandomize=True, database=None, deadline=None, phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)  # fmt: skip


class Idle(Worker):
    """A worker that takes every question and answers none: no model is fitted here."""

    def _work(self):
        pass


@pytest.fixture
def app(settings, monkeypatch):
    monkeypatch.setattr(web, "Worker", Idle)
    return web.create_app(replace(settings, weather=demo_weather()))  # or much would be refused for want of it


@pytest.fixture
def described(app):
    """The interface by its own description, asked from the journal's own computer."""

    async def here(scope, receive, send):
        await app(scope | {"client": ("127.0.0.1", 50000), "server": ("127.0.0.1", 8765)}, receive, send)

    schema = schemathesis.openapi.from_dict(app.openapi())
    schema.app = here
    return schema


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
def test_every_answer_is_as_described_and_never_a_fault(app, described, mode):
    token = csrf_token(app.state.devices.secret, "this computer")
    faults = []
    for operation in _operations(described):

        @BOUNDS
        @given(case=operation.as_strategy(generation_mode=mode))
        def ask(case):
            _of_the_bin(case)
            answer = case.call(base_url=HERE, headers={"X-CSRF-Token": token})
            case.validate_response(answer, checks=AS_DESCRIBED)

        try:
            ask()
        except Unsatisfiable:  # a route that takes nothing cannot be asked wrongly
            assert mode is GenerationMode.NEGATIVE, operation.label
        except (Exception, FailureGroup) as fault:  # of every route, and not only of the first
            faults.append(f"{operation.label}: {fault}")
    assert not faults, "\n\n".join(faults)


def test_nothing_is_changed_without_the_token_of_our_pages(described):
    changing = [operation for operation in _operations(described) if operation.method.lower() in UNSAFE]
    assert len(changing) > 5
    for operation in changing:

        @bounds(BOUNDS, max_examples=2)
        @given(case=operation.as_strategy())
        def ask(case):
            assert case.call(base_url=HERE).status_code == 403

        ask()


def _operations(described):
    return [found.ok() for found in described.get_all_operations()]


def _of_the_bin(case):
    """Every other case is of the bin that there is, and every other line can be understood: or most would end early."""
    path = case.path_parameters
    if isinstance(path, dict) and isinstance(path.get("bin"), str) and len(path["bin"]) % 2:
        path["bin"] = "north"
    if isinstance(case.body, dict) and isinstance(case.body.get("words"), str) and len(case.body["words"]) % 2:
        case.body["words"] = "middle 6 C; saw a dozen"
