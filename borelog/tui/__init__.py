"""The terminal screens: key -> act -> entry -> repaint. Nothing here decides anything about an engine."""
