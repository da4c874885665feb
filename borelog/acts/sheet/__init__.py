"""The plain-text sheet: one page that paper, a text editor, the commands and the record all agree on."""
