"""Checks that need no model of the rope, one per module: times, photographs, gauges, digits."""
