"""Sound: recordings read in passing, speech found in them, voice and play mixed, loudness as asked for."""
