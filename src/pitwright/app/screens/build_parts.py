"""What goes on at a step of a build: a part, with the fate of the one taken off, or shims."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from pitwright.app.screens.typed_lines import TypedLines
from pitwright.app.widgets.dialogs import Choice, Confirm, Pick
from pitwright.desk.build import build as desk
from pitwright.desk.build.facts import step_in_hand
from pitwright.desk.sizes import shims_listed
from pitwright.desk.stock import fitting
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.places import PartPlace, Place, ShimPlace
from pitwright.weekend.records import Fit

if TYPE_CHECKING:
    from pitwright.app.screens.build_in_hand import BuildInHand

__all__ = ["BuildParts"]

_OTHER = "/other"


class BuildParts:
    """Asks what is fitted and writes it to the log at once."""

    def __init__(self, screen: BuildInHand, lines: TypedLines) -> None:
        self._screen = screen
        self._lines = lines

    @property
    def _build(self) -> OpenBuild:
        build = self._screen.build
        assert build is not None  # questions are only put while a build is open
        return build

    async def fit(self, place: Place) -> bool:
        """Ask what is fitted at a place and write it to the log at once."""
        if self._build.clutch not in self._screen.weekend.clutches:
            self._screen.notify(
                f"There is no card for clutch {self._build.clutch}; skip this step with a reason",
                severity="warning",
            )
            return False
        shims = fitting.as_shim_place(place)
        if shims is not None:
            return await self._fit_shims(shims)
        return await self._fit_part(cast("PartPlace", place))

    async def _fit_part(self, place: PartPlace) -> bool:
        weekend, build = self._screen.weekend, self._build
        choices = fitting.part_choices(weekend, place, build.clutch)
        answer = await self._screen.app.push_screen_wait(
            Pick(
                f"Which {place} goes on?",
                [
                    *(Choice(c.part, f"{c.label:<20}", c.detail) for c in choices),
                    Choice(_OTHER, "Another, not in stock.toml"),
                ],
                chosen=fitting.part_to_fit(weekend, place, build.clutch) or _OTHER,
            )
        )
        if answer is None:
            return False
        if answer != _OTHER:
            return await self._fit_chosen(place, answer)
        named: list[str] = []

        def take_name(text: str) -> bool:
            named.append(text.strip())
            return True

        if not await self._lines.ask(
            f"build new {place}",
            f"Short name of the new {place}, such as S3",
            take_name,
            check=lambda text: fitting.name_trouble(text, place),
        ):
            return False
        return await self._fit_chosen(place, named[0])

    async def _fit_chosen(self, place: PartPlace, part: str) -> bool:
        weekend, build = self._screen.weekend, self._build
        there = weekend.state(None, build.clutch).fitted(place)
        if there is None or there.part == part:
            return self._keep_part(place, part)
        label = fitting.fitted_now(weekend, place, build.clutch)
        fate = await self._screen.app.push_screen_wait(
            Pick(
                f"What becomes of {label}?",
                [
                    Choice("kept", "Kept, it can be used again"),
                    Choice("discarded", "Thrown away"),
                ],
            )
        )
        if fate is None:
            return False
        if fate == "kept":
            return self._keep_part(place, part)
        return await self._lines.ask(
            "build discarded",
            f"Why is {label} thrown away?",
            lambda text: self._keep_part(place, part, discarded_because=text),
            check=desk.reason_trouble,
        )

    def _keep_part(self, place: PartPlace, part: str, *, discarded_because: str = "") -> bool:
        build = self._build
        record = fitting.part_fit(
            self._screen.weekend,
            place,
            part,
            clutch=build.clutch,
            now=self._screen.pitwright.clock(),
            fate="discarded" if discarded_because else "kept",
            reason=discarded_because,
            step=step_in_hand(build).id,
        )
        return self._keep_fit(record)

    def _keep_fit(self, record: Fit) -> bool:
        return self._screen.pitwright.keep(record) is not None

    async def _fit_shims(self, place: ShimPlace) -> bool:
        weekend, build = self._screen.weekend, self._build
        there = fitting.fitted_now(weekend, place, build.clutch)
        stack = weekend.state(None, build.clutch).shims.get(place)
        before = " ".join(f"{s:.2f}" for s in stack.shims_mm) if stack is not None else ""
        hint = "each shim in mm, such as 0.10 0.15, or none; enter keeps it, escape goes back"
        typed: list[str] = []

        def take(text: str) -> bool:
            typed[:] = [text]
            return True

        form = f"build {place}"
        value = before
        while True:
            title = f"{place.capitalize()} going on" + (f" (there now: {there})" if there else "")
            if not await self._lines.ask(
                form,
                title,
                take,
                value=value,
                hint=hint,
                check=lambda text: fitting.read_shims(weekend, text).trouble,
            ):
                return False
            read = fitting.read_shims(weekend, typed[0])
            if read.question and not await self._screen.app.push_screen_wait(
                Confirm(
                    f"{read.question}. Keep {shims_listed(read.shims_mm)} all the same?",
                    weighty=True,
                )
            ):
                value = typed[0]
                continue
            record = fitting.shim_fit(
                place,
                read.shims_mm,
                clutch=build.clutch,
                now=self._screen.pitwright.clock(),
                step=step_in_hand(build).id,
            )
            if self._keep_fit(record):
                return True
            value = typed[0]
