"""Radial drying of a shrinking cylinder: water and salt in the coordinate of the dry solids.

May import: science and foundation. Read `rates.py` first (the equations), then
`step.py` (one Rosenbrock step) and `integrate.py` (steps under error control).
`kernel.py` is the compiled twin of those three (called by `compiled.py`); they are the definition.
"""
