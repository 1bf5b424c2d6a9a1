"""Answers for how cloudy clay makes the water: recursive least squares with forgetting, and least squares on logarithms.

Standard input: {"runs": [{"head_l", "lot_h", "rows": [[minute, fed, water, above], ...]}, ...], "pairs": [[[x, y], ...], ...]}.
The head tank follows what is fed as a stirred tank does, from three time constants after the first row on.
Standard output: {"runs": [{"slope", "sd"}, ...], "pairs": [{"factor", "factor_sd", "exponent", "exponent_sd", "smearing"}]}.
"""

import json
import sys
import warnings

import numpy as np
from scipy.integrate import solve_ivp
from statsmodels.api import OLS, WLS, add_constant
from statsmodels.regression.recursive_ls import RecursiveLS


def held(run):
    """What the head tank holds at each row that counts, by its differential equation."""
    rows = run["rows"]
    pace = run["head_l"] / rows[0][2]
    at, held = rows[0][0] + 3.0 * pace, rows[0][1]
    counted = []
    for minute, fed, water, above in rows[1:]:
        if minute < at:
            continue
        pace = run["head_l"] / water
        if minute > at:
            solved = solve_ivp(lambda _, x: [(fed - x[0]) / pace], (0.0, minute - at), [held], rtol=1e-10, atol=1e-10)
            held = float(solved.y[0][-1])
        at = minute
        counted.append((minute, held, above))
    return np.array(counted)


def fit(run):
    minute, x, y = held(run).T
    weight = np.exp((minute - minute[-1]) / 60.0 / run["lot_h"])
    root = np.sqrt(weight)
    # Forgetting is least squares of rows that count by the root of their weight.
    recursive = RecursiveLS(root * y, root * x).fit()
    whole = WLS(y, x, weights=weight).fit()
    slope = float(recursive.recursive_coefficients.filtered[0][-1])
    assert abs(slope - whole.params[0]) < 1e-8
    rest = float(np.sum(weight * whole.resid**2)) / (weight.sum() - 1.0)
    return {"slope": slope, "sd": float(np.sqrt(rest / np.sum(weight * x * x)))}


def log_log(pairs):
    x, y = np.array(pairs, dtype=float).T
    found = OLS(y, add_constant(x)).fit()
    return {
        "factor": float(np.exp(found.params[0])),
        "factor_sd": float(found.bse[0]),
        "exponent": float(found.params[1]),
        "exponent_sd": float(found.bse[1]),
        "smearing": float(np.mean(np.exp(found.resid))),
    }


def main():
    warnings.simplefilter("ignore")
    question = json.load(sys.stdin)
    answer = {"runs": [fit(run) for run in question["runs"]], "pairs": [log_log(p) for p in question["pairs"]]}
    json.dump(answer, sys.stdout)


main()
