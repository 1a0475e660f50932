r"""One clutch in many states at once: spring, shoes and heat as they may come to stand in a race.

The laws are those of :mod:`pitwright.mechanics.clutch` and :mod:`pitwright.mechanics.bite`, over
arrays instead of one state, without their refusals: a spring that is loose bites at zero, and
``room`` says where the coils would close first. Speeds are in rad/s, lengths in metres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pitwright.mechanics import centrifugal
from pitwright.mechanics.clutch import Clutch, cavity, torque_per_force
from pitwright.mechanics.engine import EngineTorque
from pitwright.mechanics.errors import LARGEST

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["States"]

_LOCK_CELLS: Final = 256
"""Steps of an engine's curve in which lock-up is looked for; straight between them."""


@dataclass(frozen=True)
class States:
    """States of ``clutch``, whose own spring length, wear, heat and recess do not count.

    Arrays of one shape, or shapes that broadcast: ``free_length`` and ``worn`` [m], ``rise`` the
    spring's temperature [K] over that at which it was set, ``share`` a factor on the opening and
    closing force (friction that changes, a scale that is in doubt). Fade does not enter here: it
    acts where the shoes rub on the bell, see ``lock_up``.

    >>> import numpy as np
    >>> clutch = Clutch(shoes=3, shoe_mass=1.2e-3, mass_radius=11e-3, clearance=0.25e-3,
    ...     bell_radius=15e-3, wedge_angle=math.radians(45), wedge_friction=0.1, face_friction=0.1,
    ...     bell_friction=0.3, spring_rate=30.6e3, free_length=10.2e-3, solid_length=8.0e-3,
    ...     recess_bottomed=2.125e-3, recess=1.35e-3)
    >>> states = States(clutch, np.array([10.2e-3, 10.1e-3]), np.zeros(2))
    >>> (states.bite(1.35e-3) * 30 / math.pi).round(-1)
    array([12350., 11980.])
    >>> (states.recess_for(1293.2) * 1e3).round(2)
    array([1.35, 1.45])
    """

    clutch: Clutch
    free_length: Floats
    worn: Floats
    rise: Floats | float = 0.0
    share: Floats | float = 1.0

    @property
    def _radial(self) -> Floats:
        """N m (r + c) [kg m]."""
        clutch = self.clutch
        mass = clutch.shoe_mass - clutch.mass_lost_per_wear * self.worn
        return clutch.shoes * mass * (clutch.mass_radius + clutch.clearance + self.worn)

    @property
    def _travel(self) -> Floats:
        """What the shoes' way to the bell takes of the spring, c tan(theta) [m]."""
        return (self.clutch.clearance + self.worn) * math.tan(self.clutch.wedge_angle)

    @property
    def _room(self) -> Floats:
        """The spring's whole way to solid [m]."""
        return self.free_length - self.clutch.solid_length

    def _stretched(self, compression: Floats) -> Floats:
        """Return the compression at which one rate has the force that the curve has here [m]."""
        curve, shift = self.clutch.curve, self.clutch.curve_shift
        if curve is None:
            return compression
        import numpy as np

        shares, values = curve.table()
        return self._room * np.interp((compression + shift) / self._room, shares, values)

    def _unstretched(self, compression: Floats) -> Floats:
        curve, shift = self.clutch.curve, self.clutch.curve_shift
        if curve is None:
            return compression
        import numpy as np

        shares, values = curve.table()
        return self._room * np.interp(compression / self._room, values, shares) - shift

    @property
    def _force_per_length(self) -> Floats | float:
        """Opening force per length of compression in the linear range [N/m]."""
        clutch = self.clutch
        factor = centrifugal.opening_factor(
            clutch.wedge_angle, clutch.wedge_friction, clutch.face_friction
        )
        scale = 1.0 if clutch.s_scale is None else clutch.s_scale
        soft = 1.0 - clutch.softening * self.rise
        return self.share * soft * (scale * factor * clutch.spring_rate)

    def bite(self, recess: Floats | float) -> Floats:
        """Return the speed at which the shoes reach the bell."""
        import numpy as np

        compression = self.free_length - cavity(self.clutch) + recess + self._travel
        square = self._force_per_length * self._stretched(compression) / self._radial
        return np.sqrt(np.maximum(square, 0.0))

    def let_go(self, recess: Floats | float) -> Floats:
        """Return the speed at which the shoes leave the bell again."""
        clutch = self.clutch
        wedge = (clutch.wedge_angle, clutch.wedge_friction, clutch.face_friction)
        ratio = centrifugal.closing_factor(*wedge) / centrifugal.opening_factor(*wedge)
        return self.bite(recess) * math.sqrt(ratio)

    def lock_up(
        self, recess: Floats | float, engine: EngineTorque, friction: Floats | float = 1.0
    ) -> Floats:
        """Return the lowest speed at which the clutch holds the engine's torque, NaN where none.

        ``friction`` is a factor on the friction between shoes and bell. See
        :func:`pitwright.mechanics.lockup.lock_up_speed`, which this follows for many states.
        """
        import numpy as np

        bite = self.bite(recess)
        needed = torque_per_force(self.clutch) * friction * self._radial
        if engine.high >= LARGEST:
            return np.sqrt(bite * bite + engine.at(0.0) / needed)
        speeds = np.linspace(engine.low, engine.high, _LOCK_CELLS + 1)
        torques = np.array([engine.clamped(float(speed)) for speed in speeds])
        bite, needed = (np.asarray(a)[..., None] for a in np.broadcast_arrays(bite, needed))
        surplus = needed * (speeds**2 - bite**2) - torques
        surplus = np.where(speeds < bite, -torques, surplus)
        holds = surplus >= 0.0
        at = np.maximum(holds.argmax(axis=-1), 1)
        after = np.take_along_axis(surplus, at[..., None], -1)[..., 0]
        before = np.take_along_axis(surplus, at[..., None] - 1, -1)[..., 0]
        step = speeds[1] - speeds[0]
        found = speeds[at] - step * after / np.where(after > before, after - before, 1.0)
        known = holds.any(axis=-1) & ~holds[..., 0]
        return np.where(known, found, np.nan)

    def recess_for(self, bite: Floats | float) -> Floats:
        """Return the recess that gives a bite; past ``most_recess`` the coils close before it."""
        compression = self._radial * bite * bite / self._force_per_length
        return (
            self._unstretched(compression) - self._travel - self.free_length + cavity(self.clutch)
        )

    @property
    def most_recess(self) -> Floats:
        """The recess at which the coils close just as the shoes reach the bell."""
        return self.clutch.recess_bottomed - self._travel
