"""Thirdstop: a live cue board for continuous portrait light."""
