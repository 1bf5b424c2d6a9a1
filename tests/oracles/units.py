"""Answers for units, by the package pint.

Standard input: {"ask": [[symbol, symbol of the base unit, value], ...]}; standard output: {"base": [value in the base unit]}.
A symbol that isn't in the table below is an error: whoever adds a unit adds it here.
"""

import json
import sys

import pint

# Our symbols in pint's words; units of turbidity are units of their own and turn into nothing else.
WORDS = {
    "mm": "millimeter", "cm": "centimeter", "m": "meter", "in": "inch",
    "L": "liter", "mL": "milliliter", "m3": "meter**3", "US gal": "gallon",
    "L/min": "liter/minute", "L/h": "liter/hour", "L/s": "liter/second", "mL/min": "milliliter/minute",
    "m3/h": "meter**3/hour", "m3/s": "meter**3/second", "US gal/min": "gallon/minute",
    "kg": "kilogram", "g": "gram", "lb": "pound",
    "g/L": "gram/liter", "lb/100 L": "pound/hectoliter", "kg/100 L": "kilogram/hectoliter",
    "°C": "degree_Celsius", "°F": "degree_Fahrenheit", "K": "kelvin",
    "mg/L": "milligram/liter", "kg/m3": "kilogram/meter**3",
    "%": "percent", "/": "dimensionless",
    "hPa": "hectopascal", "kPa": "kilopascal", "Pa": "pascal", "mmHg": "millimeter_Hg",
    "NTU": "NTU", "FNU": "FNU",
}


def main():
    registry = pint.UnitRegistry()
    registry.define("NTU = [nephelometry_white]")
    registry.define("FNU = [nephelometry_infrared]")
    ask = json.load(sys.stdin)["ask"]
    base = [float(registry.Quantity(value, WORDS[unit]).to(WORDS[to]).magnitude) for unit, to, value in ask]
    json.dump({"base": base}, sys.stdout)


main()
