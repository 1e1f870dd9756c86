"""Twenty pages open while two operators nudge at once: all agree at the end, nothing is lost."""

import json
from dataclasses import replace
from pathlib import Path

from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.studio.document import setting_document, setting_from_document
from server.studio.history import History
from server.studio.light import light_matrix
from server.web.state import state_json, state_text
from tests.web.listening import Served, listened

ACTS = [
    ("/api/recall", {"look": 4}),
    ("/api/recall", {"look": 7}),
    ("/api/nudge", {"role": "key", "thirds": 1}),
    ("/api/nudge", {"role": "fill", "thirds": -2, "keep": "exposure"}),
    ("/api/nudge", {"head": "Nobody", "thirds": 1}),
    ("/api/ratio", {"target": 3.0}),
    ("/api/undo", {}),
    ("/api/redo", {}),
    ("/api/good", {}),
    ("/api/dark", {}),
    ("/api/restore", {}),
]


def test_all_pages_agree_and_every_nudge_counts(tmp_path: Path) -> None:
    served = Served(tmp_path)
    try:
        before = served.post("/api/good", {})["revision"]
        pages, operators = listened(served.port, pages=20, seconds=4)
        sent = sum(len(operator.sent) for operator in operators)
        assert sent > 40
        last = pages[0].state
        assert last["revision"] == before + sent
        assert all(page.state == last for page in pages)
        odd = {o.role for o in operators if len(o.sent) % 2}
        for head in last["heads"]:
            if head["output"] > 0 and head["role"] in ("key", "fill"):
                assert head["from_good_thirds"] == (-1 if head["role"] in odd else 0)
        # no page missed more than a mailbox of one may skip: it heard nearly every change itself
        assert min(len(page.heard) for page in pages) > 0.8 * sent
    finally:
        served.close()


@given(taps=st.lists(st.sampled_from(ACTS), min_size=1, max_size=8))
@settings(
    deadline=None, max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_what_is_remembered_of_a_light_is_never_told_of_another(
    client: TestClient, taps: list[tuple[str, dict[str, object]]]
) -> None:
    """After any acts the answer is what a state read and reckoned from nothing says."""
    for path, wish in taps:
        answer = client.post(path, json=wish)
        desk = client.app.state.desk
        now = desk.engine.now()
        kept = setting_document(now.setting)
        record = now.record
        step = replace(record.history.now, setting=setting_from_document(kept))
        fresh = replace(
            now,
            matrix=light_matrix(now.rig, step.setting.yaw_deg),
            record=replace(record, history=History((step,))),
        )
        told, reckoned = json.loads(state_text(now)), json.loads(json.dumps(state_json(fresh)))
        for name in ("heads", "points", "ratio", "lens", "circuits", "look", "changed"):
            assert told[name] == reckoned[name]
            if answer.status_code == 200:
                assert answer.json()[name] == reckoned[name]
