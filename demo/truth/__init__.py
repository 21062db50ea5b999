"""What really happens in the invented house; nobody there ever sees these numbers.

The form is chosen to differ from any forecaster's: three lumped water
compartments with a rim that stiffens for good, a Penman-like surface, its own
sorption law, rooms with their own moisture balance. Magnitudes come from trade
practice (days and losses by calibre), set before a forecaster existed.
"""
