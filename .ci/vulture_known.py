"""Names that are used from outside Python code (screens, tables, messages): not dead."""
PackRoom  # named in a type
