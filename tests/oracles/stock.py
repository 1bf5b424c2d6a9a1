"""Answers for ordering clay, by the package stockpyl.

Standard input: {"eoq": [[fixed cost, holding cost, demand], ...], "reorder": [[holding cost, stockout cost, fixed
cost, demand a day, its standard deviation, lead time], ...], "spread": [[holding cost, stockout cost, mean, standard
deviation], ...]}; standard output: {"eoq": [[quantity, cost], ...], "reorder": [[point, quantity], ...],
"spread": [base stock, ...]}.
"""

import json
import sys

from stockpyl.eoq import economic_order_quantity
from stockpyl.newsvendor import newsvendor_normal
from stockpyl.rq import r_q_eoqss_approximation


def main():
    question = json.load(sys.stdin)
    answer = {
        "eoq": [economic_order_quantity(k, h, d) for k, h, d in question["eoq"]],
        "reorder": [r_q_eoqss_approximation(h, p, k, d, sd, lead)[:2] for h, p, k, d, sd, lead in question["reorder"]],
        "spread": [newsvendor_normal(h, p, mean, sd)[0] for h, p, mean, sd in question["spread"]],
    }
    json.dump(answer, sys.stdout)


main()
