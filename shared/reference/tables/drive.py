"""Length and speed of the public drive schedules, as fastsim carries them."""

from importlib.metadata import version

import fastsim
import numpy as np
from scipy.constants import mile


def trace(file):
    """A schedule second by second, as the project ships it; whole numbers are written without a point."""

    def rows(_):
        yield ["time [s]", "speed [m/s]"]
        cycle = fastsim.Cycle.from_resource(file).to_dict()
        for t, v in zip(cycle["time_seconds"], cycle["speed_meters_per_second"]):
            yield [f"{t:.0f}", f"{v:.0f}" if v == round(v) else v]

    return rows


def drive_schedules(_):
    yield ["cycle", "source", "points", "duration_s", "dist_trapz_km", "dist_rect_km", "dist_mi", "vmax_kmh",
           "vmax_mph", "vmean_kmh", "vmean_mph", "idle_s", "sum_kmh", "sum_mph", "amax", "amin"]
    for name, file in (("UDDS", "udds.csv"), ("HWFET", "hwfet.csv")):
        cycle = fastsim.Cycle.from_resource(file).to_dict()
        t, v = np.array(cycle["time_seconds"]), np.array(cycle["speed_meters_per_second"])
        metres, kmh = np.trapezoid(v, t), v * 3.6
        mph = v * 3600 / mile
        acceleration = np.diff(v) / np.diff(t)
        source = f"fastsim {version('fastsim')} Cycle.from_resource('{file}')"
        yield [name, source, len(t), t[-1], metres / 1000, float(np.sum(v[1:] * np.diff(t))) / 1000, metres / mile,
               kmh.max(), mph.max(), metres * 3.6 / t[-1], metres * 3600 / mile / t[-1], int(np.sum(v == 0)),
               kmh.sum(), mph.sum(), acceleration.max(), acceleration.min()]
