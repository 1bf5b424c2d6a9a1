"""Answers for scores of forecasts: scoringrules 0.10.0; bounds of a share by scipy.

Standard input: {"levels": [...], "cases": [{"y": ..., "quantiles": [...]}], "normal": [{"y", "mean", "sd"}],
"interval": [{"y", "low", "high", "alpha"}], "coverage": [{"held", "of", "confidence"}]}; standard output: one list of
answers each, and the quantiles of the standard normal at "even" even levels.
"""

import json
import sys

import scoringrules
from scipy.stats import binomtest, norm


def bounds(case, method):
    found = binomtest(case["held"], case["of"]).proportion_ci(case["confidence"], method=method)
    return [float(found.low), float(found.high)]


def main():
    question = json.load(sys.stdin)
    levels = question["levels"]
    even = [(i + 0.5) / question["even"] for i in range(question["even"])]
    answer = {
        "pinball": [
            [float(scoringrules.quantile_score(case["y"], q, tau)) for q, tau in zip(case["quantiles"], levels)]
            for case in question["cases"]
        ],
        "crps": [
            float(scoringrules.crps_quantile(case["y"], case["quantiles"], levels, backend="numpy"))
            for case in question["cases"]
        ],
        "interval": [
            float(scoringrules.interval_score(case["y"], case["low"], case["high"], case["alpha"]))
            for case in question["interval"]
        ],
        "normal": [
            float(scoringrules.crps_normal(case["y"], case["mean"], case["sd"])) for case in question["normal"]
        ],
        "standard": norm.ppf(even).tolist(),
        "wilson": [bounds(case, "wilson") for case in question["coverage"]],
        "clopper_pearson": [bounds(case, "exact") for case in question["coverage"]],
    }
    json.dump(answer, sys.stdout)


main()
