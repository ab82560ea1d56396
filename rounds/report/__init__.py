"""The round and its records in forms to print, read aloud and hand to other programs."""
