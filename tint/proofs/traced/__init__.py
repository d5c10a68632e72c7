"""A part traced: light followed through the rubber itself, as a photograph would show it."""
