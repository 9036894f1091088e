"""Store protocol and its implementations: SQLite and PostgreSQL, one test suite."""
