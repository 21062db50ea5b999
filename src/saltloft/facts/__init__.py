"""What the literature and the law say, as rows with source and confidence.

May import: foundation. `data/<topic>/*.toml` hold the rows, `data/sources.toml`
the works they come from. Read `schema.py` first, then `loader.py`. Only cases,
jobs and house open the loader.
"""
