"""Forms: what stands in a field is seen whole at the smallest size."""

from __future__ import annotations

from factory import WeekendMaker
from textual.widgets import Input
from waiting import until

from pitwright.app.app import PitwrightApp
from pitwright.app.widgets.dialogs import Field, FormDialog
from pitwright.desk.heats.heat_form import heat_form


async def opened(pilot, fields):
    pilot.app.push_screen(FormDialog("A form", fields))
    await pilot.pause()
    inputs = {f.key: pilot.app.screen.query_one(f"#field-{f.key}", Input) for f in fields}
    await until(pilot, lambda: all(each.region.width for each in inputs.values()))
    return inputs


async def test_a_long_result_has_the_whole_width(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    result = "5th, 84 laps, stalled at the second stop"
    run = maker.heat("M1", "main", 30, result=result)
    with maker.session() as session:
        form = heat_form(session.weekend, run)
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test(size=(80, 24)) as pilot:
            fields = [Field(f.key, f.label, f.value, f.hint, f.section, f.half) for f in form]
            inputs = await opened(pilot, fields)
            assert inputs["result"].content_size.width > len(result)
            assert inputs["result"].region.y > inputs["status"].region.y
            assert inputs["heat"].region.y == inputs["kind"].region.y


async def test_a_half_that_holds_more_than_half_a_line_shows_gets_a_line_of_its_own(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    with maker.session() as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test(size=(80, 24)) as pilot:
            room = "x" * 16
            fields = [
                Field("a", "A", room, half=True),
                Field("b", "B", room, half=True),
                Field("c", "C", room + "x", half=True),
                Field("d", "D", half=True),
            ]
            inputs = await opened(pilot, fields)
            assert inputs["a"].region.y == inputs["b"].region.y
            assert len({inputs[key].region.y for key in "bcd"}) == 3
            for each in inputs.values():
                assert each.content_size.width > len(each.value)
