"""SQLite: what is kept. Functions take a Session and return studio values."""
