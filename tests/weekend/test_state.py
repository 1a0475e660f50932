"""State is folded from the log: parts with ages, figures with sources, at any moment."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from pitwright.store.create import _template
from pitwright.store.toml_reader import parse_toml, validate
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.places import Place
from pitwright.weekend.records import (
    AnyRecord,
    Build,
    CarriedPart,
    CarryOver,
    Check,
    Fit,
    HeatRun,
    Reading,
    Setting,
    StockChange,
)
from pitwright.weekend.state import State, first_state
from pitwright.weekend.stock import Stock
from pitwright.weekend.story import Story

START = datetime(2026, 5, 15, 8, tzinfo=UTC)


def template(name: str, model: type) -> object:
    table = parse_toml(_template(name), name)
    assert isinstance(table, dict)
    found = validate(table, model, name)
    assert not isinstance(found, list), found
    return found


@pytest.fixture(scope="module")
def card() -> ClutchCard:
    found = template("clutch.toml", ClutchCard)
    assert isinstance(found, ClutchCard)
    return found


@pytest.fixture(scope="module")
def stock() -> Stock:
    found = template("stock.toml", Stock)
    assert isinstance(found, Stock)
    return found


class Log:
    """Records a minute apart, with ids in order."""

    def __init__(self) -> None:
        self.records: list[AnyRecord] = []

    def add(self, record: AnyRecord) -> AnyRecord:
        number = len(self.records)
        placed = record.model_copy(
            update={"id": f"r{number}", "happened_at": START + timedelta(minutes=number)}
        )
        self.records.append(placed)
        return placed

    def fit(self, place: Place, part: str | None = None, **more: object) -> AnyRecord:
        return self.add(Fit(happened_at=START, place=place, part=part, **more))  # type: ignore[arg-type]

    def read(self, quantity: str, value: float, part: str | None = None) -> AnyRecord:
        reading = Reading(quantity=quantity, values_mm=[value], part=part, verdict="good")
        return self.add(Check(happened_at=START, readings=[reading]))

    def heat(self, minutes: float | None, **more: object) -> AnyRecord:
        return self.add(
            HeatRun(
                happened_at=START,
                heat="Q1",
                heat_kind="qualifier",
                run_minutes=minutes,
                **more,  # type: ignore[arg-type]
            )
        )


@pytest.fixture
def log() -> Log:
    return Log()


def test_before_any_record_parts_are_owned_and_none_is_fitted(
    card: ClutchCard, stock: Stock
) -> None:
    state = Story(card, stock, []).at()
    assert set(state.parts) >= {"S1", "S2", "H1"}
    assert state.spring is None
    assert state.recess is None


def test_running_ages_what_is_fitted_and_nothing_else(
    card: ClutchCard, stock: Stock, log: Log
) -> None:
    log.fit("spring", "S1")
    log.heat(8.0, warm_up_minutes=1.5)
    log.fit("spring", "S2", removed="S1", fate="kept")
    log.heat(7.0)
    state = Story(card, stock, log.records).at()
    assert state.parts["S1"].run_minutes == pytest.approx(9.5)
    assert state.spring is not None
    assert (state.spring.part, state.spring.run_minutes) == ("S2", pytest.approx(7.0))


def test_unknown_run_time_is_unknown_and_never_zero(
    card: ClutchCard, stock: Stock, log: Log
) -> None:
    log.fit("spring", "S1")
    log.heat(None, warm_up_minutes=2.0)
    spring = Story(card, stock, log.records).at().spring
    assert spring is not None
    assert (spring.run_minutes, spring.unknown_runs) == (2.0, 1)


def test_a_cancelled_heat_ages_nothing(card: ClutchCard, stock: Stock, log: Log) -> None:
    log.fit("spring", "S1")
    log.heat(8.0, status="cancelled")
    spring = Story(card, stock, log.records).at().spring
    assert spring is not None
    assert (spring.run_minutes, spring.heats) == (0.0, 0)


def test_a_figure_names_its_record_and_its_age(card: ClutchCard, stock: Stock, log: Log) -> None:
    log.fit("spring", "S1")
    read = log.read("free_length", 10.15)
    log.heat(8.0)
    figure = Story(card, stock, log.records).at().figure("free_length")
    assert figure is not None
    assert (figure.value_mm, figure.record, figure.run_minutes) == (10.15, read.id, 8.0)


def test_a_new_spring_has_no_length_until_it_is_measured(
    card: ClutchCard, stock: Stock, log: Log
) -> None:
    log.fit("spring", "S1")
    log.read("free_length", 9.75)
    log.fit("spring", "S2", removed="S1", fate="discarded", reason="too short")
    state = Story(card, stock, log.records).at()
    assert state.figure("free_length") is None
    assert state.parts["S1"].discarded
    assert state.parts["S1"].figures["free_length"].value_mm == 9.75


def test_a_reading_of_an_unfitted_spring_stays_with_that_spring(
    card: ClutchCard, stock: Stock, log: Log
) -> None:
    log.fit("spring", "S1")
    log.read("free_length", 10.1)
    log.read("free_length", 10.25, part="S2")
    state = Story(card, stock, log.records).at()
    length = state.figure("free_length")
    assert length is not None
    assert length.value_mm == 10.1
    assert state.parts["S2"].figures["free_length"].value_mm == 10.25


def test_the_recess_is_what_was_set_or_read_last(card: ClutchCard, stock: Stock, log: Log) -> None:
    log.read("recess", 1.35)
    log.add(Setting(happened_at=START, recess_mm=1.5))
    recess = Story(card, stock, log.records).at().recess
    assert recess is not None
    assert (recess.value_mm, recess.reading) == (1.5, None)


def test_new_shims_make_the_end_play_doubtful_and_a_new_reading_mends_it(
    card: ClutchCard, stock: Stock, log: Log
) -> None:
    log.read("end_play", 0.25)
    log.fit("end play shims", shims_mm=[0.2, 0.1])
    doubtful = Story(card, stock, log.records).at().figure("end_play")
    assert doubtful is not None
    assert doubtful.overtaken
    log.read("end_play", 0.22)
    fresh = Story(card, stock, log.records).at()
    figure = fresh.figure("end_play")
    assert figure is not None
    assert not figure.overtaken
    assert fresh.shims["end play shims"].total_mm == pytest.approx(0.3)


def test_the_state_at_a_moment_knows_nothing_of_later(
    card: ClutchCard, stock: Stock, log: Log
) -> None:
    log.fit("spring", "S1")
    log.read("free_length", 10.2)
    log.read("free_length", 10.0)
    figure = Story(card, stock, log.records).at(START + timedelta(minutes=1)).figure("free_length")
    assert figure is not None
    assert figure.value_mm == 10.2


def test_another_clutch_is_another_state(card: ClutchCard, stock: Stock, log: Log) -> None:
    other = Setting(happened_at=START, recess_mm=1.6, clutch="B")
    log.add(other)
    assert Story(card, stock, log.records).at().recess is None


def test_a_discarded_part_from_the_stock_is_off_the_clutch(
    card: ClutchCard, stock: Stock, log: Log
) -> None:
    log.fit("spring", "S1")
    log.add(
        StockChange(happened_at=START, change="discarded", place="spring", part="S1", reason="bent")
    )
    state = Story(card, stock, log.records).at()
    assert state.spring is None
    assert state.parts["S1"].discarded_because == "bent"


def test_the_last_build_is_known(card: ClutchCard, stock: Stock, log: Log) -> None:
    log.add(
        Build(happened_at=START, finished_at=START, route="spring change", steps=[], results=[])
    )
    build = Story(card, stock, log.records).at().build
    assert build is not None
    assert (build.id, build.route) == ("r0", "spring change")


def test_what_an_earlier_weekend_hands_on(card: ClutchCard, stock: Stock, log: Log) -> None:
    log.add(
        CarryOver(
            happened_at=START,
            event="Before",
            parts=[CarriedPart(part="S1", place="spring", run_minutes=31.0, fitted=True)],
            readings=[Reading(quantity="free_length", values_mm=[9.95], part="S1", verdict="good")],
            recess_mm=1.6,
            end_play_shims_mm=[0.2],
        )
    )
    log.heat(5.0)
    state: State = Story(card, stock, log.records).at()
    assert state.spring is not None
    assert state.spring.run_minutes == 36.0
    length = state.figure("free_length")
    assert length is not None
    assert length.value_mm == 9.95
    assert state.recess is not None
    assert state.recess.value_mm == 1.6
    assert state.shims["end play shims"].shims_mm == (0.2,)


def test_an_earlier_weekend_that_knew_no_recess_leaves_ours(
    card: ClutchCard, stock: Stock, log: Log
) -> None:
    setting = log.add(Setting(happened_at=START, recess_mm=1.4))
    log.add(CarryOver(happened_at=START, event="Before", height_shims_mm=[0.3]))
    state = Story(card, stock, log.records).at()
    assert state.recess is not None
    assert (state.recess.value_mm, state.recess.record) == (1.4, setting.id)
    assert state.shims["height shims"].shims_mm == (0.3,)
    assert "end play shims" not in state.shims


@pytest.mark.parametrize(
    ("quantity", "place"), [("shoe_thickness", "shoes"), ("free_length", "spring")]
)
def test_a_reading_of_a_part_that_no_card_lists_is_kept_under_its_name(
    card: ClutchCard, stock: Stock, log: Log, quantity: str, place: str
) -> None:
    log.read(quantity, 5.05, part="borrowed")
    part = Story(card, stock, log.records).at().parts["borrowed"]
    assert (part.place, part.fitted) == (place, False)
    assert part.figures[quantity].value_mm == 5.05


def test_bought_shims_and_supplies_change_no_part(card: ClutchCard, stock: Stock, log: Log) -> None:
    log.add(StockChange(happened_at=START, change="bought", shim_mm=0.1, count=5))
    log.add(StockChange(happened_at=START, change="lost", supply="retaining-screw"))
    assert Story(card, stock, log.records).at() == first_state(card, stock)


def test_a_bought_part_is_owned_and_not_fitted(card: ClutchCard, stock: Stock, log: Log) -> None:
    log.add(
        StockChange(happened_at=START, change="bought", place="spring", part="S9", label="Spare")
    )
    part = Story(card, stock, log.records).at().parts["S9"]
    assert (part.label, part.fitted, part.discarded) == ("Spare", False, False)


def test_the_walk_passes_over_the_other_clutch_but_not_over_the_shared_stock(
    card: ClutchCard, stock: Stock, log: Log
) -> None:
    log.add(Setting(happened_at=START, recess_mm=1.6, clutch="B"))
    own = log.fit("spring", "S1")
    lost = log.add(
        StockChange(happened_at=START, change="lost", place="spring", part="S2", clutch="B")
    )
    steps = list(Story(card, stock, log.records).walk())
    assert [record.id for record, _, _ in steps] == [own.id, lost.id]
    assert [before.spring is None for _, before, _ in steps] == [True, False]
    assert steps[-1][2].parts == Story(card, stock, log.records).at().parts
    assert steps[-1][2].parts["S2"].discarded


def test_the_shipped_cards_state_unit_and_provenance_of_every_figure() -> None:
    for name in ("clutch.toml", "procedure.toml", "stock.toml"):
        for line in _template(name).splitlines():
            if "value =" in line and not line.lstrip().startswith("#"):
                assert "from =" in line, line


def test_the_generic_card_has_the_figures_agreed(card: ClutchCard) -> None:
    assert card.spring.wire_diameter.si == pytest.approx(1.6e-3)
    assert card.spring.shear_modulus.si == pytest.approx(81.7e9)
    assert card.shoes.count == 4
    assert card.shoes.mass.si == pytest.approx(0.9e-3)
    assert card.wedge.angle.value == 45
    assert card.quantities["free_length"].discard_below is not None
    assert card.quantities["free_length"].discard_below.provenance == "common practice"
