"""Faces: a drawn sitter under the light of the rig."""
