"""The records database: an index over run folders, which stay the truth. One schema on SQLite and on PostgreSQL.

Loaded only when a run is stored or asked for: SQLAlchemy takes longer to load than most boards take to judge.
"""
