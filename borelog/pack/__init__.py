"""The findings pack: build one for a reader, check a stranger's, take one in."""
