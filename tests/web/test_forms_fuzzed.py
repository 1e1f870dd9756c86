"""Every form of the pages with made-up fields: never a server error, and the studio stays whole.

The routes are read from the app itself, so a new form cannot be forgotten.
"""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from tests.web.test_devices import routes

NAMES = (
    "back", "look", "by", "group", "thirds", "keep", "target", "f_number", "iso", "shutter", "hold",
    "name", "role", "code", "event", "head", "point", "value", "kind", "tenths", "sure", "shaded",
    "since", "number", "receptor", "x", "y", "move", "tags", "notes", "ask", "yaw_deg", "address",
    "universe", "bits", "watts", "distance_m", "azimuth_deg", "rise_m", "circuit_name",
    "circuit_amps", "circuit_other", "mains_volts", "habit", "thirds", "channel", "what", "seen",
    "view", "distance", "rise", "which", "way", "aim", "focus", "units",
    "on", "z", "turn", "tilt", "other",
)  # fmt: skip
VALUES = st.one_of(
    st.sampled_from(
        ["", "0", "1", "-1", "nan", "inf", "1e999", "9" * 30, "Key", "fill", "//elsewhere.example",
         "/board", "flat", "dome", "lux", "true", "½", "\u202e", "\x00", "A" * 5000, "1,5", "{}"]
    ),
    st.text(max_size=20),
)  # fmt: skip
FIELDS = st.dictionaries(st.sampled_from(NAMES), VALUES, max_size=8)


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder: Path = tmp_path_factory.mktemp("forms")
    app = create_app(Settings(database=folder / "s.db", faces="none"))
    with TestClient(app, raise_server_exceptions=False, follow_redirects=False) as made:
        yield made


def test_no_form_is_answered_by_a_server_error(client: TestClient) -> None:
    forms = [path for method, path in routes(client.app)
             if method == "POST" and not path.startswith("/api/")]  # fmt: skip
    assert len(forms) > 25

    @settings(max_examples=200, deadline=None, derandomize=True, database=None,
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(
        path=st.sampled_from(forms),
        part=st.sampled_from(["1", "Key", "0", "99999999999999999999", "-1", "a b", "%2e%2e", "ü"]),
        fields=FIELDS,
        htmx=st.booleans(),
    )
    def tried(path: str, part: str, fields: dict[str, str], htmx: bool) -> None:
        if path == "/rig/stop":
            return  # it would end the test run itself
        headers = {"HX-Request": "true"} if htmx else {}
        answer = client.post(re.sub(r"\{\w+\}", part, path), data=fields, headers=headers)
        assert answer.status_code < 500, (path, part, fields, answer.text)
        to = answer.headers.get("location", "/")
        assert to.startswith("/"), to
        assert not to.startswith("//"), to

    tried()
    assert client.get("/api/state").status_code == 200
    assert client.get("/rig").status_code == 200
