"""Messages between screens and app."""

from __future__ import annotations

from textual.message import Message

__all__ = ["WeekendChanged"]


class WeekendChanged(Message):
    """The weekend was added to, or read again: show it afresh."""
