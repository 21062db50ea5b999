"""Checks: a rule, the lot's records, and the verdict they allow.

Pure functions of records and rule rows; nothing here reads a database or a
clock. Read `verdict.py` first.
"""
