"""Tables, sessions, and one query module per noun. The only importer of SQLAlchemy."""
