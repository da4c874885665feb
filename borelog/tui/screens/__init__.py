"""One module per screen, each a few widgets over one view."""
