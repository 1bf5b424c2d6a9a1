"""Answers QARTOD questions with ioos_qc.

Standard input: a JSON list of {"test", "params", "t", "x", "rows"}; standard output: a list of
{"flags": [...]} or {"error": "..."} in the same order. A missing value is null, an infinite one "inf".
"""

import json
import sys
import warnings

import numpy as np
from ioos_qc import argo, qartod


def numbers(values):
    return np.array([np.nan if v is None else float(v) for v in values], dtype=float)


def times(seconds):
    """To the millisecond, so that what ioos_qc cuts off is its own doing."""
    stamps = [np.datetime64("NaT") if s is None else np.datetime64(round(s * 1000), "ms") for s in seconds]
    return np.array(stamps, dtype="datetime64[ns]")


def answer(job):
    test, p = job["test"], job["params"]
    if test == "gross_range":
        return qartod.gross_range_test(numbers(job["x"]), p["fail_span"], p.get("suspect_span"))
    if test == "spike":
        return qartod.spike_test(numbers(job["x"]), p["suspect_threshold"], p["fail_threshold"], p["method"])
    if test == "rate_of_change":
        return qartod.rate_of_change_test(
            numbers(job["x"]), times(job["t"]), p["threshold_per_s"], p.get("fail_threshold_per_s")
        )
    if test == "flat_line":
        return qartod.flat_line_test(
            numbers(job["x"]), times(job["t"]), p["suspect_threshold_s"], p["fail_threshold_s"], p["tolerance"]
        )
    if test == "time_gap":
        return qartod.time_gap_test(times(job["t"]), p["fail_span_h"])
    if test == "data_reception":
        return qartod.data_reception_test(times(job["t"]), p["fail_span_h"], times([p["now"]])[0])
    if test == "argo_duplicate_timestamp":
        return argo.duplicate_timestamp_test(times(job["t"]))
    if test == "aggregate":
        return qartod.qartod_compare([np.array(row) for row in job["rows"]])
    raise KeyError(f"this script asks no test named {test}")


def main():
    warnings.simplefilter("ignore")
    answers = []
    for job in json.load(sys.stdin):
        try:
            answers.append({"flags": [int(flag) for flag in np.ma.filled(answer(job), 9)]})
        except (ValueError, IndexError) as error:
            answers.append({"error": f"{type(error).__name__}: {error}"})
    json.dump(answers, sys.stdout)


main()
