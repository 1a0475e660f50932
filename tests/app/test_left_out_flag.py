"""Every screen says that a file was left out, and one key names it."""

from __future__ import annotations

from pathlib import Path

from factory import WeekendMaker

from pitwright.app.app import SCREENS_BY_KEY, PitwrightApp
from pitwright.app.widgets.show_text import ShowText
from pitwright.app.widgets.status_bar import StatusBar


async def test_the_top_line_flags_it_on_every_screen_and_a_key_names_it(tmp_path: Path) -> None:
    maker = WeekendMaker(tmp_path / "w").go(1, "9:00")
    maker.fit("spring", "S1")
    maker.set_recess(1.35)
    maker.check(recess=1.4)
    path = next((maker.folder / "log").glob("*-check-*"))
    path.write_text(path.read_text().replace("quantity =", "quantty ="))
    with maker.session() as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test(size=(80, 24)) as pilot:
            for _key, name, *_rest in SCREENS_BY_KEY[::-1]:
                app.action_show(name)
                await pilot.pause()
                bar = app.screen.query_one(StatusBar)
                assert "! 1 file left out" in str(bar.render())
            await pilot.press("exclamation_mark")
            await pilot.pause()
            assert isinstance(app.screen, ShowText)
            told = "\n".join(str(w.render()) for w in app.screen.query("Static"))
            assert path.name in told.replace("\n", "")
            assert "quantty" in told
            await pilot.press("escape")
            await pilot.pause()
            assert not isinstance(app.screen, ShowText)
