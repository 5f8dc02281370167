"""Reading camera footage and its sound: the only room that decodes."""
