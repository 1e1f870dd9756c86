"""The live side: one engine owns the light, outputs carry it to the dimmers."""
