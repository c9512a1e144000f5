"""Converts quantities with `pint`, exactly: a line is a number, a unit and the
unit wanted, with tabs between; prints the number as a fraction, one a line."""

import sys
from fractions import Fraction

import pint

units = pint.UnitRegistry(non_int_type=Fraction)
for line in sys.stdin:
    number, unit, wanted = line.rstrip("\n").split("\t")
    if unit in ("degF", "degC"):
        print(units.Quantity(Fraction(number), unit).to(wanted).magnitude)
    else:
        print((Fraction(number) * units.parse_expression(unit)).to(wanted).magnitude)
