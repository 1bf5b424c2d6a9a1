"""Answers for the way down of a drum: the time by quadrature and by the differential equation; the normal distribution.

Standard input: {"ways": [{"a", "b1", "b2", "heel", "full", "from", "to"}, ...], "z": [...]}: with u = (full - v)/(full - heel)
the draw is exp(a - b1 u - b2 u^2) L/h. Standard output: {"quad": [hours], "solve_ivp": [hours], "normal": [probability]}.
"""

import json
import math
import sys

from scipy.integrate import quad, solve_ivp
from scipy.stats import norm


def draw(way, v):
    u = (way["full"] - v) / (way["full"] - way["heel"])
    return math.exp(way["a"] - way["b1"] * u - way["b2"] * u * u)


def by_quadrature(way):
    return quad(lambda v: 1.0 / draw(way, v), way["to"], way["from"], epsabs=1e-12, epsrel=1e-12)[0]


def by_equation(way, longest):
    def reached(_, v):
        return v[0] - way["to"]

    reached.terminal = True
    solved = solve_ivp(
        lambda _, v: [-draw(way, v[0])], (0.0, longest), [way["from"]], events=reached, rtol=1e-11, atol=1e-11
    )
    return float(solved.t_events[0][0])


def main():
    question = json.load(sys.stdin)
    hours = [by_quadrature(way) for way in question["ways"]]
    answer = {
        "quad": hours,
        "solve_ivp": [by_equation(way, 2.0 * h) for way, h in zip(question["ways"], hours)],
        "normal": norm.cdf(question["z"]).tolist(),
    }
    json.dump(answer, sys.stdout)


main()
