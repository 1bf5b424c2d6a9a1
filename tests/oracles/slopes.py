"""Answers for slopes that outliers can't bend, by scipy.stats: Siegel's repeated medians, and Theil and Sen's line.

Standard input: {"series": [[[x, y], ...], ...]}; standard output: {"siegel": [slope], "theil": [[slope, intercept, low, high]]}.
"""

import json
import sys

import numpy as np
from scipy.stats import siegelslopes, theilslopes


def main():
    series = [np.array(points, dtype=float).T for points in json.load(sys.stdin)["series"]]
    answer = {
        "siegel": [float(siegelslopes(y, x).slope) for x, y in series],
        "theil": [[float(part) for part in theilslopes(y, x, 0.95)] for x, y in series],
    }
    json.dump(answer, sys.stdout)


main()
