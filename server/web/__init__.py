"""Pages and the JSON contract."""
