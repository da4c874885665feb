"""What a screen shows, as plain values; no terminal library is imported below here."""
