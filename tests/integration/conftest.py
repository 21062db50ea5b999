"""Fixtures of every integration test."""

from __future__ import annotations

from tests.integration.databases import both_databases, either_database, postgresql

__all__ = ["both_databases", "either_database", "postgresql"]
