"""Flow through nozzles, lines and injectors."""

import math

from fluids.compressible import P_critical_flow, P_stagnation, is_critical_flow
from fluids.friction import Blasius, Colebrook, Haaland
from scipy.constants import inch, lb, psi


def nozzle_flow(_):
    """Mass flow function psi = mdot sqrt(R T0) / (A p0) of an isentropic nozzle, from the Mach number."""
    yield ["kind", "gamma", "pr", "value", "ratio_to_max", "fluids"]
    most = {}
    for g in (1.4, 1.35, 1.3, 1.667):
        most[g] = psi_at_mach(1.0, g)
        critical = P_critical_flow(1.0, g)
        yield ["critical pressure ratio", g, None, (2 / (g + 1)) ** (g / (g - 1)), None, critical]
        yield ["psi_max = sqrt(g)*(2/(g+1))**((g+1)/(2(g-1)))", g, None,
               math.sqrt(g) * (2 / (g + 1)) ** ((g + 1) / (2 * (g - 1))), None, most[g]]
    ratios = (0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.92, 0.94, 0.95, 0.96, 0.97, 0.98, 0.99, 0.995, 0.999, 1.0)
    for g, near in ((1.4, (0.528282, 0.53)), (1.35, (0.53, 0.536851))):
        for pr in (0.1, 0.2, 0.3, 0.4, 0.5) + near + ratios:
            x = max(pr, P_critical_flow(1.0, g))
            value = math.sqrt(2 * g / (g - 1) * max(x ** (2 / g) - x ** ((g + 1) / g), 0.0))
            choked = is_critical_flow(1.0, pr, g)
            mach = 1.0 if choked else math.sqrt(2 / (g - 1) * (pr ** (-(g - 1) / g) - 1))
            # The library's stagnation relation must lead from this Mach number back to the supply pressure.
            if not choked and abs(pr * stagnation_ratio(mach, g) - 1) > 1e-9:
                raise ValueError(f"stagnation pressure disagrees at {pr}")
            yield ["psi(pr)", g, pr, value, value / most[g], psi_at_mach(mach, g)]
    for p0, t0 in ((101325, 293.15), (101325, 288.15), (100000, 298.15)):
        flow = most[1.4] * p0 * 1e-4 / math.sqrt(287.05 * t0) * 1000
        yield [f"choked mdot g/s per cm2 (Cd=1) p0={p0} T0={t0}", 1.4, "<=0.528282", flow, None, None]


def psi_at_mach(mach, g):
    return math.sqrt(g) * mach * (1 + (g - 1) / 2 * mach ** 2) ** (-(g + 1) / (2 * (g - 1)))


def stagnation_ratio(mach, g):
    """Stagnation over static pressure."""
    t0_over_t = 1 + (g - 1) / 2 * mach ** 2
    return P_stagnation(1.0, 1.0, t0_over_t, g)


LINES = (
    ("5/16 in OD steel tube, 0.028 in wall (ID 0.2565 in)", 0.2565),
    ("5/16 in ID hose", 0.3125),
    ("3/8 in OD steel tube, 0.028 in wall (ID 0.319 in)", 0.319),
    ("3/8 in ID hose", 0.375),
)
DENSITY, KINEMATIC_VISCOSITY, ROUGHNESS_M = 745.0, 5.5e-7, 1.5e-6  # petrol at 20 degC; drawn tubing


def fuel_line(_):
    yield ["line", "ID_mm", "flow_lb_h", "flow_kg_h", "flow_L_h", "V_m_s", "Re", "f_colebrook", "f_haaland",
           "f_blasius", "dP_per_m_kPa_colebrook", "dP_per_m_kPa_haaland", "dP_5m_kPa", "dP_5m_psi", "dyn_head_kPa"]
    for name, bore_in in LINES:
        for flow in (150, 250, 300):
            d, kg_h, speed, re = line_state(bore_in, flow)
            head_kpa = DENSITY * speed ** 2 / 2000
            friction = [f(Re=re, eD=ROUGHNESS_M / d) for f in (Colebrook, Haaland)]
            per_m = [f / d * head_kpa for f in friction]
            yield [name, round(d * 1000, 4), flow, round(kg_h, 3), round(kg_h / DENSITY * 1000, 2), round(speed, 4),
                   round(re, 1), *(round(f, 6) for f in friction), round(Blasius(re), 6),
                   *(round(p, 4) for p in per_m), round(5 * per_m[0], 3), round(5 * per_m[0] * 1000 / psi, 4),
                   round(head_kpa, 4)]
    name, bore_in = LINES[0]
    for flow in (2, 5, 8, 10, 15):
        d, kg_h, speed, re = line_state(bore_in, flow)
        f = 64 / re
        yield [name, round(d * 1000, 4), flow, round(kg_h, 3), None, round(speed, 4), round(re, 1), round(f, 6), None,
               None, round(f / d * DENSITY * speed ** 2 / 2000, 5), None, None, None, None]


def line_state(bore_in, flow_lb_h):
    d, kg_h = bore_in * inch, flow_lb_h * lb
    speed = kg_h / 3600 / DENSITY / (math.pi / 4 * d ** 2)
    return d, kg_h, speed, speed * d / KINEMATIC_VISCOSITY


def injector_sqrt(_):
    yield ["dp_psi", "dp_kPa", "flow_ratio_to_43p5", "flow_ratio_to_300kPa"]
    for dp in (30, 36, 39.15, 40, 43.5, 45, 50, 55, 58, 60):
        kpa = dp * psi / 1000
        yield [dp, round(kpa, 3), round(math.sqrt(dp / 43.5), 6), round(math.sqrt(kpa / 300), 6)]
