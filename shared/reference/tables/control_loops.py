"""Margins of simple loops with dead time, from the defining phase and gain conditions."""

import math

import numpy as np
from scipy.optimize import brentq, minimize_scalar

HEADER = ["case", "p1", "Ku_Td", "GM", "PM_deg", "w_pc_Td", "Pu_over_Td", "Ms", "Mt", "delay_margin_over_theta"]


def control_margins(_):
    yield HEADER
    yield from integrator()
    yield from first_order()
    yield from integrator_with_lag()
    yield from simc()
    yield from sampled()


def integrator():
    for gain in (0.1, 0.2, 0.25, 0.5, 1.0, math.pi / 2):
        yield ["I + dead time, L=Ki*exp(-s*Td)/s", f"Ki*Td={gain:.6f}", math.pi / 2, math.pi / 2 / gain,
               90 - math.degrees(gain), math.pi / 2, 4.0, None, None, None]


def first_order():
    for ratio in (0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0):
        w = brentq(lambda w: w + math.atan(w / ratio) - math.pi, 1e-9, math.pi)
        yield ["P + FOPDT, L=K*exp(-s*Td)/(tau*s+1)", f"Td/tau={ratio}", math.hypot(1, w / ratio), "Ku/K", None, w,
               2 * math.pi / w, None, None, None]


def integrator_with_lag():
    for ratio in (0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0):
        w = brentq(lambda w: w + math.atan(w / ratio) - math.pi / 2, 1e-9, math.pi)
        yield ["I + FOPDT, L=Ki*exp(-s*Td)/(s(tau*s+1))", f"Td/tau={ratio}", w * math.hypot(1, w / ratio), "(Ki_u)/Ki",
               None, w, 2 * math.pi / w, None, None, None]


def simc():
    """Skogestad, J. Process Control 13 (2003) 291, closed-loop time constant equal to the dead time (taken as 1)."""

    def loop(w):
        return np.exp(-1j * w) / (2j * w)

    w = math.pi / 2
    margin_deg = 90 - math.degrees(0.5)
    yield ["SIMC PI, tau1<=8*theta, tc=theta: L=exp(-th s)/(2 th s)", None, None, 1 / abs(loop(w)), margin_deg, w, 4.0,
           peak(lambda w: 1 / (1 + loop(w))), 1.0, math.radians(margin_deg) / 0.5]

    def integrating(w):
        return (1 + 1 / (8j * w)) * np.exp(-1j * w) / (2j * w)

    def phase(w):
        return -math.pi + math.atan(8 * w) - w

    w_pc = brentq(lambda w: phase(w) + math.pi, 0.5, 3)
    w_gc = brentq(lambda w: abs(integrating(w)) - 1, 0.1, 3)
    yield ["SIMC PI integrating, tauI=8 theta, tc=theta", None, None, 1 / abs(integrating(w_pc)),
           180 + math.degrees(phase(w_gc)), w_pc, None, peak(lambda w: 1 / (1 + integrating(w))), None, None]


def peak(response):
    """The largest magnitude of a frequency response."""
    grid = np.geomspace(1e-2, 10, 4000)
    best = grid[np.argmax(abs(response(grid)))]
    found = minimize_scalar(lambda w: -abs(response(w)), bounds=(best * 0.99, best * 1.01), method="bounded",
                            options={"xatol": 1e-10})
    return -found.fun


def sampled():
    case = "discrete I with d-sample delay: u[k]=u[k-1]+Ki*e[k]; y[k]=u[k-d] (char. z^d - z^(d-1) + Ki)"
    for d in range(1, 11):

        def radius(gain):
            return max(abs(np.roots([1.0, -1.0] + [0.0] * (d - 2) + [gain] if d > 1 else [1.0, gain - 1.0]))) - 1

        by_roots = brentq(radius, 1.0 / d, 2.5 / d + 0.5)
        yield [case, f"d={d}", round(2 * math.sin(math.pi / (2 * (2 * d - 1))), 12), "Kmax/Ki", None,
               round(by_roots, 9), None, None, None, None]
