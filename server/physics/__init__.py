"""Numbers in, numbers out: the physics of dimmed light. Standard library only."""
