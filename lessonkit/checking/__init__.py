"""Whether footage will be usable, told in seconds from ten seconds of it: measures, a verdict and one picture."""
