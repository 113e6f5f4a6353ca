"""Fuel and exhaust chemistry: atom balances here, thermochemistry by cantera, liquids by CoolProp."""

import math

import cantera as ct
from CoolProp.CoolProp import PropsSI

C, H, O, N = (ct.Element(s).weight for s in ("C", "H", "O", "N"))
# Dry air by volume, ISO 2533 / US Standard Atmosphere 1976
AIR = {"O2": 0.209476, "N2": 0.78084, "Ar": 0.00934, "CO2": 0.000314}
AIR_MASS = AIR["O2"] * 2 * O + AIR["N2"] * 2 * N + AIR["Ar"] * ct.Element("Ar").weight + AIR["CO2"] * (C + 2 * O)
ETHANOL = (2, 6, 1)


def mass(c, h, o):
    return c * C + h * H + o * O


def oxygen_needed(c, h, o):
    """Moles of O2 for complete combustion of one mole."""
    return c + h / 4 - o / 2


def afr(c, h, o):
    """Stoichiometric air-fuel ratios with N2/O2 3.76, with 3.773 (apparent nitrogen 28.16), and with dry air."""
    per_mass = oxygen_needed(c, h, o) / mass(c, h, o)
    return (per_mass * (2 * O + 3.76 * 2 * N), per_mass * (2 * O + 3.773 * 28.16), per_mass * AIR_MASS / AIR["O2"])


FUELS = (
    ("iso-octane C8H18", (8, 18, 0), "C8H18,isooctane", None),
    ("n-octane C8H18", (8, 18, 0), "C8H18,n-octane", "n-Octane"),
    ("n-heptane C7H16", (7, 16, 0), "C7H16,n-heptane", "n-Heptane"),
    ("toluene C7H8", (7, 8, 0), "C7H8", "Toluene"),
    ("ethanol C2H6O", ETHANOL, "C2H5OH", "Ethanol"),
    ("methanol CH4O", (1, 4, 1), "CH3OH", "Methanol"),
    ("propane C3H8", (3, 8, 0), "C3H8", None),
    ("methane CH4", (1, 4, 0), "CH4", None),
    ("hydrogen H2", (0, 2, 0), "H2", None),
    ("carbon monoxide CO", (1, 0, 1), "CO", None),
    ("gasoline CH1.87", (1, 1.87, 0), None, None),
    ("gasoline CH1.85 (40 CFR 1065.655)", (1, 1.85, 0), None, None),
    ("gasoline CH1.80", (1, 1.80, 0), None, None),
    ("gasoline CH1.7261 (commonly quoted default H:C)", (1, 1.7261, 0), None, None),
    ("gasoline C8.26H15.5 (Heywood Table D.4 form)", (8.26, 15.5, 0), None, None),
)
NAMES = sorted({f[2] for f in FUELS if f[2]} | {"O2", "N2", "CO2", "H2O", "NO"})


def gas():
    species = {s.name: s for s in ct.Species.list_from_file("nasa_gas.yaml")}
    return ct.Solution(thermo="ideal-gas", species=[species[name] for name in NAMES])


def heating_values(mixture, name, atoms):
    """Lower and higher heating value of a gas at 25 degC, MJ/kg; the water's condensation from CoolProp."""
    c, h, o = atoms

    def enthalpy(species):
        mixture.TPX = 298.15, ct.one_atm, {species: 1}
        return mixture.enthalpy_mole / 1000

    lower = enthalpy(name) + oxygen_needed(*atoms) * enthalpy("O2") - c * enthalpy("CO2") - h / 2 * enthalpy("H2O")
    vaporisation = 44003.0  # J/mol of water at 25 degC, ideal gas to liquid: NIST-JANAF 285.830 - 241.826 kJ/mol
    return lower / mass(c, h, o) / 1000, (lower + h / 2 * vaporisation) / mass(c, h, o) / 1000


def stoich_afr_lhv(_):
    yield ["fuel", "C", "H", "O", "AFR O2:1,N2:3.76", "AFR O2:1,N2:3.773 (Heywood, N2 incl. Ar as apparent)",
           "AFR ISO 2533/USSA76 dry air 0.209476 O2,0.78084 N2,0.00934 Ar,0.000314 CO2", "MW_per_formula", "H_to_C",
           "AFR cantera stoich_air_fuel_ratio(O2:1,N2:3.76)", "LHV_gas_MJ_kg", "HHV_gas_MJ_kg",
           "hvap_298K_MJ_kg_CoolProp", "LHV_liquid_MJ_kg", "rho_liq_15C_kg_m3_CoolProp", "rho_liq_20C_kg_m3_CoolProp"]
    mixture = gas()
    for label, atoms, name, liquid in FUELS:
        row = [label, *atoms, *(round(a, 4) for a in afr(*atoms)), round(mass(*atoms), 5),
               round(atoms[1] / atoms[0], 4) if atoms[0] else None]
        if name is None:
            yield row + [None] * 7
            continue
        low, high = heating_values(mixture, name, atoms)
        row += [round(mixture.stoich_air_fuel_ratio({name: 1}, "O2:1, N2:3.76", "mole"), 4), round(low, 3),
                round(high, 3)]
        if liquid is None:
            yield row + [None] * 4
            continue
        hvap = (PropsSI("H", "T", 298.15, "Q", 1, liquid) - PropsSI("H", "T", 298.15, "Q", 0, liquid)) / 1e6
        yield row + [round(hvap, 4), round(low - hvap, 3)] + [
            round(PropsSI("D", "T", t, "P", 101325, liquid), 2) for t in (288.15, 293.15)]


