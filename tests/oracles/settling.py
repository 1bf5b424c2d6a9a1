"""Answers for grains that sink alone: terminal velocity by Stokes' law, by the package fluids.

Standard input: {"grains": [[diameter m, density kg/m3, water kg/m3, viscosity Pa s], ...]}; standard output:
{"m_per_s": [...]}.
"""

import json
import sys

from fluids import v_terminal


def main():
    question = json.load(sys.stdin)
    sinks = [
        v_terminal(D=d, rhop=rho_s, rho=rho_w, mu=mu, Method="Stokes") for d, rho_s, rho_w, mu in question["grains"]
    ]
    json.dump({"m_per_s": sinks}, sys.stdout)


main()
