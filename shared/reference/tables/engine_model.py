"""A whole published engine: Crossley and Cook, IEE Conf. Publ. 332 vol. 2 (1991) 921-925, from its equations.

The throttle's cubic term is 0.00063: the printed 0.0063 does not reproduce the paper's own start value.
"""

import math

from scipy.integrate import solve_ivp
from scipy.optimize import brentq

AMBIENT_BAR, MANIFOLD_BAR_PER_G = 1.0, 0.41328


def opening(theta_deg):
    return 2.821 - 0.05231 * theta_deg + 0.10299 * theta_deg**2 - 0.00063 * theta_deg**3


def pressure_factor(p):
    if p <= AMBIENT_BAR / 2:
        return 1.0
    return 2 / AMBIENT_BAR * math.sqrt(max(p * AMBIENT_BAR - p * p, 0.0))


def pumped(n, p):
    return -0.366 + 0.08979 * n * p - 0.0337 * n * p * p + 0.0001 * n * n * p


def torque(charge_g, afr, spark_deg, n):
    return (-181.3 + 379.36 * charge_g + 21.91 * afr - 0.85 * afr**2 + 0.26 * spark_deg - 0.0028 * spark_deg**2
            + 0.027 * n - 0.000107 * n**2 + 0.00048 * n * spark_deg + 2.55 * spark_deg * charge_g
            - 0.05 * spark_deg**2 * charge_g)


def manifold_at(theta, n):
    """The pressure at which as much air leaves as enters."""
    return brentq(lambda p: opening(theta) * pressure_factor(p) - pumped(n, p), 0.05, AMBIENT_BAR, xtol=1e-14)


def steady(theta, load_nm):
    """Speed, pressure and air flow under a constant load, at stoichiometric 14.6 and 15 degrees of advance."""

    def surplus(n):
        flow = pumped(n, manifold_at(theta, n))
        return torque(flow * math.pi / n, 14.6, 15, n) - load_nm

    n = brentq(surplus, 60, 600, xtol=1e-11)
    p = manifold_at(theta, n)
    return n, p, pumped(n, p)


def crossley_cook(_):
    yield ["item", "x", "y", "val"]
    for theta in (0, 5, 8.97, 10, 11.93, 15, 20, 30, 45, 60, 80):
        yield ["f(theta) g/s", theta, None, opening(theta)]
    for p in (0.3, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0):
        yield ["g(Pm), Pamb=1 bar", p, None, pressure_factor(p)]
    for n in (83.776, 104.72, 209.44, 314.16):
        for p in (0.3, 0.5, 0.7, 0.9, 1.0):
            yield ["mdot_ao g/s", n, p, pumped(n, p)]
    for charge in (0.1, 0.2, 0.3, 0.4):
        for afr in (12, 13, 14.6, 16):
            yield ["torque Nm sigma=15 N=209.44", charge, afr, torque(charge, afr, 15, 209.44)]
    yield ["A/F at max torque = 21.91/(2*0.85)", None, None, 21.91 / (2 * 0.85)]
    for theta, load in ((8.97, 25), (8.97, 20), (11.93, 20), (11.93, 25)):
        n, p, flow = steady(theta, load)
        yield ["steady state N rad/s (theta,TL)", theta, load, round(n, 9)]
        yield ["  P bar", theta, load, round(p, 11)]
        yield ["  rpm", theta, load, round(n * 30 / math.pi, 8)]
        yield ["  mdot g/s", theta, load, round(flow, 10)]
    times = (0, 0.01, 0.02, 0.03, 0.05, 0.075, 0.1, 0.15, 0.2, 0.3, 0.5)
    n = 209.44
    run = solve_ivp(lambda _, p: MANIFOLD_BAR_PER_G * (opening(20) * pressure_factor(p[0]) - pumped(n, p[0])),
                    (0, 0.5), [manifold_at(8.97, n)], t_eval=times, rtol=1e-11, atol=1e-13)
    for t, p in zip(times, run.y[0]):
        yield ["manifold step theta 8.97->20 deg, N=209.44 rad/s, P bar", t, None, round(p, 9)]
