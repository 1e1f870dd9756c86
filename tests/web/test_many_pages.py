"""Twenty pages open while two operators nudge at once: all agree at the end, nothing is lost."""

from pathlib import Path

from tests.web.listening import Served, listened


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
