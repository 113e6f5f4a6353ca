"""Air and nitrous oxide: standard atmosphere, humid air, saturation."""

import math

from CoolProp.CoolProp import HAPropsSI, PropsSI
from fluids.atmosphere import ATMOSPHERE_1976

# US Standard Atmosphere 1976 (ISO 2533 up to 32 km)
EARTH_RADIUS_M, G, LAPSE = 6356766.0, 9.80665, 0.0065
P0, T0, R_AIR = 101325.0, 288.15, 287.05287


def standard(h):
    """Temperature, pressure and density at a geopotential altitude below 11 km."""
    t = T0 - LAPSE * h
    p = P0 * (t / T0) ** (G / (LAPSE * R_AIR))
    return t, p, p / (R_AIR * t)


def atmosphere(_):
    yield ["Z_m", "H_geopot_m", "T_K", "p_Pa", "rho", "sqrt_sigma", "sigma", "fluids_T", "fluids_P", "fluids_rho",
           "p_if_H_equals_Z", "T_if_H_equals_Z", "rho_if_H"]
    rho0 = standard(0)[2]
    for z in (-500, 0, 250, 500, 750, 1000, 1250, 1500, 1609.344, 2000, 2500, 3000, 3500, 4000, 5000):
        h = EARTH_RADIUS_M * z / (EARTH_RADIUS_M + z)
        t, p, rho = standard(h)
        t_h, p_h, rho_h = standard(z)
        lib = ATMOSPHERE_1976(z)
        yield [z, round(h, 3), round(t, 4), round(p, 2), round(rho, 6), round(math.sqrt(rho / rho0), 6),
               round(rho / rho0, 6), round(lib.T, 4), round(lib.P, 2), round(lib.rho, 6), round(p_h, 2),
               round(t_h, 4), round(rho_h, 6)]


def humid_air(_):
    yield ["T_C", "p_Pa", "relative_humidity", "water_partial_Pa", "kg_water_per_kg_dry_air", "density_kg_per_m3",
           "dry_air_kg_per_m3"]
    for p in (101325, 84560, 70109):
        for t_c in (-18, 0, 15, 25, 35, 45):
            for rh in (0.0, 0.3, 0.6, 1.0):
                state = ("T", t_c + 273.15, "P", p, "R", rh)
                yield [t_c, p, rh, round(HAPropsSI("P_w", *state), 2), round(HAPropsSI("W", *state), 7),
                       round(1 / HAPropsSI("Vha", *state), 6), round(1 / HAPropsSI("Vda", *state), 6)]


def nitrous_saturation(_):
    yield ["T_C", "p_sat_Pa", "rho_liquid_kg_per_m3", "rho_vapour_kg_per_m3", "heat_of_vaporisation_J_per_kg"]
    for t_c in (-70, -55, -40, -30, -25, -20, -15, -10, -5, 0, 5, 10, 12.5, 15, 17.5, 20, 22.5, 25, 27.5, 30, 31, 32, 33, 34, 35,
                35.5, 36):
        liquid, vapour = ("T", t_c + 273.15, "Q", 0, "NitrousOxide"), ("T", t_c + 273.15, "Q", 1, "NitrousOxide")
        yield [t_c, round(PropsSI("P", *liquid)), round(PropsSI("D", *liquid), 3), round(PropsSI("D", *vapour), 4),
               round(PropsSI("H", *vapour) - PropsSI("H", *liquid))]
