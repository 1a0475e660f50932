"""Why a rise of the speed is told as no take-up, in a mechanic's words."""

from __future__ import annotations

from pitwright.sound.belief import Traits
from pitwright.sound.events import Rise
from pitwright.sound.track import Track

_IDLE_WANTED_S = 0.5
_SHORTEST_TOLD_S = 0.06
_FAINT = 0.6
_NEXT_TO_S = 0.08
_THROUGH = "no plateau: the speed climbs through without standing"


def why_none(track: Track, rise: Rise) -> str:
    """What speaks most against a take-up in a rise that has no plateau."""
    if rise.clear < _FAINT:
        return "no plateau: the engine is too faint or too blurred against the rest"
    if rise.foot * track.hop_s < _IDLE_WANTED_S:
        return "the recording begins too late: half a second of idle before the launch is wanted"
    traits, stand = rise.traits, rise.stand
    if traits is not None and traits.driven > 0.08:
        return "not a launch: the engine came down from a higher speed, so the car was driving"
    if rise.kind == "ramp":
        return (
            "the throttle was raised slowly, which shows no take-up: for the creep speed, put the "
            "cursor where the wheels just begin to turn and press c"
        )
    if traits is None or stand is None:
        return _THROUGH
    if traits.unheard > 0 and (rise.foot - stand[1]) * track.hop_s < _NEXT_TO_S:
        # What stands before the climb is the idle itself.
        return _THROUGH
    return _spoken_against(traits, (stand[1] - stand[0]) * track.hop_s)


def _spoken_against(traits: Traits, stood_s: float) -> str:
    if traits.above_rest > 0.25:
        return "not a launch: the engine was not at idle before it"
    if traits.falls > 0 or traits.gain < 0.12:
        return "not a launch: the speed stood and no pull followed, as on the stand"
    if traits.stand_slope > 0.5 or traits.stand_rough > 2.0:
        return _THROUGH
    if stood_s < _SHORTEST_TOLD_S:
        return (
            f"no plateau long enough to measure (about {1000 * stood_s:.0f} ms; a launch with "
            "spinning wheels holds it for 20 to 60 ms only)"
        )
    if traits.unheard > 0:
        return "not sure enough: neither idle nor the rise from it is heard"
    if traits.idle_s < 0.1:
        return "not sure enough: the engine is not heard idling before it"
    return "not sure enough that it is a take-up and no rev of the engine"
