"""Many at once, and for long: 200 requests side by side; a slice of the soak of 1,000 edits.

The whole soak is `python -m tests.benchmark.page --soak`.
"""

from concurrent.futures import ThreadPoolExecutor

import psutil
import pytest

from tests.page.server import Page


def test_two_hundred_requests_at_once_are_all_answered(page: Page):
    tune = page.tune("lamp")
    paths = [f"/api/tune/{tune}", "/api/shelf", "/assets/page.css", f"/api/tune/{tune}/score"]
    with ThreadPoolExecutor(200) as pool:
        answers = list(pool.map(lambda i: page.get(paths[i % 4]), range(200)))
    assert {answer.status for answer in answers} == {200}
    bodies = {answer.data for answer in answers[0::4]}
    assert len(bodies) == 1


def test_edits_at_once_from_many_tabs_are_all_kept_or_refused(page: Page):
    """40 tabs edit the same version: one wins, the others are told so; then all can go on."""
    tune = page.tune("lamp")
    edit = {"version": 1, "edit": {"op": "pitch", "bar": 1, "note": 0, "steps": 1}}
    with ThreadPoolExecutor(40) as pool:
        answers = list(pool.map(lambda _: page.post(f"/api/tune/{tune}/edit", edit), range(40)))
    states = sorted(answer.status for answer in answers)
    assert states == [200] + [409] * 39
    assert page.get(f"/api/tune/{tune}").json()["version"] == 2


@pytest.mark.slow
def test_memory_stays_within_bounds_over_edits(page: Page):
    tune = page.tune("lamp")
    version = page.get(f"/api/tune/{tune}").json()["version"]
    process = psutil.Process(page.process.pid)
    for turn in range(150):
        edit = {"op": "pitch", "bar": 1, "note": turn % 5, "steps": 1 if turn % 2 else -1}
        answer = page.post(f"/api/tune/{tune}/edit", {"version": version, "edit": edit})
        version = answer.json()["version"]
        if turn == 50:
            before = process.memory_info().rss
    # Modules that are loaded in the background meanwhile count too; the soak has the real bound.
    assert process.memory_info().rss - before < 60e6
