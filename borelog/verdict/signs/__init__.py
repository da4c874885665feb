"""From what is recorded to evidence: each sign names the entries it rests on; nothing recorded, nothing said."""
