"""Forecasts with statsmodels' local linear trend, filtered as the readings came.

Standard input: a JSON list of {"litres": [number or null, ...], "fit": number}: a series on an even grid, refills
taken out, and how many of its first values the variances are fitted to. Standard output: a list of
{"level": [...], "trend": [...]}, the filtered state after each value.
"""

import json
import sys
import warnings

import numpy as np
from statsmodels.tsa.statespace.structural import UnobservedComponents


def model(values):
    return UnobservedComponents(values, level="lltrend", use_exact_diffuse=False)


def answer(job):
    litres = np.array([np.nan if v is None else float(v) for v in job["litres"]], dtype=float)
    first = litres[: job["fit"]]
    params = model(first).fit(disp=False, maxiter=30).params
    state = model(litres).filter(params).filtered_state
    return {"level": state[0].tolist(), "trend": state[1].tolist()}


def main():
    warnings.simplefilter("ignore")
    json.dump([answer(job) for job in json.load(sys.stdin)], sys.stdout)


main()
