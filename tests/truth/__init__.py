"""Five families of drying truth and the scores a forecaster is held against.

Read README.md first, then known.py (what a house knows), families.py (what really happens),
scores.py (pure scoring functions), baselines.py (what must be beaten) and runner.py (`score`).
Nothing here imports the package under test: these truths were written before the engine was
tuned, and an engine is handed in as a callable.
"""
