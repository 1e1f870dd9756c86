"""Every call of the contract with made-up input, from its own OpenAPI document.

The input is made by schemathesis, a general reference library: what the document allows and what it
does not. No answer may be a server error, and no stranger may change anything.
"""

import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis.errors import InvalidArgument, Unsatisfiable
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of its own dependencies
    import schemathesis
    from schemathesis import GenerationMode

ENDLESS = "/api/events"
BOUNDED = settings(
    max_examples=10,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """The demo studio, without faces."""
    folder: Path = tmp_path_factory.mktemp("fuzz")
    app = create_app(Settings(database=folder / "s.db", faces="none"))
    with TestClient(app, raise_server_exceptions=False) as made:
        yield made


def calls(client: TestClient) -> list[Any]:
    """Every call that the document tells, without the stream that never ends."""
    schema = schemathesis.openapi.from_dict(client.get("/openapi.json").json())
    found = [result.ok() for result in schema.get_all_operations()]
    return [call for call in found if call.path != ENDLESS]


def ask(client: TestClient, case: Any) -> Any:
    """Send a case as it was made."""
    sent: dict[str, Any] = {"params": case.query or None}
    if isinstance(case.body, dict | list | str | int | float | bool):
        sent["json"] = case.body
    return client.request(case.method, case.formatted_path, **sent)


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_no_call_is_answered_by_a_server_error(client: TestClient, mode: GenerationMode) -> None:
    listed = calls(client)
    assert len(listed) > 20
    for call in listed:

        @BOUNDED
        @given(case=call.as_strategy(generation_mode=mode))
        def tried(case: Any) -> None:
            answer = ask(client, case)
            assert answer.status_code < 500, (case.method, case.formatted_path, answer.text)

        try:
            tried()
        except (Unsatisfiable, InvalidArgument):
            continue  # a call that takes nothing cannot be given anything wrong


def test_no_call_of_a_stranger_gets_through(client: TestClient) -> None:
    stranger = TestClient(client.app, client=("192.0.2.9", 5000))
    before = client.get("/api/state").json()["revision"]
    for call in calls(client):

        @settings(BOUNDED, max_examples=3)
        @given(case=call.as_strategy())
        def tried(case: Any) -> None:
            assert ask(stranger, case).status_code == 401

        tried()
    assert client.get("/api/state").json()["revision"] == before