def stoich_blends(_):
    yield ["gasoline_H_C", "rho_gasoline_15C", "rho_ethanol_15C", "E_vol_pct", "w_ethanol", "AFR_3p76", "AFR_stdair",
           "H_C", "O_C", "O_mass_pct"]
    ethanol_density = 793.9
    for h_c, density in ((1.87, 745.0), (1.85, 740.0), (1.8, 750.0)):
        for volume in (0, 5, 10, 15, 20, 25, 30, 50, 70, 75, 85, 100):
            w = volume * ethanol_density / (volume * ethanol_density + (100 - volume) * density)
            petrol, ethanol = (1, h_c, 0), ETHANOL
            atoms = [w / mass(*ethanol) * e + (1 - w) / mass(*petrol) * p for e, p in zip(ethanol, petrol)]
            simple, _, dry = afr(*atoms)
            yield [h_c, density, ethanol_density, volume, round(w, 5), round(simple, 4), round(dry, 4),
                   round(atoms[1] / atoms[0], 4), round(atoms[2] / atoms[0], 5), round(100 * O * atoms[2], 3)]


def products(y, z, lam):
    """Moles of CO2, CO, H2, H2O, O2 and N2 from CHyOz at lambda: complete when lean, water-gas K = 3.5 when rich."""
    need = oxygen_needed(1, y, z)
    nitrogen = 3.76 * need * lam
    if lam >= 1:
        return 1.0, 0.0, 0.0, y / 2, need * (lam - 1), nitrogen
    k, oxygen = 3.5, z + 2 * need * lam
    # With CO = x: H2O = oxygen - 2 + x, H2 = y/2 - H2O, and K = CO H2O / (CO2 H2) is a quadratic in x.
    a0 = oxygen - 2
    a = 1 - k
    b = a0 + k * (1 + y / 2 - a0)
    c = -k * (y / 2 - a0)
    x = (-b + math.sqrt(b * b - 4 * a * c)) / (2 * a)
    water = a0 + x
    return 1 - x, x, y / 2 - water, water, 0.0, nitrogen


def combustion_eff(_):
    yield ["fuel_H_C", "LHV_MJ_kg", "lam", "CO_per_C", "H2_per_C", "eta_c", "heat_release_per_air_rel"]
    mixture = gas()
    carbon_monoxide, hydrogen = (heating_values(mixture, n, a)[0] * mass(*a)
                                 for n, a in (("CO", (1, 0, 1)), ("H2", (0, 2, 0))))
    for h_c, heat in ((1.87, 43.0), (1.85, 43.0), (2.25, 44.3)):
        for lam in (0.65, 0.7, 0.75, 0.8, 0.82, 0.84, 0.85, 0.86, 0.88, 0.9, 0.92, 0.95, 0.98, 1.0, 1.1):
            _, co, h2, *_ = products(h_c, 0, lam)
            eta = 1 - (co * carbon_monoxide + h2 * hydrogen) / (heat * mass(1, h_c, 0))
            yield [h_c, heat, lam, round(co, 5), round(h2, 5), round(eta, 5), round(eta / lam, 5)]


LAMBDAS = (0.7, 0.75, 0.8, 0.85, 0.88, 0.9, 0.95, 0.98, 1.0, 1.02, 1.05, 1.1, 1.15, 1.2, 1.25, 1.3)


def brettschneider(y, z, co2, co, o2, no=0.0, hexane=0.0):
    """Lambda from dry volume percentages, Brettschneider 1979 as commonly reprinted; hexane carries six carbons."""
    burnt = co2 + co
    water = y / 4 * 3.5 / (3.5 + co / co2) - z / 2
    return (co2 + co / 2 + o2 + no / 2 + water * burnt) / (oxygen_needed(1, y, z) * (burnt + 6 * hexane))


