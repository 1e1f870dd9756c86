"""How a tungsten lamp lags: published times, and the filament's own heat balance as the oracle."""

from math import log2

import pytest
from scipy.integrate import solve_ivp

from server.errors import OutOfRange
from server.physics.filament import followed, heating_s
from server.physics.lightness import between

# Lamp rerating, exponents of relative voltage (Fink & Beaty, Standard Handbook for Electrical
# Engineers, 11th ed., p. 22-8): light 3.4, power 1.6, colour temperature 0.42. With the filament's
# temperature going as its colour temperature, power lost ~ T**(1.6/0.42), resistance ~ v**2 / P,
# light ~ T**(3.4/0.42).
LIGHT, POWER, COLOUR = 3.4, 1.6, 0.42
COLD = 0.1  # room temperature against a filament at 3000 K


def lamp(heat_s: float, control, start: float, seconds: float, every_s: float) -> list[float]:
    """Light of a filament whose heat balance is integrated, at even moments."""
    scale_s = heat_s / 0.9775  # so that a cold one reaches 90 % at heat_s: see the first test

    def rate(t: float, x: list[float]) -> list[float]:
        fed = control(t) ** 2 * x[0] ** -((2 - POWER) / COLOUR)
        return [(fed - x[0] ** (POWER / COLOUR)) / scale_s]

    moments = [i * every_s for i in range(round(seconds / every_s))]
    found = solve_ivp(
        rate, (0, seconds), [start], t_eval=moments, method="LSODA", rtol=1e-8, max_step=0.01
    )
    return [float(x) ** (LIGHT / COLOUR) for x in found.y[0]]


def test_published_times():
    assert heating_s(100, 120) == pytest.approx(0.13)
    assert 0.5 < heating_s(1000, 120) < 1.0  # "up to a maximum of about one second"
    assert heating_s(300, 230) < heating_s(300, 120)
    with pytest.raises(OutOfRange):
        heating_s(100, 0)


def test_the_heat_balance_reaches_90_percent_at_its_heating_time():
    light = lamp(0.4, lambda t: 1.0, COLD, 1.2, 0.001)
    reached = next(i * 0.001 for i, value in enumerate(light) if value >= 0.9)
    assert reached == pytest.approx(0.4, abs=0.005)


@pytest.mark.parametrize("watts", [300, 1000])
@pytest.mark.parametrize("ramp_s", [0.2, 0.5, 1.0])
@pytest.mark.parametrize(("start", "end"), [(0.125, 1.0), (1.0, 0.125), (0.4, 0.5), (0.5, 0.4)])
def test_who_waits_stays_with_the_lamp(watts, ramp_s, start, end):
    """Within 0.16 stop at every moment; who does not wait is up to two stops ahead."""
    heat_s = heating_s(watts, 120)

    def volts(t: float) -> float:
        return between(start, end, t / ramp_s) ** (1 / LIGHT)

    light = lamp(heat_s, volts, start ** (COLOUR / LIGHT), 2.0, 0.01)
    ahead = waited = 0.0
    for i, value in enumerate(light[1:], start=1):
        waits = between(start, end, followed(i * 0.01, ramp_s, heat_s))
        waited = max(waited, abs(log2(waits / value)))
        ahead = max(ahead, abs(log2(between(start, end, i * 0.01 / ramp_s) / value)))
    assert waited < 0.16
    assert waited < ahead


def test_it_never_runs_ahead_and_arrives():
    parts = [followed(i / 100, 0.5, 0.3) for i in range(200)]
    assert parts == sorted(parts)
    assert all(part <= min(1.0, i / 50) + 1e-12 for i, part in enumerate(parts))
    assert followed(0.8, 0.5, 0.3) > 0.96
    assert followed(-1.0, 0.5, 0.3) == 0
