"""Fixtures of every integration test."""

from __future__ import annotations

from tests.integration.databases import both_databases, each_database, either_database, postgresql

__all__ = ["both_databases", "each_database", "either_database", "postgresql"]