def exhaust_lambda(_):
    yield ["fuel", "model", "lam", "CO2", "CO", "H2", "O2", "N2", "wet_per_dry", "H2O_wet", "brett", "HC_ppm_hexane",
           "NO", "T", "WGS_K"]
    yield from exhaust_closed_form()
    yield from exhaust_unburnt()
    yield from exhaust_equilibrium()


def exhaust_closed_form():
    model = "closed form WGS K=3.5, no NO/HC"
    fuels = (("CH1.87", 1.87, 0), ("CH1.85", 1.85, 0), ("CH1.7261O0.0176", 1.7261, 0.0176), ("iso-octane", 2.25, 0),
             ("ethanol", 3, 0.5), ("propane", 8 / 3, 0))
    for name, y, z in fuels:
        for lam in LAMBDAS:
            co2, co, h2, water, o2, n2 = products(y, z, lam)
            dry = co2 + co + h2 + o2 + n2
            shares = [100 * x / dry for x in (co2, co, h2, o2, n2)]
            yield [name, model, lam, *(round(s, 5) for s in shares), round((dry + water) / dry, 5),
                   round(100 * water / (dry + water), 5), round(brettschneider(y, z, shares[0], shares[1], shares[3]), 6),
                   None, None, None, None]


def exhaust_unburnt():
    y = 1.87
    for lam in (0.85, 0.95, 1.0, 1.05, 1.2):
        for unburnt in (0.005, 0.02, 0.1):
            burnt = 1 - unburnt
            parts = [x * burnt for x in products(y, 0, lam / burnt)]
            hexane = unburnt / 6
            co2, co, h2, _, o2, n2 = parts
            dry = co2 + co + h2 + o2 + n2 + hexane
            shares = [100 * x / dry for x in (co2, co, o2, hexane)]
            yield ["CH1.87", f"as above with {unburnt} of fuel C unburnt, counted as hexane", lam, round(shares[0], 5),
                   round(shares[1], 5), None, round(shares[2], 5), None, None, None,
                   round(brettschneider(y, 0, *shares[:3], hexane=shares[3]), 6), round(1e4 * shares[3], 2), None, None,
                   None]


def exhaust_equilibrium():
    mixture = gas_products()
    fuels = (("iso-octane", "C8H18,isooctane", (8, 18, 0)), ("ethanol", "C2H5OH", ETHANOL),
             ("propane", "C3H8", (3, 8, 0)))
    for label, name, atoms in fuels:
        for temperature in (1200.0, 1700.0, None):
            for lam in LAMBDAS:
                mixture.TP = temperature or 298.15, ct.one_atm
                mixture.set_equivalence_ratio(1 / lam, {name: 1}, "O2:1, N2:3.76")
                mixture.equilibrate("TP" if temperature else "HP")
                yield equilibrium_row(mixture, label, atoms, lam, temperature)


def gas_products():
    species = {s.name: s for s in ct.Species.list_from_file("nasa_gas.yaml")}
    names = ["C8H18,isooctane", "C2H5OH", "C3H8", "O2", "N2", "CO2", "CO", "H2", "H2O", "NO", "NO2", "OH", "O", "H", "CH4"]
    return ct.Solution(thermo="ideal-gas", species=[species[n] for n in names])


def equilibrium_row(mixture, label, atoms, lam, temperature):
    x = {n: mixture[n].X[0] for n in ("CO2", "CO", "H2", "O2", "N2", "H2O", "NO")}
    co2, co, h2, o2, n2, no = (100 * x[n] / (1 - x["H2O"]) for n in ("CO2", "CO", "H2", "O2", "N2", "NO"))
    t = temperature or mixture.T
    model = f"cantera equilibrium {t}" if temperature else \
        f"cantera equilibrium adiabatic HP 298.15 K 1 atm, T={t:.1f} K"
    carbon = atoms[0]
    lam_back = brettschneider(atoms[1] / carbon, atoms[2] / carbon, co2, co, o2, no)
    k = x["CO"] * x["H2O"] / (x["CO2"] * x["H2"])
    return [label, model, lam, *(round(v, 5) for v in (co2, co, h2, o2, n2)), None, round(100 * x["H2O"], 5),
            round(lam_back, 6), None, round(no, 5), round(t, 2), round(k, 4)]


def hydrocarbon_vapour(_):
    yield ["hydrocarbon", "T_boil_K", "T_K", "p_vapour_Pa"]
    for name in ("n-Pentane", "n-Hexane", "n-Heptane", "n-Octane", "n-Nonane", "Toluene"):
        boils_k = PropsSI("T", "P", 101325, "Q", 0, name)
        for t_c in (-25, -10, 5, 20, 35, 50, 65, 80):
            if t_c + 273.15 < boils_k:
                p = PropsSI("P", "T", t_c + 273.15, "Q", 0, name)
                yield [name, round(boils_k, 2), round(t_c + 273.15, 2), float(f"{p:.4g}")]
