"""Answers for two stirred tanks in a row, of any sizes: the differential equations, solved by scipy.

Standard input: {"steps": [{"head_min", "tank_min", "head", "tank", "to", "minutes": [...]}, ...]}: time constants, what
both hold, and what flows into the first from then on. Standard output: {"steps": [{"head": [...], "tank": [...]}, ...]}.
"""

import json
import sys

from scipy.integrate import solve_ivp


def answer(step):
    def flow(_, held):
        head, tank = held
        return [(step["to"] - head) / step["head_min"], (head - tank) / step["tank_min"]]

    minutes = step["minutes"]
    solved = solve_ivp(
        flow, (0.0, max(minutes)), [step["head"], step["tank"]], t_eval=minutes, method="LSODA", rtol=1e-11, atol=1e-11
    )
    return {"head": solved.y[0].tolist(), "tank": solved.y[1].tolist()}


def main():
    json.dump({"steps": [answer(step) for step in json.load(sys.stdin)["steps"]]}, sys.stdout)


main()
