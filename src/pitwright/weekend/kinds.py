"""A card's spring and shoes with the figures of a kind of their own in place of its."""

from __future__ import annotations

from pitwright.weekend.card import Shoes, ShoesKind, Spring, SpringKind

__all__ = ["shoes_of", "spring_of"]


def spring_of(kind: SpringKind, spring: Spring) -> Spring:
    """Return ``spring`` with what ``kind`` states.

    A kind that states anything is another spring: a curve of ``spring`` says nothing of it.
    """
    own = _stated(kind)
    return spring.model_copy(update=own | {"curve": kind.curve} if own else {})


def shoes_of(kind: ShoesKind, shoes: Shoes) -> Shoes:
    """Return ``shoes`` with what ``kind`` states."""
    return shoes.model_copy(update=_stated(kind))


def _stated(kind: SpringKind | ShoesKind) -> dict[str, object]:
    return {name: getattr(kind, name) for name in kind.model_fields_set}
