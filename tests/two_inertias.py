"""The closed form beside which launches are checked."""


def slip_energy_of_two_inertias(
    engine_inertia: float,
    car_inertia: float,
    speed_difference: float,
    engine_torque: float,
    clutch_torque: float,
) -> float:
    """Heat of a clutch that slips at constant torque until two inertias turn together [J].

    E = Tc dw^2 / (2 (Tc (1/J1 + 1/J2) - Te/J1)): the integral of Tc times the slip (derived). With
    no engine torque it is J1 J2 dw^2 / (2 (J1 + J2)) (Khurmi and Gupta, Theory of Machines, ch. 10,
    loss of energy in clutches).
    """
    closing = clutch_torque * (1 / engine_inertia + 1 / car_inertia)
    closing -= engine_torque / engine_inertia
    return clutch_torque * speed_difference**2 / (2 * closing)
