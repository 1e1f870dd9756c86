"""One module of routes a noun."""
