#!/usr/bin/env python3
"""Regenerates the computed tables beside this file, and the shipped drive schedules, from the libraries in
requirements.txt.

    python3 -m venv venv && venv/bin/pip install -r requirements.txt
    venv/bin/python regenerate.py            # writes the tables anew
    venv/bin/python regenerate.py --check    # writes nothing; exit 1 when a table has drifted

None of these numbers comes from the project itself. dtc.csv was read, not computed, and is left alone; of
thermistor_10k.csv the resistances were read and only the two error columns are computed. A cell has drifted when
it differs by more than one unit of its last written digit.
"""

import csv
import io
import math
import sys
from pathlib import Path

from tables import air, control_loops, drive, engine_model, flow, fuel, thermistor

HERE = Path(__file__).parent
TABLES = {
    "atmosphere.csv": air.atmosphere,
    "humid_air.csv": air.humid_air,
    "nitrous_saturation.csv": air.nitrous_saturation,
    "nozzle_flow.csv": flow.nozzle_flow,
    "fuel_line.csv": flow.fuel_line,
    "injector_sqrt.csv": flow.injector_sqrt,
    "stoich_afr_lhv.csv": fuel.stoich_afr_lhv,
    "hydrocarbon_vapour.csv": fuel.hydrocarbon_vapour,
    "stoich_blends.csv": fuel.stoich_blends,
    "combustion_eff.csv": fuel.combustion_eff,
    "exhaust_lambda.csv": fuel.exhaust_lambda,
    "thermistor_10k.csv": thermistor.thermistor_10k,
    "control_margins.csv": control_loops.control_margins,
    "crossley_cook.csv": engine_model.crossley_cook,
    "drive_schedules.csv": drive.drive_schedules,
    "../schedules/udds.csv": drive.trace("udds.csv"),
    "../schedules/hwfet.csv": drive.trace("hwfet.csv"),
}


def as_text(rows):
    """A table as CSV; None is an empty cell."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(["" if c is None else c for c in row] for row in rows)
    return out.getvalue()


def last_digit(text):
    """The size of one unit of the last written digit of a number, at most ten digits deep."""
    mantissa, _, exponent = text.lower().partition("e")
    places = len(mantissa.partition(".")[2])
    size = 10.0 ** (int(exponent or 0) - places)
    return max(size, abs(float(text)) * 1e-10, 1e-10)


def same(kept, made):
    """Whether two cells agree."""
    try:
        kept_value, made_value = float(kept), float(made)
    except ValueError:
        return kept == made
    if math.isnan(made_value):
        return False
    return abs(kept_value - made_value) <= 1.01 * max(last_digit(kept), last_digit(made))


def drifts(name, text):
    """One line for each cell, row or file that no longer agrees."""
    path = HERE / name
    if not path.exists():
        return [f"{name}: missing"]
    kept = list(csv.reader(path.read_text().splitlines()))
    made = list(csv.reader(text.splitlines()))
    if len(kept) != len(made):
        return [f"{name}: {len(kept)} rows kept, {len(made)} computed"]
    found = []
    for line, (old, new) in enumerate(zip(kept, made), start=1):
        if len(old) != len(new):
            found.append(f"{name}:{line}: {len(old)} cells kept, {len(new)} computed")
            continue
        for column, a, b in zip(kept[0], old, new):
            if not same(a, b):
                found.append(f"{name}:{line}: {column}: kept {a!r}, computed {b!r}")
    return found


def main(arguments):
    if arguments not in ([], ["--check"]):
        sys.exit(__doc__)
    found = []
    for name, make in TABLES.items():
        text = as_text(make(HERE))
        if arguments:
            found += drifts(name, text)
        else:
            (HERE / name).write_text(text)
        print(f"{name}: {text.count(chr(10)) - 1} rows")
    for line in found:
        print(line)
    if found:
        sys.exit(f"{len(found)} cells have drifted from what the libraries compute")
    print("no drift" if arguments else "written")


if __name__ == "__main__":
    main(sys.argv[1:])
