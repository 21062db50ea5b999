"""Steps that add to the kept tables; run by `store/migrate.py`, never by hand."""
