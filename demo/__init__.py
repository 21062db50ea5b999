"""The invented house: its truth, and the files and records a year there leaves behind.

Never shipped and imports nothing from saltloft, so that what Saltloft is shown
was not made by Saltloft's own models. `python -m demo OUT_DIR --seed N` writes
it; read `build.py` first, then `truth/year.py`.
"""
