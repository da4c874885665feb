"""Numbers to SVG for page, paper and documentation, and to plain text for a terminal. No plotting library, no state."""
