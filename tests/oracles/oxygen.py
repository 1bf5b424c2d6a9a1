"""Answers for oxygen in fresh water: solubility by gsw (Garcia and Gordon 1992), pressure by ambiance (ISO 2533).

Standard input: {"t_c": [...], "elevation_m": [...]}; standard output: {"mg_l": [...], "hpa": [...]}.
"""

import json
import sys

import gsw
import numpy as np
from ambiance import Atmosphere

MOLAR_MASS_G = 31.9988


def main():
    question = json.load(sys.stdin)
    t = np.array(question["t_c"], dtype=float)
    # umol/kg at one atmosphere in moist air, times kg/m3.
    mg_l = gsw.O2sol_SP_pt(0.0, t) * MOLAR_MASS_G * 1e-6 * gsw.rho_t_exact(0.0, t, 0.0)
    hpa = Atmosphere(np.array(question["elevation_m"], dtype=float)).pressure / 100.0
    json.dump({"mg_l": mg_l.tolist(), "hpa": hpa.tolist()}, sys.stdout)


main()
