"""What is there to stay is set aside from the search for garbage, and given back at the end."""

from __future__ import annotations

import gc

from factory import WeekendMaker

from pitwright.app.app import PitwrightApp
from pitwright.store.session import Session


async def test_memory_is_set_aside_while_the_app_runs(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as session:
        app = PitwrightApp(session, first="measure", clock=lambda: maker.at)
        async with app.run_test(size=(80, 24)) as pilot:
            for _ in range(30):
                await pilot.pause(0.1)
                if gc.get_freeze_count():
                    break
            assert gc.get_freeze_count() > 10_000
    assert gc.get_freeze_count() == 0
