"""The places on the clutch where a part is fitted."""

from __future__ import annotations

from typing import Literal, get_args

__all__ = ["PART_PLACES", "PLACES", "SHIM_PLACES", "PartPlace", "Place", "ShimPlace"]

PartPlace = Literal["spring", "shoes", "bell", "pinion", "bearings"]
ShimPlace = Literal["height shims", "end play shims"]
Place = Literal["spring", "shoes", "bell", "pinion", "bearings", "height shims", "end play shims"]

PART_PLACES: tuple[PartPlace, ...] = get_args(PartPlace)
SHIM_PLACES: tuple[ShimPlace, ...] = get_args(ShimPlace)
PLACES: tuple[Place, ...] = get_args(Place)
