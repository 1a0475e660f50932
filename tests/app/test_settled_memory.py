"""What is there to stay is set aside from the search for garbage, and given back at the end."""

from __future__ import annotations

import gc

from factory import WeekendMaker

from pitwright.app.app import PitwrightApp
from pitwright.store.session import Session


async def test_memory_is_set_aside_while_the_app_runs(tmp_path):
    thresholds = gc.get_threshold()
    maker = WeekendMaker(tmp_path / "w")
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as session:
        app = PitwrightApp(session, first="measure", clock=lambda: maker.at)
        async with app.run_test(size=(80, 24)) as pilot:
            app._housekeeping._last_key -= 10
            app._housekeeping.tidy()
            await pilot.press("1")
            assert gc.get_freeze_count() > 10_000
            app._housekeeping._last_key -= 10
            await pilot.press("0")
            before = gc.get_count()[2]
            for _ in range(40):
                gc.collect(1)
            app._housekeeping.tidy()  # somebody typed just now
            assert gc.get_count()[2] >= before + 40
            app._housekeeping._last_key -= 10
            app._housekeeping.tidy()
            assert gc.get_count()[2] < 5
    assert gc.get_freeze_count() == 0
    assert gc.get_threshold() == thresholds
